package thermo

import (
	"fmt"
	"math"

	"rondeau.internal/pkg/units"
)

// SucroseDensity returns the density of a sucrose solution of a Brix (mass percent,
// 0 to 70) at 0 to 100 C and atmospheric pressure: the ICUMSA polynomial
// rho = rho_w(t) + sum of a_ki·w^(i+1)·((t-20)/100)^k with w the mass fraction
// (Bubnik, Kadlec, Urban, Bruhns, Sugar Technologists Manual, 1995, p. 164), and
// water of IF97. It lies up to 0.11 kg/m3 above the older NBS table at 50 Brix.
func SucroseDensity(brix float64, c units.Celsius) (units.Density, error) {
	if err := within("Brix", brix, 0, 70, "% by mass"); err != nil {
		return 0, err
	}
	if err := within("solution temperature", float64(c), 0, 100, "C"); err != nil {
		return 0, err
	}
	return units.Density(sucroseDensity(brix/100, float64(c))), nil
}

func sucroseDensity(w, t float64) float64 {
	x := (t - 20) / 100
	sum, xp := 0.0, 1.0
	for k := range sucroseTerms {
		row := &sucroseTerms[k]
		s := 0.0
		for i := len(row) - 1; i >= 0; i-- {
			s = (s + row[i]) * w
		}
		sum += s * xp
		xp *= x
	}
	return 1/region1(t+273.15, float64(units.Atmosphere)).volume + sum
}

// sucroseTerms are the ICUMSA coefficients, row k in powers of the temperature,
// column i in powers 1 to 6 of the mass fraction.
var sucroseTerms = [5][6]float64{
	{385.1761, 135.3705, 40.9299, -3.9643, 13.4853, -17.2890},
	{-46.2720, -7.1720, 1.1597, 5.1126, 17.5254, 0},
	{59.7712, 7.2491, 12.3630, -35.4791, 0, 0},
	{-47.2207, -21.6977, 27.6301, 0, 0, 0},
	{18.3184, 12.3081, 0, 0, 0, 0},
}

// SucroseBrix is the inverse of SucroseDensity: the Brix of a sucrose solution of
// a density at a temperature, 0 to 100 C. A density below water's or above that of
// 70 Brix is an error.
func SucroseBrix(d units.Density, c units.Celsius) (float64, error) {
	if err := within("solution temperature", float64(c), 0, 100, "C"); err != nil {
		return 0, err
	}
	t := float64(c)
	low, high := sucroseDensity(0, t), sucroseDensity(0.7, t)
	// 1e-9 relative: a density of exactly 0 Brix may come back a bit below it.
	if err := within("solution density", float64(d), low*(1-1e-9), high*(1+1e-9), "kg/m3"); err != nil {
		return 0, err
	}
	w, err := rising(0, 0.7, float64(d), func(w float64) float64 { return sucroseDensity(w, t) })
	if err != nil {
		return 0, fmt.Errorf("find the Brix of %g kg/m3: %w", float64(d), err)
	}
	return 100 * w, nil
}

// SucroseRefractiveIndex returns the index at 20 C and 589 nm of a sucrose solution,
// 0 to 84 Brix: a polynomial of our own through the ICUMSA 1974 values at 0, 2.5,
// 10, 20, 40, 50 and 70 Brix (within 6e-6) and the CRC Handbook table of 63 values
// with four decimals (within 6e-5).
func SucroseRefractiveIndex(brix float64) (float64, error) {
	if err := within("Brix", brix, 0, 84, "% by mass"); err != nil {
		return 0, err
	}
	return sucroseIndex(brix / 100), nil
}

const indexWater20 = 1.33299 // ICUMSA 1974

func sucroseIndex(w float64) float64 {
	return indexWater20 + w*(0.14248676+w*(0.05809589+w*(-0.0025883985+w*(0.039225893+w*-0.025417971))))
}

// BrixOfRefractiveIndex is the inverse of SucroseRefractiveIndex, for an index at
// 20 C of 1.33299 to 1.501.
func BrixOfRefractiveIndex(index float64) (float64, error) {
	top := sucroseIndex(0.84)
	if err := within("refractive index", index, indexWater20-1e-12, top+1e-12, ""); err != nil {
		return 0, err
	}
	w, err := rising(0, 0.84, index, sucroseIndex)
	if err != nil {
		return 0, fmt.Errorf("find the Brix of index %g: %w", index, err)
	}
	return 100 * w, nil
}

