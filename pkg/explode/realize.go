package explode

import "slices"

// Draft states of the second pass.
const (
	untouched uint8 = iota
	inWork
	settled
)

// realize is the second pass: it follows the pegs from what there is up to the
// demands and finds when each batch can really start and how large it can be.
func (s *solver) realize() {
	s.allocOfNeed = group(len(s.needs), len(s.allocs), func(i int) int { return int(s.allocs[i].need) })
	s.allocOfSupply = group(len(s.supplies), len(s.allocs), func(i int) int { return int(s.allocs[i].supply) })
	for i := range s.supplies {
		s.supplies[i].root = s.supplies[i].node
		if k := s.supplies[i].src.Kind; k == FromSupply || k == FromPurchase {
			s.deal(int32(i))
		}
	}
	for i := range s.drafts {
		s.settle(i)
	}
	for i := range s.allocs {
		a := &s.allocs[i]
		if s.needs[a.need].to.Kind == ToDemand {
			a.used = a.got
		}
	}
}

// deal hands what there is of a supply to its pegs, most urgent first.
func (s *solver) deal(si int32) {
	v := &s.supplies[si]
	row := s.allocOfSupply.row(int(si))
	planned := 0.0
	for _, ai := range row {
		planned += s.allocs[ai].qty
	}
	if planned <= v.qty*(1+relTol) {
		for _, ai := range row {
			s.allocs[ai].got = s.allocs[ai].qty
		}
		return
	}
	order := slices.Clone(row)
	slices.SortStableFunc(order, func(a, b int32) int { return s.before(s.allocs[a].need, s.allocs[b].need) })
	rest := v.qty
	for _, ai := range order {
		a := &s.allocs[ai]
		a.got = min(a.qty, rest)
		rest -= a.got
	}
}

// settle fixes start and size of a draft, after those of all drafts that feed it.
func (s *solver) settle(bi int) {
	d := &s.drafts[bi]
	if d.state != untouched {
		return
	}
	d.state = inWork
	node := &s.p.Nodes[d.Node]
	lead := s.calendars[d.Node].lead
	start := d.planStart
	for _, ni := range d.in {
		for _, ai := range s.allocOfNeed.row(int(ni)) {
			v := &s.supplies[s.allocs[ai].supply]
			if v.src.Kind == FromBatch || v.src.Kind == FromByProduct {
				s.settle(v.src.Index)
			}
			if s.drafting(v) || s.allocs[ai].got == 0 || v.avail+lead >= int32(s.p.Days) {
				continue // comes never, or too late for this batch
			}
			if v.avail > start {
				start = v.avail
				d.cause, d.root = s.late(ai)
				d.lateCause, d.lateRoot = d.cause, d.root
			}
		}
	}
	share := 1.0
	for _, ni := range d.in {
		n := &s.needs[ni]
		got := s.arrived(ni, start)
		if f := got / n.qty; f < 1-2*relTol && f < share {
			share = f
			d.cause, d.root = s.missing(ni, start)
		}
	}
	d.Start, d.Due = int(start), int(start+lead)
	if share < 1 {
		sz := node.Sizing.atMost(d.Nominal * share)
		if sz.nominal == 0 && share > 2*relTol {
			d.cause = BelowMinimum
		}
		d.Nominal, d.Vessel = sz.nominal, sz.vessel
	}
	s.consume(d, start)
	s.produce(d)
	d.state = settled
}

// drafting reports whether the supply comes from a batch that is being settled, that is, from
// the very batch that asks for it.
func (s *solver) drafting(v *supply) bool {
	return (v.src.Kind == FromBatch || v.src.Kind == FromByProduct) && s.drafts[v.src.Index].state == inWork
}

// arrived returns how much of a need is there and usable on a day.
func (s *solver) arrived(ni, day int32) float64 {
	sum := 0.0
	for _, ai := range s.allocOfNeed.row(int(ni)) {
		if v := &s.supplies[s.allocs[ai].supply]; !s.drafting(v) && v.avail <= day && v.last >= day {
			sum += s.allocs[ai].got
		}
	}
	return sum
}

// consume draws the inputs of a draft from its pegs, first out first.
func (s *solver) consume(d *draft, start int32) {
	for i, ni := range d.in {
		rest := d.Nominal * s.p.Nodes[d.Node].Inputs[i].PerOne
		row := slices.Clone(s.allocOfNeed.row(int(ni)))
		slices.SortFunc(row, func(a, b int32) int { return s.firstOut(s.allocs[a].supply, s.allocs[b].supply) })
		for _, ai := range row {
			a := &s.allocs[ai]
			v := &s.supplies[a.supply]
			a.used = 0
			if s.drafting(v) || v.avail > start || v.last < start {
				continue
			}
			a.used = min(a.got, rest)
			rest -= a.used
		}
	}
}

