package shop

import "fmt"

// inst is a Problem in compact arrays. Node n is a sentinel that stands for "no operation".
type inst struct {
	n, jobs, slots, resources int

	job       []int32 // per operation
	first     []int32 // per job; jobs+1 entries
	rel       []int32 // least start of each operation, from the releases in its job
	minDur    []int32 // shortest mode of each operation
	modeFrom  []int32 // n+1 entries: modes of an operation are modeFrom[v]..modeFrom[v+1]-1
	modeDur   []int32
	modeRes   [][maxSlots]int32 // resource per slot, or -1
	modeGiven []int32           // mode in the problem
	modeKey   []int32           // first of the modes that differ in the operator only
	slotOf    []int32           // per resource
	due       []int64           // per job
	weight    []int64
	plain     bool // each operation has one mode that takes at most one resource
	tardy     bool
	blocking  bool
	pool      int // operators that were made resources, the last ones
	tabuSlots int // slots in which the order matters: all but that of the pool
}

// compile needs a valid problem. An operator pool becomes unary resources, one of which each mode takes besides.
func compile(p *Problem) (*inst, error) {
	c := &inst{n: p.Operations(), jobs: len(p.Jobs), resources: p.Resources, tardy: p.Objective == WeightedTardiness, blocking: p.Blocking}
	if p.Operators > 0 && p.Operators < busiest(p) {
		c.pool = p.Operators
		c.resources += c.pool
	}
	if err := c.assignSlots(p); err != nil {
		return nil, err
	}
	if p.Blocking {
		if err := blockable(p); err != nil {
			return nil, err
		}
	}
	c.tabuSlots = c.slots
	if c.pool > 0 {
		c.tabuSlots--
	}
	for j := range p.Jobs {
		job := &p.Jobs[j]
		c.first = append(c.first, int32(len(c.job)))
		c.due, c.weight = append(c.due, job.Due), append(c.weight, job.Weight)
		at := int32(job.Release)
		for k := range job.Operations {
			c.job = append(c.job, int32(j))
			at = max(at, int32(job.Operations[k].Release))
			c.rel = append(c.rel, at)
			least := c.addModes(&job.Operations[k], p.Resources)
			c.minDur = append(c.minDur, least)
			at += least
		}
	}
	c.first = append(c.first, int32(c.n))
	c.modeFrom = append(c.modeFrom, int32(len(c.modeDur)))
	c.plain = c.slots == 1 && len(c.modeDur) == c.n
	return c, nil
}

func (c *inst) addModes(op *Operation, given int) int32 {
	c.modeFrom = append(c.modeFrom, int32(len(c.modeDur)))
	least := int32(timeLimit)
	for i := range op.Modes {
		m := &op.Modes[i]
		least = min(least, int32(m.Duration))
		var res [maxSlots]int32
		for k := range res {
			res[k] = -1
		}
		if m.Duration > 0 {
			for _, r := range m.Resources {
				res[c.slotOf[r]] = r
			}
		}
		copies := 1
		if m.Duration > 0 && c.pool > 0 {
			copies = c.pool
		}
		key := int32(len(c.modeDur))
		for k := range copies {
			if m.Duration > 0 && c.pool > 0 {
				res[c.slots-1] = int32(given + k)
			}
			c.modeDur = append(c.modeDur, int32(m.Duration))
			c.modeRes = append(c.modeRes, res)
			c.modeGiven = append(c.modeGiven, int32(i))
			c.modeKey = append(c.modeKey, key)
		}
	}
	return least
}

// busiest bounds how many operations can run at the same time.
func busiest(p *Problem) int {
	used := make([]bool, p.Resources)
	for j := range p.Jobs {
		for k := range p.Jobs[j].Operations {
			for _, m := range p.Jobs[j].Operations[k].Modes {
				if len(m.Resources) == 0 {
					return len(p.Jobs)
				}
				for _, r := range m.Resources {
					used[r] = true
				}
			}
		}
	}
	n := 0
	for _, u := range used {
		if u {
			n++
		}
	}
	return min(n, len(p.Jobs))
}

// assignSlots gives each resource a slot such that no mode takes two resources of the same slot (a greedy colouring).
func (c *inst) assignSlots(p *Problem) error {
	c.slotOf = make([]int32, c.resources)
	near := make([]map[int32]bool, p.Resources)
	for j := range p.Jobs {
		for k := range p.Jobs[j].Operations {
			for _, m := range p.Jobs[j].Operations[k].Modes {
				for _, a := range m.Resources {
					for _, b := range m.Resources {
						if a == b {
							continue
						}
						if near[a] == nil {
							near[a] = map[int32]bool{}
						}
						near[a][b] = true
					}
				}
			}
		}
	}
	c.slots = 1
	for r := range p.Resources {
		var taken [maxSlots + 1]bool
		for b := range near[r] {
			if int(b) < r {
				taken[c.slotOf[b]] = true
			}
		}
		s := 0
		for taken[s] {
			s++
		}
		if s == maxSlots {
			return fmt.Errorf("%w: a mode with so many resources", ErrUnsupported)
		}
		c.slotOf[r] = int32(s)
		c.slots = max(c.slots, s+1)
	}
	if c.pool > 0 {
		if c.slots == maxSlots {
			return fmt.Errorf("%w: a mode with so many resources", ErrUnsupported)
		}
		for k := range c.pool {
			c.slotOf[p.Resources+k] = int32(c.slots)
		}
		c.slots++
	}
	return nil
}

// blockable says what the engine cannot do together with blocking.
func blockable(p *Problem) error {
	if p.Operators > 0 {
		return fmt.Errorf("%w: blocking together with a pool of operators", ErrUnsupported)
	}
	for j := range p.Jobs {
		for k := range p.Jobs[j].Operations {
			if m := p.Jobs[j].Operations[k].Modes; len(m) > 1 || m[0].Duration == 0 {
				return fmt.Errorf("%w: blocking where operation %d of job %d has %d modes, the first of duration %d", ErrUnsupported, k, j, len(m), m[0].Duration)
			}
		}
	}
	return nil
}
