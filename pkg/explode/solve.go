package explode

import (
	"cmp"
	"math"
	"slices"
)

// maxBatches bounds the batches of one node's period, so that a vessel of a few
// grams given by mistake ends in an error instead of in exhausted memory.
const maxBatches = 1_000_000

// supply is a source during planning. avail, last and qty are as planned in the first pass
// and as they turn out after the second.
type supply struct {
	src         Source
	node        int32
	avail, last int32
	qty         float64 // whole quantity
	left        float64 // not yet allocated in the first pass
	level       float64 // part made to restore the node's level
	cause       Cause   // why less than planned came of it, or later
	root        int32
	id          string
}

// need is a use of a node: a bucket of demands or an input of a batch.
type need struct {
	to    Consumer
	node  int32
	day   int32
	class uint8 // demand kind, or levelClass
	rank  int32 // position of the using node; buckets -1
	qty   float64
	open  float64
	cause Cause
}

// levelClass ranks needs that serve only levels.
const levelClass = demandKinds

// alloc is a peg: qty as planned, got what really came, used what was really consumed.
type alloc struct {
	supply, need   int32
	qty, got, used float64
}

// draft is a batch during planning; sources are FromBatch of it and FromByProduct.
type draft struct {
	Batch
	class     uint8
	out       int32   // supply of the main output
	by        []int32 // supplies of the by-products
	in        []int32 // needs of the inputs
	planStart int32
	state     uint8
	cause     Cause // why it is late or small
	root      int32
	lateCause Cause // why it is late, whatever made it small
	lateRoot  int32
}

type solver struct {
	p         *Problem
	calendars []calendar
	level     []int // low-level code
	order     []int // nodes by low-level code, ID
	rank      []int32
	fence     []int32 // first day new supply can help without any stock
	shifts    moved

	supplies   []supply
	ofNode     [][]int32 // supplies of a node
	needs      []need
	needOf     [][]int32 // needs of a node
	allocs     []alloc
	drafts     []draft
	purchases  []Purchase
	bucketNeed []int32
	members    csr

	allocOfNeed, allocOfSupply csr
}

// Solve plans the problem. The error is a *ProblemError. Solve does not keep or change p, except that
// the Result refers to it.
func Solve(p *Problem) (*Result, error) {
	if err := p.Check(); err != nil {
		return nil, err
	}
	s, err := plan(p, nil)
	if err != nil {
		return nil, err
	}
	s, err = refine(p, s)
	if err != nil {
		return nil, err
	}
	return s.result()
}

// plan makes one plan; `shifts` are the days that an earlier one found to be too early.
func plan(p *Problem, shifts moved) (*solver, error) {
	s := &solver{
		p: p, ofNode: make([][]int32, len(p.Nodes)), needOf: make([][]int32, len(p.Nodes)),
		calendars: make([]calendar, len(p.Nodes)), shifts: shifts,
	}
	for i := range p.Nodes {
		s.calendars[i] = p.calendar(&p.Nodes[i])
	}
	s.levels()
	s.fences()
	s.given()
	s.aggregate()
	for _, n := range s.order {
		if err := s.planNode(n); err != nil {
			return nil, err
		}
	}
	s.realize()
	s.trim()
	return s, nil
}

// levels computes low-level codes and the order in which nodes are planned.
func (s *solver) levels() {
	n := len(s.p.Nodes)
	s.level, s.order, s.rank = make([]int, n), make([]int, n), make([]int32, n)
	waiting := make([]int, n)
	each := func(i int, f func(j int)) {
		for _, in := range s.p.Nodes[i].Inputs {
			f(in.Node)
		}
		for _, by := range s.p.Nodes[i].ByProducts {
			f(by.Node)
		}
	}
	for i := range n {
		each(i, func(j int) { waiting[j]++ })
	}
	var ready []int
	for i := range n {
		s.order[i] = i
		if waiting[i] == 0 {
			ready = append(ready, i)
		}
	}
	for len(ready) > 0 {
		i := ready[len(ready)-1]
		ready = ready[:len(ready)-1]
		each(i, func(j int) {
			s.level[j] = max(s.level[j], s.level[i]+1)
			if waiting[j]--; waiting[j] == 0 {
				ready = append(ready, j)
			}
		})
	}
	slices.SortFunc(s.order, func(a, b int) int {
		return cmp.Or(cmp.Compare(s.level[a], s.level[b]), cmp.Compare(s.p.Nodes[a].ID, s.p.Nodes[b].ID))
	})
	for pos, i := range s.order {
		s.rank[i] = int32(pos)
	}
}

