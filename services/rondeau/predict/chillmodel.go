package predict

import (
	"fmt"
	"math"
	"time"

	"rondeau.internal/pkg/chill"
	"rondeau.internal/pkg/simmer"
	"rondeau.internal/pkg/units"
)

// The sides of a range.
type side int

const (
	early side = iota - 1
	likely
	late
)

// means of cooling.
type means struct {
	word, title string
	air         units.Celsius // medium
	airSuchAs   string
	film        float64 // W/m²·K in air, or U for stirred vessels
	still       bool
	airNote     string
}

var allMeans = []means{
	{word: "ice-bath", title: "in an ice bath", film: 200, airSuchAs: "1C", airNote: "ice water"},
	{word: "blast", title: "in a blast chiller", air: -10, film: 30, airNote: "air of the machine", airSuchAs: "-10C or 14F"},
	{word: "walk-in", title: "in a walk-in cooler", air: 3, film: 10, airNote: "air of the room", airSuchAs: "3C or 37F"},
	{word: "still-air", title: "in still air", air: 20, film: 8, still: true, airNote: "air of the room", airSuchAs: "20C or 68F"},
	{word: "plate", title: "through a plate cooler", air: 1, film: 2500, airNote: "iced water, twice the flow of the stock", airSuchAs: "1C or 34F"},
	{word: "jacket", title: "in its own kettle against a cooling jacket", air: 1, film: 300, airNote: "iced water in the jacket", airSuchAs: "1C or 34F"},
}

// MeansWords are the words of --means of a command. The caller owns the slice.
func MeansWords(command string) []string {
	if command == "thaw" {
		return []string{"fridge", "water"}
	}
	return meansWords()
}

func meansWords() []string {
	words := make([]string, len(allMeans))
	for i, m := range allMeans {
		words[i] = m.word
	}
	return words
}

// cooling is a question of a chill after reading.
type cooling struct {
	means    means
	vessel   Vessel
	product  Product
	mass     units.Mass
	volume   units.Volume
	start    units.Celsius
	air      units.Celsius
	film     float64
	ice      units.Mass
	water    units.Mass
	waterAt  units.Celsius
	count    int
	machine  units.Power
	oneFace  bool
	pass     time.Duration // of the whole batch through a plate cooler
	plates   int
	limits   chill.Limits
	material chill.Material
}

// spread of what decides: the film of the medium and the convection inside. Chosen, no source.
func (c cooling) spread(s side) (film, convection float64) {
	switch s {
	case early:
		return 1.3, 1
	case late:
		if c.product.GelAt > 0 {
			return 0.7, 0
		}
		return 0.7, 0.25
	default:
		return 1, 0.5
	}
}

// withVolume is the same cooling with another fill.
func (c cooling) withVolume(v units.Volume) cooling {
	c.mass *= units.Mass(v / c.volume)
	c.volume = v
	return c
}

// depth of the food in the vessel.
func (c cooling) depth() units.Length {
	if c.vessel.Flat {
		return c.vessel.Height * units.Length(c.volume/c.vessel.Fill)
	}
	return c.vessel.LevelAt(c.volume)
}

// model of one side of the range.
func (c cooling) model(s side) (chill.Model, error) {
	film, convection := c.spread(s)
	film *= c.film
	level := c.depth()
	switch {
	case c.means.word == "plate":
		flow := float64(c.mass) / c.pass.Seconds()
		return chill.NewPlateRun(chill.PlateCooler{
			Flow: flow, SpecificHeat: c.material.SpecificHeat, Start: c.start, Batch: c.mass,
			Sections: []chill.Section{{Plates: c.plates, PlateArea: plateArea, Coefficient: film, Coolant: 2 * flow, CoolantIn: c.air}},
		})
	case c.means.word == "jacket":
		wetted := c.vessel.WettedAt(level)
		return chill.NewStirred(chill.Vat{Mass: c.mass, SpecificHeat: c.material.SpecificHeat, Coefficient: film, Area: wetted, Jacket: c.air, Start: c.start, Room: 25})
	case c.means.word == "ice-bath" && c.vessel.Kind != Container:
		wetted := c.vessel.WettedAt(level)
		return chill.NewIceBath(chill.Bath{Mass: c.mass, SpecificHeat: c.material.SpecificHeat, Coefficient: film, Area: wetted, Start: c.start, Ice: c.ice, Water: c.water, WaterStart: c.waterAt})
	case c.vessel.Kind == Tray:
		factor, err := c.stillFactor(level, convection)
		if err != nil {
			return nil, err
		}
		gel := c.product.GelAt
		return chill.NewChiller(chill.Blast{Air: c.air, Power: c.machine, Loads: []chill.Pans{{
			Count: c.count, Depth: level, Area: c.vessel.Geometry.SurfaceAt(level), OneFace: c.oneFace, Material: c.material, Film: film,
			StillFactor: factor, GelBelow: gel, Start: c.start,
		}}})
	case c.vessel.Kind == Container:
		return c.conducting(level, film, convection)
	default:
		return c.still(level, film, convection, s)
	}
}

