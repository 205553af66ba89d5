package demo

import (
	"testing"
	"time"

	schedulingpb "rondeau.internal/pkg/gen/rondeau/scheduling/v1"
)

func testNature() nature { return nature{draws: 7, room: 22, altitude: 12} }

func testRondeau() *schedulingpb.Vessel {
	return &schedulingpb.Vessel{
		Name: "sites/x/vessels/rondeau", Shape: &schedulingpb.Vessel_Cylinder_{Cylinder: &schedulingpb.Vessel_Cylinder{DiameterMeters: 0.8, HeightMeters: 0.3}},
		PowerWatts: 30000, Efficiency: 0.45, HeatSource: schedulingpb.Vessel_GAS,
	}
}

func TestAReductionTakesLongerThanItsNominalHeatPromises(t *testing.T) {
	t.Parallel()
	h, err := testNature().reduce(testRondeau(), 100, 4, 20)
	if err != nil {
		t.Fatal(err)
	}
	if h.finalKg > 20 || h.finalKg < 19 {
		t.Errorf("ended at %.2f kg, want just below 20", h.finalKg)
	}
	if got := h.finalKg + h.evaporatedKg; got < 99.9 || got > 100.1 {
		t.Errorf("final and evaporated mass add up to %.3f kg, want the 100 kg that went in", got)
	}
	// 80 kg of water at 2257 kJ/kg (IAPWS at 100 C) and 100 kg warmed by 96 K at 4.2 kJ/kg K, by 13.5 kW without loss.
	kilojoules := 80*2257 + 100*96*4.2
	least := time.Duration(kilojoules / 13.5 * float64(time.Second))
	if h.duration < least {
		t.Errorf("took %s, less than the %s that the nominal heat needs without any loss", h.duration, least)
	}
}

func TestASimmerHoldsAsLongAsTheStepAsks(t *testing.T) {
	t.Parallel()
	kettle := &schedulingpb.Vessel{
		Name: "sites/x/vessels/kettle", Shape: &schedulingpb.Vessel_Hemisphere_{Hemisphere: &schedulingpb.Vessel_Hemisphere{DiameterMeters: 0.9, WallHeightMeters: 0.35}},
		PowerWatts: 48000, Efficiency: 0.85, HeatSource: schedulingpb.Vessel_STEAM,
	}
	h, err := testNature().simmer(kettle, 250, 12, 96, 4*time.Hour, 0.5)
	if err != nil {
		t.Fatal(err)
	}
	if held := h.duration - h.reached; held < 4*time.Hour || held > 4*time.Hour+samplePeriod {
		t.Errorf("held for %s, want 4 h", held)
	}
	if last := h.at(h.duration).celsius; last < 95 || last > 97 {
		t.Errorf("at %.1f C at the end, want 96", last)
	}
}

func TestAChillerThatFailsMissesTheFirstLimitAndOneThatWorksMeetsBoth(t *testing.T) {
	t.Parallel()
	vessels := []*schedulingpb.Vessel{
		{Name: "sites/x/vessels/tank", Cooling: &schedulingpb.Vessel_Cooling{
			Method: schedulingpb.Vessel_Cooling_JACKET, MediumTemperatureCelsius: 1, HeatTransferWattsPerSquareMeterKelvin: 420, WettedAreaSquareMeters: 2.3,
		}},
		{Name: "sites/x/vessels/blast", Cooling: &schedulingpb.Vessel_Cooling{
			Method: schedulingpb.Vessel_Cooling_AIR, MediumTemperatureCelsius: -3, HeatTransferWattsPerSquareMeterKelvin: 45, CoolingPowerWatts: 30000, PanDepthMeters: 0.04,
		}},
	}
	for _, v := range vessels {
		for _, bad := range []bool{false, true} {
			curve, wrong, err := testNature().cooling(v, v.GetName(), 90, 0, 88, bad)
			if err != nil {
				t.Fatal(err)
			}
			first, second := between(curve, 57.2, 21.1), between(curve, 57.2, 5)
			met := first <= 2*time.Hour && second <= 6*time.Hour // US Food Code 2022, 3-501.14(A)
			if met == bad {
				t.Errorf("%s, bad %v: 57.2 to 21.1 C in %s, to 5 C in %s", v.GetName(), bad, first, second)
			}
			if bad != (wrong != nil) {
				t.Errorf("%s, bad %v: trouble is %v", v.GetName(), bad, wrong)
			}
		}
	}
}

// between is the time that a curve takes from one temperature to another.
func between(curve []float64, from, to float64) time.Duration {
	var first, last time.Duration = -1, longestChill
	for i, c := range curve {
		at := time.Duration(i) * samplePeriod
		if c < from && first < 0 {
			first = at
		}
		if c <= to {
			last = at
			break
		}
	}
	return last - first
}
