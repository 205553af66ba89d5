package predict

import (
	"errors"
	"fmt"
	"math"
	"time"

	"rondeau.internal/pkg/chill"
	"rondeau.internal/pkg/simmer"
	"rondeau.internal/pkg/thermo"
	"rondeau.internal/pkg/units"
)

// FreezeQuestion holds the texts of the flags of `predict freeze`; empty means not said.
type FreezeQuestion struct {
	VesselChoice
	ProductChoice
	Volume, Mass, Depth string
	Start, Air, Core    string
	Store               string
	Film                string
	Shelf               string
	Units               string
}

// FreezeFigures are the figures of freezing.
type FreezeFigures struct {
	TimeMinutes Minutes `json:"time_minutes"` // early and late by the spread of the methods and of the film
	// ByMethod are the three methods side by side at the likely film.
	ByMethod []MethodFigure `json:"by_method"`
	// Plateau is the time of the core between 0 and -5 C.
	PlateauMinutes      *float64 `json:"plateau_minutes"`
	EnoughMinutes       *float64 `json:"enough_minutes"` // taken out then, it comes to the core temperature by itself
	RestCelsius         *float64 `json:"rest_celsius"`   // where it comes to rest when the core is reached
	StoreMinutes        *float64 `json:"store_minutes"`  // until it is within 1 K of the store
	StoreCelsius        float64  `json:"store_celsius"`
	SurfaceAtEndCelsius float64  `json:"surface_at_end_celsius"`
	HeatKWh             float64  `json:"heat_removed_kwh"`
	PeakKW              float64  `json:"peak_heat_kw"`
	MassKg              float64  `json:"mass_kg"`
	DepthMm             float64  `json:"depth_mm"`
	Expansion           float64  `json:"expansion_percent"`
}

// MethodFigure is the time by one method.
type MethodFigure struct {
	Method      string   `json:"method"`
	TimeMinutes *float64 `json:"time_minutes"`
	InRange     bool     `json:"in_published_range"`
}

// body is a piece of food in its vessel.
type body struct {
	vessel    Vessel
	product   Product
	mass      units.Mass
	volume    units.Volume
	depth     units.Length
	start     units.Celsius
	air       units.Celsius
	core      units.Celsius
	film      float64
	oneFace   bool
	substance *chill.Substance
}

func (r *reader) freezing(q FreezeQuestion) (body, units.Celsius) {
	b := body{vessel: r.vessel(q.VesselChoice, "pouch-500"), product: r.product(q.ProductChoice, "brown-stock")}
	if b.vessel.Kind == Pot || b.vessel.Kind == Kettle {
		if b.vessel.Name != Own {
			r.fault("--vessel", q.Vessel, "is not for freezing; give a pouch, a tub, a container or a pan")
		}
	}
	temperature := func(flag, text, otherwise, name string, low, high float64, from, to, kind, suchAs string) units.Celsius {
		v, _ := r.quantity(flag, text, bound{low: low, high: high, from: from, to: to, kind: kind, suchAs: suchAs, dimension: units.DimensionTemperature, otherwise: otherwise, assumeName: name, note: flag + "; " + practice})
		return units.Celsius(v)
	}
	b.start = temperature("--start", q.Start, "4 C", "start", 0, 90, "0 C", "90 C", "the temperature at the start", "4C or 39F")
	b.air = temperature("--air", q.Air, "-30 C", "air of the freezer", -60, -12, "-60 C", "-12 C", "the temperature of the freezer's air", "-30C or -22F")
	b.core = temperature("--core", q.Core, "-18 C", "core wanted", -30, -5, "-30 C", "-5 C", "the core temperature wanted", "-18C or 0F")
	store := temperature("--store", q.Store, "-20 C", "store", -40, -10, "-40 C", "-10 C", "the temperature of the store", "-20C or -4F")
	if len(r.faults) == 0 && b.air > b.core-1 {
		r.fault("--air", q.Air, "is not colder than the core wanted (%.0f C) by at least 1 K; give colder air, or a warmer --core", float64(b.core))
	}
	b.fill(r, q.Volume, q.Mass, q.Depth)
	film, given := r.number("--film", q.Film, 1, 2000, 20, "a heat transfer coefficient in W/m²·K", "20 in moving air, 8 in still air")
	b.film = film
	if !given {
		r.assume("heat transfer", trimmed(film)+" W/m²·K, 30 % up or down", "--film; moving air and a wrapping: "+practice)
	}
	b.oneFace = r.choice("--shelf", q.Shelf, "wire", "wire", "solid") == "solid"
	return b, store
}

