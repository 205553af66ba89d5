package grpcapi_test

import (
	"math"
	"strings"
	"testing"
	"time"

	"google.golang.org/grpc/codes"
	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/types/known/durationpb"

	"rondeau.internal/pkg/auth"
	schedulingpb "rondeau.internal/pkg/gen/rondeau/scheduling/v1"
	"rondeau.internal/pkg/rpc"
	"rondeau.internal/services/scheduling"
)

type stepQuestion = schedulingpb.EstimateStepTimesRequest_Step

// halving boils liters of liquid from 80 degC down to half their mass in a kettle.
func halving(key string, liters float64) *stepQuestion {
	return &stepQuestion{
		Key: key, VesselClasses: []string{"kettle"}, FillLiters: liters,
		Model: &schedulingpb.EstimateStepTimesRequest_Step_Reduce_{Reduce: &schedulingpb.EstimateStepTimesRequest_Step_Reduce{
			Target:                  &schedulingpb.EstimateStepTimesRequest_Step_Reduce_TargetMassFraction{TargetMassFraction: 0.5},
			StartTemperatureCelsius: proto.Float64(80),
		}},
	}
}

func simmering(key string, hold time.Duration) *stepQuestion {
	return &stepQuestion{
		Key: key, VesselClasses: []string{"kettle"}, FillLiters: 60,
		Model: &schedulingpb.EstimateStepTimesRequest_Step_Simmer_{Simmer: &schedulingpb.EstimateStepTimesRequest_Step_Simmer{
			HoldDuration: durationpb.New(hold), StartTemperatureCelsius: proto.Float64(10),
		}},
	}
}

func chilling(key, class string) *stepQuestion {
	return &stepQuestion{
		Key: key, VesselClasses: []string{class}, LoadKg: 20,
		Model: &schedulingpb.EstimateStepTimesRequest_Step_Chill_{Chill: &schedulingpb.EstimateStepTimesRequest_Step_Chill{
			TargetTemperatureCelsius: proto.Float64(3), StartTemperatureCelsius: proto.Float64(90),
		}},
	}
}

func TestStepTimesSpanTheVesselsThatCanDoThem(t *testing.T) {
	t.Parallel()
	a := newAPI(t)
	a.masters(t) // kettle 1: 24 kW, half of it reaches the material
	ctx := t.Context()
	slow := kettle()
	slow.DisplayName, slow.PowerWatts = "Kettle 2", 16000
	_, err := a.CreateVessel(ctx, &schedulingpb.CreateVesselRequest{Parent: site, VesselId: "kettle-2", Vessel: slow})
	must(t, err)
	retired := kettle()
	retired.DisplayName, retired.PowerWatts, retired.Active = "Kettle 3", 6000, proto.Bool(false)
	_, err = a.CreateVessel(ctx, &schedulingpb.CreateVesselRequest{Parent: site, VesselId: "kettle-3", Vessel: retired})
	must(t, err)
	_, err = a.TakeVesselDown(ctx, &schedulingpb.TakeVesselDownRequest{Name: site + "/vessels/kettle-2", Reason: "burner"})
	must(t, err)
	_, err = a.CreateVessel(ctx, &schedulingpb.CreateVesselRequest{Parent: site, VesselId: "cold-room", Vessel: &schedulingpb.Vessel{DisplayName: "Cold room", VesselClass: "cold-room"}})
	must(t, err)

	answer, err := a.as(auth.Service).EstimateStepTimes(ctx, &schedulingpb.EstimateStepTimesRequest{Parent: site, Steps: []*stepQuestion{
		simmering("simmer", 6*time.Hour), halving("reduce", 60), halving("too much", 500), chilling("chill", "blast-chiller"), chilling("cold", "cold-room"),
	}})
	must(t, err)
	got := answer.GetStepTimes()
	if len(got) != 5 || answer.GetCaution() != scheduling.Caution {
		t.Fatalf("answer: %v", answer)
	}
	for i, key := range []string{"simmer", "reduce", "too much", "chill", "cold"} {
		if got[i].GetKey() != key {
			t.Errorf("answer %d is that of %q, want %q", i, got[i].GetKey(), key)
		}
	}
	if s := got[0]; !s.GetPossible() || s.GetShortestDuration().AsDuration() <= 6*time.Hour || s.GetLongestDuration().AsDuration() <= s.GetShortestDuration().AsDuration() {
		t.Errorf("simmer: %v", s)
	}
	// Half of 60 L of water of 0.9718 kg/L (80 degC, CRC Handbook, from memory) boils off with 2256.5 kJ/kg (IAPWS-IF97, from
	// memory) after 20 K at 4.2 kJ/kg K: no kettle is faster than its 12 and 8 kW pay for, and losses make it somewhat slower.
	mass := 60 * 0.9718
	heat := mass*4.2*20 + mass/2*2256.5 // kJ
	for _, c := range []struct {
		what  string
		took  time.Duration
		power float64 // kW
	}{
		{"shortest", got[1].GetShortestDuration().AsDuration(), 12}, {"longest", got[1].GetLongestDuration().AsDuration(), 8},
	} {
		least := heat / c.power / 60
		if m := c.took.Minutes(); m < least || m > 1.35*least || math.Mod(m, 1) != 0 {
			t.Errorf("the %s reduction takes %g min, the heat alone %.0f min", c.what, m, least)
		}
	}
	if !strings.Contains(got[1].GetBasis(), "16.0 kW") {
		t.Errorf("the basis is not that of the slowest: %s", got[1].GetBasis())
	}
	for i, words := range map[int]string{2: "holds 120 L", 3: "no vessel of class blast-chiller", 4: "how Cold room cools is not known"} {
		if r := got[i]; r.GetPossible() || r.GetShortestDuration() != nil || r.GetLongestDuration() != nil || !strings.Contains(r.GetRefusal(), words) {
			t.Errorf("%v, want a refusal with %q", r, words)
		}
	}
}

