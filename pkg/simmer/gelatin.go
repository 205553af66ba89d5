package simmer

import (
	"errors"
	"fmt"
	"math"
	"time"

	"rondeau.internal/pkg/units"
)

// Extraction describes how bones give gelatin: first order in the collagen left, with an
// Arrhenius rate,
//
//	dG/dt = k(T)·(G0 - G),  k(T) = Rate·exp(-Activation/R·(1/T - 1/Tref)),
//
// G0 = Collagen·bones, Tref 95 C, R 8.314 J/mol·K. The zero value takes the defaults.
type Extraction struct {
	// Collagen is the mass fraction of the raw bones, 0.01 to 0.5; 0 means
	// DefaultCollagen.
	Collagen float64
	// Rate at 95 C, per hour, 0.001 to 2; 0 means DefaultRate.
	Rate float64
	// Activation energy, J/mol, 20 to 250 kJ/mol; 0 means DefaultActivation.
	Activation float64
	// Spread is the factor by which the rate may be lower or higher, 1 to 5; 0 means
	// DefaultSpread.
	Spread float64
}

// Defaults of an extraction.
const (
	// DefaultCollagen of bones: about 20 % (McGee, On Food and Cooking, 2004, Stocks);
	// pig skin 30 %, veal knuckles up to 40 %.
	DefaultCollagen = 0.20
	// DefaultRate, 1/h at 95 C: 8 h of kitchen extraction free about 20 % of the gelatin
	// of beef bones (McGee, as above), -ln(0.8)/8. The simmer is taken to be at 95 C.
	DefaultRate = 0.027893
	// DefaultActivation, J/mol, from the rates 0.019 at 90 C and 0.04 at 100 C for
	// croaker scales (Olatunji and Denloye, Food Sci. Nutr. 5:1015, 2017, abstract read).
	DefaultActivation = 83_900.0
	// DefaultSpread of the rate by size, age and kind of bone (chosen, no source).
	DefaultSpread = 2.0
)

// LongExtraction is where gelatin is broken down as fast as it comes, and the gel weakens
// although the yield still grows (McGee: long cooking causes progressive breakdown; the
// hour is from memory of trade books).
const LongExtraction = 12 * time.Hour

// CautionLongExtraction goes with an extraction beyond LongExtraction.
const CautionLongExtraction = "Beyond about 12 h the gelatin breaks down while more is extracted: the yield still grows, the gel gets weaker."

// AssumeGelatin goes with every gelatin figure.
const AssumeGelatin = "Gelatin by first-order extraction from raw bones; a range of two either way for size, age and kind of bone; try a spoonful on ice."

func (e Extraction) normal() (Extraction, error) {
	set := func(f *float64, value float64) {
		if *f == 0 {
			*f = value
		}
	}
	set(&e.Collagen, DefaultCollagen)
	set(&e.Rate, DefaultRate)
	set(&e.Activation, DefaultActivation)
	set(&e.Spread, DefaultSpread)
	return e, errors.Join(
		within("collagen fraction", e.Collagen, 0.01, 0.5, ""),
		within("extraction rate", e.Rate, 0.001, 2, "1/h"),
		within("activation energy", e.Activation, 20e3, 250e3, "J/mol"),
		within("spread of the rate", e.Spread, 1, 5, ""),
	)
}

// extractionFloor is the temperature below which nothing is counted, C: collagen shrinks
// and dissolves above about 60 C (no measurable extraction at 60 C, Olatunji and Denloye).
const extractionFloor = 60.0

// RateAt returns k, 1/h, at 0 to 140 C; 0 up to 60 C.
func (e Extraction) RateAt(t units.Celsius) (float64, error) {
	e, err := e.normal()
	if err != nil {
		return 0, err
	}
	if err := within("extraction temperature", float64(t), 0, 140, "C"); err != nil {
		return 0, err
	}
	return e.rate(float64(t)), nil
}

func (e Extraction) rate(t float64) float64 {
	if t <= extractionFloor {
		return 0
	}
	const gasConstant, reference = 8.314462618, 95 + 273.15
	return e.Rate * math.Exp(-e.Activation/gasConstant*(1/(t+273.15)-1/reference))
}

// Gelatin is what an extraction has freed.
type Gelatin struct {
	// Low, Likely and High masses; the ends by Extraction.Spread.
	Low, Likely, High units.Mass
	// Share of the bones' collagen, likely.
	Share float64
	// Simmered is the time above 60 C.
	Simmered time.Duration
	// Assumptions and Cautions to be shown with the result.
	Assumptions, Cautions []string
}

