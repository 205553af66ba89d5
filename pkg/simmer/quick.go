package simmer

import (
	"errors"
	"fmt"
	"math"
	"time"

	"rondeau.internal/pkg/units"
)

// Estimate is a quick estimate of a reduction.
type Estimate struct {
	// HeatUp to the temperature held (or cooling down to it), Reduction from there to the
	// end point, and their sum.
	HeatUp, Reduction, Total time.Duration
	// Liquid left at the end point.
	Liquid units.Mass
	// By names the end point that comes first.
	By Target
}

// Error bound of Quick against Reduce, which a test over random kettles holds to: the
// total differs by less than QuickRelative of itself plus QuickAbsolute.
const (
	QuickRelative = 0.005
	QuickAbsolute = 10 * time.Second
)

// ErrNotQuick is wrapped when a quick estimate would not keep its error bound: the heat
// barely reaches or holds the temperature, the end comes before it is reached, or a scorch
// limit is the end. Ask Reduce.
var ErrNotQuick = errors.New("no quick estimate: run the full forecast")

// Quick estimates a reduction in closed form, for boards that show many kettles: the time
// to reach the temperature held is the integral of C/(P - losses - h·m) over temperature,
// the rest that of 1/m over water, both by Gauss and Legendre. Its error against Reduce
// is QuickRelative and QuickAbsolute.
func Quick(v Vessel, l Load, d Duty, c Conditions, end EndPoint) (Estimate, error) {
	if end.Superheat != 0 {
		return Estimate{}, fmt.Errorf("%w: the end is a scorch limit", ErrNotQuick)
	}
	k, err := NewKettle(v, l, d, c)
	if err != nil {
		return Estimate{}, err
	}
	if err := end.check(k.State()); err != nil {
		return Estimate{}, err
	}
	hold := float64(k.duty.Hold)
	if k.duty.Off {
		return Estimate{}, fmt.Errorf("%w: the heat is off", ErrNotQuick)
	}
	water, by := end.water(k.solids, hold)
	heat, left, err := k.quickHeat(hold, water)
	if err != nil {
		return Estimate{}, err
	}
	rest, err := k.quickReduce(hold, left, water)
	if err != nil {
		return Estimate{}, err
	}
	if t := heat + rest; !(t >= 0) || t > 14*24*3600 {
		return Estimate{}, fmt.Errorf("%w: it takes longer than 336 h", ErrNotQuick)
	}
	return Estimate{
		HeatUp: seconds(heat), Reduction: seconds(rest), Total: seconds(heat + rest),
		Liquid: units.Mass(water + k.solids), By: by,
	}, nil
}

// water left at the first end point, kg, at a temperature.
func (e EndPoint) water(solids, t float64) (float64, Target) {
	best, by := math.Inf(-1), NoTarget
	consider := func(w float64, target Target) {
		if w > best {
			best, by = w, target
		}
	}
	if e.Volume > 0 {
		one := volumeOf(1, 0, t)
		consider((float64(e.Volume)-volumeOf(0, solids, t))/one, VolumeTarget)
	}
	if e.Mass > 0 {
		consider(float64(e.Mass)-solids, MassTarget)
	}
	if e.Solids > 0 {
		consider(solids*(1-e.Solids)/e.Solids, SolidsTarget)
	}
	return best, by
}

// Nodes and weights of Gauss and Legendre on [0, 1], 4 and 6 points.
var (
	gauss4 = [4][2]float64{
		{0.06943184420297371, 0.17392742256872692},
		{0.33000947820757187, 0.32607257743127307},
		{0.6699905217924281, 0.32607257743127307},
		{0.9305681557970262, 0.17392742256872692},
	}
	gauss6 = [6][2]float64{
		{0.03376524289842397, 0.08566224618958517},
		{0.16939530676686776, 0.1803807865240693},
		{0.38069040695840156, 0.23395696728634552},
		{0.6193095930415985, 0.23395696728634552},
		{0.8306046932331322, 0.1803807865240693},
		{0.966234757101576, 0.08566224618958517},
	}
)

// thinnest share of the power that must be left over for heating.
const thinnest = 0.08

// quickHeat returns the time from the present temperature to hold, s, and the water left.
func (k *Kettle) quickHeat(hold, end float64) (t, water float64, err error) {
	from, water := k.y[0], k.y[1]
	on := from < hold
	if math.Abs(hold-from) < 1e-9 {
		return 0, water, nil
	}
	y := k.y
	for _, span := range [2][2]float64{{0, 0.6}, {0.6, 1}} { // the rate of loss grows near the end
		gone := 0.0
		for _, g := range gauss4 {
			y[0] = from + (hold-from)*(span[0]+g[0]*(span[1]-span[0]))
			y[1] = water - gone // by the nodes before, which lie below this one
			b := k.weigh(y, on)
			net := b.supply - b.need()
			if on && net < thinnest*b.supply || !on && net > -1 {
				return 0, 0, fmt.Errorf("%w: little heat is left over at %.0f C", ErrNotQuick, y[0])
			}
			dt := g[1] * (span[1] - span[0]) * (hold - from) * k.capacity(y) / net
			t += dt
			gone += dt * b.transfer
		}
		water -= gone
	}
	if water <= end*1.001 {
		return 0, 0, fmt.Errorf("%w: the end comes before %.0f C is reached", ErrNotQuick, hold)
	}
	return t, water, nil
}

// quickReduce returns the time from one mass of water to a smaller one at hold, s.
func (k *Kettle) quickReduce(hold, from, to float64) (float64, error) {
	if to < dryWater || k.solids >= MaxSolids*(to+k.solids) {
		return 0, fmt.Errorf("%w: it ends dry", ErrNotQuick)
	}
	mid := to // the bowl of a hemispherical vessel and its cylinder each get their own nodes
	if k.vessel.Shape == Hemispherical {
		bowl := float64(k.vessel.VolumeAt(k.vessel.Diameter/2)) - k.boneV - volumeOf(0, k.solids, hold)
		mid = math.Max(to, math.Min(from, bowl/volumeOf(1, 0, hold)))
	}
	boils := hold >= float64(k.air.boil)-1e-9
	y, t := k.y, 0.0
	y[0] = hold
	for _, span := range [2][2]float64{{from, mid}, {mid, to}} {
		if span[0]-span[1] <= 0 {
			continue
		}
		for _, g := range gauss6 {
			y[1] = span[0] + g[0]*(span[1]-span[0])
			b := k.weigh(y, true)
			if b.supply < b.need() {
				return 0, fmt.Errorf("%w: the heat does not hold %.1f C to the end", ErrNotQuick, hold)
			}
			rate := b.transfer
			if boils {
				rate = (b.supply - b.loss) / b.latent
			}
			if rate < 1e-12 {
				return 0, fmt.Errorf("%w: nothing evaporates", ErrNotQuick)
			}
			t += g[1] * (span[0] - span[1]) / rate
		}
	}
	return t, nil
}
