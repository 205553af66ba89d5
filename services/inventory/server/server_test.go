package server_test

import (
	"testing"
	"time"

	"google.golang.org/grpc"
	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/status"
	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/types/known/durationpb"
	"google.golang.org/protobuf/types/known/timestamppb"

	"rondeau.internal/pkg/apierr"
	"rondeau.internal/pkg/auth"
	foodsafetypb "rondeau.internal/pkg/gen/rondeau/foodsafety/v1"
	pb "rondeau.internal/pkg/gen/rondeau/inventory/v1"
	planningpb "rondeau.internal/pkg/gen/rondeau/planning/v1"
	"rondeau.internal/pkg/sqldb"
	"rondeau.internal/services/inventory/server"
)

// checkOnly is the one method of the food-safety service that the stock calls.
var checkOnly = func() grpc.ServiceDesc {
	d := foodsafetypb.FoodSafetyService_ServiceDesc
	d.Methods = nil
	d.Streams = nil
	for _, m := range foodsafetypb.FoodSafetyService_ServiceDesc.Methods {
		if m.MethodName == "CheckLots" {
			d.Methods = append(d.Methods, m)
		}
	}
	return d
}()

func stores(s *server.Service) map[string]*sqldb.DB {
	out := map[string]*sqldb.DB{}
	for _, n := range s.ServiceNames() {
		out[n] = s.DB()
	}
	return out
}

func item(id string) string  { return site + "/items/" + id }
func batch(id string) string { return site + "/batches/" + id }
func lot(id string) string   { return site + "/lots/" + id }

// masters imports the kitchen as a manager does.
func (h *house) masters(manager pb.InventoryServiceClient) {
	h.t.Helper()
	ctx := h.t.Context()
	_, err := manager.UpdateStockPolicy(ctx, &pb.UpdateStockPolicyRequest{StockPolicy: &pb.StockPolicy{Name: site + "/stockPolicy", TimeZone: "Europe/Vienna", Gs1CompanyPrefix: "9521234"}})
	must(h.t, err)
	_, err = manager.CreateSupplier(ctx, &pb.CreateSupplierRequest{Parent: site, SupplierId: "marrow", Supplier: &pb.Supplier{DisplayName: "Marrow and Sons", Active: true}})
	must(h.t, err)
	var places []*pb.CreateLocationRequest
	for id, kind := range map[string]pb.Location_Kind{"dry": pb.Location_DRY_STORE, "cold": pb.Location_WALK_IN, "ice": pb.Location_FREEZER} {
		places = append(places, &pb.CreateLocationRequest{Parent: site, LocationId: id, Location: &pb.Location{DisplayName: id, Kind: kind, Active: true}})
	}
	_, err = manager.BatchCreateLocations(ctx, &pb.BatchCreateLocationsRequest{Parent: site, Requests: places})
	must(h.t, err)
	days := func(n int) *durationpb.Duration { return durationpb.New(time.Duration(n) * 24 * time.Hour) }
	var items []*pb.CreateItemRequest
	for _, i := range []*pb.Item{
		{Name: "bones", DisplayName: "Veal bones", Kind: pb.Item_PURCHASED, Storage: pb.Storage_STORAGE_CHILLED, ShelfLife: days(3), MaxReceiptTemperatureCelsius: proto.Float64(5), Purchase: &pb.PurchaseTerms{Supplier: site + "/suppliers/marrow", CaseMassKg: 10, LeadDays: 1}},
		{Name: "leek", DisplayName: "Leek", Kind: pb.Item_PURCHASED, Storage: pb.Storage_STORAGE_CHILLED, ShelfLife: days(4), MaxReceiptTemperatureCelsius: proto.Float64(8), Purchase: &pb.PurchaseTerms{Supplier: site + "/suppliers/marrow"}},
		{Name: "water", DisplayName: "Water", Kind: pb.Item_UTILITY},
		{Name: "glace", DisplayName: "Demi-glace", Kind: pb.Item_MADE, Storage: pb.Storage_STORAGE_CHILLED, ShelfLife: days(5), Allergens: []*pb.AllergenContent{{Allergen: pb.Allergen_ALLERGEN_CELERY}}},
		{Name: "pouch", DisplayName: "Demi-glace, 500 g", Kind: pb.Item_PACK, Storage: pb.Storage_STORAGE_FROZEN, ShelfLife: days(180), NetMassKg: 0.5, Gtin: "09521234543213"},
	} {
		id := i.GetName()
		i.Name, i.Active = "", true
		items = append(items, &pb.CreateItemRequest{Parent: site, ItemId: id, Item: i})
	}
	_, err = manager.BatchCreateItems(ctx, &pb.BatchCreateItemsRequest{Parent: site, Requests: items})
	must(h.t, err)
}