// fill reads how much is in the vessel and makes the substance.
func (b *body) fill(r *reader, volume, mass, depth string) {
	c := cooling{vessel: b.vessel, product: b.product, start: min(max(b.start, 4), 90)}
	c.contents(r, ChillQuestion{Volume: volume, Mass: mass, Depth: depth})
	if len(r.faults) > 0 {
		return
	}
	b.mass, b.volume, b.depth = c.mass, c.volume, c.depth()
	substance, err := chill.FoodSubstance(b.product.Composition, b.product.Freezing)
	r.check("--composition", "", err)
	b.substance = substance
}

// shape gives shape and sizes of the body.
func (b body) shape() (shape chill.Shape, diameter, width, length units.Length) {
	if b.vessel.Shape == simmer.Pan {
		w, l := b.vessel.Width, b.vessel.Geometry.Length
		return chill.Brick, 0, min(w, l), max(w, l)
	}
	return chill.FiniteCylinder, b.vessel.Diameter, 0, 0
}

// piece is the numerical model with a film.
func (b body) piece(film float64, start, air units.Celsius) (*chill.Conduction, error) {
	p := chill.Piece{Thickness: b.depth, OneFace: b.oneFace, Substance: b.substance, Upper: chill.Face{Film: film}, Start: start, Surroundings: air, Count: 1}
	p.Shape, p.Diameter, p.Width, p.Length = b.shape()
	if p.Shape == chill.Brick { // within 0.1 % of twice as many cells in the time, at a fraction of the work
		p.Cells, p.Tolerance = 10, 0.05
	}
	return chill.NewConduction(p)
}

// thickness is the full thickness for methods that know only bodies cooled all round.
func (b body) thickness() units.Length {
	if b.oneFace {
		return 2 * b.depth
	}
	return b.depth
}

// pham is Pham's method on the same food.
func (b body) pham(film float64) (chill.Freezing, error) {
	warm, err := b.product.At(20)
	if err != nil {
		return chill.Freezing{}, err
	}
	cold, err := b.product.Frozen(-25, b.product.Freezing)
	if err != nil {
		return chill.Freezing{}, err
	}
	phases, err := chill.PhaseBodyOf(b.substance)
	if err != nil {
		return chill.Freezing{}, err
	}
	p := chill.PhamBody{
		Thickness: b.thickness(), DensityUnfrozen: warm.Density, DensityFrozen: b.substance.Density(), HeatUnfrozen: warm.SpecificHeat,
		HeatFrozen: phases.CapacityFrozen / float64(b.substance.Density()), Latent: b.product.Water * thermo.LatentHeatFusion,
		Frozen: cold.Conductivity, Film: film, Start: b.start, Final: b.core, Medium: b.air,
	}
	p.Shape, p.Diameter, p.Width, p.Length = b.shape()
	sorted(&p)
	return chill.Pham(p)
}

// sorted puts the shortest side of a brick first, as the method asks.
func sorted(p *chill.PhamBody) {
	if p.Shape != chill.Brick {
		return
	}
	if p.Thickness > p.Width {
		p.Thickness, p.Width = p.Width, p.Thickness
	}
	if p.Width > p.Length {
		p.Width, p.Length = p.Length, p.Width
	}
}

// cleland is the method of Cleland and Earle on the same food.
func (b body) cleland(film float64) (chill.PhaseTime, error) {
	p, err := chill.PhaseBodyOf(b.substance)
	if err != nil {
		return chill.PhaseTime{}, err
	}
	sizes := chill.PhamBody{Thickness: b.thickness()}
	sizes.Shape, sizes.Diameter, sizes.Width, sizes.Length = b.shape()
	sorted(&sizes)
	p.Shape, p.Thickness, p.Diameter, p.Width, p.Length = sizes.Shape, sizes.Thickness, sizes.Diameter, sizes.Width, sizes.Length
	p.Film, p.Start, p.Medium, p.Final = film, b.start, b.air, b.core
	return chill.ClelandEarle(p)
}

