package chill

import "math"

// dimensionality returns the equivalent heat transfer dimensionality E of a brick or
// finite cylinder: the number by which the freezing time of a slab of its shortest
// thickness is divided. E = G1 + G2·E1 + G3·E2 (Cleland, Cleland and Earle 1987, as in
// the ASHRAE Handbook, Refrigeration, chapter 20, and Singh and Heldman, chapter 7;
// from memory). ratio1 and ratio2 are middle/shortest and longest/shortest, 1 and up;
// bi as the method that uses it defines it.
func dimensionality(s Shape, ratio1, ratio2, bi float64) float64 {
	e := func(ratio float64) float64 {
		x := 2.32 / math.Pow(ratio, 1.77)
		f := x / (math.Pow(bi, 1.34) + x)
		return f/ratio + (1-f)*0.73/math.Pow(ratio, 2.50)
	}
	switch s {
	case LongCylinder:
		return 2
	case Sphere:
		return 3
	case FiniteCylinder: // ratio1 is 1 for a rod, ratio2 is 1 for none
		if ratio1 > 1 {
			return 1 + 2*e(ratio1) // disc: G 1, 2, 0
		}
		return 2 + e(ratio2) // rod: G 2, 0, 1
	case Brick:
		return 1 + e(ratio1) + e(ratio2)
	default:
		return 1
	}
}