func TestFromPurchaseToOutletThroughTheAPI(t *testing.T) {
	h := open(t)
	ctx := t.Context()
	manager := h.client(auth.Principal{Subject: "mia", Role: auth.Manager})
	receiver := h.client(auth.Principal{Subject: "rob", Role: auth.Receiver})
	h.masters(manager)

	// A released plan proposes two purchases; the news comes twice.
	for _, p := range []struct{ id, item string }{{"1", "bones"}, {"2", "leek"}, {"1", "bones"}} {
		h.tell("rondeau.planning.v1.purchase.proposed", p.id+h.clock.Advance(time.Second).String(), &planningpb.PurchaseProposed{Plan: site + "/plans/week", Purchase: &planningpb.Purchase{
			Name: site + "/plans/week/purchases/" + p.id, Item: item(p.item), Supplier: site + "/suppliers/marrow", MassKg: 20, DeliveryDate: "2026-03-10",
		}})
	}
	var delivery *pb.Delivery
	h.until("the expected delivery", func() bool {
		list, err := receiver.ListDeliveries(ctx, &pb.ListDeliveriesRequest{Parent: site, Filter: "state = EXPECTED"})
		must(t, err)
		if len(list.GetDeliveries()) != 1 || len(list.GetDeliveries()[0].GetLines()) != 2 {
			return false
		}
		delivery = list.GetDeliveries()[0]
		return true
	})
	delivery, err := receiver.ReceiveDelivery(ctx, &pb.ReceiveDeliveryRequest{Name: delivery.GetName(), DocumentNumber: "N 17", Lines: []*pb.ReceiveDeliveryRequest_Line{
		{LineId: delivery.GetLines()[0].GetLineId(), ReceivedMassKg: 20, TemperatureCelsius: proto.Float64(3.5), Condition: pb.DeliveryLine_SOUND, SupplierLot: "VB-77", LotId: "b1"},
		{LineId: delivery.GetLines()[1].GetLineId(), ReceivedMassKg: 20, TemperatureCelsius: proto.Float64(11), Condition: pb.DeliveryLine_SOUND},
	}})
	must(t, err)
	if l := delivery.GetLines(); l[0].GetDecision() != pb.DeliveryLine_ACCEPTED || l[1].GetDecision() != pb.DeliveryLine_REJECTED || l[1].GetDecisionReason() != "11 °C is above the limit of 8 °C" {
		t.Fatalf("lines: %v", l)
	}
	var rejected pb.DeliveryLineRejected
	must(t, proto.Unmarshal(h.heard("rondeau.inventory.v1.delivery.rejected", 1), &rejected))
	if rejected.GetLimitCelsius() != 8 || rejected.GetReceiver() != "rob" {
		t.Errorf("rejection says %v", &rejected)
	}

	reserved, err := h.cook.ReserveStock(ctx, &pb.ReserveStockRequest{Parent: site, ReservationId: "r1", Batch: batch("one"), Items: []*pb.ItemMass{{Item: item("bones"), MassKg: 15}}})
	must(t, err)
	// The same call again, as after a lost answer: one effect.
	take := &pb.ConsumeStockRequest{Parent: site, Batch: batch("one"), Run: batch("one") + "/runs/simmer", RequestId: "take-1", Inputs: []*pb.ConsumeStockRequest_Input{{Item: item("bones"), MassKg: 15}, {Item: item("water"), MassKg: 25}}}
	first, err := h.cook.ConsumeStock(ctx, take)
	must(t, err)
	again, err := h.cook.ConsumeStock(ctx, take)
	must(t, err)
	if !proto.Equal(first, again) || first.GetTaken()[0].GetReservation() != reserved.GetName() {
		t.Errorf("a repeated call gave %v after %v", again, first)
	}
	if l, err := h.cook.GetLot(ctx, &pb.GetLotRequest{Name: lot("b1")}); err != nil || l.GetOnHandMassKg() != 5 || l.GetTraceabilityLotCode() != "VB-77" || l.GetUseByDate() != "2026-03-13" {
		t.Errorf("lot b1 is %v, %v", l, err)
	}
	_, err = h.cook.RecordProduction(ctx, &pb.RecordProductionRequest{Parent: site, Batch: batch("one"), Outputs: []*pb.RecordProductionRequest_Output{{Item: item("glace"), MassKg: 6.2, LotId: "g1"}}})
	must(t, err)
	var created pb.LotCreated
	must(t, proto.Unmarshal(h.heard("rondeau.inventory.v1.lot.created", 2), &created))
	if created.GetLot().GetBatch() != batch("one") || len(created.GetInputs()) != 1 || created.GetInputs()[0].GetLot() != lot("b1") || created.GetActor() != "ada" {
		t.Errorf("lot created says %v", &created)
	}
	balance, err := h.cook.CloseBatch(ctx, &pb.CloseBatchRequest{Parent: site, Batch: batch("one"), Losses: []*pb.Loss{{Kind: pb.Loss_EVAPORATION, MassKg: 20}, {Kind: pb.Loss_STRAINED_SOLIDS, MassKg: 13.6}}})
	must(t, err)
	if balance.GetUnexplainedMassKg() != 0.2 || balance.GetRecoveryPercent() != 99.5 {
		t.Errorf("balance %v", balance)
	}

	h.holdAndLift()
	sh := h.packAndShip()
	h.outletReceives(sh)
	h.traceBothWays(sh.GetLines()[0].GetContainers()[0], delivery.GetName())
}

