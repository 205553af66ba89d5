package scheduling

import (
	"fmt"
	"sort"
	"strings"
	"time"

	"rondeau.internal/pkg/apierr"
)

// Vessel is a kettle, pan, oven, chiller, freezer or work place.
type Vessel struct {
	Name        string
	Meta        `json:"-"`
	DisplayName string
	Class       string
	Shape       Shape
	// PowerWatts is the heat input at full fire and Efficiency the part that reaches the material (0 means
	// unknown: simmer.DefaultEfficiency is assumed).
	PowerWatts float64
	Efficiency float64
	HeatSource HeatSource
	// MinFillLiters and MaxFillLiters bound the filling; a maximum of 0 means not limited by volume.
	MinFillLiters float64
	MaxFillLiters float64
	// LoadCapacityKg is shared by several runs at a time; 0 means one run at a time.
	LoadCapacityKg float64
	Lidded         bool
	// SpeedFactor scales the rate that a step states; 0 counts as 1.
	SpeedFactor       float64
	Cooling           *Cooling
	Cleaning          *Cleaning
	UnattendedAllowed bool
	Active            bool
	Down              []DownWindow
	// MaterialState is that of the last run in it; empty means clean for anything.
	MaterialState string
	// Learned is what its runs have shown; nil before the first one that was measured.
	Learned *Learned `json:",omitempty"`
	// Running names the runs in it; filled when read, not stored.
	Running []string `json:"-"`
}

// ShapeKind is the kind of inner shape.
type ShapeKind uint8

// The shapes.
const (
	ShapeNone ShapeKind = iota
	ShapeCylinder
	ShapeHemisphere // a cylinder on a hemispherical bottom
	ShapePan
)

// Shape is the inside of a vessel, meters. Height of a ShapeHemisphere is that of the straight wall alone.
type Shape struct {
	Kind                            ShapeKind
	Diameter, Height, Length, Width float64
}

// HeatSource says which limit of the kitchen a vessel's power counts against.
type HeatSource string

// The heat sources.
const (
	HeatNone     HeatSource = ""
	HeatElectric HeatSource = "ELECTRIC"
	HeatSteam    HeatSource = "STEAM"
	HeatGas      HeatSource = "GAS"
)

// CoolingMethod is the way in which heat leaves the material.
type CoolingMethod string

// The methods of cooling.
const (
	CoolingAir     CoolingMethod = "AIR"
	CoolingIceBath CoolingMethod = "ICE_BATH"
	CoolingJacket  CoolingMethod = "JACKET"
)

// Cooling describes a chiller or freezer.
type Cooling struct {
	Method                   CoolingMethod
	MediumTemperatureCelsius float64
	// HeatTransfer in W/(m2 K).
	HeatTransfer float64
	// PowerWatts that can be taken out at once; 0 means more than the load gives off.
	PowerWatts float64
	// PanDepthMeters of the material, for CoolingAir; 0 means DefaultPanDepthMeters.
	PanDepthMeters float64
	// WettedAreaSquareMeters for the other methods.
	WettedAreaSquareMeters float64
	Covered                bool
}

// DefaultPanDepthMeters of material in pans: 2 in, the shallow pan that cooling guidance for food service asks for
// (FDA Food Code 2022, 3-501.15 names shallow pans; the depth is common practice, no source).
const DefaultPanDepthMeters = 0.05

// Cleaning says what must be cleaned between two materials.
type Cleaning struct {
	Default  time.Duration
	Attended bool
	Changes  []CleaningChange
	// Crew that cleans; empty means the first active crew that works at the class.
	Crew string
}

// CleaningChange differs from the default; "*" stands for any state.
type CleaningChange struct {
	From, To string
	Duration time.Duration
	Attended bool
}

// DownWindow is a half-open time in which a vessel cannot be used; a zero End is not known yet.
type DownWindow struct {
	Start, End time.Time
	Reason     string
	Reporter   string
}

