package thermo

// Formulations whose verification tables lie outside the ranges that are exported.
var (
	Viscosity    = viscosity
	Conductivity = conductivity
	WaterIndex   = waterIndex
)

// SurfaceTension of water at kelvins, N/m.
func SurfaceTension(kelvin float64) float64 { return surfaceTension(kelvin) }

// Region1 returns volume, enthalpy, specific heat and expansion for kelvins and MPa.
func Region1(kelvin, megapascal float64) (volume, enthalpy, heat, expansion float64) {
	s := region1(kelvin, megapascal*1e6)
	return s.volume, s.enthalpy, s.heat, s.expansion
}

// SaturationSlope is dp/dT in Pa/K at kelvins.
var SaturationSlope = saturationSlope
