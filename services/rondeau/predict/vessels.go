package predict

import (
	"fmt"
	"math"
	"strings"

	"rondeau.internal/pkg/simmer"
	"rondeau.internal/pkg/thermo"
	"rondeau.internal/pkg/units"
)

// Kind of a vessel decides how its contents cool.
type Kind string

// The kinds.
const (
	// Pot stands free and convects: stock pots, rondeaux.
	Pot Kind = "pot"
	// Kettle is fixed and heated by itself; it cools through its jacket or in air.
	Kettle Kind = "kettle"
	// Tray is a shallow pan of food cooled over its faces.
	Tray Kind = "tray"
	// Container is a closed tub or pouch.
	Container Kind = "container"
)

// Vessel of the library. Measures are inside measures.
type Vessel struct {
	Name, Title string
	Kind        Kind
	simmer.Vessel
	// Fill is the usual fill.
	Fill units.Volume
	// Class decides what is believed of the vessel before anybody has measured it.
	Class simmer.Class
	// Flat is set for a pouch, which lies flat: its thickness goes with the fill.
	Flat bool
	// Sizes and Heat tell where the measures and the heating come from.
	Sizes, Heat string
}

const (
	inventedSize = "an invented size of a usual kind"
	practice     = "common practice, no source"
)

var library = []Vessel{
	{
		Name: "household", Title: "household stock pot, 8 qt", Kind: Pot, Fill: 3.8 * units.Litre, Class: simmer.HotPlatePot,
		Vessel: simmer.Vessel{Geometry: cylinder(0.24, 0.17), Power: 2 * units.Kilowatt, Efficiency: 0.5, ShellMass: 1.5},
		Sizes:  "24 cm across, 17 cm high: " + inventedSize, Heat: "2 kW hob, half of it in the pot: " + practice,
	},
	{
		Name: "stockpot-40", Title: "tall stock pot, 40 L", Kind: Pot, Fill: 32 * units.Litre, Class: simmer.OpenBurnerPot,
		Vessel: simmer.Vessel{Geometry: cylinder(0.36, 0.40), Power: 14 * units.Kilowatt, Efficiency: 0.35, ShellMass: 5},
		Sizes:  "36 cm across, 40 cm high: " + inventedSize, Heat: "14 kW open gas burner, 35 % in the pot: " + practice,
	},
	{
		Name: "stockpot-20", Title: "stock pot, 20 L (5 gal)", Kind: Pot, Fill: 18 * units.Litre, Class: simmer.OpenBurnerPot,
		Vessel: simmer.Vessel{Geometry: cylinder(0.30, 0.28), Power: 9 * units.Kilowatt, Efficiency: 0.35, ShellMass: 3},
		Sizes:  "30 cm across, 28 cm high: " + inventedSize, Heat: "9 kW open gas burner, 35 % in the pot: " + practice,
	},
	{
		Name: "rondeau-60", Title: "rondeau pan, 60 cm", Kind: Pot, Fill: 40 * units.Litre, Class: simmer.OpenBurnerPot,
		Vessel: simmer.Vessel{Geometry: cylinder(0.60, 0.20), Power: 14 * units.Kilowatt, Efficiency: 0.4, ShellMass: 8},
		Sizes:  "60 cm across, 20 cm high: " + inventedSize, Heat: "14 kW open gas burner, 40 % in the pan: " + practice,
	},
	steamKettle("kettle-100", "jacketed kettle, 100 L, steam", 100, 0.60, 24),
	steamKettle("kettle-200", "jacketed kettle, 200 L, steam", 200, 0.76, 42),
	steamKettle("kettle-400", "jacketed kettle, 400 L, steam", 400, 0.96, 72),
	{
		Name: "gas-kettle-150", Title: "gas kettle, 150 L", Kind: Kettle, Fill: 120 * units.Litre, Class: simmer.GasKettle,
		Vessel: simmer.Vessel{Geometry: cylinder(0.60, 0.53), Power: 30 * units.Kilowatt, Efficiency: 0.5, WallLoss: 5, ShellMass: 45},
		Sizes:  "60 cm across, 53 cm high: " + inventedSize, Heat: "30 kW gas, half of it in the contents: " + practice,
	},
	{
		Name: "tilting-120", Title: "tilting pan, 120 L", Kind: Kettle, Fill: 80 * units.Litre, Class: simmer.TiltingPan,
		Vessel: simmer.Vessel{Geometry: simmer.Geometry{Shape: simmer.Pan, Length: 0.90, Width: 0.60, Height: 0.225}, Power: 18 * units.Kilowatt, Efficiency: 0.85, WallLoss: 4, ShellMass: 60},
		Sizes:  "90 x 60 cm, 22.5 cm deep: " + inventedSize, Heat: "18 kW electric, 85 % in the contents: " + practice,
	},
	hotelPan("pan-65", "hotel pan GN 1/1, 65 mm", 0.065, 5),
	hotelPan("pan-100", "hotel pan GN 1/1, 100 mm", 0.100, 9),
	{
		Name: "tub-4", Title: "tub, 4 L", Kind: Container, Fill: 4 * units.Litre, Class: simmer.OpenBurnerPot,
		Vessel: simmer.Vessel{Geometry: cylinder(0.19, 0.155), ShellMass: 0.15},
		Sizes:  "19 cm across, 15.5 cm high: " + inventedSize,
	},
	{
		Name: "container-1", Title: "container, 1 L", Kind: Container, Fill: units.Litre, Class: simmer.OpenBurnerPot,
		Vessel: simmer.Vessel{Geometry: cylinder(0.108, 0.12), ShellMass: 0.04},
		Sizes:  "10.8 cm across, 12 cm high: " + inventedSize,
	},
	{
		Name: "pouch-500", Title: "flat pouch, 500 mL", Kind: Container, Fill: 500 * units.Millilitre, Class: simmer.OpenBurnerPot, Flat: true,
		Vessel: simmer.Vessel{Geometry: simmer.Geometry{Shape: simmer.Pan, Length: 0.20, Width: 0.14, Height: 0.025}, ShellMass: 0.01},
		Sizes:  "20 x 14 cm, 25 mm thick when filled and laid flat: " + inventedSize,
	},
}

