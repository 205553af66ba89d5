package explode

import (
	"fmt"
	"slices"
)

// window gathers needs that one new supply will serve.
type window struct {
	open       bool
	avail, end int32
	needs      []int32
	level      float64
	firstLevel int32 // day the level was first missed
	cause      Cause // why avail is later than it should be, as an earlier round found
	root       int32
}

// planner plans one node.
type planner struct {
	*solver
	n       int
	node    *Node
	cal     *calendar
	stock   []int32 // supplies, first out first
	win     window
	backlog []int32 // late needs that no new supply will serve in the horizon
}

func (s *solver) planNode(n int) error {
	pl := planner{solver: s, n: n, node: &s.p.Nodes[n], cal: &s.calendars[n]}
	needs := s.needOf[n]
	slices.SortFunc(s.ofNode[n], s.firstOut)
	pl.stock = slices.Clone(s.ofNode[n])
	slices.SortFunc(needs, s.before)
	for _, ni := range needs { // ration inside the fence, by class and then by day
		if s.needs[ni].day < s.fence[n] {
			s.take(pl.stock, ni, s.needs[ni].day)
		}
	}
	byDay := group(s.p.Days, len(needs), func(i int) int { return int(s.needs[needs[i]].day) })
	for day := range int32(s.p.Days) {
		rows := byDay.row(int(day))
		today := make([]int32, len(rows))
		for i, r := range rows {
			today[i] = needs[r]
		}
		if err := pl.day(day, today); err != nil {
			return err
		}
	}
	return nil
}

// day plans one day of the node.
func (pl *planner) day(day int32, today []int32) error {
	waiting := pl.backlog
	if pl.win.open && day < pl.win.avail {
		waiting = slices.Concat(waiting, pl.win.needs)
	}
	turn := slices.Concat(waiting, today)
	slices.SortFunc(turn, pl.before)
	for _, ni := range turn {
		pl.take(pl.stock, ni, day)
	}
	for _, ni := range today {
		if pl.needs[ni].open > 0 {
			pl.miss(ni, day)
		}
	}
	pl.restore(day)
	pl.stock = slices.DeleteFunc(pl.stock, func(si int32) bool {
		return pl.supplies[si].left == 0 || pl.supplies[si].last <= day
	})
	if pl.win.open && day == pl.win.end {
		return pl.flush()
	}
	return nil
}

// miss enters an unmet need into the window, opening one if there is none.
func (pl *planner) miss(ni, day int32) {
	if !pl.win.open {
		avail, cause, root := pl.shifts.availableFor(pl.n, day, pl.cal)
		if avail == never {
			pl.needs[ni].cause = pl.cal.lateness(day)
			pl.backlog = append(pl.backlog, ni)
			return
		}
		pl.openWindow(day, avail)
		pl.win.cause, pl.win.root = cause, root
	}
	pl.win.needs = append(pl.win.needs, ni)
}

func (pl *planner) openWindow(day, avail int32) {
	first := max(day, avail)
	end := first + int32(min(max(pl.node.Sizing.Period, 1), pl.p.Days)) - 1
	end = min(end, pl.node.lastUsable(avail), int32(pl.p.Days)-1)
	pl.win = window{open: true, avail: avail, end: end, root: int32(pl.n)}
}

// restore asks for what is missing to the level at the end of a day.
func (pl *planner) restore(day int32) {
	target := pl.node.level(int(day))
	if target == 0 || day < pl.fence[pl.n] {
		return
	}
	have := pl.win.level
	for _, si := range pl.stock {
		if v := &pl.supplies[si]; v.avail <= day && v.last >= day {
			have += v.left
		}
	}
	gap := target - have
	if gap <= relTol*target {
		return
	}
	if !pl.win.open {
		avail, _, _ := pl.shifts.availableFor(pl.n, day, pl.cal)
		if avail > day {
			return
		}
		pl.openWindow(day, avail)
	}
	if pl.win.level == 0 {
		pl.win.firstLevel = day
	}
	pl.win.level += gap
}

// flush turns the window into batches or a purchase.
func (pl *planner) flush() error {
	w := pl.win
	pl.win = window{}
	total := w.level
	w.needs = slices.DeleteFunc(w.needs, func(ni int32) bool { return pl.needs[ni].open == 0 })
	for _, ni := range w.needs {
		total += pl.needs[ni].open
	}
	if total == 0 {
		return nil
	}
	slices.SortFunc(w.needs, pl.before)
	if !finite(total) {
		return overflow(pl.p, pl.n)
	}
	if pl.node.Kind == Purchased {
		pl.buy(&w, total)
		return nil
	}
	nominal := total / pl.node.Yield.Planned()
	if !finite(nominal) {
		return overflow(pl.p, pl.n)
	}
	if k := pl.node.Sizing.count(nominal); k > maxBatches {
		return &ProblemError{Faults: []Fault{{
			Path: fmt.Sprintf("nodes[%d] (%s).sizing", pl.n, pl.node.ID),
			Message: fmt.Sprintf("needs %.0f batches for day %d, above %d; give larger vessels or check the demands",
				k, w.avail, maxBatches),
		}}}
	}
	for _, sz := range pl.node.Sizing.split(nominal) {
		if err := pl.make(&w, sz); err != nil {
			return err
		}
	}
	return nil
}

