package scheduling

import (
	"fmt"
	"math"
	"time"

	"rondeau.internal/pkg/chill"
	"rondeau.internal/pkg/thermo"
	"rondeau.internal/pkg/units"
)

// panAreaSquareMeters is the face of one full-size food pan, 530 mm by 325 mm (EN 631-1, from memory).
const panAreaSquareMeters = 0.53 * 0.325

// stockFreezesAt is the initial freezing point assumed for stock and sauce (ASHRAE Handbook, Refrigeration, chapter 19,
// lists -0.4 to -0.9 degC for soups and juices; from memory).
const stockFreezesAt = units.Celsius(-0.6)

// chillHorizon is the longest chill looked at.
const chillHorizon = 7 * 24 * time.Hour

func (e *estimator) chill(s Step, v Vessel) (working, error) {
	if v.Cooling == nil {
		return working{}, fmt.Errorf("how %s cools is not known", v.DisplayName)
	}
	c, m := *v.Cooling, *s.Duration.Chill
	if c.MediumTemperatureCelsius >= m.TargetCelsius {
		return working{refusal: fmt.Sprintf("is at %.0f degC and cannot cool to %.0f degC", c.MediumTemperatureCelsius, m.TargetCelsius)}, nil
	}
	if m.StartCelsius <= m.TargetCelsius {
		return working{}, fmt.Errorf("the formula chills from %.0f to %.0f degC", m.StartCelsius, m.TargetCelsius)
	}
	mass := units.Mass(s.mass())
	if mass <= 0 {
		return working{}, fmt.Errorf("the formula does not say how much step %s chills", s.ID)
	}
	depth := m.DepthMeters
	if depth == 0 {
		depth = c.PanDepthMeters
	}
	if depth == 0 {
		depth = DefaultPanDepthMeters
	}
	switch {
	case m.TargetCelsius < float64(stockFreezesAt):
		return freezeTime(m, c, v, mass, depth)
	case c.Method == CoolingAir:
		return panTime(m, c, v, mass, depth)
	}
	return stirredTime(m, c, v, mass)
}

// panTime is the time of pans in moving air. Both faces of a pan are taken to be in the air, as on wire racks, and the
// stock not to convect, which is on the slow side.
func panTime(m ChillModel, c Cooling, v Vessel, mass units.Mass, depth float64) (working, error) {
	material, err := chill.MaterialOf(thermo.LeanStock, 30)
	if err != nil {
		return working{}, err
	}
	area := float64(mass) / float64(material.Density) / depth
	count := int(math.Ceil(area / panAreaSquareMeters))
	model, err := chill.NewChiller(chill.Blast{
		Air: units.Celsius(c.MediumTemperatureCelsius), Power: units.Power(c.PowerWatts),
		Loads: []chill.Pans{{
			Count: count, Depth: units.Length(depth), Area: units.Area(area / float64(count)), Material: material,
			Film: c.HeatTransfer, Start: units.Celsius(m.StartCelsius),
		}},
	})
	if err != nil {
		return working{}, err
	}
	return passage(model, m, v, fmt.Sprintf("%.0f kg in %d pans %.0f mm deep in air of %.0f degC", mass.Kilograms(), count, depth*1000, c.MediumTemperatureCelsius))
}

func stirredTime(m ChillModel, c Cooling, v Vessel, mass units.Mass) (working, error) {
	material, err := chill.MaterialOf(thermo.LeanStock, 30)
	if err != nil {
		return working{}, err
	}
	model, err := chill.NewStirred(chill.Vat{
		Mass: mass, SpecificHeat: material.SpecificHeat, Coefficient: c.HeatTransfer, Area: units.Area(c.WettedAreaSquareMeters),
		Jacket: units.Celsius(c.MediumTemperatureCelsius), Room: DefaultAirTemperatureCelsius, Start: units.Celsius(m.StartCelsius),
	})
	if err != nil {
		return working{}, err
	}
	return passage(model, m, v, fmt.Sprintf("%.0f kg stirred against %.0f degC over %.1f m2", mass.Kilograms(), c.MediumTemperatureCelsius, c.WettedAreaSquareMeters))
}

// passage is the time until the slowest point has reached the target.
func passage(model chill.Model, m ChillModel, v Vessel, how string) (working, error) {
	took, reached, err := chill.TimeTo(model, units.Celsius(m.TargetCelsius), chillHorizon)
	if err != nil {
		return working{}, err
	}
	if !reached {
		return working{refusal: fmt.Sprintf("does not bring %s to %.0f degC within %s", how, m.TargetCelsius, span(chillHorizon))}, nil
	}
	return working{duration: took, basis: fmt.Sprintf("%s from %.0f to %.0f degC: %s in %s", how, m.StartCelsius, m.TargetCelsius, span(took), v.DisplayName)}, nil
}

// freezeTime is the time of slabs by the method of Pham, with the properties of a lean stock. Where the machine's power
// is the narrower limit, the heat to take out divided by it counts.
func freezeTime(m ChillModel, c Cooling, v Vessel, mass units.Mass, depth float64) (working, error) {
	above, err := thermo.LeanStock.At(units.Celsius(max(m.StartCelsius, 0)))
	if err != nil {
		return working{}, err
	}
	below, err := thermo.LeanStock.Frozen(-20, stockFreezesAt)
	if err != nil {
		return working{}, err
	}
	result, err := chill.Pham(chill.PhamBody{
		Shape: chill.Slab, Thickness: units.Length(depth), DensityUnfrozen: above.Density, DensityFrozen: below.Density,
		HeatUnfrozen: above.SpecificHeat, HeatFrozen: thermo.SpecificHeatIce, Latent: thermo.LeanStock.Water * thermo.LatentHeatFusion,
		Frozen: below.Conductivity, Film: c.HeatTransfer,
		Start: units.Celsius(m.StartCelsius), Final: units.Celsius(m.TargetCelsius), Medium: units.Celsius(c.MediumTemperatureCelsius),
	})
	if err != nil {
		return working{}, err
	}
	took, limit := result.Time, "heat transfer"
	if c.PowerWatts > 0 {
		from, err := thermo.LeanStock.Enthalpy(units.Celsius(m.StartCelsius), stockFreezesAt)
		if err != nil {
			return working{}, err
		}
		to, err := thermo.LeanStock.Enthalpy(units.Celsius(m.TargetCelsius), stockFreezesAt)
		if err != nil {
			return working{}, err
		}
		atPower := time.Duration(float64(mass) * (from - to) / c.PowerWatts * float64(time.Second))
		if atPower > took {
			took, limit = atPower, "cooling power"
		}
	}
	if took > chillHorizon {
		return working{refusal: fmt.Sprintf("does not freeze %.0f kg within %s", mass.Kilograms(), span(chillHorizon))}, nil
	}
	basis := fmt.Sprintf("%.0f kg in a layer of %.0f mm from %.0f to %.0f degC in %.0f degC: %s in %s, bound by %s",
		mass.Kilograms(), depth*1000, m.StartCelsius, m.TargetCelsius, c.MediumTemperatureCelsius, span(took), v.DisplayName, limit)
	if !result.InRange {
		basis += " (outside the published range of the method: expect more error)"
	}
	return working{duration: took, basis: basis}, nil
}
