package chill_test

import (
	"testing"
	"time"

	"gonum.org/v1/gonum/floats/scalar"

	"rondeau.internal/pkg/chill"
	"rondeau.internal/pkg/thermo"
)

// A freezing slab as a load of a room: its heat is in the room's ledger, and it freezes more
// slowly while the room is short of power.
func TestFreezingLoad(t *testing.T) {
	t.Parallel()
	food := ok[*chill.Substance](t)(chill.FoodSubstance(thermo.LeanStock, -0.5))
	piece := ok[*chill.Conduction](t)(chill.NewConduction(chill.Piece{
		Shape: chill.Brick, Thickness: 0.05, Width: 0.3, Length: 0.5, Substance: food, Upper: chill.Face{Film: 20}, Start: 5, Surroundings: -20, Cells: 12,
	}))
	freezer := chill.ColdRoom{Volume: 2, Fabric: 20e3, WallUA: 2, Outside: 25, Machine: chill.Machine{Setting: -22, Capacity: 2000, RatedAt: -20, Fall: 0.03}, Start: -21, Loads: []chill.Exchanger{piece}}
	weak := freezer
	weak.Machine.Capacity = 150
	var mean [2]float64
	for i, c := range []chill.ColdRoom{freezer, weak} {
		m := room(t, c)
		for range 8 {
			ok[chill.State](t)(m.Step(15 * time.Minute))
		}
		s := ok[chill.State](t)(m.Load(0))
		mean[i] = float64(s.Mean)
		b := m.Balance()
		if b.Loads <= 0 || !scalar.EqualWithinAbsOrRel(float64(b.Loads+b.Walls+b.Doors+b.Gain-b.Machine), float64(b.Stored), 1, 1e-6) {
			t.Errorf("%+v", b)
		}
	}
	if mean[0] >= mean[1] || mean[0] > -0.5 {
		t.Errorf("strong machine %v C, weak one %v C", mean[0], mean[1])
	}
}
