package chill

import (
	"math"
	"time"

	"rondeau.internal/pkg/units"
)

// PhaseBody are the inputs of the methods of Cleland and Earle for freezing and of Cleland
// and others for thawing. The food is given per volume, as its authors do.
type PhaseBody struct {
	Shape                              Shape        // any
	Thickness, Diameter, Width, Length units.Length // as in PhamBody, 1e-3 to 3 m
	// CapacityUnfrozen and CapacityFrozen are heat capacities, 1e5 to 1e7 J/m3·K.
	CapacityUnfrozen, CapacityFrozen float64
	// ToMinusTen is the heat between the food at its freezing point, unfrozen, and at -10 C,
	// 1e7 to 4e8 J/m3; not the heat of freezing alone.
	ToMinusTen float64
	// Unfrozen and Frozen are conductivities, 0.1 to 5 W/m·K.
	Unfrozen, Frozen float64
	FreezingAt       units.Celsius // -9 to 0 C
	Film             float64       // 0.1 to 1e4 W/m2·K
	Start            units.Celsius // freezing: freezing point to 100 C; thawing: -60 C to freezing point
	Medium           units.Celsius // freezing: -200 C to 0.5 K below Final; thawing: 0.5 K above 0 C to 100 C
	// Final core temperature of freezing, -40 to -5 C. Thawing ends at 0 C.
	Final units.Celsius
}

// PhaseBodyOf takes the properties of a substance for a freezing or thawing body, so that all
// methods can be asked of one food: capacities at 20 C and -25 C, conductivities at 5 C and
// -25 C.
func PhaseBodyOf(s *Substance) (PhaseBody, error) {
	tf, ok := s.FreezingPoint()
	if !ok {
		return PhaseBody{}, errNotFreezing
	}
	b := PhaseBody{FreezingAt: tf}
	b.ToMinusTen = -s.density * s.enthalpy(-10)
	b.CapacityUnfrozen = s.density * (s.enthalpy(30) - s.enthalpy(10)) / 20
	b.CapacityFrozen = s.density * (s.enthalpy(-20) - s.enthalpy(-30)) / 10
	_, b.Unfrozen = s.at(s.enthalpy(5))
	_, b.Frozen = s.at(s.enthalpy(-25))
	return b, nil
}

func (b PhaseBody) check() error {
	return first(
		within("unfrozen heat capacity", b.CapacityUnfrozen, 1e5, 1e7, "J/m3 K"),
		within("frozen heat capacity", b.CapacityFrozen, 1e5, 1e7, "J/m3 K"),
		within("heat to -10 C", b.ToMinusTen, 1e7, 4e8, "J/m3"),
		within("unfrozen conductivity", b.Unfrozen, 0.1, 5, "W/m K"),
		within("frozen conductivity", b.Frozen, 0.1, 5, "W/m K"),
		within("freezing point", float64(b.FreezingAt), -9, 0, "C"),
		within("film coefficient", b.Film, 0.1, 1e4, "W/m2 K"),
	)
}

// sizes returns the full shortest thickness D and the ratios of the others to it.
func (b PhaseBody) sizes() (d, r1, r2 float64, err error) {
	p := PhamBody{Shape: b.Shape, Thickness: b.Thickness, Diameter: b.Diameter, Width: b.Width, Length: b.Length}
	half, err := p.radius()
	if err != nil {
		return 0, 0, 0, err
	}
	r1, r2 = p.ratios()
	return 2 * half, r1, r2, nil
}

// PhaseTime is the result of the methods of Cleland and Earle.
type PhaseTime struct {
	Time time.Duration
	// Biot h·D/k on the full thickness, Stefan and Plank numbers; freezing: k and capacity
	// in Biot and Stefan of the frozen, in Plank of the unfrozen food; thawing: the reverse.
	Biot, Stefan, Plank float64
	P, R                float64 // coefficients of the modified Plank equation
	ShapeFactor         float64 // E
	// InRange tells whether the published validity holds.
	InRange bool
	// Cautions to be shown with the result.
	Cautions []string
}