// plateArea of one plate, m2: a small plate, common practice, no source.
const plateArea = 0.1

// still is a pot of unstirred stock in air.
func (c cooling) still(level units.Length, film, convection float64, s side) (chill.Model, error) {
	p := chill.StillPot{
		Mass: c.mass, SpecificHeat: c.material.SpecificHeat, Wall: c.vessel.WettedAt(level), Top: c.vessel.Geometry.SurfaceAt(level), Height: level,
		Film: film, GelBelow: c.product.GelAt, Conductivity: c.material.Conductivity, Start: c.start, Air: c.air,
	}
	if c.means.still { // computed; what the steel looks like makes the range
		p.Film, p.Emissivity = 0, map[side]float64{early: 0.5, likely: 0.3, late: 0.15}[s]
	}
	switch {
	case c.product.Convection < 0.2:
		p.GelBelow = 150
	case c.product.Convection < 1:
		inner, err := chill.StillFilm(max(level, 0.01), 40, 35)
		if err != nil {
			return nil, err
		}
		p.Inner = math.Min(5000, math.Max(10, inner*c.product.Convection*(0.5+convection)))
	}
	return chill.NewPot(p)
}

// conducting is a container: conduction with a factor for what convection is left.
func (c cooling) conducting(level units.Length, film, convection float64) (chill.Model, error) {
	factor, err := c.stillFactor(level, convection)
	if err != nil {
		return nil, err
	}
	b := chill.Body{Material: c.material, Film: film, StillFactor: factor, Start: c.start, Surroundings: c.air, Thickness: level, OneFace: c.oneFace}
	if c.vessel.Shape == simmer.Pan {
		b.Shape, b.Width, b.Length = chill.Brick, c.vessel.Width, c.vessel.Geometry.Length
		if c.oneFace {
			b.OneFace = true
		}
	} else {
		b.Shape, b.Diameter = chill.FiniteCylinder, c.vessel.Diameter
	}
	return chill.NewSolid(b)
}

// stillFactor is the gain by convection at a share of that of thin stock.
func (c cooling) stillFactor(depth units.Length, share float64) (float64, error) {
	f, err := chill.LayerFactor(max(depth, 1e-3), 5, 40)
	if err != nil {
		return 0, err
	}
	return 1 + share*c.product.Convection*(f-1), nil
}

// best seeks the largest (or least) value that keeps all limits. ok is false when none in the range does.
func best(low, high float64, least bool, limits chill.Limits, build func(float64) (chill.Model, error)) (value float64, ok bool, err error) {
	meets := func(v float64) (bool, error) {
		m, err := build(v)
		if err != nil {
			return false, err
		}
		stages, margin, err := chill.Predict(m, limits)
		if err != nil {
			return false, err
		}
		for _, s := range stages {
			if !s.Reached {
				return false, nil
			}
		}
		return margin >= 0, nil
	}
	good, bad := low, high
	if least {
		good, bad = high, low
	}
	ok, err = meets(good)
	if err != nil || !ok {
		return 0, false, err
	}
	if ok, err = meets(bad); err != nil || ok {
		return bad, ok, err
	}
	for range 40 {
		if math.Abs(good-bad) < 0.005*math.Min(math.Abs(good), 10) {
			break
		}
		mid := (good + bad) / 2
		ok, err = meets(mid)
		if err != nil {
			return 0, false, err
		}
		if ok {
			good = mid
		} else {
			bad = mid
		}
	}
	return good, true, nil
}

// Help is what would keep the limits, by the likely and by the late course.
type Help struct {
	What     string   `json:"what"`
	Unit     string   `json:"unit"`
	Likely   *float64 `json:"likely"`
	Cautious *float64 `json:"cautious"`
	text     string
}

