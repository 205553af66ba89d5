package chill

import (
	"math"

	"rondeau.internal/pkg/thermo"
	"rondeau.internal/pkg/units"
)

// LayerFactor estimates how many times better than conduction a still layer of
// water-thin stock carries heat when it is cooled from above: Globe and Dropkin
// (1959), Nu = 0.069·Ra^(1/3)·Pr^0.074, for Ra 3e5 to 7e9 (Cengel and Ghajar,
// equation 9-46; law read in the tests of CalebBell/ht, range from memory), with the
// properties of water at the mean temperature (viscosity by 2.414e-5·10^(247.8/(T
// - 140)) Pa·s). difference is the one across the layer, typically 2 to 10 K. Below
// the range the factor falls to 1; it is cut at 50. 5 to 100 C. Fat on top, gelatin
// and starch lower it: take half for a rich stock (no source), 1 for a gelled one.
func LayerFactor(depth units.Length, difference units.CelsiusDelta, mean units.Celsius) (float64, error) {
	if err := first(
		within("depth", float64(depth), 1e-3, 1, "m"),
		within("temperature difference", float64(difference), 0, 60, "K"),
		within("mean temperature", float64(mean), 5, 100, "C"),
	); err != nil {
		return 0, err
	}
	low, err := thermo.WaterDensity(mean - 0.5)
	if err != nil {
		return 0, err
	}
	high, err := thermo.WaterDensity(mean + 0.5)
	if err != nil {
		return 0, err
	}
	p, err := thermo.Composition{Water: 1}.At(mean)
	if err != nil {
		return 0, err
	}
	rho := float64(low+high) / 2
	expansion := math.Max(0, float64(low-high)/rho)
	nu := 2.414e-5 * math.Pow(10, 247.8/(float64(mean.Kelvin())-140)) / rho
	l := float64(depth)
	ra := 9.80665 * expansion * float64(difference) * l * l * l / (nu * p.Diffusivity)
	if ra < 1708 { // onset of convection between plates
		return 1, nil
	}
	return math.Max(1, math.Min(50, 0.069*math.Cbrt(ra)*math.Pow(nu/p.Diffusivity, 0.074))), nil
}