func cylinder(diameter, height units.Length) simmer.Geometry {
	return simmer.Geometry{Shape: simmer.Cylinder, Diameter: diameter, Height: height}
}

// steamKettle has a half-sphere bottom; its height follows from the volume to the brim, a tenth above the nominal one.
func steamKettle(name, title string, litres, diameter, kilowatts float64) Vessel {
	r := diameter / 2
	height := r + (1.1e-3*litres-2*math.Pi/3*r*r*r)/(math.Pi*r*r)
	return Vessel{
		Name: name, Title: title, Kind: Kettle, Fill: units.Volume(0.8*litres) * units.Litre, Class: simmer.SteamKettle,
		Vessel: simmer.Vessel{
			Geometry: simmer.Geometry{Shape: simmer.Hemispherical, Diameter: units.Length(diameter), Height: units.Length(height)},
			Power:    units.Power(kilowatts) * units.Kilowatt, Efficiency: 0.9, WallLoss: 4, ShellMass: units.Mass(0.5 * litres),
		},
		Sizes: trimmed(100*diameter) + " cm across, " + trimmed(100*height) + " cm deep, half-sphere bottom: " + inventedSize,
		Heat:  trimmed(kilowatts) + " kW of steam at the jacket, 90 % in the contents: " + practice,
	}
}

// hotelPan is a gastronorm pan: 530 x 325 mm over the rim by EN 631-1.
func hotelPan(name, title string, depth units.Length, litres float64) Vessel {
	return Vessel{
		Name: name, Title: title, Kind: Tray, Fill: units.Volume(litres) * units.Litre, Class: simmer.OpenBurnerPot,
		Vessel: simmer.Vessel{Geometry: simmer.Geometry{Shape: simmer.Pan, Length: 0.505, Width: 0.300, Height: depth - 0.003}, ShellMass: 1.2},
		Sizes:  "530 x 325 mm over the rim (EN 631-1, from memory), 505 x 300 mm inside (invented)",
	}
}

