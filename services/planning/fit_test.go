package planning

import (
	"math"
	"strings"
	"testing"
)

func TestFits(t *testing.T) {
	t.Parallel()
	vessels := map[string][]Vessel{
		"kettle":  {{DisplayName: "small", MinFillLiters: 20, MaxFillLiters: 60}, {DisplayName: "large", MinFillLiters: 80, MaxFillLiters: 200}},
		"rondeau": {{DisplayName: "pan", MaxFillLiters: 30}},
		"chiller": {{DisplayName: "chiller", LoadCapacityKg: 70}},
		"bench":   {{DisplayName: "bench"}},
	}
	simmer := Step{DisplayName: "simmer", VesselClasses: []string{"kettle"}, FillLitersPerKg: 2}
	chill := Step{DisplayName: "chill", VesselClasses: []string{"chiller"}, LoadKgPerKg: 1}
	for _, c := range []struct {
		name        string
		steps       []Step
		least, most float64
		want        [][2]float64
		problem     string
	}{
		{"two kettles give two ranges", []Step{simmer}, 0, 0, [][2]float64{{10, 30}, {40, 100}}, ""},
		{"the chiller cuts the larger one", []Step{simmer, chill}, 0, 0, [][2]float64{{10, 30}, {40, 70}}, ""},
		{"limits of the batch cut too", []Step{simmer}, 25, 50, [][2]float64{{25, 30}, {40, 50}}, ""},
		{"a pan and a kettle are alternatives", []Step{{VesselClasses: []string{"rondeau", "kettle"}, FillLitersPerKg: 2}}, 0, 0, [][2]float64{{0, 15}, {10, 30}, {40, 100}}, ""},
		{"work at a table limits nothing", []Step{{DisplayName: "trim"}}, 0, 0, nil, ""},
		{"a vessel without limits limits nothing", []Step{{VesselClasses: []string{"bench"}, FillLitersPerKg: 1}}, 0, 0, nil, ""},
		{"no vessel of the class", []Step{{DisplayName: "smoke", VesselClasses: []string{"smoker"}}}, 0, 0, nil, "class smoker"},
		{"nothing fits both", []Step{simmer, {DisplayName: "pan", VesselClasses: []string{"rondeau"}, FillLitersPerKg: 10}}, 0, 0, nil, `step "pan"`},
		{"the least batch is too large", []Step{simmer}, 150, 0, nil, "10 to 30 kg, 40 to 100 kg"},
	} {
		t.Run(c.name, func(t *testing.T) {
			t.Parallel()
			got, problem := fits(c.steps, c.least, c.most, vessels)
			if !strings.Contains(problem, c.problem) || (c.problem == "") != (problem == "") {
				t.Errorf("problem %q", problem)
			}
			if len(got) != len(c.want) {
				t.Fatalf("got %v", got)
			}
			for i, r := range got {
				if math.Abs(r.min-c.want[i][0]) > 1e-12 || math.Abs(r.max-c.want[i][1]) > 1e-12 {
					t.Errorf("range %d is %v, want %v", i, r, c.want[i])
				}
			}
		})
	}
}

func TestPruneDropsWhatLiesInside(t *testing.T) {
	t.Parallel()
	got := prune([]fit{{min: 20, max: 30}, {min: 10, max: 40}, {min: 10, max: 15}, {min: 35, max: 50}, {min: 10, max: 40}})
	if len(got) != 2 || got[0].min != 10 || got[0].max != 40 || got[1].max != 50 {
		t.Errorf("got %v", got)
	}
}