// BrixAt20 corrects a Brix read on a refractometer without compensation at 10 to
// 30 C to 20 C, 0 to 75 Brix. Polynomial of our own through Table I of the OIV method
// MA-AS2-02, 10 to 16 C and 10 to 75 % (within 0.006); above 20 C it goes beyond the
// values read and rests on the refractive index of water at 0 Brix.
func BrixAt20(reading float64, c units.Celsius) (float64, error) {
	if err := within("Brix", reading, 0, 75, "% by mass"); err != nil {
		return 0, err
	}
	if err := within("reading temperature", float64(c), 10, 30, "C"); err != nil {
		return 0, err
	}
	d, w := float64(c)-20, reading/100
	corrected := reading + d*(0.063376082+w*(0.053069929-w*0.046990098)+d*(0.0010440365-w*(0.0016442473-w*0.00071808098)))
	// Close to zero a cold reading corrects to below it: that is water.
	return math.Max(corrected, 0), nil
}

// WaterRefractiveIndex returns the index of liquid water at 589.3 nm, 0 to 100 C, by
// IAPWS R9-97, against vacuum; divide by 1.00027 for the index against air that a
// refractometer shows.
func WaterRefractiveIndex(c units.Celsius) (float64, error) {
	if err := within("water temperature", float64(c), 0, 100, "C"); err != nil {
		return 0, err
	}
	k := float64(c.Kelvin())
	return waterIndex(k, 1/region1(k, float64(units.Atmosphere)).volume, 0.5893), nil
}

// Increment is a refractive index increment dn/dc in mL/g with the range published
// for the class of solute.
type Increment struct{ Value, Low, High float64 }

// Increments of the solutes of a stock.
var (
	// ProteinIncrement: 0.16 to 0.20 for proteins in water, mean 0.185 (vendor table
	// of light scattering, 633 nm); 0.1865 to 0.190 for serum and egg proteins at
	// 578 nm (Longsworth). No value of gelatin alone was found in the open.
	ProteinIncrement = Increment{Value: 0.185, Low: 0.16, High: 0.20}
	// SaltIncrement is of sodium chloride, 0.168 at 10 g/L falling to 0.149 at
	// 311 g/L (CRC Handbook).
	SaltIncrement = Increment{Value: 0.168, Low: 0.149, High: 0.175}
	// SugarIncrement is the slope of the sucrose table at 0 Brix over the density.
	SugarIncrement = Increment{Value: 0.143, Low: 0.140, High: 0.150}
)

// SolidsReading is what a Brix reading of a stock says of its solids. The range comes
// from the spread of the increments alone; the instrument adds its own 0.1 to 0.2.
type SolidsReading struct {
	Solids    float64 // mass fraction of all dry solids, fat included
	Low, High float64
	Factor    float64 // Solids·100 per Brix; below 1: the reading overstates
}

// StockSolids turns the Brix reading of a stock at 20 C (0 to 40) into its solids.
// Brix is the scale of sucrose, dn/dc 0.143 mL/g; protein and salts bend light more, so
// a clear stock reads about a quarter more than it holds. solids is the make-up of the
// dry matter (Water 0, the rest adding up to 1); fat floats in drops and is not seen.
// n - 1.33299 = sum of dn/dc·c over the fat-free liquid, volumes adding up with the
// densities of Choi and Okos at 20 C. At least a fifth of the solids must dissolve.
func StockSolids(brix float64, solids Composition) (SolidsReading, error) {
	if err := within("Brix", brix, 0, 40, "% by mass"); err != nil {
		return SolidsReading{}, err
	}
	m, err := makeUpOf(solids)
	if err != nil {
		return SolidsReading{}, err
	}
	rise := sucroseIndex(brix/100) - indexWater20
	// A strong increment needs little solids: the high end gives Low.
	r := SolidsReading{Solids: m.solids(rise, m.value), Low: m.solids(rise, m.high), High: m.solids(rise, m.low)}
	r.Factor = 100 * m.solids(1e-6, m.value) / (100 * 1e-6 / 0.14248676)
	if brix > 0 {
		r.Factor = 100 * r.Solids / brix
	}
	if !(r.High <= 0.8) {
		return SolidsReading{}, fmt.Errorf("reading of %g Brix with this make-up means up to %g solids, above the 0.8 of the model", brix, r.High)
	}
	return r, nil
}

