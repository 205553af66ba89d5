//go:build integration

package integration

import (
	"context"
	"fmt"
	"slices"
	"testing"
	"time"

	"google.golang.org/grpc"
	"google.golang.org/protobuf/proto"

	"rondeau.internal/integration/harness"
	"rondeau.internal/pkg/apierr"
	"rondeau.internal/pkg/auth"
	foodsafetypb "rondeau.internal/pkg/gen/rondeau/foodsafety/v1"
	inventorypb "rondeau.internal/pkg/gen/rondeau/inventory/v1"
	planningpb "rondeau.internal/pkg/gen/rondeau/planning/v1"
	"rondeau.internal/pkg/rpc"
	"rondeau.internal/services/rondeau/demo"
	"rondeau.internal/services/rondeau/kitchen"
)

// house is the demo's kitchen, imported into a running suite.
type house struct {
	t        *testing.T
	s        *harness.Suite
	site     string
	zone     *time.Location
	outlets  []*planningpb.Outlet
	products []*planningpb.Product
	made     int // things that were given an id of our own
}

// person is somebody of the kitchen; the site is filled in.
func (h *house) person(role auth.Role, name string) auth.Principal {
	return auth.Principal{Subject: name, Role: role, Site: h.site}
}

func (h *house) planning(p auth.Principal) planningpb.PlanningServiceClient {
	return planningpb.NewPlanningServiceClient(h.s.Conns(p)("planning"))
}

func (h *house) inventory(p auth.Principal) inventorypb.InventoryServiceClient {
	return inventorypb.NewInventoryServiceClient(h.s.Conns(p)("inventory"))
}

func (h *house) foodsafety(p auth.Principal) foodsafetypb.FoodSafetyServiceClient {
	return foodsafetypb.NewFoodSafetyServiceClient(h.s.Conns(p)("foodsafety"))
}

func (h *house) manager() auth.Principal  { return h.person(auth.Manager, "nora.quill") }
func (h *house) receiver() auth.Principal { return h.person(auth.Receiver, "ezra.holt") }
func (h *house) cook() auth.Principal     { return h.person(auth.Cook, "ada.finch") }
func (h *house) safety() auth.Principal   { return h.person(auth.SafetyLead, "iris.vance") }

// ctx bounds one call or a few.
func (h *house) ctx() context.Context {
	ctx, cancel := context.WithTimeout(h.t.Context(), time.Minute)
	h.t.Cleanup(cancel)
	return ctx
}

func (h *house) must(err error) {
	h.t.Helper()
	if err != nil {
		h.t.Fatal(err)
	}
}

// id is a new last part of a name.
func (h *house) id(prefix string) string {
	h.made++
	return fmt.Sprintf("%s-%d", prefix, h.made)
}

// importKitchen writes the demo's kitchen file through the public API.
func importKitchen(t *testing.T, s *harness.Suite) *house {
	t.Helper()
	file, err := kitchen.Parse("kitchen.yaml", demo.Kitchen())
	if err != nil {
		t.Fatal(err)
	}
	h := &house{t: t, s: s, site: file.Site}
	everywhere := auth.Principal{Subject: "nora.quill", Role: auth.Manager}
	conns := kitchen.Conns(func(service string) grpc.ClientConnInterface { return s.Conns(everywhere)(service) })
	changes, err := kitchen.Compare(h.ctx(), conns, file)
	h.must(err)
	h.must(kitchen.Apply(h.ctx(), conns, file, changes, nil))
	site, err := h.planning(h.manager()).GetSite(h.ctx(), &planningpb.GetSiteRequest{Name: h.site})
	h.must(err)
	h.zone, err = time.LoadLocation(site.GetTimeZone())
	h.must(err)
	outlets, err := h.planning(h.manager()).ListOutlets(h.ctx(), &planningpb.ListOutletsRequest{Parent: h.site, PageSize: 100})
	h.must(err)
	products, err := h.planning(h.manager()).ListProducts(h.ctx(), &planningpb.ListProductsRequest{Parent: h.site, PageSize: 100})
	h.must(err)
	h.outlets, h.products = outlets.GetOutlets(), products.GetProducts()
	return h
}