// holdAndLift hears of a hold on the demi-glace and of its end.
func (h *house) holdAndLift() {
	h.t.Helper()
	ctx := h.t.Context()
	pack := &pb.PackContainersRequest{Parent: site, Batch: batch("pack"), Item: item("pouch"), Sources: []*pb.PackContainersRequest_Source{{Lot: lot("g1"), MassKg: 6.1}}, ContainerCount: 12, LotId: "p1"}
	hold := &foodsafetypb.Hold{Name: site + "/holds/h1", Subject: batch("one"), PlaceTime: timestamppb.New(h.clock.Now())}
	h.tell("rondeau.foodsafety.v1.hold.placed", "h1-placed", &foodsafetypb.HoldPlaced{Hold: hold})
	h.until("the hold", func() bool {
		l, err := h.cook.GetLot(ctx, &pb.GetLotRequest{Name: lot("g1")})
		must(h.t, err)
		return l.GetHeld()
	})
	_, err := h.cook.PackContainers(ctx, pack)
	if status.Code(err) != codes.FailedPrecondition || apierr.ReasonOf(err) != "LOT_HELD" {
		h.t.Errorf("packing a held lot: %v", err)
	}
	h.tell("rondeau.foodsafety.v1.hold.lifted", "h1-lifted", &foodsafetypb.HoldLifted{Hold: hold, SubjectFree: true})
	h.until("the end of the hold", func() bool {
		l, err := h.cook.GetLot(ctx, &pb.GetLotRequest{Name: lot("g1")})
		must(h.t, err)
		return !l.GetHeld()
	})
	packed, err := h.cook.PackContainers(ctx, pack)
	must(h.t, err)
	label := packed.GetContainers()[0].GetLabel()
	// 10 March 2026 plus 180 days is 6 September 2026.
	if want := "(01)09521234543213(13)260310(15)260906(3101)000005(10)P1(21)000000001"; label.GetElementString() != want {
		h.t.Errorf("label says %s, want %s", label.GetElementString(), want)
	}
	if r := packed.GetRemainderMassKg(); r != 0.1 {
		h.t.Errorf("remainder %v", r)
	}
}