// produce sets what a draft gives and deals it out.
func (s *solver) produce(d *draft) {
	node := &s.p.Nodes[d.Node]
	d.Planned = d.Nominal * node.Yield.Planned()
	d.Expected = d.Nominal * node.Yield.Expected()
	due := int32(d.Due)
	set := func(si int32, q float64) {
		v := &s.supplies[si]
		v.qty, v.avail, v.last = q, due, s.p.Nodes[v.node].lastUsable(due)
		v.cause, v.root = d.cause, d.root
		s.deal(si)
	}
	set(d.out, d.Planned)
	for i, si := range d.by {
		set(si, d.Nominal*node.ByProducts[i].PerOne)
	}
}

// late returns why the supply of a peg comes after the day it was needed.
func (s *solver) late(ai int32) (Cause, int32) {
	a := &s.allocs[ai]
	v := &s.supplies[a.supply]
	switch v.src.Kind {
	case FromSupply:
		return SupplyLate, v.node
	case FromPurchase:
		return s.calendars[v.node].lateness(s.needs[a.need].day), v.node
	}
	if v.cause != NoCause {
		return v.cause, v.root
	}
	return LeadTime, int32(s.drafts[v.src.Index].Node)
}

// missing returns why a need is not whole on a day: the peg that brings least, or that nothing was found.
func (s *solver) missing(ni, day int32) (Cause, int32) {
	n := &s.needs[ni]
	cause, root, worst := n.cause, n.node, n.open
	if cause == NoCause {
		cause = NoSource
	}
	for _, ai := range s.allocOfNeed.row(int(ni)) {
		a := &s.allocs[ai]
		v := &s.supplies[a.supply]
		var c Cause
		r, gap := v.node, a.qty
		switch {
		case s.drafting(v):
			c = WaitsForItself
		case a.got < a.qty:
			c, r, gap = v.cause, v.root, a.qty-a.got
		case v.last < day:
			c = InputExpires
		case v.avail > day:
			c, r = s.late(ai)
		default:
			continue
		}
		if gap > worst {
			cause, root, worst = c, r, gap
		}
	}
	return cause, root
}

// trim takes back what batches that became smaller no longer need, from the top down.
func (s *solver) trim() {
	byNode := group(len(s.p.Nodes), len(s.drafts), func(i int) int { return s.drafts[i].Node })
	for _, n := range s.order {
		for _, bi := range byNode.row(n) {
			s.trimBatch(&s.drafts[bi])
		}
	}
	for i := range s.supplies {
		v := &s.supplies[i]
		if v.src.Kind != FromPurchase {
			continue
		}
		if keep, cut := s.wanted(int32(i)); cut {
			v.qty = min(v.qty, keep)
			if keep > 0 {
				v.qty = min(s.purchases[v.src.Index].Quantity, s.p.Nodes[v.node].Sizing.one(keep).nominal)
			}
			s.purchases[v.src.Index].Quantity = v.qty
		}
	}
}

// wanted returns how much of a supply is used or held for a level, and whether that is less than was pegged.
func (s *solver) wanted(si int32) (q float64, cut bool) {
	pegged := 0.0
	for _, ai := range s.allocOfSupply.row(int(si)) {
		q += s.allocs[ai].used
		pegged += s.allocs[ai].qty
	}
	cut = q < pegged*(1-2*relTol)
	return q + s.supplies[si].level, cut
}

func (s *solver) trimBatch(d *draft) {
	node := &s.p.Nodes[d.Node]
	q, cut := s.wanted(d.out)
	if !cut || d.Nominal == 0 {
		return
	}
	nominal := q / node.Yield.Planned()
	for i, si := range d.by {
		used, _ := s.wanted(si)
		nominal = max(nominal, used/node.ByProducts[i].PerOne)
	}
	if nominal >= d.Nominal {
		return
	}
	sz := size{vessel: -1}
	if nominal > 0 {
		sz = node.Sizing.one(nominal)
	}
	if sz.nominal >= d.Nominal {
		return
	}
	d.Nominal, d.Vessel = sz.nominal, sz.vessel
	s.consume(d, int32(d.Start))
	d.Planned = d.Nominal * node.Yield.Planned()
	d.Expected = d.Nominal * node.Yield.Expected()
	s.supplies[d.out].qty = d.Planned
	for i, si := range d.by {
		s.supplies[si].qty = d.Nominal * node.ByProducts[i].PerOne
	}
}
