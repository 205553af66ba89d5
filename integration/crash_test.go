//go:build integration

package integration

import (
	"context"
	"fmt"
	"testing"
	"time"

	"google.golang.org/grpc"
	"google.golang.org/protobuf/proto"

	"rondeau.internal/integration/harness"
	"rondeau.internal/pkg/fault"
	foodsafetypb "rondeau.internal/pkg/gen/rondeau/foodsafety/v1"
	inventorypb "rondeau.internal/pkg/gen/rondeau/inventory/v1"
	planningpb "rondeau.internal/pkg/gen/rondeau/planning/v1"
)

// deed is something done in one service that must have one effect in another.
type deed struct {
	name string
	// prepare makes ready and returns the call and the check of its effect.
	prepare func(h *house) (call func(ctx context.Context) (proto.Message, error), check func() []string)
}

var releaseAPlan = deed{"the purchases of a released plan are expected once each", func(h *house) (func(context.Context) (proto.Message, error), func() []string) {
	h.order("tomato-2500g", int32(4+h.made%5))
	plan := h.draft()
	request := &planningpb.ReleasePlanRequest{Name: plan.GetName(), RequestId: h.id("request")}
	return func(ctx context.Context) (proto.Message, error) {
			return h.planning(h.manager()).ReleasePlan(ctx, request)
		},
		func() []string { return h.purchased(plan) }
}}

var receiveADelivery = deed{"the lot of a received delivery exists once and is known to food safety", func(h *house) (func(context.Context) (proto.Message, error), func() []string) {
	delivery := h.announce(15)
	request := h.receiveRequest(delivery)
	return func(ctx context.Context) (proto.Message, error) {
			return h.inventory(h.receiver()).ReceiveDelivery(ctx, request)
		},
		func() []string {
			var faults []string
			lots, err := h.inventory(h.manager()).ListLots(h.ctx(), &inventorypb.ListLotsRequest{Parent: h.site, Filter: fmt.Sprintf("delivery = %q", delivery.GetName())})
			h.must(err)
			if len(lots.GetLots()) != 1 || lots.GetLots()[0].GetOnHandMassKg() != 15 {
				return []string{fmt.Sprintf("lots of %s: %v", delivery.GetName(), lots.GetLots())}
			}
			if !h.known(lots.GetLots()[0].GetName()).GetKnown() {
				faults = append(faults, "food safety does not know "+lots.GetLots()[0].GetName())
			}
			return faults
		}
}}

var placeAHold = deed{"a lot on hold is refused by inventory", func(h *house) (func(context.Context) (proto.Message, error), func() []string) {
	lot := h.receive(10)
	request := &foodsafetypb.PlaceHoldRequest{Parent: h.site, RequestId: h.id("request"), Hold: &foodsafetypb.Hold{Subject: lot, Reason: "seal broken"}}
	return func(ctx context.Context) (proto.Message, error) {
			return h.foodsafety(h.safety()).PlaceHold(ctx, request)
		},
		func() []string {
			var faults []string
			holds, err := h.foodsafety(h.manager()).ListHolds(h.ctx(), &foodsafetypb.ListHoldsRequest{Parent: h.site, PageSize: 100})
			h.must(err)
			n := 0
			for _, hold := range holds.GetHolds() {
				if hold.GetSubject() == lot {
					n++
				}
			}
			if n != 1 {
				faults = append(faults, fmt.Sprintf("%d holds on %s", n, lot))
			}
			if err := h.consume(lot, 1); reason(err) != "LOT_HELD" {
				faults = append(faults, fmt.Sprintf("consumption of %s: %v", lot, err))
			}
			return faults
		}
}}

// TestAnEffectIsThereOnceAfterACrashAtAnyPoint ends a service at each place where a crash is most interesting, in the
// service that states a fact and in the one that hears of it, and looks at the effect after the restart.
func TestAnEffectIsThereOnceAfterACrashAtAnyPoint(t *testing.T) {
	s := harness.Processes(t, harness.Options{})
	main := importKitchen(t, s)
	tests := []struct {
		deed           deed
		service, point string
	}{
		{releaseAPlan, "planning", "tx.before_commit"},
		{releaseAPlan, "planning", "tx.after_commit"},
		{releaseAPlan, "planning", "outbox.after_append"},
		{releaseAPlan, "planning", "outbox.before_publish"},
		{releaseAPlan, "planning", "outbox.after_publish"},
		{releaseAPlan, "inventory", "inbox.before_commit"},
		{releaseAPlan, "inventory", "inbox.after_commit"},
		{receiveADelivery, "inventory", "tx.after_commit"},
		{receiveADelivery, "inventory", "outbox.after_publish"},
		{receiveADelivery, "foodsafety", "inbox.before_commit"},
		{receiveADelivery, "foodsafety", "inbox.after_commit"},
		{placeAHold, "foodsafety", "outbox.before_publish"},
		{placeAHold, "inventory", "inbox.after_commit"},
	}
	for _, tt := range tests {
		t.Run(fmt.Sprintf("%s, %s ends at %s", tt.deed.name, tt.service, tt.point), func(t *testing.T) {
			h := *main
			h.t = t
			defer func() { main.made = h.made }()
			call, check := tt.deed.prepare(&h)
			s.Settle(time.Minute)
			s.Restart(tt.service, fault.Env+"="+tt.point)
			type answer struct {
				message proto.Message
				err     error
			}
			answered := make(chan answer, 1)
			go func() {
				var a answer
				a.err = h.insist(func(ctx context.Context) (err error) {
					a.message, err = call(ctx)
					return err
				})
				answered <- a
			}()
			if status := s.Exit(tt.service); status != fault.ExitStatus {
				t.Fatalf("%s ended with %d, not at the crash point", tt.service, status)
			}
			s.Start(tt.service)
			first := <-answered
			h.must(first.err)
			s.Settle(time.Minute)
			for _, fault := range check() {
				t.Error(fault)
			}
			// The same request once more is answered from the log and has no second effect.
			again, err := call(h.ctx())
			h.must(err)
			if !proto.Equal(first.message, again) {
				t.Errorf("the repeated request is answered differently:\n%v\n%v", first.message, again)
			}
			s.Settle(time.Minute)
			for _, fault := range check() {
				t.Errorf("after the repetition: %s", fault)
			}
			h.sound()
		})
	}
}

