//go:build integration

package integration

import (
	"fmt"
	"testing"
	"time"

	"google.golang.org/protobuf/types/known/timestamppb"

	"rondeau.internal/integration/harness"
	"rondeau.internal/pkg/apierr"
	foodsafetypb "rondeau.internal/pkg/gen/rondeau/foodsafety/v1"
	inventorypb "rondeau.internal/pkg/gen/rondeau/inventory/v1"
	planningpb "rondeau.internal/pkg/gen/rondeau/planning/v1"
	"rondeau.internal/pkg/rpc"
)

func TestWithoutTheBrokerTheKitchenGoesOnAndTheFactsArriveLater(t *testing.T) {
	s := harness.Processes(t, harness.Options{})
	h := importKitchen(t, s)
	plan := func() *planningpb.Plan { h.order("tomato-2500g", 6); return h.draft() }()
	chill, err := h.foodsafety(h.cook()).StartChill(h.ctx(), &foodsafetypb.StartChillRequest{
		Parent: h.site, ChillId: "pot",
		Chill: &foodsafetypb.Chill{Batch: h.site + "/batches/soup", LimitsProfile: h.site + "/limitsProfiles/us-food-code-2022", StartTime: timestamppb.New(s.Now())},
	})
	h.must(err)
	s.Settle(time.Minute)

	s.Kill9(harness.Broker)
	order := h.order("tomato-2500g", 3)
	_, err = h.planning(h.manager()).ReleasePlan(h.ctx(), &planningpb.ReleasePlanRequest{Name: plan.GetName()})
	h.must(err)
	lot := h.receive(12)
	for i := range 5 {
		h.must(s.SetTime(s.Now().Add(10 * time.Minute)))
		_, err = h.foodsafety(h.cook()).RecordReading(h.ctx(), &foodsafetypb.RecordReadingRequest{
			Parent: chill.GetName(), Reading: &foodsafetypb.Reading{ObserveTime: timestamppb.New(s.Now()), TemperatureCelsius: 58 - 9*float64(i)},
		})
		h.must(err)
	}
	if h.known(lot).GetKnown() {
		t.Error("food safety knows a lot that nobody could tell it about: the broker was not away")
	}

	s.Start(harness.Broker)
	s.Settle(time.Minute)
	if !h.known(lot).GetKnown() {
		t.Errorf("food safety has not heard of %s", lot)
	}
	for _, fault := range h.purchased(plan) {
		t.Error(fault)
	}
	if n := len(h.orders()[order.GetName()]); n != 1 {
		t.Errorf("the order is there %d times", n)
	}
	readings, err := h.foodsafety(h.manager()).ListReadings(h.ctx(), &foodsafetypb.ListReadingsRequest{Parent: chill.GetName(), PageSize: 50})
	h.must(err)
	if len(readings.GetReadings()) != 5 {
		t.Errorf("%d readings of 5 are there", len(readings.GetReadings()))
	}
	h.sound()
}

func TestFoodSafetyTakesReadingsWithEverythingElseDownAlsoAfterARestart(t *testing.T) {
	s := harness.Processes(t, harness.Options{})
	h := importKitchen(t, s)
	chill, err := h.foodsafety(h.cook()).StartChill(h.ctx(), &foodsafetypb.StartChillRequest{
		Parent: h.site, ChillId: "pot",
		Chill: &foodsafetypb.Chill{Batch: h.site + "/batches/soup", LimitsProfile: h.site + "/limitsProfiles/us-food-code-2022", StartTime: timestamppb.New(s.Now())},
	})
	h.must(err)
	s.Settle(time.Minute)
	for _, part := range []string{"planning", "inventory", "scheduling", harness.Broker} {
		s.Kill9(part)
	}
	take := func(celsius float64) {
		h.must(s.SetTime(s.Now().Add(10 * time.Minute)))
		stream, err := h.foodsafety(h.cook()).StreamReadings(h.ctx())
		h.must(err)
		h.must(stream.Send(&foodsafetypb.StreamReadingsRequest{Parent: h.site, Readings: []*foodsafetypb.Reading{
			{Chill: chill.GetName(), Probe: h.site + "/probes/probe-hand", ObserveTime: timestamppb.New(s.Now()), TemperatureCelsius: celsius},
		}}))
		answer, err := stream.CloseAndRecv()
		h.must(err)
		if answer.GetAcceptedCount() != 1 {
			t.Fatalf("the reading was not taken: %v", answer)
		}
	}
	take(57)
	s.Restart("foodsafety")
	take(45)
	readings, err := h.foodsafety(h.manager()).ListReadings(h.ctx(), &foodsafetypb.ListReadingsRequest{Parent: chill.GetName(), PageSize: 50})
	h.must(err)
	if len(readings.GetReadings()) != 2 {
		t.Errorf("%d readings of 2 are there", len(readings.GetReadings()))
	}
	for _, part := range []string{harness.Broker, "inventory", "scheduling", "planning"} {
		s.Start(part)
	}
	s.Settle(time.Minute)
	h.sound()
}