// wish is an inverse question: the largest (or least) value of something that keeps the limits.
type wish struct {
	what, unit string
	low, high  float64
	per        float64 // SI to unit
	least      bool
	write      func(float64) string
	build      func(float64, side) (chill.Model, error)
}

// ask answers a wish by the likely and by the late course.
func (c cooling) ask(w wish) (Help, error) {
	h := Help{What: w.what, Unit: w.unit}
	var words []string
	for _, one := range []struct {
		side side
		to   **float64
	}{{likely, &h.Likely}, {late, &h.Cautious}} {
		v, ok, err := best(w.low, w.high, w.least, c.limits, func(v float64) (chill.Model, error) { return w.build(v, one.side) })
		if err != nil {
			return h, fmt.Errorf("seek %s: %w", w.what, err)
		}
		text := "none"
		if ok {
			text, *one.to = w.write(v), rounded(v/w.per, 3)
		}
		if ok && !w.least && v == w.high && w.unit != "celsius" {
			text += " and more"
		}
		words = append(words, text)
	}
	h.text = words[0] + "|" + words[1]
	return h, nil
}

// helps asks the inverse questions that fit the means.
func (c cooling) helps(s *Style) ([]Help, error) {
	out := []Help{}
	for _, w := range c.wishes(s) {
		h, err := c.ask(w)
		if err != nil {
			return nil, err
		}
		out = append(out, h)
	}
	return out, nil
}

func (c cooling) wishes(s *Style) []wish {
	volumes := func(v float64, sd side) (chill.Model, error) { return c.withVolume(units.Volume(v)).model(sd) }
	length := func(v float64) string { return s.Length(units.Length(v)) }
	volume := func(v float64) string { return s.Volume(units.Volume(v)) }
	brim := float64(c.vessel.Brimful())
	switch {
	case c.means.word == "plate":
		return nil
	case c.means.word == "ice-bath" && c.vessel.Kind != Container:
		mass := func(v float64) string { return s.Mass(units.Mass(v)) }
		return []wish{
			{"least ice", "kg", 0.01 * float64(c.mass), 10 * float64(c.mass), 1, true, mass, func(v float64, sd side) (chill.Model, error) {
				d := c
				d.ice = units.Mass(v)
				return d.model(sd)
			}},
			{"most in this vessel", "L", 0.02 * brim, brim, 1e-3, false, volume, func(v float64, sd side) (chill.Model, error) {
				d := c.withVolume(units.Volume(v))
				d.ice, d.water = c.ice*units.Mass(v)/units.Mass(c.volume), c.water*units.Mass(v)/units.Mass(c.volume)
				return d.model(sd)
			}},
		}
	case c.vessel.Kind == Tray:
		return c.trayWishes(s, length, volumes)
	case c.vessel.Flat:
		return []wish{{"thickest pouch", "mm", 0.004, 0.1, 1e-3, false, length, func(v float64, sd side) (chill.Model, error) {
			return volumes(v/float64(c.vessel.Height)*float64(c.vessel.Fill), sd)
		}}}
	}
	// A pot of less than 3 cm of stock that sets is no pot.
	least := math.Max(0.04*brim, float64(c.vessel.VolumeAt(0.032)))
	return []wish{{"most in this vessel", "L", least, math.Max(brim, least), 1e-3, false, volume, volumes}}
}

func (c cooling) trayWishes(s *Style, length func(float64) string, volumes func(float64, side) (chill.Model, error)) []wish {
	area := float64(c.vessel.Geometry.SurfaceAt(c.depth()))
	last := float64(c.limits.Stages[len(c.limits.Stages)-1].To.Celsius())
	out := []wish{
		{"deepest layer", "mm", 0.004, float64(c.vessel.Height), 1e-3, false, length, func(v float64, sd side) (chill.Model, error) { return volumes(v*area, sd) }},
		{"warmest air", "celsius", -40, math.Max(-39, last-0.1), 1, false, func(v float64) string { return s.Temperature(units.Celsius(v)) }, func(v float64, sd side) (chill.Model, error) {
			d := c
			d.air = units.Celsius(v)
			return d.model(sd)
		}},
	}
	if c.machine > 0 {
		out = append(out, wish{"most pans at once", "pans", 1, 400, 1, false, func(v float64) string { return fmt.Sprintf("%.0f", math.Floor(v)) }, func(v float64, sd side) (chill.Model, error) {
			d := c
			d.count = int(math.Floor(v))
			return d.model(sd)
		}})
	}
	return out
}