// StockBrix is the way back: what a refractometer at 20 C shows for a stock of a
// solids mass fraction (0 to 0.6).
func StockBrix(fraction float64, solids Composition) (float64, error) {
	if err := within("solids fraction", fraction, 0, 0.6, ""); err != nil {
		return 0, err
	}
	m, err := makeUpOf(solids)
	if err != nil {
		return 0, err
	}
	rise := fraction * m.value / ((1-fraction)*m.water + fraction*m.volume)
	b, err := BrixOfRefractiveIndex(indexWater20 + rise)
	if err != nil {
		return 0, fmt.Errorf("find the Brix of a stock of %g solids: %w", fraction, err)
	}
	return b, nil
}

// StockDensity returns the density of an unfrozen stock of a solids mass fraction (0
// to 0.6) at 0 to 100 C: specific volumes add up, water by IF97 and the dry matter by
// Choi and Okos. Composition.At takes their water too, which is 0.24 % light at 20 C. For
// sugar it lies within 0.3 % of SucroseDensity to 20 Brix, 10 to 60 C. From a Brix reading, take the
// fraction from StockSolids.
func StockDensity(fraction float64, solids Composition, c units.Celsius) (units.Density, error) {
	if err := within("solids fraction", fraction, 0, 0.6, ""); err != nil {
		return 0, err
	}
	if err := within("stock temperature", float64(c), 0, 100, "C"); err != nil {
		return 0, err
	}
	if err := checkDry(solids); err != nil {
		return 0, err
	}
	volume, sum := 0.0, 0.0
	f := solids.fractions()
	for i := 1; i < len(components); i++ {
		volume += f[i] / poly(components[i].rho, float64(c))
		sum += f[i]
	}
	water := region1(float64(c.Kelvin()), float64(units.Atmosphere)).volume
	return units.Density(1 / ((1-fraction)*water + fraction*volume/sum)), nil
}

func checkDry(solids Composition) error {
	if err := solids.Check(); err != nil {
		return fmt.Errorf("make-up of the solids: %w", err)
	}
	if solids.Water != 0 {
		return fmt.Errorf("make-up of the solids has water %g: give the dry matter alone, water 0", solids.Water)
	}
	return nil
}

// makeUp sums increments (m3/kg) and volumes (m3/kg) over the dissolved solids.
type makeUp struct{ value, low, high, volume, water float64 }

func (m makeUp) solids(rise, increment float64) float64 {
	return rise * m.water / (increment + rise*(m.water-m.volume))
}

func makeUpOf(c Composition) (makeUp, error) {
	if err := checkDry(c); err != nil {
		return makeUp{}, err
	}
	m := makeUp{water: 1 / sucroseDensity(0, 20)}
	dissolved := 0.0
	f := c.fractions()
	for i := range components {
		var inc Increment
		switch i {
		case 1:
			inc = ProteinIncrement
		case 3, 4:
			inc = SugarIncrement
		case 5:
			inc = SaltIncrement
		default:
			continue
		}
		dissolved += f[i]
		m.value += 1e-3 * f[i] * inc.Value
		m.low += 1e-3 * f[i] * inc.Low
		m.high += 1e-3 * f[i] * inc.High
		m.volume += f[i] / poly(components[i].rho, 20)
	}
	if dissolved < 0.2 {
		return makeUp{}, fmt.Errorf("only %g of the solids dissolve, want at least 0.2: a refractometer does not see fat", dissolved)
	}
	return m, nil
}

// rising finds x in [low, high] with f(x) = y for a rising f, to 1e-13.
func rising(low, high, y float64, f func(float64) float64) (float64, error) {
	for range 200 {
		m := low + (high-low)/2
		if high-low < 1e-13 {
			return m, nil
		}
		if f(m) < y {
			low = m
		} else {
			high = m
		}
	}
	return 0, fmt.Errorf("no root between %g and %g", low, high)
}
