package chill_test

import (
	"math"
	"testing"

	"rondeau.internal/pkg/chill"
	"rondeau.internal/pkg/units"
)

func hours(t *testing.T) func(chill.Freezing, error) float64 {
	return func(f chill.Freezing, err error) float64 {
		t.Helper()
		if err != nil {
			t.Fatal(err)
		}
		return f.Time.Hours()
	}
}

func freezingRows(t *testing.T) []reference {
	plank := func(b chill.PlankBody) float64 {
		d, err := chill.Plank(b)
		if err != nil {
			t.Fatal(err)
		}
		return d.Hours()
	}
	rows := []reference{
		{
			"Plank", "Geankoplis example 5.5-2, slab of meat: 6.65 h (inputs and formula read in FOSSEE/Scilab-TBC-Uploads 2762/CH5/EX5.5.2)",
			plank(chill.PlankBody{Shape: chill.Slab, Full: 0.0635, Density: 1057, Latent: 0.75 * 335e3, Frozen: 1.038, Film: 17, FreezingAt: -2.75, Medium: -28.85}), 6.65, 0.006, 0, "printed to three digits", false,
		},
		{
			"Plank", "Singh and Heldman, sphere of 7 cm, here in 3 mm of polypropylene: 3732.06 s (read at scribd.com/document/537822892)",
			plank(chill.PlankBody{Shape: chill.Sphere, Full: 0.07, Density: 1000, Latent: 250e3, Frozen: 1.2, Film: 1 / (1.0/50 + 0.003/0.2), FreezingAt: -1.25, Medium: -40}) * 3600, 3732.06, 0.1, 0, "printed to six digits", false,
		},
		{
			"Plank", "Singh and Heldman example 7.1, the sphere bare: 0.72 h (from memory)",
			plank(chill.PlankBody{Shape: chill.Sphere, Full: 0.07, Density: 1000, Latent: 250e3, Frozen: 1.2, Film: 50, FreezingAt: -1.25, Medium: -40}), 0.72, 0.005, 0, "printed to two digits", false,
		},
		{
			"Plank", "Singh and Heldman problem 7.10, potato of 2 cm: 1.955 h (read at scribd.com/presentation/716823441)",
			plank(chill.PlankBody{Shape: chill.Sphere, Full: 0.02, Density: 950, Latent: 0.88 * 333.2e3, Frozen: 1.3, Film: 40, FreezingAt: -2, Medium: -40}), 1.955, 0.01, 0, "the solution multiplies 0.88·333.2 to 2932.16: ten times too much; 0.1955 h is right", true,
		},
		{
			"Plank", "the same with the product put right: 0.1955 h",
			plank(chill.PlankBody{Shape: chill.Sphere, Full: 0.02, Density: 950, Latent: 0.88 * 333.2e3, Frozen: 1.3, Film: 40, FreezingAt: -2, Medium: -40}), 0.1955, 4e-4, 0, "the solution rounds its bracket to 9.6e-5", false,
		},
		{
			"Plank", "hand calculation in the tests of an open tunnel calculator, slab of 10 cm: 7.86 h (read in public code, tests of calcTunnel)",
			plank(chill.PlankBody{Shape: chill.Slab, Full: 0.10, Density: 1000, Latent: 247e3, Frozen: 1.4, Film: 1 / (1.0/20 + 0.01), FreezingAt: -1, Medium: -35}), 7.86, 0.01, 0, "printed to three digits", false,
		},
		{
			"Pham", "the same calculator by Pham: 11.48 h (read in public code, tests of calcTunnel)",
			hours(t)(chill.Pham(chill.PhamBody{Shape: chill.Slab, Thickness: 0.10, DensityUnfrozen: 1050, DensityFrozen: 1000, HeatUnfrozen: 3349, HeatFrozen: 1800, Latent: 247e3, Frozen: 1.4, Film: 1 / (1.0/20 + 0.01), Start: 5, Final: -18, Medium: -35})), 11.48, 0.01, 0, fourDigits, false,
		},
		{
			"Pham", "Singh and Heldman example 7.2, sphere of 7 cm: 1.04 h (from memory)",
			hours(t)(chill.Pham(chill.PhamBody{Shape: chill.Sphere, Diameter: 0.07, DensityUnfrozen: 1000, DensityFrozen: 950, HeatUnfrozen: 3600, HeatFrozen: 1800, Latent: 0.75 * 333.2e3, Frozen: 1.2, Film: 50, Start: 10, Final: -18, Medium: -40})), 1.04, 0.005, 0, "printed to three digits", false,
		},
	}
	rows = append(rows, stefanRows(t)...)
	return append(rows, heatRows(t)...)
}

