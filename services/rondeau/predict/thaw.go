package predict

import (
	"errors"
	"fmt"
	"time"

	"rondeau.internal/pkg/chill"
	"rondeau.internal/pkg/units"
)

// ThawQuestion holds the texts of the flags of `predict thaw`; empty means not said.
type ThawQuestion struct {
	VesselChoice
	ProductChoice
	Volume, Mass, Depth string
	Start, Air          string
	Means               string // fridge, water
	Film                string
	Shelf               string
	Units               string
}

// ThawFigures are the figures of thawing.
type ThawFigures struct {
	TimeMinutes Minutes `json:"time_minutes"` // until the core is thawed
	// PublishedMinutes by the method of Cleland and others, to 0 C in the core; null when it does not cover this.
	PublishedMinutes    *float64 `json:"cleland_minutes"`
	PublishedInRange    bool     `json:"cleland_in_published_range"`
	SurfaceAtEndCelsius float64  `json:"surface_at_end_celsius"`
	SurfaceWarmMinutes  float64  `json:"surface_above_5_celsius_minutes"`
	MassKg              float64  `json:"mass_kg"`
	DepthMm             float64  `json:"depth_mm"`
}

// thawing is one run.
type thawing struct {
	time    time.Duration
	reached bool
	warm    time.Duration // surface above 5 C
	curve   []chill.HeatPoint
}

// Thaw answers how long a frozen piece takes to thaw.
func Thaw(q ThawQuestion) (*Answer, error) {
	r := &reader{}
	system := r.system(q.Units)
	b := body{vessel: r.vessel(q.VesselChoice, "pouch-500"), product: r.product(q.ProductChoice, "brown-stock")}
	means := r.choice("--means", q.Means, "fridge", "fridge", "water")
	otherwise, film, high := "4 C", 8.0, 25.0
	if means == "water" {
		otherwise, film = "12 C", 200
	}
	temperature := func(flag, text, otherwise, name string, low, high float64, kind, suchAs string) units.Celsius {
		v, _ := r.quantity(flag, text, bound{low: low, high: high, from: trimmed(low) + " C", to: trimmed(high) + " C", kind: kind, suchAs: suchAs, dimension: units.DimensionTemperature, otherwise: otherwise, assumeName: name, note: flag + "; " + practice})
		return units.Celsius(v)
	}
	b.start = temperature("--start", q.Start, "-18 C", "start", -40, -5, "the temperature at the start", "-18C or 0F")
	b.air = temperature("--air", q.Air, otherwise, "air or water around it", 1, high, "the temperature of the air or water", "4C or 39F")
	if b.vessel.Kind == Pot || b.vessel.Kind == Kettle {
		if b.vessel.Name != Own {
			r.fault("--vessel", q.Vessel, "is not for thawing; give a pouch, a tub, a container or a pan")
		}
	}
	frozen := b.start
	b.start = 4 // volume is told unfrozen
	b.fill(r, q.Volume, q.Mass, q.Depth)
	b.start = frozen
	given := false
	b.film, given = r.number("--film", q.Film, 1, 2000, film, "a heat transfer coefficient in W/m²·K", "8 in a refrigerator, 200 under running water")
	if !given {
		r.assume("heat transfer", trimmed(b.film)+" W/m²·K, 30 % up or down", "--film; "+practice)
	}
	b.oneFace = r.choice("--shelf", q.Shelf, "wire", "wire", "solid") == "solid"
	if err := r.err(); err != nil {
		return nil, err
	}
	s := &r.style
	s.settle(system)
	var runs [3]thawing
	for i, f := range []float64{1.3, 1, 0.7} {
		m, err := b.piece(f*b.film, b.start, b.air)
		if err == nil {
			runs[i], err = b.thaw(m)
		}
		if err != nil {
			return nil, fmt.Errorf("compute the thawing: %w", err)
		}
	}
	if !runs[1].reached {
		return nil, errors.New("the core has not thawed within 14 days: warmer --air (within what the local code allows), running water (--means water) or a thinner piece is needed")
	}
	a := &Answer{Question: "thaw", Assumptions: r.told(s), Cautions: []string{chill.CautionSafety, chill.CautionThaw, chill.CautionModel}}
	b.thawFigures(a, s, runs)
	return a, nil
}

