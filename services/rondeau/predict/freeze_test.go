package predict

import (
	"strconv"
	"testing"

	"gonum.org/v1/gonum/floats/scalar"
)

func floatText(v float64) string { return strconv.FormatFloat(v, 'f', 6, 64) }

func frozen(t *testing.T, q FreezeQuestion) FreezeFigures {
	t.Helper()
	a, err := Freeze(q)
	if err != nil {
		t.Fatal(err)
	}
	return a.Figures.(FreezeFigures)
}

func TestThreeMethodsOfFreezingAgree(t *testing.T) {
	t.Parallel()
	for _, vessel := range []string{"pouch-500", "container-1"} {
		for _, product := range []string{"demi-glace"} {
			f := frozen(t, FreezeQuestion{VesselChoice: VesselChoice{Vessel: vessel}, ProductChoice: ProductChoice{Product: product}, Start: "4C"})
			if len(f.ByMethod) != 3 {
				t.Fatalf("%+v", f.ByMethod)
			}
			// The published methods claim about 10 % each; bricks and short cylinders by shape factors are worse.
			for _, m := range f.ByMethod[1:] {
				if m.TimeMinutes == nil || !scalar.EqualWithinRel(*m.TimeMinutes, *f.TimeMinutes.Likely, 0.25) {
					t.Errorf("%s of %s: %s %v min, numerical %v min", vessel, product, m.Method, *m.TimeMinutes, *f.TimeMinutes.Likely)
				}
			}
			if !(*f.TimeMinutes.Early < *f.TimeMinutes.Likely && *f.TimeMinutes.Likely < *f.TimeMinutes.Late) || *f.PlateauMinutes >= *f.TimeMinutes.Likely || *f.EnoughMinutes > *f.TimeMinutes.Likely {
				t.Errorf("%+v", f)
			}
			// Water grows by 9 % when it freezes; a food by less.
			if f.Expansion < 4 || f.Expansion > 9.1 {
				t.Errorf("%s grows by %v %%", product, f.Expansion)
			}
		}
	}
}

func TestDirectionsOfFreezing(t *testing.T) {
	t.Parallel()
	base := FreezeQuestion{VesselChoice: VesselChoice{Vessel: "container-1"}}
	at := func(change func(*FreezeQuestion)) float64 {
		q := base
		change(&q)
		return *frozen(t, q).TimeMinutes.Likely
	}
	plain := at(func(*FreezeQuestion) {})
	for name, c := range map[string]struct {
		longer bool
		change func(*FreezeQuestion)
	}{
		"less of it":   {false, func(q *FreezeQuestion) { q.Depth = "60mm" }},
		"warmer air":   {true, func(q *FreezeQuestion) { q.Air = "-22C" }},
		"warmer start": {true, func(q *FreezeQuestion) { q.Start = "20C" }},
		"solid shelf":  {true, func(q *FreezeQuestion) { q.Shelf = "solid" }},
		"more air":     {false, func(q *FreezeQuestion) { q.Film = "60" }},
		"warmer core":  {false, func(q *FreezeQuestion) { q.Core = "-10C" }},
	} {
		if got := at(c.change); got > plain != c.longer {
			t.Errorf("%s: %.0f min, plain %.0f min", name, got, plain)
		}
	}
	_, err := Freeze(FreezeQuestion{Air: "-18C"})
	if f := one(t, err); f.Flag != "--air" {
		t.Error(f)
	}
}

func TestThawingTakesLongerThanFreezing(t *testing.T) {
	t.Parallel()
	a, err := Thaw(ThawQuestion{VesselChoice: VesselChoice{Vessel: "pouch-500"}})
	if err != nil {
		t.Fatal(err)
	}
	f := a.Figures.(ThawFigures)
	if freezing := frozen(t, FreezeQuestion{VesselChoice: VesselChoice{Vessel: "pouch-500"}}); *f.TimeMinutes.Likely < 2*(*freezing.TimeMinutes.Likely) {
		t.Errorf("thaws in %v min, freezes in %v min", *f.TimeMinutes.Likely, *freezing.TimeMinutes.Likely)
	}
	if f.PublishedMinutes == nil || !scalar.EqualWithinRel(*f.PublishedMinutes, *f.TimeMinutes.Likely, 0.3) {
		t.Errorf("numerical %v min, Cleland and others %v", *f.TimeMinutes.Likely, f.PublishedMinutes)
	}
	w, err := Thaw(ThawQuestion{VesselChoice: VesselChoice{Vessel: "pouch-500"}, Means: "water"})
	if err != nil || *w.Figures.(ThawFigures).TimeMinutes.Likely > *f.TimeMinutes.Likely/4 {
		t.Errorf("under water %+v, %v", w.Figures, err)
	}
	if !contains(a.Cautions, "surface warms") || !contains(a.Cautions, "HACCP") {
		t.Errorf("%q", a.Cautions)
	}
}
