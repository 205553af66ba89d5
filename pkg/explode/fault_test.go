package explode_test

import (
	"errors"
	"math"
	"strings"
	"testing"

	. "rondeau.internal/pkg/explode"
)

func faults(t *testing.T, p *Problem) []Fault {
	t.Helper()
	r, err := Solve(p)
	var pe *ProblemError
	if !errors.As(err, &pe) || r != nil {
		t.Fatalf("Solve = %v, %v; want a *ProblemError and no result", r, err)
	}
	return pe.Faults
}

func TestEveryFaultIsReportedAtOnceByName(t *testing.T) {
	t.Parallel()
	p := &Problem{
		Days: 5, StartWeekday: 9, SameDayHours: math.NaN(),
		Nodes: []Node{
			{ID: "stock", Kind: Made, Inputs: []Input{{7, 1}, {1, -2}}, Yield: Yield{Mean: 0.5, SD: 0.6, Service: 2}, LeadDays: -1, ShelfLife: -3},
			{ID: "bones", Kind: Purchased, Inputs: []Input{{2, 1}}, Yield: Yield{Mean: 1}, Sizing: Sizing{Fixed: 3}, Delivery: Delivery{Days: []int{5}}},
			{ID: "bones", Kind: Made, Sizing: Sizing{Vessels: []Vessel{{"pan", 9, 3}}, Fixed: 1, Multiple: 2}, Safety: math.Inf(1)},
			{ID: " ", Kind: Recovered, Delivery: Delivery{Never: true}, Pars: []float64{1, -1}},
			{ID: "sauce", Kind: Pack, Inputs: []Input{{1, 1}, {1, 2}}, Sizing: Sizing{Vessels: []Vessel{{"pan", 0, 3}}, Multiple: 4, Period: -1}},
		},
		Demands:  []Demand{{ID: "d1", Node: 8, Day: 5, Quantity: 0, Kind: 7}, {ID: "d2", Quantity: math.NaN()}},
		Supplies: []Supply{{ID: "s1", Node: -1, Day: 9, Quantity: math.Inf(1), Kind: 5}, {ID: "s2", Kind: Expected, Quantity: 1, Day: 3, Expires: true, LastDay: 1}},
	}
	want := []string{
		"start_weekday", "same_day_hours",
		"nodes[0] (stock).inputs[0].node", "nodes[0] (stock).inputs[1].per_one", "nodes[0] (stock).yield.sd", "nodes[0] (stock).yield.service",
		"nodes[0] (stock).lead_days", "nodes[0] (stock).shelf_life",
		"nodes[1] (bones)", "nodes[1] (bones).yield", "nodes[1] (bones).sizing", "nodes[1] (bones).delivery.days[0]",
		"nodes[2] (bones).id", "nodes[2] (bones).inputs", "nodes[2] (bones).safety", "nodes[2] (bones).sizing.fixed",
		"nodes[2] (bones).sizing.vessels[0] (pan).min_fill",
		"nodes[3] ( ).id", "nodes[3] ( ).pars[1]", "nodes[3] ( ).delivery",
		"nodes[4] (sauce).inputs[1].node", "nodes[4] (sauce).sizing.period", "nodes[4] (sauce).sizing.vessels",
		"demands[0] (d1).quantity", "demands[0] (d1).node", "demands[0] (d1).day", "demands[0] (d1).kind", "demands[1] (d2).quantity",
		"supplies[0] (s1).quantity", "supplies[0] (s1).node", "supplies[0] (s1).day", "supplies[0] (s1).kind", "supplies[1] (s2).last_day",
	}
	got := faults(t, p)
	var paths []string
	for _, f := range got {
		paths = append(paths, f.Path)
		if f.Message == "" {
			t.Errorf("%s has no message", f.Path)
		}
	}
	if strings.Join(paths, "\n") != strings.Join(want, "\n") {
		t.Errorf("faults:\n%s\nwant:\n%s", strings.Join(paths, "\n"), strings.Join(want, "\n"))
	}
	_, err := Solve(p)
	if text := err.Error(); !strings.Contains(text, "33 faults") || !strings.Contains(text, "and 13 more") {
		t.Errorf("message = %s", text)
	}
}

func TestCirclesAreNamed(t *testing.T) {
	t.Parallel()
	p := &Problem{Days: 1, Nodes: []Node{
		{ID: "demi", Kind: Made, Inputs: []Input{{1, 1}}},
		{ID: "stock", Kind: Made, Inputs: []Input{{2, 1}, {3, 1}}},
		{ID: "roux", Kind: Made, Inputs: []Input{{0, 1}}},
		{ID: "bones", Kind: Purchased},
		{ID: "brine", Kind: Made, Inputs: []Input{{4, 1}, {3, 1}}},
	}}
	got := faults(t, p)
	if len(got) != 2 || !strings.Contains(got[0].Message, "demi -> stock -> roux -> demi") || !strings.Contains(got[1].Message, "brine -> brine") {
		t.Errorf("faults = %+v, want both circles by name", got)
	}
}

func TestABatchThatWouldFeedItselfOnTheSameDayIsNamed(t *testing.T) {
	t.Parallel()
	nodes := []Node{
		{ID: "stock", Kind: Made, LeadHours: 3, Inputs: []Input{{1, 1}}, ByProducts: []ByProduct{{2, 0.5}}},
		{ID: "second wash", Kind: Made, LeadHours: 2, Inputs: []Input{{2, 1}}},
		{ID: "spent bones", Kind: Recovered},
	}
	got := faults(t, &Problem{Days: 1, SameDayHours: 4, Nodes: nodes})
	if len(got) != 1 || !strings.Contains(got[0].Message, "second wash -> spent bones -> second wash") {
		t.Errorf("faults = %+v", got)
	}
	if err := (&Problem{Days: 1, SameDayHours: 2.5, Nodes: nodes}).Check(); err != nil {
		t.Errorf("with a day between: %v", err)
	}
}

func TestAVesselOfGramsForTonnesIsAnErrorNotALongWait(t *testing.T) {
	t.Parallel()
	p := &Problem{Days: 1, Nodes: []Node{
		{ID: "stock", Kind: Made, Inputs: []Input{{1, 1}}, Sizing: Sizing{Vessels: []Vessel{{"thimble", 0, 1e-3}}}},
		{ID: "bones", Kind: Purchased},
	}, Demands: []Demand{{Quantity: 1e9}}}
	if got := faults(t, p); !strings.Contains(got[0].Message, "batches") {
		t.Errorf("faults = %+v", got)
	}
}

func TestQuantitiesThatOverflowAreAnError(t *testing.T) {
	t.Parallel()
	p := &Problem{Days: 1}
	for i := range 40 {
		p.Nodes = append(p.Nodes, Node{ID: string(rune('A' + i)), Kind: Made, Inputs: []Input{{i + 1, 1e15}}})
	}
	p.Nodes = append(p.Nodes, Node{ID: "last", Kind: Purchased})
	p.Demands = []Demand{{Quantity: 1e15}}
	if got := faults(t, p); !strings.Contains(got[0].Message, "grow") {
		t.Errorf("faults = %+v", got)
	}
}