// Check reports every fault of the vessel.
func (v Vessel) Check() error {
	err := apierr.InvalidArgument(VesselInvalid, "vessel %s cannot be used as it is; correct the fields named", v.Name).With("vessel", v.Name)
	if v.MaxFillLiters > 0 && v.MinFillLiters > v.MaxFillLiters {
		err.WithViolation("vessel.min_fill_liters", "%g L is more than the greatest filling of %g L", v.MinFillLiters, v.MaxFillLiters)
	}
	if v.Shape.Kind != ShapeNone && v.MaxFillLiters > 0 {
		geometry := v.Shape.geometry()
		if shapeErr := geometry.Check(); shapeErr != nil {
			err.WithViolation("vessel.shape", "%v", shapeErr)
		} else if brim := geometry.Brimful().Litres(); v.MaxFillLiters > brim*1.0001 {
			err.WithViolation("vessel.max_fill_liters", "%g L is more than its shape holds to the brim, %.1f L", v.MaxFillLiters, brim)
		}
	}
	if c := v.Cooling; c != nil && c.Method != CoolingAir && c.WettedAreaSquareMeters <= 0 {
		err.WithViolation("vessel.cooling.wetted_area_square_meters", "is needed for %s: the surface through which heat leaves", c.Method)
	}
	if v.Cleaning != nil {
		seen := map[[2]string]bool{}
		for i, change := range v.Cleaning.Changes {
			pair := [2]string{change.From, change.To}
			if seen[pair] {
				err.WithViolation(fmt.Sprintf("vessel.cleaning.changes[%d]", i), "the pair %s to %s stands twice", change.From, change.To)
			}
			seen[pair] = true
		}
	}
	if len(err.Violations) > 0 {
		return err
	}
	if v.Cleaning != nil {
		return sameSite(v.Name, "vessel.cleaning.crew", v.Cleaning.Crew)
	}
	return nil
}

// Shared says whether several runs may be in the vessel at the same time.
func (v Vessel) Shared() bool { return v.LoadCapacityKg > 0 }

// DownAt is the window in which the vessel is down at a moment, if it is.
func (v Vessel) DownAt(t time.Time) (DownWindow, bool) {
	for _, w := range v.Down {
		if !t.Before(w.Start) && (w.End.IsZero() || t.Before(w.End)) {
			return w, true
		}
	}
	return DownWindow{}, false
}

// change is the cleaning between two material states. An exact pair goes before (from, *), that before (*, to), that
// before (*, *), that before the default. The same state again needs nothing unless a pair says so. States are written
// "material" or "material+ALLERGEN+ALLERGEN"; where the next material would lack an allergen that the vessel carries,
// the default cleaning is the least, whatever the pairs say.
func (c Cleaning) change(from, to string) (time.Duration, bool) {
	fromMaterial, fromAllergens := splitState(from)
	toMaterial, toAllergens := splitState(to)
	duration, attended := c.Default, c.Attended
	if fromMaterial == toMaterial {
		duration, attended = 0, false
	}
	best := -1
	for _, change := range c.Changes {
		rank := matchRank(change.From, fromMaterial)*2 + matchRank(change.To, toMaterial)
		if matchRank(change.From, fromMaterial) < 0 || matchRank(change.To, toMaterial) < 0 || rank <= best {
			continue
		}
		if fromMaterial == toMaterial && rank < 3 {
			continue // a pattern does not make the same material again dirty
		}
		best, duration, attended = rank, change.Duration, change.Attended
	}
	if duration < c.Default && carriesOver(fromAllergens, toAllergens) {
		duration, attended = c.Default, c.Attended
	}
	return duration, attended
}

func matchRank(pattern, state string) int {
	switch pattern {
	case state:
		return 1
	case "*":
		return 0
	}
	return -1
}

// carriesOver says whether an allergen of the first list is not in the second.
func carriesOver(from, to []string) bool {
	for _, a := range from {
		found := false
		for _, b := range to {
			found = found || a == b
		}
		if !found {
			return true
		}
	}
	return false
}

// stateOf joins a material state and its allergens; steps without a state count as "plain".
func stateOf(material string, allergens []string) string {
	if material == "" {
		material = "plain"
	}
	sorted := append([]string(nil), allergens...)
	sort.Strings(sorted)
	return strings.Join(append([]string{material}, sorted...), "+")
}

func splitState(state string) (material string, allergens []string) {
	parts := strings.Split(state, "+")
	return parts[0], parts[1:]
}
