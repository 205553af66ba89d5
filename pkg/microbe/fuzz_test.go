package microbe

import (
	"encoding/json"
	"math"
	"testing"
	"time"

	"rondeau.internal/pkg/units"
)

// decode makes readings out of bytes: an interval in seconds and a temperature, which may
// be out of order, out of bounds or not a number.
func decode(data []byte) []Reading {
	var out []Reading
	at := day
	for ; len(data) >= 4; data = data[4:] {
		at = at.Add(time.Duration(int16(uint16(data[0])<<8|uint16(data[1]))) * time.Second)
		c := float64(int16(uint16(data[2])<<8|uint16(data[3]))) / 100
		switch c {
		case -327.68:
			c = math.NaN()
		case 327.67:
			c = math.Inf(1)
		}
		out = append(out, Reading{at, units.Celsius(c)})
	}
	return out
}

func finite(t *testing.T, what string, v float64) {
	t.Helper()
	if math.IsNaN(v) || math.IsInf(v, 0) {
		t.Fatalf("%s is %v", what, v)
	}
}

var chillBytes = []byte{0, 0, 0x17, 0x70, 3, 0x84, 0x13, 0x88, 0x0e, 0x10, 0x0b, 0xb8, 0x1c, 0x20, 1, 0xf4}

func FuzzGrowth(f *testing.F) {
	f.Add(chillBytes, uint8(0), 6.2, 0.5, 0.0, 1.0, 2.5, int64(0))
	f.Add(chillBytes, uint8(3), 0.0, -1.0, 0.99, 0.0, 0.0, int64(time.Hour))
	f.Add([]byte{0, 0, 0x80, 0}, uint8(9), math.NaN(), math.Inf(1), 2.0, -1.0, 99.0, int64(-1))
	f.Add([]byte{}, uint8(1), 14.0, 30.0, 1.0, 10.0, 6.0, int64(24*time.Hour))
	f.Fuzz(func(t *testing.T, data []byte, category uint8, pH, salt, aw, tolerance, initial float64, gap int64) {
		p := Product{Category: Category(category), PH: pH, SaltPercent: salt, WaterActivity: aw}
		o := Options{MaxGap: time.Duration(gap), ProbeTolerance: units.CelsiusDelta(tolerance), InitialLog: initial, Compare: true}
		r, err := Growth(decode(data), p, o)
		if err != nil {
			return
		}
		finite(t, "likely", r.Likely)
		finite(t, "upper", r.Upper)
		if r.Likely < 0 || r.Upper < r.Likely || r.Upper > 12 {
			t.Fatalf("likely %g, upper %g", r.Likely, r.Upper)
		}
		if r.Verdict == Met && r.Upper > r.Limit {
			t.Fatalf("met with an upper value of %g", r.Upper)
		}
		for _, m := range r.Models {
			finite(t, m.Model.ID, m.Growth)
		}
	})
}

func FuzzTracker(f *testing.F) {
	good, err := NewTracker(Product{}, Options{})
	if err != nil {
		f.Fatal(err)
	}
	stored, err := json.Marshal(good)
	if err != nil {
		f.Fatal(err)
	}
	f.Add(stored, chillBytes)
	f.Add([]byte(`{}`), chillBytes)
	f.Add([]byte(`{"Likely":{"Curve":{"Form":2,"Min":10,"Opt":10,"Max":10}},"Count":5}`), chillBytes)
	f.Fuzz(func(t *testing.T, state, data []byte) {
		var tracker Tracker
		if json.Unmarshal(state, &tracker) != nil {
			return
		}
		for _, r := range decode(data) {
			_ = tracker.Add(r.At, r.Temperature) // a damaged state may refuse or count nonsense; it must not panic
		}
		r := tracker.Result()
		if tracker.Check() == nil {
			finite(t, "likely", r.Likely)
			finite(t, "upper", r.Upper)
		}
	})
}

func FuzzLethality(f *testing.F) {
	f.Add(chillBytes, 70.0, int64(20*time.Second), 7.5, 7.5, 6.0, 55.0, 90.0, 1.0)
	f.Add(chillBytes, 121.1, int64(time.Nanosecond), 0.0, 1e9, math.NaN(), -1.0, math.Inf(1), 0.0)
	f.Add([]byte{1, 0, 0x75, 0x30, 1, 0, 0x75, 0x30}, 30.0, int64(time.Millisecond), 1.0, 1.0, 30.0, 0.0, 200.0, 10.0)
	f.Fuzz(func(t *testing.T, data []byte, reference float64, d int64, below, above, reductions, lowest, highest, tolerance float64) {
		target := Target{
			ID: "any", Reference: units.Celsius(reference), D: time.Duration(d), ZBelow: units.CelsiusDelta(below), ZAbove: units.CelsiusDelta(above),
			Reductions: reductions, Lowest: units.Celsius(lowest), Highest: units.Celsius(highest),
		}
		if got, err := target.TimeAt(units.Celsius(reference)); err == nil && got <= 0 {
			t.Fatalf("time %v", got)
		}
		r, err := Lethality(decode(data), target, Options{ProbeTolerance: units.CelsiusDelta(tolerance)})
		if err != nil {
			return
		}
		finite(t, "reduction", r.Reduction)
		finite(t, "proven reduction", r.ProvenReduction)
		if r.F < 0 || r.Proven < 0 || r.ProvenReduction > r.Reduction*(1+1e-9) {
			t.Fatalf("F %v, proven %v", r.F, r.Proven)
		}
	})
}

func FuzzTables(f *testing.F) {
	f.Add(150.0, 60.0, 1.5, int64(time.Minute), int64(time.Second))
	f.Add(math.NaN(), math.Inf(-1), -2.0, int64(-1), int64(0))
	f.Fuzz(func(t *testing.T, fahrenheit, celsius, salt float64, d1, d2 int64) {
		if got, err := AppendixA(units.Fahrenheit(fahrenheit), true); err == nil && (got < 0 || got > 3*time.Hour) {
			t.Fatalf("Appendix A at %v: %v", fahrenheit, got)
		}
		if z, err := ZValue([]units.Celsius{units.Celsius(celsius), 60}, []time.Duration{time.Duration(d1), time.Duration(d2)}); err == nil {
			finite(t, "z", float64(z))
		}
		if aw := WaterActivity(salt); aw == aw && (aw <= 0 || aw > 1) {
			t.Fatalf("water activity %v at %v %%", aw, salt)
		}
		for _, m := range RateModels() {
			c, err := m.Curve(Product{})
			if err != nil {
				t.Fatal(err)
			}
			finite(t, "rate", c.Rate(units.Celsius(celsius)))
			finite(t, "primitive", c.Primitive(units.Celsius(celsius)))
		}
	})
}
