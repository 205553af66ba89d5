package explode_test

import (
	"math"
	"testing"

	. "rondeau.internal/pkg/explode"
)

func near(t *testing.T, what string, got, want float64) {
	t.Helper()
	if math.Abs(got-want) > 1e-9*max(1, math.Abs(want)) {
		t.Errorf("%s = %.12g, want %.12g", what, got, want)
	}
}

func mustSolve(t *testing.T, p *Problem) *Result {
	t.Helper()
	r, err := Solve(p)
	if err != nil {
		t.Fatal(err)
	}
	replay(t, p, r)
	return r
}

// line is a batch or purchase by what matters in the worked examples.
type line struct {
	node, start, due int
	qty              float64
}

func batchLines(r *Result) []line {
	var out []line
	for _, b := range r.Batches {
		out = append(out, line{b.Node, b.Start, b.Due, b.Nominal})
	}
	return out
}

func wantLines(t *testing.T, got, want []line) {
	t.Helper()
	if len(got) != len(want) {
		t.Fatalf("got %d lines %v, want %d %v", len(got), got, len(want), want)
	}
	for i := range got {
		if g, w := got[i], want[i]; g.node != w.node || g.start != w.start || g.due != w.due || math.Abs(g.qty-w.qty) > 1e-9 {
			t.Errorf("line %d = %+v, want %+v", i, g, w)
		}
	}
}

// The gross-to-net example of the products A to G of Heizer and Render, "Operations Management", chapter
// on material requirements planning; structure, leads, stock and results from memory. A = 2 B + 3 C; B = 2 D
// + 2 E; C = 2 E + 2 F; F = 2 D + 1 G. Leads A1 B2 C1 D1 E2 F3 G2 weeks, 50 A due in week 8.
func TestGrossToNetFollowsTheTextbookTree(t *testing.T) {
	t.Parallel()
	const (
		a, b, c, d, e, f, g = 0, 1, 2, 3, 4, 5, 6
	)
	p := &Problem{
		Days: 9, Nodes: []Node{
			{ID: "A", Kind: Made, LeadDays: 1, Inputs: []Input{{b, 2}, {c, 3}}},
			{ID: "B", Kind: Made, LeadDays: 2, Inputs: []Input{{d, 2}, {e, 2}}},
			{ID: "C", Kind: Made, LeadDays: 1, Inputs: []Input{{e, 2}, {f, 2}}},
			{ID: "D", Kind: Purchased, LeadDays: 1},
			{ID: "E", Kind: Purchased, LeadDays: 2},
			{ID: "F", Kind: Made, LeadDays: 3, Inputs: []Input{{d, 2}, {g, 1}}},
			{ID: "G", Kind: Purchased, LeadDays: 2},
		},
		Demands: []Demand{{ID: "order", Node: a, Day: 8, Quantity: 50}},
	}
	for n, q := range []float64{10, 15, 20, 10, 10, 5, 0} {
		if q > 0 {
			p.Supplies = append(p.Supplies, Supply{Node: n, Quantity: q})
		}
	}
	r := mustSolve(t, p)
	wantLines(t, batchLines(r), []line{{a, 7, 8, 40}, {b, 5, 7, 65}, {c, 6, 7, 100}, {f, 3, 6, 195}})
	var bought []line
	for _, q := range r.Purchases {
		bought = append(bought, line{q.Node, q.OrderDay, q.Delivery, q.Quantity})
	}
	wantLines(t, bought, []line{
		{e, 3, 5, 120}, {e, 4, 6, 200}, {d, 2, 3, 380}, {d, 4, 5, 130}, {g, 1, 3, 195},
	})
	if len(r.Shortages) != 0 {
		t.Errorf("shortages %+v, want none", r.Shortages)
	}
	for n, want := range []int{0, 1, 1, 3, 2, 2, 3} {
		if r.LowLevel[n] != want {
			t.Errorf("low-level code of %s = %d, want %d", p.Nodes[n].ID, r.LowLevel[n], want)
		}
	}
}

