package explode

import (
	"cmp"
	"fmt"
	"math"
	"slices"
)

// result renumbers batches and purchases, drops empty ones, and draws up the accounts.
func (s *solver) result() (*Result, error) {
	r := &Result{
		LowLevel: s.level, p: s.p, supplies: s.supplies, needs: s.needs, allocs: s.allocs,
		allocOfNeed: s.allocOfNeed, allocOfSupply: s.allocOfSupply, bucketNeed: s.bucketNeed, members: s.members,
		balances:  make([]Balance, len(s.p.Nodes)),
		inventory: make([]float64, len(s.p.Nodes)*s.p.Days),
	}
	s.renumber(r)
	r.account()
	r.shortages(s)
	if err := r.sound(); err != nil {
		return nil, err
	}
	return r, nil
}

// renumber fills Batches and Purchases and points sources and consumers to the new indexes.
func (s *solver) renumber(r *Result) {
	kept := make([]int, 0, len(s.drafts))
	for i := range s.drafts {
		if s.drafts[i].Nominal > 0 {
			kept = append(kept, i)
		}
	}
	slices.SortStableFunc(kept, func(a, b int) int {
		x, y := &s.drafts[a], &s.drafts[b]
		return cmp.Or(cmp.Compare(s.rank[x.Node], s.rank[y.Node]), cmp.Compare(x.Due, y.Due), cmp.Compare(a, b))
	})
	batchAt := make([]int, len(s.drafts))
	for i := range batchAt {
		batchAt[i] = -1
	}
	for _, i := range kept {
		batchAt[i] = len(r.Batches)
		r.Batches = append(r.Batches, s.drafts[i].Batch)
	}
	purchaseAt := make([]int, len(s.purchases))
	for i, p := range s.purchases {
		purchaseAt[i] = -1
		if p.Quantity > 0 {
			purchaseAt[i] = len(r.Purchases)
			r.Purchases = append(r.Purchases, p)
		}
	}
	r.sourceOf[FromSupply] = make([]int32, len(s.p.Supplies))
	r.sourceOf[FromPurchase] = make([]int32, len(r.Purchases))
	r.sourceOf[FromBatch] = make([]int32, len(r.Batches))
	for i := range r.supplies {
		src := &r.supplies[i].src
		switch src.Kind {
		case FromPurchase:
			src.Index = purchaseAt[src.Index]
		case FromBatch, FromByProduct:
			src.Index = batchAt[src.Index]
		}
		if src.Kind < sourceKinds && src.Index >= 0 {
			r.sourceOf[src.Kind][src.Index] = int32(i)
		}
	}
	r.inputNeeds = make([][]int32, len(r.Batches))
	r.byProducts = make([][]int32, len(r.Batches))
	for i := range s.drafts {
		if at := batchAt[i]; at >= 0 {
			r.inputNeeds[at], r.byProducts[at] = s.drafts[i].in, s.drafts[i].by
		}
	}
	for i := range r.needs {
		if to := &r.needs[i].to; to.Kind == ToBatch {
			to.Index = batchAt[to.Index]
		}
	}
}

// useDay returns the day on which a peg is used.
func (r *Result) useDay(a *alloc) int32 {
	n := &r.needs[a.need]
	if n.to.Kind == ToBatch {
		return int32(r.Batches[n.to.Index].Start)
	}
	return max(n.day, r.supplies[a.supply].avail)
}

// account computes balances, leftovers and the inventory of each day.
func (r *Result) account() {
	days := r.p.Days
	at := func(node, day int32) *float64 { return &r.inventory[int(node)*days+int(day)] }
	for i := range r.supplies {
		v := &r.supplies[i]
		if v.qty == 0 {
			continue
		}
		b := &r.balances[v.node]
		switch v.src.Kind {
		case FromSupply:
			b.Given += v.qty
		case FromPurchase:
			b.Purchased += v.qty
		case FromBatch:
			b.Made += v.qty
		case FromByProduct:
			b.Recovered += v.qty
		}
		left := v.qty
		*at(v.node, v.avail) += v.qty
		for _, ai := range r.allocOfSupply.row(i) {
			a := &r.allocs[ai]
			if a.used == 0 {
				continue
			}
			left -= a.used
			*at(v.node, r.useDay(a)) -= a.used
			if r.needs[a.need].to.Kind == ToBatch {
				b.Consumed += a.used
			} else {
				b.Met += a.used
			}
		}
		if left <= relTol*v.qty {
			continue
		}
		expired := int(v.last) < days-1
		if expired {
			b.Expired += left
			*at(v.node, max(v.last+1, v.avail)) -= left
		} else {
			b.Ending += left
		}
		r.Leftovers = append(r.Leftovers, Leftover{
			Source: v.src, Node: int(v.node), Quantity: left, Expired: expired, LastDay: min(int(v.last), days),
		})
	}
	for n := range r.p.Nodes {
		sum, scale := 0.0, 0.0
		row := r.inventory[n*days : (n+1)*days]
		for d, v := range row {
			sum += v
			scale = max(scale, math.Abs(sum))
			if math.Abs(sum) <= relTol*scale {
				row[d] = 0
			} else {
				row[d] = sum
			}
		}
	}
}