// packAndShip ships five pouches after food safety released their lot, and not before it lets them pass.
func (h *house) packAndShip() *pb.Shipment {
	h.t.Helper()
	ctx := h.t.Context()
	h.tell("rondeau.foodsafety.v1.lot.released", "p1-released", &foodsafetypb.LotReleased{Lot: lot("p1"), Release: &foodsafetypb.Release{SignTime: timestamppb.New(h.clock.Now())}})
	h.until("the release", func() bool {
		l, err := h.cook.GetLot(ctx, &pb.GetLotRequest{Name: lot("p1")})
		must(h.t, err)
		return l.GetReleased()
	})
	sh, err := h.cook.CreateShipment(ctx, &pb.CreateShipmentRequest{Parent: site, ShipmentId: "s1", Outlet: site + "/outlets/harbour", Order: site + "/outlets/harbour/orders/o1", Lines: []*pb.CreateShipmentRequest_Line{{Item: item("pouch"), ContainerCount: 5}}})
	must(h.t, err)
	if len(sh.GetSscc()) != 18 || sh.GetNetMassKg() != 2.5 {
		h.t.Errorf("shipment %v", sh)
	}
	h.safety.mu.Lock()
	h.safety.refuse[lot("g1")] = "its chill failed"
	h.safety.mu.Unlock()
	_, err = h.cook.DispatchShipment(ctx, &pb.DispatchShipmentRequest{Name: sh.GetName()})
	if status.Code(err) != codes.FailedPrecondition || apierr.ReasonOf(err) != "LOT_NOT_SHIPPABLE" {
		h.t.Errorf("dispatch against the word of food safety: %v", err)
	}
	h.safety.mu.Lock()
	delete(h.safety.refuse, lot("g1"))
	h.safety.mu.Unlock()
	sh, err = h.cook.DispatchShipment(ctx, &pb.DispatchShipmentRequest{Name: sh.GetName(), Etag: sh.GetEtag()})
	must(h.t, err)
	var sent pb.ShipmentDispatched
	must(h.t, proto.Unmarshal(h.heard("rondeau.inventory.v1.shipment.dispatched", 1), &sent))
	if sent.GetShipment().GetOrder() == "" || len(sent.GetShipment().GetLines()[0].GetContainers()) != 5 {
		h.t.Errorf("dispatch says %v", &sent)
	}
	return sh
}

// outletReceives lets the outlet, and no other one, take the shipment in and scan a container.
func (h *house) outletReceives(sh *pb.Shipment) {
	h.t.Helper()
	ctx := h.t.Context()
	other := h.client(auth.Principal{Subject: "eve", Role: auth.Outlet, Site: site, Outlet: site + "/outlets/hill"})
	if _, err := other.ReceiveShipment(ctx, &pb.ReceiveShipmentRequest{Name: sh.GetName(), Outlet: site + "/outlets/harbour"}); status.Code(err) != codes.PermissionDenied {
		h.t.Errorf("another outlet in its neighbour's name: %v", err)
	}
	if _, err := other.GetShipment(ctx, &pb.GetShipmentRequest{Name: sh.GetName(), Outlet: site + "/outlets/hill"}); status.Code(err) != codes.NotFound {
		h.t.Errorf("another outlet sees the shipment: %v", err)
	}
	outlet := h.client(auth.Principal{Subject: "ola", Role: auth.Outlet, Site: site, Outlet: site + "/outlets/harbour"})
	got, err := outlet.ReceiveShipment(ctx, &pb.ReceiveShipmentRequest{Name: sh.GetName(), Outlet: site + "/outlets/harbour"})
	must(h.t, err)
	if got.GetState() != pb.Shipment_RECEIVED || got.GetReceiver() != "ola" {
		h.t.Errorf("received %v", got)
	}
	h.heard("rondeau.inventory.v1.shipment.received", 1)
	scan, err := outlet.ScanContainer(ctx, &pb.ScanContainerRequest{Parent: site, Outlet: site + "/outlets/harbour", Code: "https://id.gs1.org/01/09521234543213/10/P1/21/000000001"})
	must(h.t, err)
	if scan.GetContainer().GetName() != sh.GetLines()[0].GetContainers()[0] || len(scan.GetWarnings()) != 0 || scan.GetContainer().GetState() != pb.Container_RECEIVED {
		h.t.Errorf("scan says %v", scan)
	}
}

func (h *house) traceBothWays(container, delivery string) {
	h.t.Helper()
	auditor := h.client(auth.Principal{Subject: "aud", Role: auth.Auditor})
	back, err := auditor.TraceBackward(h.t.Context(), &pb.TraceBackwardRequest{Name: container})
	must(h.t, err)
	found := false
	for _, n := range back.GetNodes() {
		found = found || n.GetName() == delivery
	}
	if !found || back.GetSummary().GetLotCount() != 3 {
		h.t.Errorf("trace of %s does not end at %s: %v", container, delivery, back)
	}
	fore, err := auditor.TraceForward(h.t.Context(), &pb.TraceForwardRequest{Name: delivery})
	must(h.t, err)
	if s := fore.GetSummary(); s.GetContainerCount() != 12 || s.GetShippedContainerCount() != 5 || len(s.GetOutlets()) != 1 {
		h.t.Errorf("forward trace: %v", s)
	}
	if _, err := auditor.DiscardLot(h.t.Context(), &pb.DiscardLotRequest{Name: lot("p1"), Reason: "curious"}); status.Code(err) != codes.PermissionDenied {
		h.t.Errorf("an auditor discards a lot: %v", err)
	}
}