// The lot-sizing example of the same chapter, from memory: gross requirements of ten weeks
// 35 30 40 0 10 40 30 0 30 55, 35 on hand, one week's lead.
func TestLotSizingFollowsTheTextbookTable(t *testing.T) {
	t.Parallel()
	gross := []float64{35, 30, 40, 0, 10, 40, 30, 0, 30, 55}
	cases := []struct {
		name   string
		sizing Sizing
		want   []line // node, start, due, quantity; week 1 is day 1
	}{
		{"lot for lot", Sizing{}, []line{
			{0, 1, 2, 30}, {0, 2, 3, 40}, {0, 4, 5, 10}, {0, 5, 6, 40}, {0, 6, 7, 30}, {0, 8, 9, 30}, {0, 9, 10, 55},
		}},
		{"fixed lots of 73", Sizing{Fixed: 73}, []line{{0, 1, 2, 73}, {0, 4, 5, 73}, {0, 6, 7, 73}, {0, 9, 10, 73}}},
		{"three weeks of supply", Sizing{Period: 3}, []line{{0, 1, 2, 70}, {0, 4, 5, 80}, {0, 8, 9, 85}}},
	}
	for _, tc := range cases {
		t.Run(tc.name, func(t *testing.T) {
			t.Parallel()
			p := &Problem{Days: 11, Nodes: []Node{
				{ID: "item", Kind: Made, LeadDays: 1, Inputs: []Input{{1, 1}}, Sizing: tc.sizing},
				{ID: "raw", Kind: Purchased},
			}, Supplies: []Supply{{Node: 0, Quantity: 35}}}
			for w, q := range gross {
				if q > 0 {
					p.Demands = append(p.Demands, Demand{Node: 0, Day: int32(w + 1), Quantity: q})
				}
			}
			r := mustSolve(t, p)
			wantLines(t, batchLines(r), tc.want)
			if tc.sizing.Fixed > 0 { // the table's projected stock, weeks 1 to 10, before the last is used up
				for w, want := range []float64{0, 43, 3, 3, 66, 26, 69, 69, 39, 57} {
					near(t, "stock", r.Inventory(0, w+1), want)
				}
			}
		})
	}
}

// 4.5 kg of veal bones give near 3.8 L of brown stock, and that 0.5 to 0.7 L of demi-glace:
// common practice, no source. Here: 1.18 kg bones per litre stock, 6.3 L stock per litre demi-glace.
func TestBonesOfAboutTenPoundsBecomeAPintOrSoOfDemiGlace(t *testing.T) {
	t.Parallel()
	p := &Problem{
		Days: 7, SameDayHours: 4, Nodes: []Node{
			{ID: "demi-glace", Kind: Made, LeadHours: 12, Inputs: []Input{{1, 6.3}}},
			{ID: "brown stock", Kind: Made, LeadDays: 1, LeadHours: 3, Inputs: []Input{{2, 4.5 / 3.8}}},
			{ID: "veal bones", Kind: Purchased, LeadDays: 1},
		},
		Demands: []Demand{{Node: 0, Day: 5, Quantity: 0.6}},
	}
	r := mustSolve(t, p)
	// By hand: 0.6 L × 6.3 = 3.78 L stock × 4.5/3.8 = 4.476 kg bones; a day before the demi, one more before the stock.
	wantLines(t, batchLines(r), []line{{0, 4, 5, 0.6}, {1, 3, 4, 3.78}})
	near(t, "bones", r.Purchases[0].Quantity, 3.78*4.5/3.8)
	if bones := r.Purchases[0].Quantity; bones < 4.4 || bones > 4.6 {
		t.Errorf("bones = %g kg, want about 4.5", bones)
	}
	if r.Purchases[0].Delivery != 3 || r.Purchases[0].OrderDay != 2 {
		t.Errorf("purchase %+v, want ordered on day 2 for day 3", r.Purchases[0])
	}
}

// "Need 10 lb at 80 % yield -> 12.5 lb": arithmetic of edible portion over as-purchased; the rule 10 lb at
// 80 % -> 8 lb is in Gisslen, Professional Cooking.
func TestAMeanYieldOfEightyPercentNeedsAQuarterMore(t *testing.T) {
	t.Parallel()
	p := &Problem{Days: 2, Nodes: []Node{
		{ID: "trimmed", Kind: Made, Inputs: []Input{{1, 1}}, Yield: Yield{Mean: 0.8}},
		{ID: "whole", Kind: Purchased},
	}, Demands: []Demand{{Node: 0, Day: 1, Quantity: 10}}}
	r := mustSolve(t, p)
	near(t, "bought", r.Purchases[0].Quantity, 12.5)
	near(t, "planned", r.Batches[0].Planned, 10)
}