// dispatchDate is a dispatch day of an outlet, at least some days ahead so that the cut-off is far.
func (h *house) dispatchDate(outlet *planningpb.Outlet, ahead int) string {
	h.t.Helper()
	local := h.s.Now().In(h.zone)
	for d := ahead; d < ahead+8; d++ {
		day := local.AddDate(0, 0, d)
		for _, w := range outlet.GetDispatchWeekdays() {
			if int(w)%7 == int(day.Weekday()) {
				return day.Format(time.DateOnly)
			}
		}
	}
	h.t.Fatalf("%s has no dispatch day", outlet.GetName())
	return ""
}

func (h *house) orderer(outlet *planningpb.Outlet) auth.Principal {
	p := h.person(auth.Outlet, "orders")
	p.Outlet = outlet.GetName()
	return p
}

// orderRequest asks for some packs of a product for an outlet.
func (h *house) orderRequest(outlet *planningpb.Outlet, product string, packs int32) *planningpb.CreateOrderRequest {
	return &planningpb.CreateOrderRequest{
		Parent: outlet.GetName(), OrderId: h.id("order"), RequestId: h.id("request"),
		Order: &planningpb.Order{
			DispatchDate: h.dispatchDate(outlet, 5),
			Lines:        []*planningpb.Order_Line{{Product: h.site + "/products/" + product, ContainerCount: packs}},
		},
	}
}

// order places an order.
func (h *house) order(product string, packs int32) *planningpb.Order {
	h.t.Helper()
	outlet := h.outlets[h.made%len(h.outlets)]
	o, err := h.planning(h.orderer(outlet)).CreateOrder(h.ctx(), h.orderRequest(outlet, product, packs))
	h.must(err)
	return o
}

// draft computes a plan for the coming days.
func (h *house) draft() *planningpb.Plan {
	h.t.Helper()
	local := h.s.Now().In(h.zone)
	plan, err := h.planning(h.manager()).CreatePlan(h.ctx(), &planningpb.CreatePlanRequest{
		Parent: h.site, PlanId: h.id("plan"),
		Plan: &planningpb.Plan{StartDate: local.Format(time.DateOnly), EndDate: local.AddDate(0, 0, 10).Format(time.DateOnly)},
	})
	h.must(err)
	if len(plan.GetPurchases()) == 0 || len(plan.GetBatches()) == 0 {
		h.t.Fatalf("the plan has %d batches and %d purchases; there is nothing to see", len(plan.GetBatches()), len(plan.GetPurchases()))
	}
	return plan
}

// purchased says how the expected deliveries differ from what a plan bought: each purchase is one line of one delivery.
func (h *house) purchased(plan *planningpb.Plan) []string {
	h.t.Helper()
	type line struct {
		count int
		kg    float64
	}
	lines := map[string]line{}
	token := ""
	for {
		page, err := h.inventory(h.manager()).ListDeliveries(h.ctx(), &inventorypb.ListDeliveriesRequest{Parent: h.site, PageSize: 100, PageToken: token})
		h.must(err)
		for _, d := range page.GetDeliveries() {
			for _, l := range d.GetLines() {
				if l.GetPurchase() != "" && d.GetState() != inventorypb.Delivery_CANCELLED {
					lines[l.GetPurchase()] = line{lines[l.GetPurchase()].count + 1, l.GetExpectedMassKg()}
				}
			}
		}
		token = page.GetNextPageToken()
		if token == "" {
			break
		}
	}
	var faults []string
	for _, p := range plan.GetPurchases() {
		if got := lines[p.GetName()]; got.count != 1 || got.kg != p.GetMassKg() {
			faults = append(faults, fmt.Sprintf("%s of %g kg is expected %d times, of %g kg", p.GetName(), p.GetMassKg(), got.count, got.kg))
		}
	}
	return faults
}

