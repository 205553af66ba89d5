package chill

import (
	"errors"
	"math"
	"time"

	"rondeau.internal/pkg/units"
)

// Fat of a stock. Melting ranges are those of Lehrbuch Lebensmittelchemie und
// Ernährung, 2nd edition, Springer 2011, as reproduced at sippe-guntursson.de/
// melting-points-of-different-animal-fats.html; they tell when the last crystals
// melt, not when a layer can be lifted. Firm is about where three tenths of the fat
// are solid, from memory of solid fat content tables, weak: prefer what the kitchen
// sees of its own fat.
type Fat struct {
	Name string
	// Firm is the temperature at and below which the layer holds together when lifted.
	Firm units.Celsius
	// MeltFrom and MeltTo are the melting range.
	MeltFrom, MeltTo units.Celsius
}

// The fats with published melting ranges.
var (
	BeefTallow = Fat{Name: "beef tallow", Firm: 28, MeltFrom: 40, MeltTo: 50}
	MuttonFat  = Fat{Name: "mutton fat", Firm: 33, MeltFrom: 44, MeltTo: 55}
	Lard       = Fat{Name: "lard", Firm: 10, MeltFrom: 28, MeltTo: 40}
	ChickenFat = Fat{Name: "chicken fat", Firm: 6, MeltFrom: 30, MeltTo: 32}
	GooseFat   = Fat{Name: "goose fat", Firm: 6, MeltFrom: 32, MeltTo: 34}
)

// FatLayer floats on a cooling stock.
type FatLayer struct {
	Fat       Fat
	Thickness units.Length // 1 mm to 0.2 m
	// Film at the top, W/m2·K; 0 means 5, still air. Under a lid take 2 to 3 (chosen).
	Film float64
	Air  units.Celsius
}

// Properties of fat: Choi and Okos at 30 C for density and conductivity; specific
// heat 2.0 kJ/kg·K; heat of fusion of the part that sets about 100 kJ/kg (from
// memory: pure tallow 150 to 200, most of poultry fat stays liquid).
const (
	fatDensity      = 913.0
	fatConductivity = 0.172
	fatHeat         = 2000.0
	fatFusion       = 100e3
)

const fatCells = 40

// FatCap is the model of a fat layer on a stock that cools by another model: one-
// dimensional conduction with the heat of fusion spread evenly from MeltTo down to Firm,
// explicit finite volumes. The stock cools as if it had no cap: give the stock's model a
// lid (or no top) that stands for it. Between stock and cap natural convection of
// water (HorizontalNusselt) carries the heat while the stock is warmer, conduction
// over 2 cm once it is not. Core is the warmest place of the fat. Create it with
// NewFatCap.
type FatCap struct {
	layer FatLayer
	stock Model
	h     [fatCells]float64 // enthalpy, J/kg, 0 at Firm
	n     int
	dx    float64
}

// NewFatCap checks a layer and returns its model over a copy of the stock's model, in
// which the fat starts at the stock's core temperature.
func NewFatCap(l FatLayer, stock Model) (*FatCap, error) {
	if l.Film == 0 {
		l.Film = stillAir
	}
	if stock == nil {
		return nil, errors.New("the stock under the fat is missing")
	}
	if err := first(
		within("thickness of the fat", float64(l.Thickness), 1e-3, 0.2, "m"),
		within("film", l.Film, 0.1, 1000, "W/m2 K"),
		within("air temperature", float64(l.Air), -45, 60, "C"),
		within("firm temperature", float64(l.Fat.Firm), -10, 60, "C"),
		within("end of melting", float64(l.Fat.MeltTo), float64(l.Fat.Firm)+1, 90, "C"),
		within("start of melting", float64(l.Fat.MeltFrom), float64(l.Fat.Firm), float64(l.Fat.MeltTo), "C"),
		foodTemperature("stock temperature", stock.State().Core),
	); err != nil {
		return nil, err
	}
	c := &FatCap{layer: l, stock: stock.Clone()}
	// Volumes of about a millimetre, not fewer than four.
	c.n = int(math.Max(4, math.Min(fatCells, math.Round(float64(l.Thickness)/1e-3))))
	c.dx = float64(l.Thickness) / float64(c.n)
	for i := range c.n {
		c.h[i] = c.enthalpy(float64(stock.State().Core))
	}
	return c, nil
}

func (c *FatCap) span() float64 { return float64(c.layer.Fat.MeltTo - c.layer.Fat.Firm) }

func (c *FatCap) enthalpy(t float64) float64 {
	d := t - float64(c.layer.Fat.Firm)
	return fatHeat*d + fatFusion*math.Max(0, math.Min(1, d/c.span()))
}

func (c *FatCap) temperature(h float64) float64 {
	d := h / fatHeat
	if h > 0 {
		d = h / (fatHeat + fatFusion/c.span())
		if d > c.span() {
			d = (h - fatFusion) / fatHeat
		}
	}
	return float64(c.layer.Fat.Firm) + d
}

