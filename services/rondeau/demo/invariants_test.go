package demo

import (
	"strings"
	"testing"
	"time"

	"google.golang.org/protobuf/types/known/timestamppb"

	foodsafetypb "rondeau.internal/pkg/gen/rondeau/foodsafety/v1"
	inventorypb "rondeau.internal/pkg/gen/rondeau/inventory/v1"
	planningpb "rondeau.internal/pkg/gen/rondeau/planning/v1"
	schedulingpb "rondeau.internal/pkg/gen/rondeau/scheduling/v1"
)

func clockAt(hour int) *timestamppb.Timestamp {
	return timestamppb.New(time.Date(2026, 3, 16, hour, 0, 0, 0, time.UTC))
}

// soundKitchen is a kitchen in which nothing is wrong: two packs of one lot, one of them shipped.
func soundKitchen() *audit {
	return &audit{
		site: "sites/x",
		moves: []*inventorypb.Move{{Name: "m1", Entries: []*inventorypb.MoveEntry{
			{Account: inventorypb.MoveEntry_SUPPLIER, Lot: "lots/a", MassKg: -5}, {Account: inventorypb.MoveEntry_LOCATION, Lot: "lots/a", MassKg: 5},
		}}},
		lots: []*inventorypb.Lot{{Name: "lots/a", Batch: "batches/b", ContainerCount: 1}},
		containers: []*inventorypb.Container{
			{Name: "c1", Serial: "1", Lot: "lots/a", State: inventorypb.Container_SHIPPED}, {Name: "c2", Serial: "2", Lot: "lots/a", State: inventorypb.Container_PACKED},
		},
		shipments: []*inventorypb.Shipment{{
			Name: "s1", Order: "orders/o", State: inventorypb.Shipment_DISPATCHED, DispatchTime: clockAt(10),
			Lines: []*inventorypb.Shipment_Line{{Product: "products/p", Containers: []string{"c1"}}},
		}},
		releases: []*foodsafetypb.Release{{Lot: "lots/a", SignTime: clockAt(9)}},
		orders: []*planningpb.Order{{Name: "orders/o", Lines: []*planningpb.Order_Line{
			{Product: "products/p", ContainerCount: 1, ShippedContainerCount: 1},
		}}},
		vessels: []*schedulingpb.Vessel{{Name: "kettle"}, {Name: "oven", LoadCapacityKg: 100}},
		runs: []*schedulingpb.Run{
			{Name: "r1", Vessel: "kettle", StartTime: clockAt(5), FinishTime: clockAt(7)},
			{Name: "r2", Vessel: "kettle", StartTime: clockAt(7)},
			{Name: "r3", Vessel: "oven", StartTime: clockAt(5)},
			{Name: "r4", Vessel: "oven", StartTime: clockAt(6)},
		},
	}
}

func TestInvariantsFindWhatMustNeverBe(t *testing.T) {
	t.Parallel()
	for name, c := range map[string]struct {
		spoil func(*audit)
		want  string // "" : nothing is found
	}{
		"a sound kitchen":             {func(*audit) {}, ""},
		"mass out of nothing":         {func(a *audit) { a.moves[0].Entries[1].MassKg = 5.001 }, "out of nothing"},
		"a serial number twice":       {func(a *audit) { a.containers[1].Serial = "1" }, "same serial"},
		"a container in two boxes":    {func(a *audit) { a.shipments = append(a.shipments, a.shipments[0]) }, "is in s1 and in s1"},
		"packs that are not there":    {func(a *audit) { a.lots[0].ContainerCount = 2 }, "counts 2 containers"},
		"an unreleased lot that left": {func(a *audit) { a.releases = nil }, "was not released"},
		"a lot released afterwards":   {func(a *audit) { a.releases[0].SignTime = clockAt(11) }, "was not released"},
		"a held batch that left": {func(a *audit) {
			a.holds = []*foodsafetypb.Hold{{Name: "h", Subject: "batches/b", PlaceTime: clockAt(8)}}
		}, "under h"},
		"a lot held after its release and not signed anew": {func(a *audit) {
			a.holds = []*foodsafetypb.Hold{{Name: "h", Subject: "lots/a", PlaceTime: timestamppb.New(clockAt(9).AsTime().Add(time.Minute)), LiftTime: clockAt(10)}}
		}, "was not released"},
		"more shipped than ordered": {func(a *audit) { a.orders[0].Lines[0].ContainerCount = 0 }, "1 of 0 packs"},
		"books that differ":         {func(a *audit) { a.orders[0].Lines[0].ShippedContainerCount = 0 }, "planning counts 0"},
		"two runs in a kettle":      {func(a *audit) { a.runs[1].StartTime = clockAt(6) }, "at the same time"},
		"a kettle never emptied":    {func(a *audit) { a.runs[0].FinishTime = nil }, "at the same time"},
	} {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			a := soundKitchen()
			c.spoil(a)
			for _, check := range []error{
				a.checkMoves(t.Context()), a.checkContainers(t.Context()), a.checkShipments(t.Context()), a.checkOrders(t.Context()), a.checkVessels(t.Context()),
			} {
				if check != nil {
					t.Fatal(check)
				}
			}
			got := strings.Join(a.faults, "; ")
			if c.want == "" && got != "" || !strings.Contains(got, c.want) {
				t.Errorf("found %q, want %q", got, c.want)
			}
		})
	}
}

func TestATraceThatEndsInNothingIsFound(t *testing.T) {
	t.Parallel()
	trace := &inventorypb.Trace{
		Nodes: []*inventorypb.TraceNode{
			{Name: "lots/a", Kind: inventorypb.TraceNode_LOT},
			{Name: "batches/b", Kind: inventorypb.TraceNode_BATCH},
			{Name: "lots/raw", Kind: inventorypb.TraceNode_LOT},
			{Name: "deliveries/d", Kind: inventorypb.TraceNode_DELIVERY},
		},
		Edges: []*inventorypb.TraceEdge{{Source: "deliveries/d", Target: "lots/raw"}, {Source: "lots/raw", Target: "batches/b"}, {Source: "batches/b", Target: "lots/a"}},
	}
	a := &audit{}
	a.checkTrace("lots/a", trace)
	if len(a.faults) != 0 {
		t.Errorf("a complete trace was found faulty: %q", a.faults)
	}
	trace.Edges = trace.Edges[1:]
	a.checkTrace("lots/a", trace)
	if len(a.faults) != 1 {
		t.Errorf("a lot without a delivery gave %q", a.faults)
	}
}