// Extract returns the gelatin freed from a mass of bones held at one temperature.
func (e Extraction) Extract(bones units.Mass, t units.Celsius, held time.Duration) (Gelatin, error) {
	if held < 0 || held > 14*24*time.Hour {
		return Gelatin{}, fmt.Errorf("extraction of %v is outside 0 to 336 h", held)
	}
	return e.ExtractOver(bones, []State{{Temperature: t}, {Temperature: t, Elapsed: held}})
}

// ExtractOver returns the gelatin freed along a series of states, such as
// Outcome.Series; the rate is taken to change evenly between two states. At least two
// states, in order of time, 0 to 140 C.
func (e Extraction) ExtractOver(bones units.Mass, series []State) (Gelatin, error) {
	e, err := e.normal()
	if err != nil {
		return Gelatin{}, err
	}
	if err := within("mass of bones", float64(bones), 0, 5000, "kg"); err != nil {
		return Gelatin{}, err
	}
	if len(series) < 2 {
		return Gelatin{}, errors.New("an extraction needs at least two states: ask for a series with Settings.Every")
	}
	sum := 0.0 // of k·dt
	var simmered time.Duration
	for i, s := range series {
		if err := within("temperature of the series", float64(s.Temperature), 0, 140, "C"); err != nil {
			return Gelatin{}, fmt.Errorf("state %d: %w", i+1, err)
		}
		if i == 0 {
			continue
		}
		dt := s.Elapsed - series[i-1].Elapsed
		if dt < 0 || dt > 14*24*time.Hour {
			return Gelatin{}, fmt.Errorf("state %d is %v after the one before: the series must be in order, within 336 h", i+1, dt)
		}
		a, b := e.rate(float64(series[i-1].Temperature)), e.rate(float64(s.Temperature))
		sum += (a + b) / 2 * dt.Hours()
		if a+b > 0 {
			simmered += dt
		}
	}
	freed := func(f float64) units.Mass {
		return units.Mass(-float64(bones) * e.Collagen * math.Expm1(-sum*f))
	}
	g := Gelatin{
		Low: freed(1 / e.Spread), Likely: freed(1), High: freed(e.Spread),
		Share: -math.Expm1(-sum), Simmered: simmered, Assumptions: []string{AssumeGelatin},
	}
	if simmered > LongExtraction {
		g.Cautions = append(g.Cautions, CautionLongExtraction)
	}
	return g, nil
}

// GelatinRange is a gelatin mass fraction of a liquid with its range.
type GelatinRange struct{ Low, Likely, High float64 }

// In returns the mass fractions that the gelatin makes in a liquid, for instance the
// strained stock or its reduction; none of it evaporates.
func (g Gelatin) In(liquid units.Mass) (GelatinRange, error) {
	if err := within("mass of liquid", float64(liquid), 0.01, 20000, "kg"); err != nil {
		return GelatinRange{}, err
	}
	share := func(m units.Mass) float64 { return float64(m) / float64(liquid) }
	r := GelatinRange{share(g.Low), share(g.Likely), share(g.High)}
	if !(r.High <= 1) || !(r.Low >= 0) {
		return GelatinRange{}, fmt.Errorf("%.3f kg of gelatin do not fit into %.3f kg of liquid", float64(g.High), float64(liquid))
	}
	return r, nil
}

// GelStrength is how a stock sets when chilled.
type GelStrength uint8

// Classes by gelatin mass fraction. Common practice and memory, not a standard: 1 to 1.5 %
// sets soft; demi-glace holds 10 to 15 %, glace about 25 % (McGee).
const (
	NoGel   GelStrength = iota // below 1 %
	SoftGel                    // 1 to 1.5 %
	FirmGel                    // 1.5 to 5 %
	HardGel                    // 5 to 20 %
	Rubbery                    // above 20 %
)

// String returns the English word.
func (g GelStrength) String() string {
	switch g {
	case NoGel:
		return "does not set"
	case SoftGel:
		return "sets soft"
	case FirmGel:
		return "sets firm"
	case HardGel:
		return "sets hard"
	default:
		return "rubbery"
	}
}

// GelStrengthOf returns the class of a gelatin mass fraction, 0 to 1.
func GelStrengthOf(fraction float64) (GelStrength, error) {
	if err := within("gelatin fraction", fraction, 0, 1, ""); err != nil {
		return NoGel, err
	}
	for i, limit := range [...]float64{0.01, 0.015, 0.05, 0.20} {
		if fraction < limit {
			return GelStrength(i), nil
		}
	}
	return Rubbery, nil
}
