package explode_test

import (
	"fmt"
	"math"
	"slices"
	"testing"

	"pgregory.net/rapid"

	. "rondeau.internal/pkg/explode"
)

// draw makes a random problem. Node i uses only nodes after it, so that there is no circle; producers of
// by-products take at least a day. plain leaves out what makes lot sizes depend on history: minimum
// sizes, vessels, spoilage, levels and periods.
func draw(t *rapid.T, plain bool) *Problem {
	p := &Problem{
		Days: rapid.IntRange(1, 12).Draw(t, "days"), StartWeekday: rapid.IntRange(0, 6).Draw(t, "weekday"),
		SameDayHours: float64(rapid.IntRange(0, 4).Draw(t, "same")),
	}
	quantity := func(name string, hi int) float64 { return float64(rapid.IntRange(1, hi*4).Draw(t, name)) / 4 }
	chance := func(name string, percent int) bool { return !plain && rapid.IntRange(1, 100).Draw(t, name) <= percent }
	count := rapid.IntRange(1, 7).Draw(t, "nodes")
	for i := range count {
		n := Node{ID: fmt.Sprintf("n%d", i), LeadDays: rapid.IntRange(0, 2).Draw(t, "lead")}
		if chance("spoils", 40) {
			n.ShelfLife = rapid.IntRange(1, 5).Draw(t, "life")
		}
		if chance("level", 30) {
			n.Safety = quantity("safety", 10)
			n.Pars = rapid.SliceOfN(rapid.Map(rapid.IntRange(0, 20), func(v int) float64 { return float64(v) }), 0, 4).Draw(t, "pars")
		}
		if rapid.IntRange(0, 2).Draw(t, "multiple") == 0 {
			n.Sizing.Multiple = quantity("of", 6)
		}
		if chance("period", 30) {
			n.Sizing.Period = rapid.IntRange(1, 4).Draw(t, "of days")
		}
		if chance("minimum", 30) {
			n.Sizing.Minimum = quantity("least", 10)
		}
		rest := count - i - 1
		switch kind := rapid.IntRange(0, 9).Draw(t, "kind"); {
		case rest == 0 || kind < 2:
			n.Kind = Purchased
			n.Delivery.Weekdays = Weekdays(rapid.IntRange(0, 127).Draw(t, "weekdays"))
			n.Delivery.Never = chance("never", 5)
			if chance("closed", 30) {
				n.Delivery.Closed = []int{rapid.IntRange(0, p.Days-1).Draw(t, "closed day")}
			}
		case kind == 2 && !plain:
			n.Kind, n.LeadDays, n.Sizing = Recovered, 0, Sizing{}
		default:
			cook(t, &n, i, rest, plain, quantity)
		}
		p.Nodes = append(p.Nodes, n)
	}
	drawDemands(t, p, quantity)
	for k := range rapid.IntRange(0, 6).Draw(t, "supplies") {
		s := Supply{ID: fmt.Sprint("s", k), Node: rapid.IntRange(0, count-1).Draw(t, "node"), Quantity: quantity("q", 30)}
		if !plain {
			s.Kind = SupplyKind(rapid.IntRange(0, 2).Draw(t, "sort"))
			s.Day = rapid.IntRange(0, p.Days-1).Draw(t, "day")
			if rapid.Bool().Draw(t, "expires") {
				s.Expires, s.LastDay = true, s.Day+rapid.IntRange(0, 6).Draw(t, "lasts")
			}
		}
		p.Supplies = append(p.Supplies, s)
	}
	return p
}

func cook(t *rapid.T, n *Node, i, rest int, plain bool, quantity func(string, int) float64) {
	n.Kind = Made
	n.LeadHours = float64(rapid.IntRange(0, 30).Draw(t, "hours"))
	others := rapid.Permutation(indexes(i+1, rest)).Draw(t, "others")
	inputs := rapid.IntRange(1, min(3, rest)).Draw(t, "inputs")
	for _, j := range others[:inputs] {
		n.Inputs = append(n.Inputs, Input{j, quantity("per one", 3)})
	}
	if plain {
		return
	}
	if inputs < rest && rapid.Bool().Draw(t, "by-product") {
		n.ByProducts = []ByProduct{{others[inputs], quantity("by", 1)}}
		n.LeadDays++
	}
	n.Yield = Yield{
		Mean: float64(rapid.IntRange(50, 110).Draw(t, "mean")) / 100, SD: float64(rapid.IntRange(0, 10).Draw(t, "sd")) / 100,
		Service: float64(rapid.IntRange(5, 95).Draw(t, "service")) / 100, Distribution: Distribution(rapid.IntRange(0, 1).Draw(t, "shape")),
	}
	switch rapid.IntRange(0, 3).Draw(t, "sizing") {
	case 0:
		n.Sizing.Vessels = []Vessel{{"small", 2, 12}, {"large", 15, 40}}
		n.Sizing.Multiple = min(n.Sizing.Multiple, 4)
	case 1:
		n.Sizing.Minimum, n.Sizing.Multiple, n.Sizing.Fixed = 0, 0, quantity("fixed", 20)
	}
}

