package explode_test

import (
	"math"
	"slices"

	. "rondeau.internal/pkg/explode"
)

type reporter interface {
	Helper()
	Errorf(format string, args ...any)
}

func same(a, b float64) bool { return math.Abs(a-b) <= 1e-6*max(1, math.Abs(a), math.Abs(b)) }

// replay walks a plan through the calendar with nothing but the public result and the rules of
// the problem, and reports everything that could not happen in a kitchen.
func replay(t reporter, p *Problem, r *Result) {
	t.Helper()
	var sources []Source
	for i := range p.Supplies {
		sources = append(sources, Source{Kind: FromSupply, Index: i})
	}
	for i := range r.Purchases {
		sources = append(sources, Source{Kind: FromPurchase, Index: i})
	}
	for i, b := range r.Batches {
		sources = append(sources, Source{Kind: FromBatch, Index: i})
		for k := range p.Nodes[b.Node].ByProducts {
			sources = append(sources, Source{Kind: FromByProduct, Index: i, ByProduct: k})
		}
	}
	left := map[Source]float64{}
	for _, l := range r.Leftovers {
		left[l.Source] += l.Quantity
	}
	stock := make([][]float64, len(p.Nodes)) // end of day
	for n := range stock {
		stock[n] = make([]float64, p.Days)
	}
	add := func(node, day int, q float64) {
		for d := day; d < p.Days; d++ {
			stock[node][d] += q
		}
	}
	for _, s := range sources {
		node, from, last := life(p, r, s)
		sum := left[s]
		add(node, from, r.Quantity(s))
		for _, u := range r.Uses(s) {
			sum += u.Quantity
			if u.Quantity < 0 || u.Day < from || u.Day > last || u.Day >= p.Days {
				t.Errorf("%+v of %s is usable on days %d to %d, used on %d (%g)", s, p.Nodes[node].ID, from, last, u.Day, u.Quantity)
			}
			add(node, u.Day, -u.Quantity)
		}
		if last < p.Days-1 {
			add(node, max(last+1, from), -left[s])
		}
		if !same(sum, r.Quantity(s)) {
			t.Errorf("%+v: uses and leftover sum to %g, quantity is %g", s, sum, r.Quantity(s))
		}
		shares, rest := r.EndDemands(s)
		total := rest
		for _, sh := range shares {
			total += sh.Quantity
		}
		if !same(total, r.Quantity(s)) {
			t.Errorf("%+v: end demands and rest sum to %g, quantity is %g", s, total, r.Quantity(s))
		}
	}
	for n := range p.Nodes {
		for d := range p.Days {
			if !same(stock[n][d], r.Inventory(n, d)) || stock[n][d] < -1e-6 {
				t.Errorf("%s on day %d: stock %g, projected %g", p.Nodes[n].ID, d, stock[n][d], r.Inventory(n, d))
			}
		}
		b := r.Balance(n)
		if in, out := b.Given+b.Purchased+b.Made+b.Recovered, b.Consumed+b.Met+b.Ending+b.Expired; !same(in, out) {
			t.Errorf("%s: in %g, out %g: %+v", p.Nodes[n].ID, in, out, b)
		}
	}
	replayBatches(t, p, r)
	replayPurchases(t, p, r)
	replayDemands(t, p, r)
}

// life returns node, first and last day of a source.
func life(p *Problem, r *Result, s Source) (node, from, last int) {
	keeps := func(node, from int) int {
		if sl := p.Nodes[node].ShelfLife; sl > 0 {
			return from + sl - 1
		}
		return math.MaxInt32
	}
	switch s.Kind {
	case FromSupply:
		g := p.Supplies[s.Index]
		last = math.MaxInt32
		if g.Expires {
			last = g.LastDay
		} else if g.Kind != OnHand {
			last = keeps(g.Node, g.Day)
		}
		return g.Node, g.Day, last
	case FromPurchase:
		q := r.Purchases[s.Index]
		return q.Node, q.Delivery, keeps(q.Node, q.Delivery)
	case FromBatch:
		b := r.Batches[s.Index]
		return b.Node, b.Due, keeps(b.Node, b.Due)
	}
	b := r.Batches[s.Index]
	node = p.Nodes[b.Node].ByProducts[s.ByProduct].Node
	return node, b.Due, keeps(node, b.Due)
}