// thaw follows a piece until its core is thawed.
func (b body) thaw(m *chill.Conduction) (thawing, error) {
	goal := b.product.Freezing // the last ice
	var out thawing
	note := func() {
		st := m.State()
		out.curve = append(out.curve, chill.HeatPoint{At: st.Elapsed, Core: st.Core, Mean: st.Mean, Surface: m.Surface()})
	}
	note()
	for m.State().Elapsed < 14*24*time.Hour {
		before := out.curve[len(out.curve)-1]
		step := min(max(before.At/60, time.Minute), 30*time.Minute)
		_, err := m.Step(step)
		if err != nil {
			return thawing{}, err
		}
		note()
		now := out.curve[len(out.curve)-1]
		if before.Surface > 5 {
			out.warm += step
		}
		if now.Core >= goal {
			share := float64(goal-before.Core) / float64(now.Core-before.Core)
			out.time, out.reached = before.At+time.Duration(share*float64(step)), true
			end := &out.curve[len(out.curve)-1]
			end.At, end.Core = out.time, goal
			break
		}
	}
	return out, nil
}

func (b body) thawFigures(a *Answer, s *Style, runs [3]thawing) {
	run := runs[1]
	end := run.curve[len(run.curve)-1]
	figures := ThawFigures{
		TimeMinutes:         Minutes{Early: minutesIf(runs[0].reached, runs[0].time), Likely: minutesOf(run.time), Late: minutesIf(runs[2].reached, runs[2].time)},
		SurfaceAtEndCelsius: *rounded(float64(end.Surface), 1), SurfaceWarmMinutes: *minutesOf(run.warm), MassKg: *rounded(float64(b.mass), 3), DepthMm: *rounded(b.depth.Millimetres(), 1),
	}
	t := &a.Table
	t.Header, t.Right = []string{"", "LIKELY", "EARLY", "LATE"}, make([]bool, 4)
	late := "not within 14 days"
	if runs[2].reached {
		late = about(runs[2].time)
	}
	t.add("core thawed", about(run.time), about(runs[0].time), late)
	published, err := b.clelandThaw()
	if err == nil {
		figures.PublishedMinutes, figures.PublishedInRange = minutesOf(published.Time), published.InRange
		text := about(published.Time)
		if !published.InRange {
			text += ", outside its range"
		}
		t.add("  by Cleland and others", text)
	}
	a.Figures = figures
	a.Sentence = fmt.Sprintf("About %s (%s to %s) until the core has thawed.", about(run.time), about(runs[0].time), late)
	t.add("surface then at", s.Temperature(end.Surface))
	if run.warm > 0 {
		t.add("surface above "+s.Temperature(5)+" for", about(run.warm))
	}
	t.add("each piece", s.Volume(b.volume)+", "+s.Mass(b.mass)+", "+s.Length(b.depth)+" thick")
	core, surface := Curve{Words: "core", Colour: blue}, Curve{Words: "surface", Colour: green, Dashed: true}
	for _, p := range run.curve {
		a.Series = append(a.Series, Point{ElapsedMinutes: *rounded(p.At.Minutes(), 2), TemperatureCelsius: rounded(float64(p.Core), 2), SurfaceCelsius: rounded(float64(p.Surface), 2)})
		core.Hours, core.Y = append(core.Hours, p.At.Hours()), append(core.Y, s.degrees(p.Core))
		surface.Hours, surface.Y = append(surface.Hours, p.At.Hours()), append(surface.Y, s.degrees(p.Surface))
	}
	a.Picture = &Picture{
		Title: "Thawing: " + b.product.Title + " in " + b.vessel.the(), Subtitle: a.Sentence, Footer: chill.CautionSafety, Y: "temperature (" + s.degreeUnit() + ")",
		Curves: []Curve{core, surface}, Limits: []Limit{{Words: "thawed: " + s.Temperature(b.product.Freezing), Y: s.degrees(b.product.Freezing)}},
	}
	if end.Surface > 5 {
		a.Picture.Limits = append(a.Picture.Limits, Limit{Words: "cold limit " + s.Temperature(5), Y: s.degrees(5)})
	}
}

// clelandThaw is the published method on the same food.
func (b body) clelandThaw() (chill.PhaseTime, error) {
	p, err := chill.PhaseBodyOf(b.substance)
	if err != nil {
		return chill.PhaseTime{}, err
	}
	sizes := chill.PhamBody{Thickness: b.thickness()}
	sizes.Shape, sizes.Diameter, sizes.Width, sizes.Length = b.shape()
	sorted(&sizes)
	p.Shape, p.Thickness, p.Diameter, p.Width, p.Length = sizes.Shape, sizes.Thickness, sizes.Diameter, sizes.Width, sizes.Length
	p.Film, p.Start, p.Medium = b.film, b.start, b.air
	return chill.Thaw(p)
}