func drawDemands(t *rapid.T, p *Problem, quantity func(string, int) float64) {
	for k := range rapid.IntRange(0, 15).Draw(t, "demands") {
		p.Demands = append(p.Demands, Demand{
			ID: fmt.Sprintf("d%02d", k), Node: int32(rapid.IntRange(0, len(p.Nodes)-1).Draw(t, "node")),
			Day: int32(rapid.IntRange(0, p.Days-1).Draw(t, "day")), Quantity: quantity("q", 20),
			Kind: DemandKind(rapid.IntRange(0, 2).Draw(t, "kind")), Priority: uint8(rapid.IntRange(0, 3).Draw(t, "priority")),
		})
	}
}

func indexes(from, n int) []int {
	out := make([]int, n)
	for i := range out {
		out[i] = from + i
	}
	return out
}

func solved(t *rapid.T, p *Problem) *Result {
	r, err := Solve(p)
	if err != nil {
		t.Fatal(err)
	}
	return r
}

func TestEveryPlanCanBeCarriedOutAndConservesQuantities(t *testing.T) {
	t.Parallel()
	rapid.Check(t, func(t *rapid.T) {
		p := draw(t, false)
		replay(t, p, solved(t, p))
	})
}

func TestDoubleDemandNeverGivesFewerBatches(t *testing.T) {
	t.Parallel()
	rapid.Check(t, func(t *rapid.T) {
		p := draw(t, true)
		p.Supplies = nil // stock is not doubled with the demand
		for i := range p.Nodes {
			// A multiple above other levels passes on needs that are not doubled: there the rule has exceptions.
			if n := &p.Nodes[i]; n.Kind == Made {
				n.Sizing = Sizing{Vessels: []Vessel{{"kettle", 0, 15}}}
			}
		}
		q := *p
		q.Demands = slices.Clone(p.Demands)
		for i := range q.Demands {
			q.Demands[i].Quantity *= 2
		}
		a, b := solved(t, p), solved(t, &q)
		if slices.ContainsFunc(b.Shortages, func(s Shortage) bool { return s.Available < 0 }) {
			return // what can never be supplied is not made: fewer batches are then right
		}
		if len(b.Batches) < len(a.Batches) || len(b.Purchases) < len(a.Purchases) {
			t.Errorf("%d batches and %d purchases for single, %d and %d for double demand",
				len(a.Batches), len(a.Purchases), len(b.Batches), len(b.Purchases))
		}
	})
}

func TestMoreStockNeverBuysOrMakesMore(t *testing.T) {
	t.Parallel()
	rapid.Check(t, func(t *rapid.T) {
		p := draw(t, true)
		q := *p
		q.Supplies = append(slices.Clone(p.Supplies), Supply{
			ID: "more", Node: rapid.IntRange(0, len(p.Nodes)-1).Draw(t, "of"), Quantity: float64(rapid.IntRange(1, 100).Draw(t, "more")) / 4,
		})
		a, b := solved(t, p), solved(t, &q)
		for n := range p.Nodes {
			x, y := a.Balance(n), b.Balance(n)
			// Inside the horizon more may become possible than was before, which is no contradiction.
			if len(a.Shortages) == 0 && (y.Purchased > x.Purchased+1e-6 || y.Made > x.Made+1e-6) {
				t.Errorf("%s: bought %g, made %g; with more stock %g, %g", p.Nodes[n].ID, x.Purchased, x.Made, y.Purchased, y.Made)
			}
		}
	})
}

