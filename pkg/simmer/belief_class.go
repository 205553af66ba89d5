package simmer

import (
	"fmt"
	"math"
)

// Class of a vessel by how it is heated. Values are stable: they may be stored.
type Class string

// The classes.
const (
	SteamKettle    Class = "steam_kettle"    // jacket fed with steam from a boiler
	GasKettle      Class = "gas_kettle"      // jacketed, own gas-fired steam or direct gas
	ElectricKettle Class = "electric_kettle" // jacketed, own elements
	OpenBurnerPot  Class = "open_burner_pot" // pot over an open gas burner
	HotPlatePot    Class = "hot_plate_pot"   // pot on a solid or radiant electric plate
	InductionPot   Class = "induction_pot"
	TiltingPan     Class = "tilting_pan" // braising pan, gas or electric under the floor
)

// Typical is what is believed of a class before any vessel of it was measured.
type Typical struct {
	Class Class
	// Efficiency and WallLoss to put into a Vessel whose own are not known; Prior holds
	// factors on these.
	Efficiency, WallLoss float64
	Prior                Belief
	// Source of the numbers, in words.
	Source string
}

// Classes returns the table of classes, in a fixed order. The caller owns it.
func Classes() []Typical {
	const surface = "surface: 74 % (undisturbed) to 140-170 % (active) of the pool equation (Smith, Lof and Jones, ASHRAE Trans. 1998, abstract) and its extrapolation"
	return []Typical{
		typical(SteamKettle, 0.85, 5, 0.35, 0.15, 0.30, 0.020,
			"heat of the steam condensed in the jacket reaches the contents but for the outer shell's loss: 0.85 and its spread from memory, weak; "+surface),
		typical(GasKettle, 0.52, 6, 0.35, 0.18, 0.30, 0.020,
			"45 to 60 % gas to food, from memory, weak; "+surface),
		typical(ElectricKettle, 0.85, 5, 0.35, 0.10, 0.30, 0.020,
			"losses of shell and flange only; from memory, weak; "+surface),
		typical(OpenBurnerPot, 0.35, 10, 0.35, 0.25, 0.30, 0.025,
			"35 to 40 % of an open burner's heat reaches the pan (US DOE as quoted by the New York Times, 4 January 2008, at stephanfassmann.blogspot.com/2008/01), 25 to 40 % for large range burners from memory; "+surface),
		typical(HotPlatePot, 0.70, 10, 0.35, 0.12, 0.30, 0.025,
			"about 70 % (same page), 74 % (US DOE as quoted at leadingedgehomes.com/lehblog, January 2016); "+surface),
		typical(InductionPot, 0.85, 10, 0.35, 0.07, 0.30, 0.025,
			"84 % (same page of January 2016) to about 90 % (same page of 2008); "+surface),
		typical(TiltingPan, 0.60, 8, 0.35, 0.25, 0.30, 0.030,
			"gas near 0.5, electric near 0.75, one class for both; from memory, weak; "+surface),
	}
}

func typical(c Class, efficiency, wall, surface, power, loss, marks float64, source string) Typical {
	return Typical{
		Class: c, Efficiency: efficiency, WallLoss: wall, Source: source,
		Prior: Belief{
			Version: BeliefVersion,
			Surface: Factor{Log: math.Log(1.1), Spread: surface},
			Power:   Factor{Spread: power},
			Wall:    Factor{Spread: loss},
			Marks:   Factor{Spread: marks},
		},
	}
}

// TypicalOf returns the row of a class.
func TypicalOf(c Class) (Typical, error) {
	for _, t := range Classes() {
		if t.Class == c {
			return t, nil
		}
	}
	return Typical{}, fmt.Errorf("vessel class %q is not known: use one of steam_kettle, gas_kettle, electric_kettle, open_burner_pot, hot_plate_pot, induction_pot, tilting_pan", string(c))
}