// Freeze answers how long a piece takes to freeze.
func Freeze(q FreezeQuestion) (*Answer, error) {
	r := &reader{}
	system := r.system(q.Units)
	b, store := r.freezing(q)
	if err := r.err(); err != nil {
		return nil, err
	}
	s := &r.style
	s.settle(system)
	var runs [3]chill.FreezingRun
	var last *chill.Conduction
	for i, f := range []float64{1.3, 1, 0.7} {
		m, err := b.piece(f*b.film, b.start, b.air)
		if err != nil {
			return nil, fmt.Errorf("compute the freezing: %w", err)
		}
		runs[i], err = chill.RunFreezing(m, chill.FreezeGoal{Core: b.core, Horizon: 14 * 24 * time.Hour, Sample: 2 * time.Minute})
		if err != nil {
			return nil, fmt.Errorf("compute the freezing: %w", err)
		}
		cut(&runs[i], b.core)
		if i == 1 {
			last = m
		}
	}
	if !runs[1].Reached {
		return nil, errors.New("the core is not frozen within 14 days: colder --air, more air (--film) or a thinner piece is needed")
	}
	_, err := last.Step(runs[1].Time)
	if err != nil {
		return nil, fmt.Errorf("compute the freezing: %w", err)
	}
	rest, err := chill.Equalise(last, chill.Store{Air: store, Upper: chill.Face{Film: 8}})
	if err != nil {
		return nil, fmt.Errorf("compute the store: %w", err)
	}
	a := &Answer{Question: "freeze", Assumptions: r.told(s), Cautions: unique(append([]string{chill.CautionSafety}, runs[1].Cautions...))}
	a.Assumptions = append(a.Assumptions, Assumption{Name: "in the store", Value: "8 W/m²·K, still air", Source: practice})
	err = b.freezeFigures(a, s, runs, rest, store)
	if err != nil {
		return nil, err
	}
	a.Picture = b.freezePicture(s, runs)
	return a, nil
}

func (b body) freezeFigures(a *Answer, s *Style, runs [3]chill.FreezingRun, rest chill.Equalisation, store units.Celsius) error {
	run := runs[1]
	pham, errPham := b.pham(b.film)
	cleland, errCleland := b.cleland(b.film)
	earliest, latest := runs[0].Time, runs[2].Time
	methods := []MethodFigure{{Method: "enthalpy, numerical", TimeMinutes: minutesOf(run.Time), InRange: true}}
	for _, one := range []struct {
		name string
		time time.Duration
		in   bool
		err  error
	}{{"Pham 1986", pham.Time, pham.InRange, errPham}, {"Cleland and Earle 1984", cleland.Time, cleland.InRange, errCleland}} {
		m := MethodFigure{Method: one.name, InRange: one.in && one.err == nil}
		if one.err == nil {
			m.TimeMinutes = minutesOf(one.time)
			if one.in {
				earliest, latest = min(earliest, one.time), max(latest, one.time)
			}
		}
		methods = append(methods, m)
	}
	expansion, err := b.expansion()
	if err != nil {
		return err
	}
	end := run.Curve[len(run.Curve)-1]
	figures := FreezeFigures{
		TimeMinutes: Minutes{Early: minutesOf(earliest), Likely: minutesOf(run.Time), Late: minutesIf(runs[2].Reached, latest)}, ByMethod: methods,
		PlateauMinutes: minutesIf(run.ZoneLeft, run.Zone), EnoughMinutes: minutesIf(run.EqualisedReached, run.Equalised), RestCelsius: rounded(float64(rest.Rest), 1),
		StoreMinutes: minutesIf(rest.Reached, rest.Time), StoreCelsius: *rounded(float64(store), 1), SurfaceAtEndCelsius: *rounded(float64(end.Surface), 1),
		HeatKWh: *rounded(run.Heat.KilowattHours(), 3), PeakKW: *rounded(run.Peak.Kilowatts(), 3),
		MassKg: *rounded(float64(b.mass), 3), DepthMm: *rounded(b.depth.Millimetres(), 1), Expansion: *rounded(100*expansion, 1),
	}
	a.Figures = figures
	a.Sentence = fmt.Sprintf("About %s (%s to %s) until the core is at %s.", about(run.Time), about(earliest), about(latest), s.Temperature(b.core))
	t := &a.Table
	t.Header, t.Right = []string{"", "LIKELY", "EARLY", "LATE"}, make([]bool, 4)
	t.add("core at "+s.Temperature(b.core), about(run.Time), about(earliest), about(latest))
	for _, m := range methods {
		text := "does not cover this"
		if m.TimeMinutes != nil {
			text = about(time.Duration(*m.TimeMinutes * float64(time.Minute)))
			if !m.InRange {
				text += ", outside its range"
			}
		}
		t.add("  by "+m.Method, text)
	}
	t.add("plateau, "+s.Temperature(0)+" to "+s.Temperature(-5), about(run.Zone), about(runs[0].Zone), about(runs[2].Zone))
	if run.EqualisedReached {
		t.add("may go to the store after", about(run.Equalised), "", "then it comes to "+s.Temperature(b.core)+" by itself")
	}
	t.add("comes to rest at", s.Temperature(rest.Rest))
	if rest.Reached {
		t.add("within 1 K of the store at "+s.Temperature(store), about(rest.Time)+" more")
	}
	t.add("heat taken out", s.Energy(run.Heat)+", at most "+s.Power(run.Peak))
	t.add("each piece", s.Volume(b.volume)+", "+s.Mass(b.mass)+", "+s.Length(b.depth)+" thick")
	t.add("grows by freezing", percent(expansion)+" of its volume")
	a.Cautions = append(a.Cautions, fmt.Sprintf("Leave headspace: it grows by about %s. Chill it within its limits first: freezing is no substitute for that.", percent(expansion)))
	step := max(1, len(run.Curve)/200)
	for i := 0; i < len(run.Curve); i += step {
		p := run.Curve[i]
		a.Series = append(a.Series, Point{
			ElapsedMinutes: *rounded(p.At.Minutes(), 2), TemperatureCelsius: rounded(float64(p.Core), 2), SurfaceCelsius: rounded(float64(p.Surface), 2),
			EarlyTemperatureCelsius: rounded(float64(coreAt(runs[0], p.At)), 2), LateTemperatureCelsius: rounded(float64(coreAt(runs[2], p.At)), 2),
		})
	}
	return nil
}