// ClelandEarle returns the freezing time by the method of Cleland and Earle (1977, 1982, 1984;
// ASHRAE Handbook, Refrigeration, chapter 20; coefficients and final temperature correction
// read as reproduced in two independent public codes): of a slab
//
//	t = dH10/(Tf - Tm)·(P·D/h + R·D²/ks)·[1 - 1.65·Ste/ks·ln((Tc - Tm)/(Tref - Tm))], Tref -10 C,
//	P = 0.5072 + 0.2018·Pk + Ste·(0.3224·Pk + 0.0105/Bi + 0.0681),
//	R = 0.1684 + Ste·(0.2740·Pk - 0.0135),
//	Bi = h·D/ks, Ste = Cs·(Tf - Tm)/dH10, Pk = Cl·(Ti - Tf)/dH10
//
// and of other shapes that over the equivalent heat transfer dimensionality E. Range: h 10 to
// 500, D to 0.12 m, Ti to 40 C, Tm -45 to -15 C, about 10 %; outside it the result is flagged.
func ClelandEarle(b PhaseBody) (PhaseTime, error) {
	if err := first(
		b.check(),
		within("final temperature", float64(b.Final), -40, -5, "C"),
		within("medium", float64(b.Medium), -200, math.Min(float64(b.Final), -10)-0.5, "C"),
		within("start temperature", float64(b.Start), float64(b.FreezingAt), 100, "C"),
	); err != nil {
		return PhaseTime{}, err
	}
	d, r1, r2, err := b.sizes()
	if err != nil {
		return PhaseTime{}, err
	}
	tf, tm, ti, tc := float64(b.FreezingAt), float64(b.Medium), float64(b.Start), float64(b.Final)
	f := PhaseTime{
		Biot: b.Film * d / b.Frozen, Stefan: b.CapacityFrozen * (tf - tm) / b.ToMinusTen,
		Plank: b.CapacityUnfrozen * (ti - tf) / b.ToMinusTen,
	}
	f.P = 0.5072 + 0.2018*f.Plank + f.Stefan*(0.3224*f.Plank+0.0105/f.Biot+0.0681)
	f.R = 0.1684 + f.Stefan*(0.2740*f.Plank-0.0135)
	f.ShapeFactor = dimensionality(b.Shape, r1, r2, f.Biot)
	t := b.ToMinusTen / (tf - tm) * (f.P*d/b.Film + f.R*d*d/b.Frozen) / f.ShapeFactor
	t *= 1 - 1.65*f.Stefan/b.Frozen*math.Log((tc-tm)/(-10-tm))
	f.InRange = b.Film >= 10 && b.Film <= 500 && d <= 0.12 && ti <= 40 && tm >= -45 && tm <= -15 && tc >= -18 && tc <= -10
	return f.finish(t)
}

// Thaw returns the thawing time, core to 0 C, by the method of Cleland, Cleland, Earle and
// Byrne (1986; coefficients and range from memory, borne out by the numerical model in the tests): of a
// slab
//
//	Fo = 1.4291·(0.5/(Bi·Ste) + 0.125/Ste)^1.0248·Ste^0.2712·Pk^0.0610, t = Fo·Cl·D²/kl,
//	Bi = h·D/kl, Ste = Cl·(Tm - Tf)/dH10, Pk = Cs·(Tf - Ti)/dH10
//
// and of other shapes that over E. Range: Bi 0.3 to 41, Ste 0.08 to 0.77, Pk 0.06 to 0.27,
// about 10 %; outside it the result is flagged. The surface is warm long before the core has
// thawed: the result carries CautionThaw.
func Thaw(b PhaseBody) (PhaseTime, error) {
	if err := first(
		b.check(),
		within("medium", float64(b.Medium), 0.5, 100, "C"),
		within("start temperature", float64(b.Start), -60, float64(b.FreezingAt)-0.5, "C"),
	); err != nil {
		return PhaseTime{}, err
	}
	d, r1, r2, err := b.sizes()
	if err != nil {
		return PhaseTime{}, err
	}
	tf, tm, ti := float64(b.FreezingAt), float64(b.Medium), float64(b.Start)
	f := PhaseTime{
		Biot: b.Film * d / b.Unfrozen, Stefan: b.CapacityUnfrozen * (tm - tf) / b.ToMinusTen,
		Plank: b.CapacityFrozen * (tf - ti) / b.ToMinusTen, P: 0.5, R: 0.125,
		Cautions: []string{CautionThaw, CautionModel, CautionSafety},
	}
	fo := 1.4291 * math.Pow(f.P/(f.Biot*f.Stefan)+f.R/f.Stefan, 1.0248) * math.Pow(f.Stefan, 0.2712) * math.Pow(f.Plank, 0.0610)
	f.ShapeFactor = dimensionality(b.Shape, r1, r2, f.Biot)
	f.InRange = f.Biot >= 0.3 && f.Biot <= 41 && f.Stefan >= 0.08 && f.Stefan <= 0.77 && f.Plank >= 0.06 && f.Plank <= 0.27
	return f.finish(fo * b.CapacityUnfrozen * d * d / b.Unfrozen / f.ShapeFactor)
}

// longestPhase is the longest time that is given as a result.
const longestPhase = 3650 * 24 * time.Hour

func (f PhaseTime) finish(seconds float64) (PhaseTime, error) {
	if err := within("time", seconds, 0, longestPhase.Seconds(), "s"); err != nil {
		return PhaseTime{}, err
	}
	f.Time = time.Duration(seconds * float64(time.Second))
	return f, nil
}