func replayBatches(t reporter, p *Problem, r *Result) {
	t.Helper()
	for i, b := range r.Batches {
		n := &p.Nodes[b.Node]
		lead := n.LeadDays
		if n.LeadHours > p.SameDayHours {
			lead += int(math.Ceil(n.LeadHours / 24))
		}
		if b.Start < 0 || b.Due-b.Start != lead || b.Due >= p.Days {
			t.Errorf("batch %d of %s: start %d, due %d, lead %d", i, n.ID, b.Start, b.Due, lead)
		}
		if !same(b.Planned, b.Nominal*n.Yield.Planned()) || !same(b.Planned, r.Quantity(Source{Kind: FromBatch, Index: i})) {
			t.Errorf("batch %d of %s: planned %g of nominal %g", i, n.ID, b.Planned, b.Nominal)
		}
		sizeAllowed(t, n, b.Nominal, b.Vessel)
		got := make([]float64, len(n.Inputs))
		for _, u := range r.BatchInputs(i) {
			got[u.Consumer.Input] += u.Quantity
			if u.Day != b.Start || u.Consumer.Index != i {
				t.Errorf("batch %d of %s: input use %+v, start %d", i, n.ID, u, b.Start)
			}
		}
		for k, in := range n.Inputs {
			if !same(got[k], b.Nominal*in.PerOne) {
				t.Errorf("batch %d of %s: takes %g of %s, formula says %g", i, n.ID, got[k], p.Nodes[in.Node].ID, b.Nominal*in.PerOne)
			}
		}
	}
}

func sizeAllowed(t reporter, n *Node, q float64, vessel int) {
	t.Helper()
	s := n.Sizing
	const slack = 1e-6
	if vessel >= 0 {
		if v := s.Vessels[vessel]; q < v.MinFill*(1-slack) || q > v.MaxFill*(1+slack) {
			t.Errorf("%s: %g outside vessel %+v", n.ID, q, v)
		}
	} else if len(s.Vessels) > 0 {
		t.Errorf("%s: no vessel chosen", n.ID)
	}
	if q < s.Minimum*(1-slack) || (s.Fixed > 0 && !same(q, s.Fixed)) {
		t.Errorf("%s: size %g breaks %+v", n.ID, q, s)
	}
	if s.Multiple > 0 {
		if k := q / s.Multiple; math.Abs(k-math.Round(k)) > slack*max(1, k) {
			t.Errorf("%s: %g is no multiple of %g", n.ID, q, s.Multiple)
		}
	}
}

func replayPurchases(t reporter, p *Problem, r *Result) {
	t.Helper()
	for _, q := range r.Purchases {
		n := &p.Nodes[q.Node]
		sizeAllowed(t, n, q.Quantity, -1)
		d := n.Delivery
		comes := slices.Contains(d.Days, q.Delivery) || d.Weekdays&(1<<((p.StartWeekday+q.Delivery)%7)) != 0 ||
			(d.Weekdays == 0 && len(d.Days) == 0)
		if !comes || d.Never || slices.Contains(d.Closed, q.Delivery) {
			t.Errorf("%s: no delivery on day %d", n.ID, q.Delivery)
		}
		if q.OrderDay < 0 || q.OrderDay > q.Delivery {
			t.Errorf("%s: ordered on day %d for %d", n.ID, q.OrderDay, q.Delivery)
		}
	}
}

func replayDemands(t reporter, p *Problem, r *Result) {
	t.Helper()
	short := map[int]float64{} // bucket -> late or missing
	lost := map[int]float64{}  // bucket -> missing
	for _, s := range r.Shortages {
		if s.Quantity <= 0 || s.Cause == NoCause || (s.Available >= 0 && s.Available <= s.Day) || s.Root < 0 {
			t.Errorf("shortage %+v", s)
		}
		if s.Level {
			continue
		}
		short[s.Bucket] += s.Quantity
		if s.Available < 0 {
			lost[s.Bucket] += s.Quantity
		}
	}
	want := map[int]float64{}
	for i, d := range p.Demands {
		want[r.Bucket(i)] += d.Quantity
	}
	for b, q := range want {
		served, onTime, members := 0.0, 0.0, 0
		for _, u := range r.Detail(b) {
			served += u.Quantity
			d := p.Demands[u.Consumer.Index]
			if u.Day < int(d.Day) || r.Bucket(u.Consumer.Index) != b {
				t.Errorf("use %+v before its demand %+v", u, d)
			}
			if u.Day == int(d.Day) {
				onTime += u.Quantity
			}
		}
		for _, i := range r.Demands(b) {
			members++
			_ = i
		}
		if !same(served+lost[b], q) || !same(onTime+short[b], q) || members == 0 {
			t.Errorf("bucket %d asks %g: served %g (on time %g), short %g, lost %g", b, q, served, onTime, short[b], lost[b])
		}
		sum := 0.0
		for _, s := range r.ShortDemands(b) {
			sum += s.Quantity
		}
		if !same(sum, short[b]) {
			t.Errorf("bucket %d: demands are short %g, the bucket %g", b, sum, short[b])
		}
	}
}