func TestPlannedYieldAtAServiceLevel(t *testing.T) {
	t.Parallel()
	// z(0.90) = 1.281551565545 and z(0.95) = 1.644853626951: tables of the normal distribution, from memory.
	cases := []struct {
		name string
		y    Yield
		want float64
		tol  float64
	}{
		{"zero value", Yield{}, 1, 0},
		{"half is the mean", Yield{Mean: 0.8, SD: 0.1}, 0.8, 0},
		{"ninety percent, cut-off eight deviations away", Yield{Mean: 0.8, SD: 0.1, Service: 0.9}, 0.8 - 0.1281551565545, 1e-9},
		{"below one half plans above the mean", Yield{Mean: 0.8, SD: 0.1, Service: 0.05}, 0.8 + 0.1644853626951, 1e-9},
		// Cut at ±1 deviation: Φ(-1) = 0.158655253931; Φ⁻¹(0.158655253931+0.1·0.682689492137) = Φ⁻¹(0.226924203145) = -0.749027...
		{"a wide spread is cut at zero and twice the mean", Yield{Mean: 0.5, SD: 0.5, Service: 0.9}, 0.5 - 0.5*0.7490, 5e-5},
		{"lognormal half is the median", Yield{Mean: 0.8, SD: 0.1, Distribution: Lognormal}, 0.8 / math.Sqrt(1+0.015625), 1e-12},
		{
			"lognormal",
			Yield{Mean: 0.8, SD: 0.1, Service: 0.95, Distribution: Lognormal},
			0.8 / math.Sqrt(1+0.015625) * math.Exp(-1.644853626951*math.Sqrt(math.Log(1.015625))), 1e-9,
		},
	}
	for _, tc := range cases {
		if got := tc.y.Planned(); math.Abs(got-tc.want) > tc.tol {
			t.Errorf("%s: planned = %.12g, want %.12g", tc.name, got, tc.want)
		}
	}
}

func TestVesselsTakeTheFewestBatchesWithTheLeastSurplus(t *testing.T) {
	t.Parallel()
	vessels := []Vessel{{"pan", 8, 30}, {"kettle", 40, 100}}
	cases := []struct {
		need   float64
		sizing Sizing
		want   []Batch
	}{
		{5, Sizing{Vessels: vessels}, []Batch{{Nominal: 8, Vessel: 0}}},
		{30, Sizing{Vessels: vessels}, []Batch{{Nominal: 30, Vessel: 0}}},
		{35, Sizing{Vessels: vessels}, []Batch{{Nominal: 40, Vessel: 1}}},
		{104, Sizing{Vessels: vessels}, []Batch{{Nominal: 96, Vessel: 1}, {Nominal: 8, Vessel: 0}}},
		{250, Sizing{Vessels: vessels}, []Batch{{Nominal: 100, Vessel: 1}, {Nominal: 100, Vessel: 1}, {Nominal: 50, Vessel: 1}}},
		{250, Sizing{Vessels: vessels, Multiple: 15}, []Batch{{Nominal: 90, Vessel: 1}, {Nominal: 90, Vessel: 1}, {Nominal: 75, Vessel: 1}}},
		{50, Sizing{Vessels: vessels, Fixed: 25}, []Batch{{Nominal: 25, Vessel: 0}, {Nominal: 25, Vessel: 0}}},
	}
	for _, tc := range cases {
		p := &Problem{Days: 1, Nodes: []Node{
			{ID: "stock", Kind: Made, Inputs: []Input{{1, 1}}, Sizing: tc.sizing}, {ID: "bones", Kind: Purchased},
		}, Demands: []Demand{{Node: 0, Quantity: tc.need}}}
		r := mustSolve(t, p)
		if len(r.Batches) != len(tc.want) {
			t.Errorf("need %g: %d batches, want %d", tc.need, len(r.Batches), len(tc.want))
			continue
		}
		for i, b := range r.Batches {
			if math.Abs(b.Nominal-tc.want[i].Nominal) > 1e-9 || b.Vessel != tc.want[i].Vessel {
				t.Errorf("need %g, batch %d = %g in %d, want %g in %d", tc.need, i, b.Nominal, b.Vessel, tc.want[i].Nominal, tc.want[i].Vessel)
			}
		}
	}
}