// Vessels lists the library in its order. The caller owns the slice.
func Vessels() []Vessel { return append([]Vessel(nil), library...) }

func vesselNames() []string {
	names := make([]string, len(library))
	for i := range library {
		names[i] = library[i].Name
	}
	return names
}

// VesselChoice is what a person says about the vessel: a name of the library and what differs from it, as texts of flags.
type VesselChoice struct {
	Vessel, Class                   string
	Diameter, Length, Width, Height string
	Power, Efficiency, Steam        string
	WallLoss, ShellMass             string
}

// Own is the name of a vessel that the person describes altogether.
const Own = "own"

// vessel reads the choice; otherwise is the name taken when none is given.
func (r *reader) vessel(c VesselChoice, otherwise string) Vessel {
	name := r.choice("--vessel", c.Vessel, otherwise, append(vesselNames(), Own)...)
	v := Vessel{Name: Own, Title: "your own vessel", Kind: Pot, Class: simmer.OpenBurnerPot, Sizes: "as given", Heat: "as given"}
	for _, one := range library {
		if one.Name == name {
			v = one
		}
	}
	r.measures(c, &v)
	r.class(c.Class, &v)
	power, given := r.quantity("--power", c.Power, bound{low: 50, high: 500e3, from: "50 W", to: "500 kW", kind: "a power", suchAs: "18 kW or 60000 BTU/h", dimension: units.DimensionPower})
	if given {
		v.Power, v.Heat = units.Power(power), "power as given"
	}
	if share, given := r.share("--efficiency", c.Efficiency, 0.05, 1, "the share of the power that enters the contents,", "45%"); given {
		v.Efficiency = share
	}
	v.WallLoss, _ = r.number("--wall-loss", c.WallLoss, 0.1, 100, v.WallLoss, "W/m²·K", "10 for bare steel, 3 for an insulated jacket")
	mass, given := r.quantity("--shell-mass", c.ShellMass, bound{low: 0, high: 2000, from: "0 kg", to: "2000 kg", kind: "the mass of the vessel's metal", suchAs: "3 kg", dimension: units.DimensionMass})
	if given {
		v.ShellMass = units.Mass(mass)
	}
	if c.Vessel == "" {
		r.assume("vessel", v.Title, "--vessel; "+v.Sizes)
	} else if v.Name != Own && c.Diameter+c.Length+c.Width+c.Height == "" {
		r.assumeIn("vessel's measures", v.inside, "--diameter, --length, --width, --height; "+sizeSource(v.Sizes))
	}
	return v
}

// class reads --class, whose words are those of the classes with hyphens.
func (r *reader) class(text string, v *Vessel) {
	var words []string
	for _, one := range simmer.Classes() {
		words = append(words, strings.ReplaceAll(string(one.Class), "_", "-"))
	}
	word := r.choice("--class", text, strings.ReplaceAll(string(v.Class), "_", "-"), words...)
	v.Class = simmer.Class(strings.ReplaceAll(word, "-", "_"))
	typical, err := simmer.TypicalOf(v.Class)
	r.check("--class", text, err)
	if v.Efficiency == 0 || text != "" {
		v.Efficiency = typical.Efficiency
	}
	if v.WallLoss == 0 || text != "" {
		v.WallLoss = typical.WallLoss
	}
}

// the vessel in a sentence.
func (v Vessel) the() string {
	if v.Name == Own {
		return v.Title
	}
	return "the " + v.Title
}

// inside measures in a person's units.
func (v Vessel) inside(s *Style) string {
	if v.Shape == simmer.Pan {
		return s.Length(v.Geometry.Length) + " x " + s.Length(v.Width) + ", " + s.Length(v.Height) + " deep"
	}
	text := s.Length(v.Diameter) + " across, " + s.Length(v.Height) + " deep"
	if v.Shape == simmer.Hemispherical {
		text += ", half-sphere bottom"
	}
	return text
}