// fences computes for each node the first day on which new supply could be there if there
// were no stock at all of anything but recovered items.
func (s *solver) fences() {
	s.fence = make([]int32, len(s.p.Nodes))
	days := int32(s.p.Days)
	for _, i := range slices.Backward(s.order) {
		n := &s.p.Nodes[i]
		first := int32(0)
		for _, in := range n.Inputs {
			if s.p.Nodes[in.Node].Kind != Recovered {
				first = max(first, s.fence[in.Node])
			}
		}
		if n.Kind == Made || n.Kind == Pack {
			first += s.calendars[i].lead
		} else {
			first = s.calendars[i].availableFor(0)
		}
		s.fence[i] = min(first, days)
	}
}

// given enters the supplies of the problem.
func (s *solver) given() {
	for i := range s.p.Supplies {
		g := &s.p.Supplies[i]
		n := &s.p.Nodes[g.Node]
		last := int32(never)
		if g.Expires {
			last = int32(max(min(g.LastDay, never), -1))
		} else if g.Kind != OnHand {
			last = n.lastUsable(int32(g.Day))
		}
		s.addSupply(supply{
			src: Source{Kind: FromSupply, Index: i}, node: int32(g.Node), avail: int32(g.Day),
			last: last, qty: g.Quantity, left: g.Quantity, id: g.ID,
		})
	}
}

func (s *solver) addSupply(v supply) int32 {
	at := int32(len(s.supplies))
	s.supplies = append(s.supplies, v)
	s.ofNode[v.node] = append(s.ofNode[v.node], at)
	return at
}

// aggregate sums the demands into one need per node, day and kind.
func (s *solver) aggregate() {
	p := s.p
	days := p.Days
	buckets := len(p.Nodes) * days * demandKinds
	sums := make([]float64, buckets)
	for i := range p.Demands {
		d := &p.Demands[i]
		sums[p.bucket(d)] += d.Quantity
	}
	s.members = group(buckets, len(p.Demands), func(i int) int { return p.bucket(&p.Demands[i]) })
	s.bucketNeed = make([]int32, buckets)
	for b, q := range sums {
		s.bucketNeed[b] = -1
		if q == 0 {
			continue
		}
		s.bucketNeed[b] = s.addNeed(need{
			to: Consumer{Kind: ToDemand, Index: b}, node: int32(b / demandKinds / days),
			day: int32(b / demandKinds % days), class: uint8(b % demandKinds), rank: -1, qty: q, open: q,
		})
	}
}

// bucket returns the index of the demand's bucket.
func (p *Problem) bucket(d *Demand) int {
	return (int(d.Node)*p.Days+int(d.Day))*demandKinds + int(d.Kind)
}

func (s *solver) addNeed(v need) int32 {
	at := int32(len(s.needs))
	s.needs = append(s.needs, v)
	s.needOf[v.node] = append(s.needOf[v.node], at)
	return at
}

// before orders needs of one node and day as they are served.
func (s *solver) before(a, b int32) int {
	x, y := &s.needs[a], &s.needs[b]
	return cmp.Or(cmp.Compare(x.class, y.class), cmp.Compare(x.day, y.day), cmp.Compare(x.rank, y.rank), cmp.Compare(a, b))
}

// firstOut orders supplies of one node first expired, first out.
func (s *solver) firstOut(a, b int32) int {
	x, y := &s.supplies[a], &s.supplies[b]
	return cmp.Or(cmp.Compare(x.last, y.last), cmp.Compare(x.avail, y.avail),
		cmp.Compare(x.src.Kind, y.src.Kind), cmp.Compare(x.id, y.id), cmp.Compare(a, b))
}

// take serves a need from the usable supplies of the list on a day.
func (s *solver) take(list []int32, ni, day int32) {
	n := &s.needs[ni]
	for _, si := range list {
		if n.open == 0 {
			return
		}
		v := &s.supplies[si]
		if v.left == 0 || v.avail > day || v.last < day {
			continue
		}
		s.peg(si, ni)
	}
}

// peg gives a need as much of a supply as both allow.
func (s *solver) peg(si, ni int32) {
	v, n := &s.supplies[si], &s.needs[ni]
	q := min(v.left, n.open)
	if n.open-q <= relTol*n.qty {
		q = min(v.left, n.open)
		n.open = 0
	} else {
		n.open -= q
	}
	if v.left-q <= relTol*v.qty*1e-3 {
		v.left = 0
	} else {
		v.left -= q
	}
	if q > 0 {
		s.allocs = append(s.allocs, alloc{supply: si, need: ni, qty: q})
	}
}

func finite(v float64) bool { return !math.IsNaN(v) && !math.IsInf(v, 0) }
