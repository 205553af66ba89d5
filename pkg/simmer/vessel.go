package simmer

import (
	"fmt"
	"math"
	"time"

	"rondeau.internal/pkg/thermo"
	"rondeau.internal/pkg/units"
)

// Defaults used where a field is zero.
const (
	// DefaultEfficiency is the share of rated power that reaches the contents:
	// gas kettles 0.45 to 0.60, open burners 0.25 to 0.40 (from memory, weak).
	DefaultEfficiency = 0.45
	// DefaultWallLoss of a bare steel wall in still air, W/m2·K: 9.5 at 32 C to 13 at
	// 93 C of the contents (Engineering ToolBox, Heat Loss from Open Water Tanks).
	DefaultWallLoss = 10.0
	// SpecificHeatBones, J/kg·K: Earle's rule 4.19·p + 0.84·(1 - p) at 50 % water.
	SpecificHeatBones = 2515.0
	// SpecificHeatSteel of stainless steel, J/kg·K (from memory).
	SpecificHeatSteel = 500.0
)

// Vessel is a heated kettle or pan.
type Vessel struct {
	Geometry
	// Power is the rated input of the burner or the elements; 0 to 1 MW. Zero when a
	// Heater is given.
	Power units.Power
	// Efficiency is the share of Power that enters the contents, 0.05 to 1; 0
	// means DefaultEfficiency. With a steam jacket it multiplies the coefficient, 0
	// meaning 1.
	Efficiency float64
	// WallLoss is the coefficient from contents to room through the wetted wall,
	// W/m2·K, 0.1 to 100; 0 means DefaultWallLoss. Insulated walls: 1 to 3; see
	// OverallCoefficient. A wall with steam behind it loses none.
	WallLoss float64
	// ShellMass is the steel that heats with the contents.
	ShellMass units.Mass
	// LidLoss is the coefficient from the vapour under a lid to the room, W/m2·K of
	// covered surface, 0.1 to 100; 0 means DefaultWallLoss.
	LidLoss float64
	// Heater says how heat gets in; the zero value leaves it to Power and Efficiency.
	Heater Heater
}

func (v Vessel) normal() (Vessel, error) {
	if err := v.Geometry.Check(); err != nil {
		return v, err
	}
	if err := v.fold(); err != nil {
		return v, err
	}
	if v.Efficiency == 0 {
		v.Efficiency = DefaultEfficiency
	}
	if v.WallLoss == 0 {
		v.WallLoss = DefaultWallLoss
	}
	if v.LidLoss == 0 {
		v.LidLoss = DefaultWallLoss
	}
	for _, err := range []error{
		within("power", float64(v.Power), 0, 1e6, "W"),
		within("efficiency", v.Efficiency, 0.05, 1, ""),
		within("wall loss", v.WallLoss, 0.1, 100, "W/m2 K"),
		within("lid loss", v.LidLoss, 0.1, 100, "W/m2 K"),
		within("shell mass", float64(v.ShellMass), 0, 2000, "kg"),
	} {
		if err != nil {
			return v, err
		}
	}
	return v, nil
}

// Check reports a field out of range.
func (v Vessel) Check() error {
	_, err := v.normal()
	return err
}

// Load is what is in the vessel at the start.
type Load struct {
	// Liquid is the mass of water or stock, its solids included; 0.05 to 20 000 kg.
	Liquid units.Mass
	// Solids is the mass fraction of solids in the liquid (Brix/100 as a proxy), 0
	// to MaxSolids.
	Solids float64
	// Bones are pieces immersed in the liquid; they take room and heat.
	Bones units.Mass
	// BoneDensity of the pieces; 0 means DefaultBoneDensity.
	BoneDensity units.Density
	// Start is the temperature of everything, -1 C (treated as 0 C) to the boil.
	Start units.Celsius
}

// MaxSolids is the largest solids fraction the models cover (a stiff glaze).
const MaxSolids = 0.7

func (l Load) normal() (Load, error) {
	if l.BoneDensity == 0 {
		l.BoneDensity = DefaultBoneDensity
	}
	for _, err := range []error{
		within("mass of liquid", float64(l.Liquid), 0.05, 20000, "kg"),
		within("solids fraction", l.Solids, 0, MaxSolids, ""),
		within("mass of bones", float64(l.Bones), 0, 5000, "kg"),
		within("density of bones", float64(l.BoneDensity), 800, 2500, "kg/m3"),
		within("start temperature", float64(l.Start), -1, 105, "C"),
	} {
		if err != nil {
			return l, err
		}
	}
	l.Start = max(l.Start, 0)
	return l, nil
}

// Duty is what the cook sets. The zero value boils at full power.
type Duty struct {
	// Hold is the temperature kept, 30 C to the boil; 0, or a value above the local
	// boiling point, means boil.
	Hold units.Celsius
	// PowerShare is the part of the vessel's power available, 0 to 1; 0 means 1.
	PowerShare float64
	// Off shuts the heat.
	Off bool
	// MaxSuperheat makes the cook lower the heat as the contents thicken, so that the
	// heated wall is never hotter than the contents by more than this, 1 to 100 K; 0
	// means no such care. See DefaultSuperheat.
	MaxSuperheat units.CelsiusDelta
}

func (d Duty) normal(boil units.Celsius) (Duty, error) {
	if d.PowerShare == 0 {
		d.PowerShare = 1
	}
	if err := within("power share", d.PowerShare, 0, 1, ""); err != nil {
		return d, err
	}
	if err := zeroOrWithin("largest superheat", float64(d.MaxSuperheat), 1, 100, "K"); err != nil {
		return d, err
	}
	if d.Hold == 0 {
		d.Hold = boil
	}
	if err := within("temperature to hold", float64(d.Hold), 30, 150, "C"); err != nil {
		return d, err
	}
	d.Hold = min(d.Hold, boil)
	return d, nil
}