// heatRows: heat of freezing foods between two temperatures.
func heatRows(t *testing.T) []reference {
	between := func(p chill.Phases, from, to units.Celsius) float64 {
		p.Density, p.Unfrozen, p.Frozen, p.Sharp = 1000, 0.5, 1.5, true
		s, err := chill.PhaseSubstance(p)
		if err != nil {
			t.Fatal(err)
		}
		return number[float64](t)(s.Enthalpy(from)) - number[float64](t)(s.Enthalpy(to))
	}
	return []reference{
		{
			"Substance", "Cengel problem 4-101, turkey of 7 kg from 1 to -18 C: 79.3 + 1498 + 175.6 kJ (read at coursehero.com/file/6711406)",
			7 * between(chill.Phases{HeatUnfrozen: 2980, HeatFrozen: 1650, Latent: 214e3, FreezingAt: -2.8}, 1, -18) / 1000, 79.3 + 1498 + 175.6, 0.15, 0, "each printed to four digits or three", false,
		},
		{
			"Substance", "meat store, 90 t a day from 2 to -12 C: 263 kW (inputs and formula read in a Scilab textbook companion)",
			90e3 * between(chill.Phases{HeatUnfrozen: 3200, HeatFrozen: 1630, Latent: 225e3, FreezingAt: -1}, 2, -12) / 86400 / 1000, 263, 0.5, 0, "printed to three digits", false,
		},
	}
}

// neumann returns lambda of the one-phase Stefan problem: sqrt(pi)·l·exp(l²)·erf(l) = Ste
// (Carslaw and Jaeger, Conduction of Heat in Solids, chapter XI).
func neumann(ste float64) float64 {
	low, high := 0.0, 2.0
	for range 80 {
		l := (low + high) / 2
		if math.Sqrt(math.Pi)*l*math.Exp(l*l)*math.Erf(l) < ste {
			low = l
		} else {
			high = l
		}
	}
	return low
}

// stefanRows: a slab at its freezing point, one face suddenly at another temperature.
func stefanRows(t *testing.T) []reference {
	const tm = -1.0
	run := func(p chill.Phases, start, face, thickness, seconds float64) (front, heat float64) {
		p.FreezingAt, p.Sharp = tm, true
		s, err := chill.PhaseSubstance(p)
		if err != nil {
			t.Fatal(err)
		}
		m, err := chill.NewConduction(chill.Piece{Shape: chill.Slab, Thickness: units.Length(thickness), OneFace: true, Substance: s, Upper: chill.Face{Film: 1e5}, Start: units.Celsius(start), Surroundings: units.Celsius(face), Cells: 100})
		if err != nil {
			t.Fatal(err)
		}
		before := float64(m.Content())
		stepped(t, m, seconds)
		return m.Frozen(), float64(m.Content()) - before
	}
	// Melting: coconut's one-phase benchmark, moved to a melting point of -1 C. Surface +10 K.
	wax := chill.Phases{Density: 870, HeatUnfrozen: 2500, HeatFrozen: 2500, Latent: 179000, Unfrozen: 1.5, Frozen: 1.5}
	alpha := 1.5 / (870 * 2500)
	l := neumann(2500 * 10.0 / 179000)
	frozen, heat := run(wax, tm-1e-3, tm+10, 0.1, 36000)
	exact := 1.5 * 10 / (math.Erf(l) * math.Sqrt(math.Pi*alpha)) * 2 * math.Sqrt(36000)
	rows := []reference{
		{"ConductionIce", "pyfsi/coconut, Stefan_one_phase benchmark: liquid fraction about 0.81 after 10 h (read in its documentation)", 1 - frozen, 0.81, 0.01, 1, "whole cells of 0.01; the source prints two digits", false},
		{"ConductionIce", "Neumann's solution, heat taken up by then (Carslaw and Jaeger, chapter XI)", heat, exact, exact * 2e-3, 0, "closed form; grid and plateau 0.2 %", false},
	}
	// Freezing: tylose at its freezing point, surface 30 K colder, 5 h.
	gel := chill.Phases{Density: 1000, HeatUnfrozen: 3710, HeatFrozen: 1900, Latent: 209000, Unfrozen: 0.55, Frozen: 1.65}
	alpha = 1.65 / (1000 * 1900)
	l = neumann(1900 * 30.0 / 209000)
	_, heat = run(gel, tm, tm-30, 0.15, 18000)
	exact = 1.65 * 30 / (math.Erf(l) * math.Sqrt(math.Pi*alpha)) * 2 * math.Sqrt(18000)
	return append(rows, reference{"ConductionIce", "Neumann's solution for tylose at its freezing point, heat given off in 5 h (Carslaw and Jaeger, chapter XI)", -heat, exact, exact * 2e-3, 0, "closed form; grid and plateau 0.2 %", false})
}