// bottom is the film between stock and fat, W/m2·K, on a length of 0.1 m, which a
// turbulent layer hardly feels.
func (c *FatCap) bottom(stock, fat float64) float64 {
	const conduction = 0.6 / 0.02
	if stock <= fat {
		return conduction
	}
	still := func(ra, _ float64) float64 { return horizontalNusselt(ra) }
	return math.Max(conduction, natural((stock+fat)/2, 0.1, stock-fat, still))
}

// State implements Model. Heat is that of the stock.
func (c *FatCap) State() State {
	s := c.stock.State()
	st := State{Elapsed: s.Elapsed, Core: units.AbsoluteZero, Surroundings: c.layer.Air, Heat: s.Heat}
	for i := range c.n {
		t := units.Celsius(c.temperature(c.h[i]))
		st.Core = max(st.Core, t)
		st.Mean += t / units.Celsius(c.n)
	}
	return st
}

// Stock is the state of the stock under the cap.
func (c *FatCap) Stock() State { return c.stock.State() }

// FirmDepth is how much of the layer, from its top, is at or below Firm.
func (c *FatCap) FirmDepth() units.Length {
	d := 0.0
	for i := c.n - 1; i >= 0 && c.h[i] <= 0; i-- {
		d += c.dx
	}
	return units.Length(d)
}

// Step implements Model.
func (c *FatCap) Step(dt time.Duration) (State, error) {
	if err := checkStep(dt); err != nil {
		return c.State(), err
	}
	for left := dt; left > 0; {
		h := min(left, 30*time.Second)
		s, err := c.stock.Step(h)
		if err != nil {
			return c.State(), err
		}
		c.advance(h.Seconds(), float64(s.Core))
		left -= h
	}
	return c.State(), nil
}

// advance conducts for some seconds at one stock temperature; cell 0 is the lowest.
func (c *FatCap) advance(seconds, stock float64) {
	top := 1 / (1/c.layer.Film + c.dx/(2*fatConductivity))
	film := c.bottom(stock, c.temperature(c.h[0]))
	low := 1 / (1/film + c.dx/(2*fatConductivity))
	g := fatConductivity / c.dx
	stable := 0.8 * fatDensity * fatHeat * c.dx / (2*g + top + low)
	n := math.Ceil(seconds / stable)
	dt := seconds / n
	var t [fatCells + 1]float64
	for range int(n) {
		for i := range c.n {
			t[i] = c.temperature(c.h[i])
		}
		in := low * (stock - t[0])
		for i := range c.n {
			out := top * (t[i] - float64(c.layer.Air))
			if i < c.n-1 {
				out = g * (t[i] - t[i+1])
			}
			c.h[i] += (in - out) * dt / (fatDensity * c.dx)
			in = out
		}
	}
}

// Clone implements Model.
func (c *FatCap) Clone() Model {
	d := *c
	d.stock = c.stock.Clone()
	return &d
}

// CapSetting answers when a fat cap can be lifted.
type CapSetting struct {
	// Skin is when its upper half is firm, Firm when the whole depth is.
	Skin, Firm       time.Duration
	SkinSet, FirmSet bool // within the horizon
	// StockThen is the stock's core when the cap is firm, or at the horizon; FatThen the
	// warmest place of the fat.
	StockThen, FatThen units.Celsius
	Cautions           []string
}

// CautionFat goes with every answer about a fat cap.
const CautionFat = "When a fat cap sets depends on the animal and its feed: touch it before lifting. A cap that is firm does not show that the stock below is cold."

// CautionWarmStock explains a cap that has not set.
const CautionWarmStock = "The fat cannot become firmer than the stock under it is cold: it sets when the stock does, so cool the stock first (shallower, stirred, or in ice) and judge it by its own temperature."

// LiftCap returns when the fat cap will be firm from its present state, up to a horizon
// of at most 31 days. The model is not changed.
func (c *FatCap) LiftCap(horizon time.Duration) (CapSetting, error) {
	if err := checkStep(horizon); err != nil {
		return CapSetting{}, err
	}
	run := c.Clone().(*FatCap)
	a := CapSetting{Cautions: []string{CautionFat, CautionModel, CautionSafety}}
	for at := time.Duration(0); ; at += time.Minute {
		depth := run.FirmDepth()
		if !a.SkinSet && depth >= run.layer.Thickness/2 {
			a.Skin, a.SkinSet = at, true
		}
		if depth >= run.layer.Thickness*(1-1e-9) {
			a.Firm, a.FirmSet = at, true
		}
		if a.FirmSet || at >= horizon {
			break
		}
		if _, err := run.Step(time.Minute); err != nil {
			return CapSetting{}, err
		}
	}
	a.StockThen, a.FatThen = run.stock.State().Core, run.State().Core
	if !a.FirmSet {
		a.Cautions = append(a.Cautions, CautionWarmStock)
	}
	return a, nil
}
