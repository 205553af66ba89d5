package predict

import (
	"bytes"
	"encoding/json"
	"strings"
	"testing"

	"gonum.org/v1/gonum/floats/scalar"

	"rondeau.internal/pkg/units"
)

func TestVesselsAreWhatTheirNamesSay(t *testing.T) {
	t.Parallel()
	// Nominal volume to the brim of those whose name has one.
	nominal := map[string]units.Volume{
		"household": 8 * units.USQuart, "stockpot-40": 40 * units.Litre, "stockpot-20": 20 * units.Litre, "gas-kettle-150": 150 * units.Litre, "tilting-120": 120 * units.Litre,
		"kettle-100": 110 * units.Litre, "kettle-200": 220 * units.Litre, "kettle-400": 440 * units.Litre,
	}
	seen := map[string]bool{}
	for _, v := range Vessels() {
		if seen[v.Name] {
			t.Errorf("%s twice", v.Name)
		}
		seen[v.Name] = true
		if err := v.Vessel.Check(); err != nil {
			t.Errorf("%s: %v", v.Name, err)
		}
		if v.Fill <= 0 || v.Fill > v.Brimful() || v.Sizes == "" || v.Power > 0 && v.Heat == "" {
			t.Errorf("%s: fill %v of %v, sizes %q, heat %q", v.Name, v.Fill, v.Brimful(), v.Sizes, v.Heat)
		}
		if want, ok := nominal[v.Name]; ok && !scalar.EqualWithinRel(float64(v.Brimful()), float64(want), 0.03) {
			t.Errorf("%s holds %v, not %v", v.Name, v.Brimful(), want)
		}
		if (v.Kind == Pot || v.Kind == Kettle) != (v.Power > 0) {
			t.Errorf("%s: a %s with %v", v.Name, v.Kind, v.Power)
		}
	}
}

func TestProductsAreFoods(t *testing.T) {
	t.Parallel()
	for _, p := range Products() {
		if err := p.Composition.Check(); err != nil {
			t.Errorf("%s: %v", p.Name, err)
		}
		if p.Gelatin > p.Protein || p.PH < 4 || p.PH > 7 || p.Freezing >= 0 || p.Convection < 0 || p.Convection > 1 || p.Scorch <= 0 {
			t.Errorf("%s: %+v", p.Name, p)
		}
		before := p.Solids()
		p.thicken(0.3)
		if !scalar.EqualWithinAbs(p.Solids(), 0.3, 1e-12) || p.Composition.Check() != nil || !scalar.EqualWithinRel(p.Protein/0.3, protein(t, p.Name)/before, 1e-9) {
			t.Errorf("%s at 30 %%: %+v", p.Name, p.Composition)
		}
	}
}

func protein(t *testing.T, name string) float64 {
	t.Helper()
	for _, p := range Products() {
		if p.Name == name {
			return p.Protein
		}
	}
	t.Fatal(name)
	return 0
}

func TestEveryPropertyHasAFlag(t *testing.T) {
	t.Parallel()
	r := &reader{}
	v := r.vessel(VesselChoice{Vessel: "household", Diameter: "26cm", Height: "20cm", Power: "3kW", Efficiency: "60%", WallLoss: "8", ShellMass: "2kg", Class: "induction-pot"}, "household")
	if len(r.faults) > 0 || v.Diameter != 0.26 || v.Height != 0.2 || v.Power != 3000 || v.Efficiency != 0.6 || v.WallLoss != 8 || v.ShellMass != 2 || v.Class != "induction_pot" {
		t.Errorf("%+v, %v", v, r.faults)
	}
	p := r.product(ProductChoice{Product: "glace", Brix: "40Brix", PH: "5.5", Salt: "3%", Gelatin: "20%", FreezingPoint: "-3C", GelAt: "30C", Convection: "10%", ScorchAt: "30%"}, "")
	if len(r.faults) > 0 || !scalar.EqualWithinAbs(p.Solids(), 0.4, 1e-12) || p.PH != 5.5 || p.Salt != 3 || p.Gelatin != 0.2 || p.Freezing != -3 || p.GelAt != 30 || p.Convection != 0.1 || p.Scorch != 0.3 {
		t.Errorf("%+v, %v", p, r.faults)
	}
	w := r.vessel(VesselChoice{Vessel: "stockpot-20", Length: "50cm", Width: "30cm", Height: "20cm"}, "")
	if len(r.faults) > 0 || !scalar.EqualWithinRel(float64(w.Brimful()), 0.03, 1e-9) {
		t.Errorf("%v holds %v, %v", w.Geometry, w.Brimful(), r.faults)
	}
}

func TestListingsNameEverything(t *testing.T) {
	t.Parallel()
	for _, l := range []Listing{ListVessels(), ListProducts()} {
		var b bytes.Buffer
		if err := l.JSON(&b); err != nil {
			t.Fatal(err)
		}
		var items []map[string]any
		if err := json.Unmarshal(b.Bytes(), &items); err != nil || len(items) != len(l.Table.Lines) {
			t.Fatalf("%d items, %v", len(items), err)
		}
		for i, item := range items {
			if item["name"] != l.Table.Lines[i][0] || strings.TrimSpace(item["title"].(string)) == "" {
				t.Errorf("line %d: %v", i, item)
			}
		}
	}
}