// TestAcknowledgedOrdersSurviveKilledProcesses lets two clerks place orders while planning is killed again and again.
// Each acknowledged order must be there once; one whose clerk gave up may be there or not, but not twice.
func TestAcknowledgedOrdersSurviveKilledProcesses(t *testing.T) {
	s := harness.Processes(t, harness.Options{})
	h := importKitchen(t, s)
	random := chance(t)
	const clerks, each, kills = 2, 40, 8
	type outcome struct {
		request *planningpb.CreateOrderRequest
		order   *planningpb.Order // nil when never acknowledged
		err     error
	}
	outcomes := make(chan outcome)
	conns := make([]grpc.ClientConnInterface, clerks)
	for c := range clerks {
		outlet := h.outlets[c]
		conns[c] = s.Conns(h.orderer(outlet))("planning")
		requests := make([]*planningpb.CreateOrderRequest, each)
		givesUp := make([]bool, each)
		for i := range requests {
			requests[i] = h.orderRequest(outlet, "tomato-2500g", int32(1+i%7))
			givesUp[i] = random.IntN(4) == 0
		}
		go func() {
			for i, r := range requests {
				o := outcome{request: r}
				call := func(ctx context.Context) (err error) {
					o.order, err = planningpb.NewPlanningServiceClient(conns[c]).CreateOrder(ctx, r)
					return err
				}
				if givesUp[i] {
					o.err = call(t.Context())
				} else {
					o.err = h.insist(call)
				}
				if o.err != nil {
					o.order = nil
				}
				outcomes <- o
			}
		}()
	}
	var all []outcome
	for k := range kills {
		// Between the kills some orders get through; the next kill falls into the middle of one.
		for range clerks * each / kills {
			all = append(all, <-outcomes)
		}
		if k < kills-1 {
			s.Kill9("planning")
			time.Sleep(time.Duration(random.IntN(100)) * time.Millisecond) //nolint:forbidigo // a kill at any moment
			s.Launch("planning")
		}
	}
	s.Ready()
	acknowledged := 0
	for _, o := range all {
		if o.err != nil && !away(o.err) {
			t.Errorf("%s: %v", o.request.GetOrderId(), o.err)
		}
		if o.order != nil {
			acknowledged++
		}
	}
	if acknowledged < len(all)/2 {
		t.Fatalf("only %d of %d orders were acknowledged", acknowledged, len(all))
	}
	t.Logf("%d of %d orders were acknowledged over %d kills", acknowledged, len(all), kills-1)
	before := h.orders()
	for _, o := range all {
		name := o.request.GetParent() + "/orders/" + o.request.GetOrderId()
		found := before[name]
		if o.order != nil && len(found) != 1 || len(found) > 1 {
			t.Errorf("%s, acknowledged %v: it is there %d times", name, o.order != nil, len(found))
		}
		if o.order != nil && len(found) == 1 && !proto.Equal(found[0], o.order) {
			t.Errorf("%s was acknowledged as\n%v and is\n%v", name, o.order, found[0])
		}
		if o.order == nil {
			continue
		}
		again, err := planningpb.NewPlanningServiceClient(s.Conns(h.orderer(&planningpb.Outlet{Name: o.request.GetParent()}))("planning")).CreateOrder(h.ctx(), o.request)
		if err != nil || !proto.Equal(again, o.order) {
			t.Errorf("%s once more: %v, %v", name, again, err)
		}
	}
	if after := h.orders(); len(after) != len(before) {
		t.Errorf("%d orders before the repetitions, %d after", len(before), len(after))
	}
	s.Settle(time.Minute)
	h.sound()
}

// orders are all orders of the kitchen by name.
func (h *house) orders() map[string][]*planningpb.Order {
	h.t.Helper()
	out := map[string][]*planningpb.Order{}
	token := ""
	for {
		page, err := h.planning(h.manager()).ListOrders(h.ctx(), &planningpb.ListOrdersRequest{Parent: h.site + "/outlets/-", PageSize: 50, PageToken: token})
		h.must(err)
		for _, o := range page.GetOrders() {
			out[o.GetName()] = append(out[o.GetName()], o)
		}
		token = page.GetNextPageToken()
		if token == "" {
			return out
		}
	}
}