// Mode is what a kettle is doing.
type Mode uint8

// The modes.
const (
	Heating Mode = iota
	Holding
	Boiling
	Cooling
)

// String returns the English word.
func (m Mode) String() string {
	switch m {
	case Heating:
		return "heating"
	case Holding:
		return "holding"
	case Boiling:
		return "boiling"
	default:
		return "cooling"
	}
}

// State of the contents at one moment.
type State struct {
	Elapsed     time.Duration
	Temperature units.Celsius
	Liquid      units.Mass   // water and solids
	Volume      units.Volume // of the liquid at its temperature, bones not counted
	Level       units.Length // in the vessel, bones included
	Solids      float64      // mass fraction of the liquid
	Evaporation float64      // kg/s at this moment
	Power       units.Power  // entering the contents at this moment
	Mode        Mode
	Evaporated  units.Mass   // since the start
	EnergyIn    units.Energy // into the contents since the start
	EnergyLost  units.Energy // by wall and surface, evaporation not counted
	// EnergyVapour went off with the vapour, counted like Enthalpy from water at 0 C:
	// EnergyIn = EnergyLost + EnergyVapour + the change of Enthalpy.
	EnergyVapour units.Energy
	Enthalpy     units.Energy       // of liquid, bones and shell above 0 C
	FloorFlux    float64            // W/m2 through the heated wall
	Superheat    units.CelsiusDelta // of the heated wall above the contents; see FloorFilm
}

// Brix is the solids fraction as degrees Brix, for which a refractometer stands in: it is
// calibrated for sugar and reads protein about right, salt too high.
func (s State) Brix() float64 { return 100 * s.Solids }

// LiquidVolume returns the volume of stock at a temperature: water (IAPWS) and
// solids (Choi and Okos) add up. 0 to 140 C, solids 0 to MaxSolids.
func LiquidVolume(m units.Mass, solids float64, t units.Celsius) (units.Volume, error) {
	if err := within("mass of liquid", float64(m), 0, 20000, "kg"); err != nil {
		return 0, err
	}
	if err := within("solids fraction", solids, 0, MaxSolids, ""); err != nil {
		return 0, err
	}
	if err := within("liquid temperature", float64(t), 0, 140, "C"); err != nil {
		return 0, err
	}
	return units.Volume(volumeOf(float64(m)*(1-solids), float64(m)*solids, float64(t))), nil
}

// LiquidMass is the inverse of LiquidVolume.
func LiquidMass(v units.Volume, solids float64, t units.Celsius) (units.Mass, error) {
	one, err := LiquidVolume(1, solids, t)
	if err != nil {
		return 0, err
	}
	m := units.Mass(float64(v) / float64(one))
	if err := within("volume", float64(v), 0, 20, "m3"); err != nil {
		return 0, err
	}
	return m, nil
}

// volumeOf adds water and stock solids, kg and C to m3.
func volumeOf(water, solids, t float64) float64 {
	w, d := specificVolume(t)
	return water*w + solids*d
}

// specificVolume returns that of water and of stock solids, m3/kg; the solids' is that of
// LeanStock's dry part by the component equations.
func specificVolume(t float64) (water, dry float64) {
	d, _ := thermo.WaterDensity(units.Celsius(math.Max(0, t)))
	return 1 / float64(d), 0.6/(1329.9-0.5184*t) + 0.1/(925.59-0.41757*t) + 0.1/(1599.1-0.31046*t) + 0.2/(2423.8-0.28063*t)
}

// Coefficients of specific heat, J/kg·K and powers of C, of water and of the dry part of
// stock (Choi and Okos; protein, fat, carbohydrate, ash 6:1:1:2).
var (
	heatWater = [3]float64{4176.2, -9.0864e-2, 5.4731e-3}
	heatDry   = [3]float64{
		0.6*2008.2 + 0.1*1984.2 + 0.1*1548.8 + 0.2*1092.6,
		0.6*1.2089 + 0.1*1.4733 + 0.1*1.9625 + 0.2*1.8896,
		-(0.6*1.3129e-3 + 0.1*4.8008e-3 + 0.1*5.9399e-3 + 0.2*3.6817e-3),
	}
)

// heatOf returns J/K of water and stock solids, by the component equations.
func heatOf(water, solids, t float64) float64 {
	w, d := &heatWater, &heatDry
	return water*(w[0]+t*(w[1]+t*w[2])) + solids*(d[0]+t*(d[1]+t*d[2]))
}

// enthalpyOf is the integral of heatOf over temperature from 0 C, J.
func enthalpyOf(water, solids, t float64) float64 {
	w, d := &heatWater, &heatDry
	return t * (water*(w[0]+t*(w[1]/2+t*w[2]/3)) + solids*(d[0]+t*(d[1]/2+t*d[2]/3)))
}

func checkFits(v Vessel, l Load) error {
	volume := volumeOf(float64(l.Liquid)*(1-l.Solids), float64(l.Liquid)*l.Solids, float64(l.Start)) +
		float64(l.Bones)/float64(l.BoneDensity)
	if brim := v.Brimful(); units.Volume(volume) > brim {
		return fmt.Errorf("load of %.1f L (bones included) does not fit into a vessel of %.1f L to the brim", 1000*volume, brim.Litres())
	}
	return nil
}