// shortages lists unmet buckets and levels.
func (r *Result) shortages(s *solver) {
	days := r.p.Days
	for _, n := range s.order {
		from := len(r.Shortages)
		for b := n * days * demandKinds; b < (n+1)*days*demandKinds; b++ {
			if ni := r.bucketNeed[b]; ni >= 0 {
				r.short(s, ni)
			}
		}
		r.levelGaps(s, n)
		slices.SortStableFunc(r.Shortages[from:], func(a, b Shortage) int { return cmp.Compare(a.Day, b.Day) })
	}
}

// short lists what of one bucket is late or missing.
func (r *Result) short(s *solver, ni int32) {
	n := &r.needs[ni]
	first := len(r.Shortages)
	missing := n.qty
	add := func(q float64, available int, c Cause, root int32) {
		for i := first; i < len(r.Shortages); i++ {
			if sh := &r.Shortages[i]; sh.Available == available && sh.Cause == c && sh.Root == int(root) {
				sh.Quantity += q
				return
			}
		}
		r.Shortages = append(r.Shortages, Shortage{
			Node: int(n.node), Day: int(n.day), Kind: DemandKind(n.class), Bucket: n.to.Index,
			Quantity: q, Available: available, Cause: c, Root: int(root),
		})
	}
	for _, ai := range r.allocOfNeed.row(int(ni)) {
		a := &r.allocs[ai]
		v := &r.supplies[a.supply]
		missing -= a.got
		if lost := a.qty - a.got; lost > relTol*n.qty {
			add(lost, -1, v.cause, v.root)
			missing -= lost
		}
		if a.got > relTol*n.qty && v.avail > n.day {
			c, root := s.lateFinal(v, n)
			add(a.got, int(v.avail), c, root)
		}
	}
	if missing > 2*relTol*n.qty {
		add(missing, -1, n.cause, n.node)
	}
}

// lateFinal is late for a demand, after renumbering.
func (s *solver) lateFinal(v *supply, n *need) (Cause, int32) {
	switch v.src.Kind {
	case FromSupply:
		return SupplyLate, v.node
	case FromPurchase:
		return s.calendars[v.node].lateness(n.day), v.node
	}
	if v.cause != NoCause {
		return v.cause, v.root
	}
	return LeadTime, v.node
}

// levelGaps lists each run of days on which a node's stock is below its level.
func (r *Result) levelGaps(s *solver, n int) {
	node := &r.p.Nodes[n]
	open := -1
	for d := range r.p.Days {
		target := node.level(d)
		gap := target - r.Inventory(n, d)
		if gap <= 4*relTol*max(target, 1) {
			if open >= 0 {
				r.Shortages[open].Available = d
				s.explainLevel(&r.Shortages[open])
				open = -1
			}
			continue
		}
		if open < 0 {
			open = len(r.Shortages)
			r.Shortages = append(r.Shortages, Shortage{
				Node: n, Day: d, Level: true, Bucket: -1, Available: -1,
				Cause: s.calendars[n].lateness(int32(d)), Root: n,
			})
		}
		r.Shortages[open].Quantity = max(r.Shortages[open].Quantity, gap)
	}
}

// explainLevel names what held up the batch that ends a gap, if anything did.
func (s *solver) explainLevel(gap *Shortage) {
	for _, si := range s.ofNode[gap.Node] {
		v := &s.supplies[si]
		if v.src.Kind == FromBatch && v.qty > 0 && v.cause != NoCause && int(v.avail) > gap.Day && int(v.avail) <= gap.Available {
			gap.Cause, gap.Root = v.cause, int(v.root)
		}
	}
}

// sound guards the boundary of the package: sizes are finite.
func (r *Result) sound() error {
	for i := range r.Batches {
		b := &r.Batches[i]
		if !finite(b.Nominal) || !finite(b.Planned) || !finite(b.Expected) {
			return overflow(r.p, b.Node)
		}
	}
	for i := range r.Purchases {
		if !finite(r.Purchases[i].Quantity) {
			return overflow(r.p, r.Purchases[i].Node)
		}
	}
	for i, v := range r.inventory {
		if !finite(v) {
			return overflow(r.p, i/r.p.Days)
		}
	}
	return nil
}

func overflow(p *Problem, node int) error {
	return &ProblemError{Faults: []Fault{{
		Path:    fmt.Sprintf("nodes[%d] (%s)", node, p.Nodes[node].ID),
		Message: "its quantities grow beyond what can be computed; check inputs, yields and demands",
	}}}
}