func TestNothingShipsWhileFoodSafetyIsAway(t *testing.T) {
	s := harness.Processes(t, harness.Options{})
	h := importKitchen(t, s)
	oil := h.receive(30)
	packed, err := h.inventory(h.cook()).PackContainers(h.ctx(), &inventorypb.PackContainersRequest{
		Parent: h.site, Batch: h.site + "/batches/packing", Item: h.site + "/items/tomato-2500g", ContainerCount: 4,
		Sources: []*inventorypb.PackContainersRequest_Source{{Lot: oil}},
	})
	h.must(err)
	s.Settle(time.Minute)
	_, err = h.foodsafety(h.safety()).ReleaseLot(h.ctx(), &foodsafetypb.ReleaseLotRequest{Lot: packed.GetLot().GetName(), NoChillReason: "packed at room temperature"})
	h.must(err)
	s.Settle(time.Minute)
	outlet := h.outlets[0].GetName()
	shipment, err := h.inventory(h.manager()).CreateShipment(h.ctx(), &inventorypb.CreateShipmentRequest{
		Parent: h.site, Outlet: outlet, Lines: []*inventorypb.CreateShipmentRequest_Line{{Item: h.site + "/items/tomato-2500g", ContainerCount: 4}},
	})
	h.must(err)

	s.Kill9("foodsafety")
	dispatch := &inventorypb.DispatchShipmentRequest{Name: shipment.GetName(), RequestId: h.id("request")}
	_, err = h.inventory(h.manager()).DispatchShipment(h.ctx(), dispatch)
	if apierr.KindOf(rpc.FromStatus(err)) != apierr.KindUnavailable {
		t.Fatalf("the shipment left, or was refused for another reason: %v", err)
	}
	h.shipped(shipment.GetName(), inventorypb.Shipment_DRAFT, inventorypb.Container_PACKED)

	s.Start("foodsafety")
	_, err = h.inventory(h.manager()).DispatchShipment(h.ctx(), dispatch)
	h.must(err)
	h.shipped(shipment.GetName(), inventorypb.Shipment_DISPATCHED, inventorypb.Container_SHIPPED)
	s.Settle(time.Minute)
	h.sound()
}

// shipped compares the states of a shipment and its containers.
func (h *house) shipped(name string, want inventorypb.Shipment_State, containers inventorypb.Container_State) {
	h.t.Helper()
	shipment, err := h.inventory(h.manager()).GetShipment(h.ctx(), &inventorypb.GetShipmentRequest{Name: name})
	h.must(err)
	if shipment.GetState() != want {
		h.t.Errorf("%s is %s, want %s", name, shipment.GetState(), want)
	}
	page, err := h.inventory(h.manager()).ListContainers(h.ctx(), &inventorypb.ListContainersRequest{Parent: h.site, PageSize: 100, Filter: fmt.Sprintf("shipment = %q", name)})
	h.must(err)
	if len(page.GetContainers()) != 4 {
		h.t.Errorf("%s holds %d containers", name, len(page.GetContainers()))
	}
	for _, c := range page.GetContainers() {
		if c.GetState() != containers {
			h.t.Errorf("%s is %s, want %s", c.GetName(), c.GetState(), containers)
		}
	}
}