func TestBadStepsAreRefusedBeforeAnythingIsEstimated(t *testing.T) {
	t.Parallel()
	a := newAPI(t)
	a.masters(t)
	ctx := t.Context()
	ask := func(steps ...*stepQuestion) error {
		_, err := a.EstimateStepTimes(ctx, &schedulingpb.EstimateStepTimesRequest{Parent: site, Steps: steps})
		return err
	}
	must(t, ask(halving("a", 60)))
	refused(t, ask(halving("a", 60), simmering("a", time.Hour)), codes.InvalidArgument, scheduling.Malformed, `steps[1].key`, "give each step its own")
	for name, spoil := range map[string]func(*stepQuestion){
		"no key":      func(q *stepQuestion) { q.Key = "" },
		"no model":    func(q *stepQuestion) { q.Model = nil },
		"no class":    func(q *stepQuestion) { q.VesselClasses = nil },
		"a bad class": func(q *stepQuestion) { q.VesselClasses = []string{"Big Kettle"} },
		"NaN":         func(q *stepQuestion) { q.FillLiters = math.NaN() },
		"infinity":    func(q *stepQuestion) { q.LoadKg = math.Inf(1) },
		"negative":    func(q *stepQuestion) { q.OutputKg = -1 },
		"no target":   func(q *stepQuestion) { q.GetReduce().Target = nil },
		"all boils off": func(q *stepQuestion) {
			q.GetReduce().Target = &schedulingpb.EstimateStepTimesRequest_Step_Reduce_TargetMassFraction{}
		},
	} {
		q := halving("a", 60)
		spoil(q)
		t.Log(name)
		refused(t, ask(q), codes.InvalidArgument, rpc.RequestInvalid)
	}
	refused(t, ask(), codes.InvalidArgument, rpc.RequestInvalid)
	refused(t, ask(simmering("a", 0)), codes.InvalidArgument, rpc.RequestInvalid)
	_, err := a.as(auth.Cook).EstimateStepTimes(ctx, &schedulingpb.EstimateStepTimesRequest{Parent: site, Steps: []*stepQuestion{halving("a", 60)}})
	refused(t, err, codes.PermissionDenied, auth.RoleNotAllowed)
}