// steam reads --steam, the pressure that the gauge of a steam jacket shows; it takes the place of a rated power.
func (r *reader) steam(text string, v *Vessel, altitude float64) {
	gauge, given := r.quantity("--steam", text, bound{low: 0.1e5, high: 6e5, from: "0.1 bar", to: "6 bar", kind: "the pressure on the gauge of the jacket", suchAs: "1bar or 15psi", dimension: units.DimensionPressure})
	if !given || len(r.faults) > 0 {
		return
	}
	if v.Shape != simmer.Hemispherical && v.Name != Own {
		r.fault("--steam", text, "is for a jacketed kettle; give --vessel kettle-100, kettle-200 or kettle-400")
		return
	}
	air, err := thermo.AtmospherePressure(altitude)
	r.check("--altitude", "", err)
	v.Heater = simmer.Jacket(units.Pressure(gauge)+air, v.Height*2/3)
	v.Power, v.Efficiency, v.Class, v.Heat = 0, 1, simmer.SteamKettle, "steam as given; 800 W/m²·K to thin contents"
	r.assume("jacket", "up to two thirds of the height, 800 W/m²·K", "--efficiency scales it; "+practice)
}

func (v Vessel) heated() bool { return v.Power > 0 || v.Heater.Kind == simmer.SteamJacket }

// paid is the share of what is paid for that enters the contents; of steam all is counted.
func (v Vessel) paid() float64 {
	if v.Heater.Kind == simmer.SteamJacket {
		return 1
	}
	return v.Efficiency
}

// source of the heat as an assumption.
func (v Vessel) source(s *Style) Assumption {
	if v.Heater.Kind == simmer.SteamJacket {
		t, err := v.Heater.SteamTemperature()
		text := "steam in the jacket"
		if err == nil {
			text += " at " + s.Temperature(t)
		}
		return Assumption{"heat source", text, "--steam", v.Heat}
	}
	return Assumption{"heat source", fmt.Sprintf("%s, %s of it in the contents", s.Power(v.Power), percent(v.Efficiency)), "--power, --efficiency", v.Heat}
}

func sizeSource(sizes string) string {
	if strings.HasSuffix(sizes, inventedSize) {
		return inventedSize
	}
	return sizes
}

// measures reads --diameter or --length and --width, and --height.
func (r *reader) measures(c VesselChoice, v *Vessel) {
	before := len(r.faults)
	read := func(flag, text string) units.Length {
		b := bound{low: 0.02, high: 5, from: "2 cm", to: "5 m", kind: "an inside measure", suchAs: "60 cm or 24 in", dimension: units.DimensionLength}
		l, _ := r.quantity(flag, text, b)
		return units.Length(l)
	}
	diameter, length, width, height := read("--diameter", c.Diameter), read("--length", c.Length), read("--width", c.Width), read("--height", c.Height)
	if len(r.faults) > before {
		return
	}
	if diameter > 0 && (length > 0 || width > 0) {
		r.fault("--diameter", c.Diameter, "give either --diameter, or --length and --width")
		return
	}
	if (length > 0) != (width > 0) && v.Shape != simmer.Pan {
		r.fault("--length", c.Length, "a rectangular pan needs both --length and --width")
		return
	}
	switch {
	case diameter > 0 && v.Shape == simmer.Pan:
		v.Shape, v.Diameter = simmer.Cylinder, diameter
	case diameter > 0:
		v.Diameter = diameter
	case length > 0 || width > 0:
		if length > 0 {
			v.Geometry.Length = length
		}
		if width > 0 {
			v.Width = width
		}
		v.Shape = simmer.Pan
	}
	if height > 0 {
		v.Height = height
	}
	if diameter+length+width+height > 0 {
		v.Sizes = "as given"
	}
	if v.Name == Own && (v.Height == 0 || v.Diameter == 0 && v.Geometry.Length == 0) {
		r.fault("--vessel", Own, "your own vessel needs --height and --diameter (or --length and --width), such as --diameter 30cm --height 25cm")
		return
	}
	if err := v.Geometry.Check(); err != nil {
		r.fault("--height", c.Height, "%v", err)
	}
	if brim := v.Brimful(); v.Fill == 0 || v.Fill > brim {
		v.Fill = 0.8 * brim
	}
}