// serve pegs a new supply to the window's needs and returns the most urgent class and first day of them.
func (pl *planner) serve(w *window, si int32) (class uint8, wanted int32) {
	class, wanted = levelClass, never
	for len(w.needs) > 0 && pl.supplies[si].left > 0 {
		n := &pl.needs[w.needs[0]]
		if n.open > 0 {
			pl.peg(si, w.needs[0])
			class, wanted = min(class, n.class), min(wanted, n.day)
		}
		if n.open == 0 {
			w.needs = w.needs[1:]
		}
	}
	v := &pl.supplies[si]
	if q := min(v.left, w.level); q > 0 {
		v.level += q
		w.level -= q
		wanted = min(wanted, w.firstLevel)
	}
	if wanted == never {
		wanted = v.avail
	}
	return class, wanted
}

// buy places or enlarges the purchase of the window's delivery.
func (pl *planner) buy(w *window, total float64) {
	last := len(pl.purchases) - 1
	if last >= 0 && pl.purchases[last].Node == pl.n && pl.purchases[last].Delivery == int(w.avail) {
		si := pl.ofNode[pl.n][len(pl.ofNode[pl.n])-1]
		v := &pl.supplies[si]
		extra := roundUp(total, pl.node.Sizing.Multiple)
		v.qty += extra
		v.left += extra
		pl.purchases[last].Quantity = v.qty
		_, wanted := pl.serve(w, si)
		pl.stock = pl.insert(si) // it left the list if it was used up before
		pl.purchases[last].Wanted = min(pl.purchases[last].Wanted, int(wanted))
		return
	}
	q := pl.node.Sizing.one(total).nominal
	si := pl.addSupply(supply{
		src: Source{Kind: FromPurchase, Index: len(pl.purchases)}, node: int32(pl.n), avail: w.avail,
		last: pl.node.lastUsable(w.avail), qty: q, left: q,
	})
	_, wanted := pl.serve(w, si)
	pl.purchases = append(pl.purchases, Purchase{
		Node: pl.n, Quantity: q, OrderDay: int(w.avail - pl.cal.lead), Delivery: int(w.avail), Wanted: int(wanted),
	})
	pl.stock = pl.insert(si)
}

// insert puts a supply into its place in the stock list, unless it is used up or there already.
func (pl *planner) insert(si int32) []int32 {
	if pl.supplies[si].left == 0 {
		return pl.stock
	}
	at, found := slices.BinarySearchFunc(pl.stock, si, pl.firstOut)
	if found {
		return pl.stock
	}
	return slices.Insert(pl.stock, at, si)
}

// make drafts one batch, its output, input needs and by-products.
func (pl *planner) make(w *window, sz size) error {
	bi := len(pl.drafts)
	n := pl.node
	for _, in := range n.Inputs {
		if !finite(sz.nominal * in.PerOne) {
			return overflow(pl.p, in.Node)
		}
	}
	for _, by := range n.ByProducts {
		if !finite(sz.nominal * by.PerOne) {
			return overflow(pl.p, by.Node)
		}
	}
	out := sz.nominal * n.Yield.Planned()
	si := pl.addSupply(supply{
		src: Source{Kind: FromBatch, Index: bi}, node: int32(pl.n), avail: w.avail,
		last: n.lastUsable(w.avail), qty: out, left: out,
	})
	class, wanted := pl.serve(w, si)
	pl.stock = pl.insert(si)
	start := w.avail - pl.cal.lead
	d := draft{
		Batch: Batch{
			Node: pl.n, Nominal: sz.nominal, Asked: sz.nominal, Vessel: sz.vessel, Start: int(start), Due: int(w.avail),
			Wanted: int(wanted), Kind: DemandKind(class), ForLevel: class == levelClass,
		},
		class: class, out: si, planStart: start, cause: w.cause, root: w.root,
	}
	if class == levelClass {
		d.Kind = Par
	}
	for i, in := range n.Inputs {
		q := sz.nominal * in.PerOne
		d.in = append(d.in, pl.addNeed(need{
			to: Consumer{Kind: ToBatch, Index: bi, Input: i}, node: int32(in.Node), day: start, class: class,
			rank: pl.rank[pl.n], qty: q, open: q,
		}))
	}
	for i, by := range n.ByProducts {
		q := sz.nominal * by.PerOne
		d.by = append(d.by, pl.addSupply(supply{
			src: Source{Kind: FromByProduct, Index: bi, ByProduct: i}, node: int32(by.Node), avail: w.avail,
			last: pl.p.Nodes[by.Node].lastUsable(w.avail), qty: q, left: q,
		}))
	}
	pl.drafts = append(pl.drafts, d)
	return nil
}