// expansion is the growth in volume from the unfrozen food at 5 C to frozen at the core temperature.
func (b body) expansion() (float64, error) {
	warm, err := b.product.At(5)
	if err != nil {
		return 0, fmt.Errorf("density of the food: %w", err)
	}
	cold, err := b.product.Frozen(b.core, b.product.Freezing)
	if err != nil {
		return 0, fmt.Errorf("density of the frozen food: %w", err)
	}
	return math.Max(0, float64(warm.Density/cold.Density)-1), nil
}

// coreAt is the core of a run at a moment; its last value behind its end.
func coreAt(run chill.FreezingRun, at time.Duration) units.Celsius {
	for i, p := range run.Curve {
		if p.At >= at {
			if i == 0 || p.At == at {
				return p.Core
			}
			before := run.Curve[i-1]
			f := units.Celsius(float64(at-before.At) / float64(p.At-before.At))
			return before.Core + f*(p.Core-before.Core)
		}
	}
	return run.Curve[len(run.Curve)-1].Core
}

// cut ends a curve where its core is at the goal.
func cut(run *chill.FreezingRun, goal units.Celsius) {
	if n := len(run.Curve); run.Reached && n > 0 && run.Curve[n-1].Core < goal {
		run.Curve[n-1].Core, run.Curve[n-1].At = goal, run.Time
	}
}

func (b body) freezePicture(s *Style, runs [3]chill.FreezingRun) *Picture {
	p := &Picture{
		Title: "Freezing: " + b.product.Title + " in " + b.vessel.the(), Footer: chill.CautionSafety, Y: "temperature (" + s.degreeUnit() + ")",
		Subtitle: fmt.Sprintf("%s, %s thick, in air of %s; core at %s after %s (%s to %s)", s.Volume(b.volume), s.Length(b.depth), s.Temperature(b.air), s.Temperature(b.core), about(runs[1].Time), about(runs[0].Time), about(runs[2].Time)),
	}
	band := &Band{Words: "core, early to late"}
	core, surface := Curve{Words: "core, likely", Colour: blue}, Curve{Words: "surface", Colour: green, Dashed: true}
	for _, pt := range runs[1].Curve {
		core.Hours, core.Y = append(core.Hours, pt.At.Hours()), append(core.Y, s.degrees(pt.Core))
		surface.Hours, surface.Y = append(surface.Hours, pt.At.Hours()), append(surface.Y, s.degrees(pt.Surface))
	}
	for _, pt := range runs[2].Curve {
		band.Hours = append(band.Hours, pt.At.Hours())
		band.High, band.Low = append(band.High, s.degrees(pt.Core)), append(band.Low, s.degrees(coreAt(runs[0], pt.At)))
	}
	p.Curves, p.Band = []Curve{core, surface}, band
	p.Limits = []Limit{{Words: "wanted in the core: " + s.Temperature(b.core), Y: s.degrees(b.core)}, {Words: "begins to freeze: " + s.Temperature(b.product.Freezing), Y: s.degrees(b.product.Freezing)}}
	return p
}