// announce makes an expected delivery of olive oil, which has no receiving limit.
func (h *house) announce(kg float64) *inventorypb.Delivery {
	h.t.Helper()
	d, err := h.inventory(h.manager()).CreateDelivery(h.ctx(), &inventorypb.CreateDeliveryRequest{
		Parent: h.site, DeliveryId: h.id("delivery"),
		Delivery: &inventorypb.Delivery{
			Supplier: h.site + "/suppliers/larder-dry", ExpectedDate: h.s.Now().In(h.zone).Format(time.DateOnly),
			Lines: []*inventorypb.DeliveryLine{{Item: h.site + "/items/olive-oil", ExpectedMassKg: kg}},
		},
	})
	h.must(err)
	return d
}

// receiveRequest books a delivery in as it was announced.
func (h *house) receiveRequest(d *inventorypb.Delivery) *inventorypb.ReceiveDeliveryRequest {
	r := &inventorypb.ReceiveDeliveryRequest{Name: d.GetName(), DocumentNumber: h.id("note"), RequestId: h.id("request")}
	for _, l := range d.GetLines() {
		r.Lines = append(r.Lines, &inventorypb.ReceiveDeliveryRequest_Line{
			LineId: l.GetLineId(), ReceivedMassKg: l.GetExpectedMassKg(), Condition: inventorypb.DeliveryLine_SOUND, TemperatureCelsius: proto.Float64(18),
		})
	}
	return r
}

// receive announces and receives a delivery of one line, and returns its lot.
func (h *house) receive(kg float64) string {
	h.t.Helper()
	d, err := h.inventory(h.receiver()).ReceiveDelivery(h.ctx(), h.receiveRequest(h.announce(kg)))
	h.must(err)
	lot := d.GetLines()[0].GetLot()
	if lot == "" {
		h.t.Fatalf("no lot: %v", d.GetLines()[0])
	}
	return lot
}

// known is what food safety answers about a lot.
func (h *house) known(lot string) *foodsafetypb.CheckLotsResponse_LotStatus {
	h.t.Helper()
	answer, err := h.foodsafety(h.manager()).CheckLots(h.ctx(), &foodsafetypb.CheckLotsRequest{Parent: h.site, Lots: []string{lot}})
	h.must(err)
	return answer.GetLotStatuses()[0]
}

// consume takes some of a lot for a batch.
func (h *house) consume(lot string, kg float64) error {
	_, err := h.inventory(h.cook()).ConsumeStock(h.ctx(), &inventorypb.ConsumeStockRequest{
		Parent: h.site, Batch: h.site + "/batches/" + h.id("batch"),
		Inputs: []*inventorypb.ConsumeStockRequest_Input{{Item: h.site + "/items/olive-oil", MassKg: kg, Lot: lot}},
	})
	return err
}

// reason is the stable reason of a refusal.
func reason(err error) string { return apierr.ReasonOf(rpc.FromStatus(err)) }

// away says whether a call failed because its service was not there.
func away(err error) bool {
	return apierr.KindOf(rpc.FromStatus(err)) == apierr.KindUnavailable || slices.Contains([]string{rpc.OutcomeUnknown, rpc.Unreachable, rpc.DatabaseDown}, reason(err))
}

// insist repeats a call while its service is away.
func (h *house) insist(call func(ctx context.Context) error) error {
	ctx := h.ctx()
	for {
		err := call(ctx)
		if err == nil || !away(err) || ctx.Err() != nil {
			return err
		}
		select {
		case <-ctx.Done():
			return err
		case <-time.After(50 * time.Millisecond):
		}
	}
}

// sound fails the test when a service has parked an event.
func (h *house) sound() {
	h.t.Helper()
	for _, service := range harness.Services() {
		for _, parked := range h.s.Parked(service) {
			h.t.Errorf("%s could not handle %s", service, parked)
		}
	}
}