func TestTheOrderOfTheInputDoesNotMatter(t *testing.T) {
	t.Parallel()
	rapid.Check(t, func(t *rapid.T) {
		p := draw(t, false)
		place := rapid.Permutation(indexes(0, len(p.Nodes))).Draw(t, "places") // old -> new
		q := &Problem{Days: p.Days, StartWeekday: p.StartWeekday, SameDayHours: p.SameDayHours, Nodes: make([]Node, len(p.Nodes))}
		for i, n := range p.Nodes {
			n.Inputs, n.ByProducts = slices.Clone(n.Inputs), slices.Clone(n.ByProducts)
			for k := range n.Inputs {
				n.Inputs[k].Node = place[n.Inputs[k].Node]
			}
			for k := range n.ByProducts {
				n.ByProducts[k].Node = place[n.ByProducts[k].Node]
			}
			q.Nodes[place[i]] = n
		}
		for _, d := range rapid.Permutation(p.Demands).Draw(t, "demands moved") {
			d.Node = int32(place[d.Node])
			q.Demands = append(q.Demands, d)
		}
		for _, s := range rapid.Permutation(p.Supplies).Draw(t, "supplies moved") {
			s.Node = place[s.Node]
			q.Supplies = append(q.Supplies, s)
		}
		a, b := solved(t, p), solved(t, q)
		if len(a.Batches) != len(b.Batches) || len(a.Purchases) != len(b.Purchases) || len(a.Shortages) != len(b.Shortages) {
			t.Fatalf("%d, %d, %d against %d, %d, %d batches, purchases, shortages", len(a.Batches), len(a.Purchases),
				len(a.Shortages), len(b.Batches), len(b.Purchases), len(b.Shortages))
		}
		for i, x := range a.Batches {
			if y := b.Batches[i]; place[x.Node] != y.Node || !same(x.Nominal, y.Nominal) || x.Start != y.Start || x.Vessel != y.Vessel {
				t.Errorf("batch %d: %+v against %+v", i, x, y)
			}
		}
		for n := range p.Nodes {
			for d := range p.Days {
				if !same(a.Inventory(n, d), b.Inventory(place[n], d)) {
					t.Errorf("%s on day %d: %g against %g", p.Nodes[n].ID, d, a.Inventory(n, d), b.Inventory(place[n], d))
				}
			}
		}
	})
}

// TestThePlanMatchesOneMadeUnitByUnit compares with a planner that knows only single units: each
// unit of demand takes the lot that expires first, or has one unit made or bought for it. Demands lie
// beyond the leads of the whole chain (at most three days), so nothing is late.
func TestThePlanMatchesOneMadeUnitByUnit(t *testing.T) {
	t.Parallel()
	rapid.Check(t, func(t *rapid.T) {
		p := &Problem{Days: rapid.IntRange(4, 10).Draw(t, "days")}
		const count = 4
		for i := range count {
			n := Node{ID: fmt.Sprint("n", i), Kind: Purchased}
			if i < count-1 {
				n.Kind, n.LeadDays = Made, rapid.IntRange(0, 1).Draw(t, "lead")
				n.Inputs = []Input{{i + 1, float64(rapid.IntRange(1, 2).Draw(t, "per one"))}}
			}
			p.Nodes = append(p.Nodes, n)
		}
		for range rapid.IntRange(1, 5).Draw(t, "demands") {
			p.Demands = append(p.Demands, Demand{
				Node: int32(rapid.IntRange(0, count-1).Draw(t, "node")), Day: int32(rapid.IntRange(3, p.Days-1).Draw(t, "day")),
				Quantity: float64(rapid.IntRange(1, 5).Draw(t, "q")),
			})
		}
		for k := range rapid.IntRange(0, 4).Draw(t, "lots") {
			p.Supplies = append(p.Supplies, Supply{
				ID: fmt.Sprint("s", k), Node: rapid.IntRange(0, count-1).Draw(t, "node"), Quantity: float64(rapid.IntRange(1, 6).Draw(t, "q")),
				Expires: true, LastDay: rapid.IntRange(0, p.Days).Draw(t, "last"),
			})
		}
		r := solved(t, p)
		got := make([]map[int]float64, count)
		for n := range got {
			got[n] = map[int]float64{}
		}
		for _, b := range r.Batches {
			got[b.Node][b.Due] += b.Nominal
		}
		for _, q := range r.Purchases {
			got[q.Node][q.Delivery] += q.Quantity
		}
		for n, want := range unitByUnit(p) {
			for d := range p.Days {
				if math.Abs(got[n][d]-float64(want[d])) > 1e-6 {
					t.Errorf("%s on day %d: %g, unit by unit %d", p.Nodes[n].ID, d, got[n][d], want[d])
				}
			}
		}
	})
}

// unitByUnit returns how many units of each node of a chain come on each day.
func unitByUnit(p *Problem) [][]int {
	wanted := make([][]int, len(p.Nodes)) // days, one entry per unit
	made := make([][]int, len(p.Nodes))
	for _, d := range p.Demands {
		for range int(d.Quantity) {
			wanted[d.Node] = append(wanted[d.Node], int(d.Day))
		}
	}
	for n := range p.Nodes {
		made[n] = make([]int, p.Days)
		var lots []int // last day, one entry per unit
		for _, s := range p.Supplies {
			for range int(s.Quantity) {
				if s.Node == n {
					lots = append(lots, s.LastDay)
				}
			}
		}
		slices.Sort(lots)
		slices.Sort(wanted[n])
		for _, day := range wanted[n] {
			at := slices.IndexFunc(lots, func(last int) bool { return last >= day })
			if at >= 0 {
				lots = slices.Delete(lots, at, at+1)
				continue
			}
			due := max(day, p.Nodes[n].LeadDays)
			made[n][due]++
			for _, in := range p.Nodes[n].Inputs {
				for range int(in.PerOne) {
					wanted[in.Node] = append(wanted[in.Node], due-p.Nodes[n].LeadDays)
				}
			}
		}
	}
	return made
}
