package grpcapi_test

import (
	"context"
	"errors"
	"go/ast"
	"go/parser"
	"go/token"
	"log/slog"
	"maps"
	"path/filepath"
	"slices"
	"strconv"
	"strings"
	"testing"
	"time"

	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/status"
	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/types/known/fieldmaskpb"
	"google.golang.org/protobuf/types/known/timestamppb"

	"rondeau.internal/pkg/apierr"
	"rondeau.internal/pkg/auth"
	"rondeau.internal/pkg/clock"
	pb "rondeau.internal/pkg/gen/rondeau/inventory/v1"
	"rondeau.internal/pkg/outbox"
	"rondeau.internal/pkg/rpc"
	"rondeau.internal/pkg/sqldb"
	"rondeau.internal/pkg/sqldb/sqldbtest"
	"rondeau.internal/services/inventory"
	"rondeau.internal/services/inventory/events"
	"rondeau.internal/services/inventory/grpcapi"
	"rondeau.internal/services/inventory/sqlite"

	"google.golang.org/grpc"
)

const site = "sites/quay"

var noon = time.Date(2026, 3, 10, 12, 0, 0, 0, time.UTC)

// noAnswer is a food-safety service that is down.
type noAnswer struct{}

func (noAnswer) CheckLots(context.Context, string, []string) ([]inventory.LotSafety, error) {
	return nil, errors.New("connection refused")
}

// desk is the API over a real store, behind the real interceptors.
type desk struct {
	pb.InventoryServiceClient // as a manager
	t                         *testing.T
	stock                     *inventory.Service
	as                        func(auth.Principal) pb.InventoryServiceClient
}

func open(t *testing.T) *desk {
	t.Helper()
	db := sqldbtest.SQLite(t)
	must(t, outbox.Migrate(t.Context(), db))
	store, err := sqlite.New(t.Context(), db)
	must(t, err)
	now := clock.NewFake(noon)
	stock, err := inventory.New(inventory.Deps{Store: store, Clock: now, Events: events.NewPublisher(db, now), FoodSafety: noAnswer{}})
	must(t, err)
	keys, err := auth.LoadOrCreateKeys(filepath.Join(t.TempDir(), "keys"))
	must(t, err)
	server, err := rpc.NewServer(rpc.ServerConfig{
		Logger: slog.New(slog.DiscardHandler), Verifier: keys.Verifier(), Clock: now,
		Stores: map[string]*sqldb.DB{pb.InventoryService_ServiceDesc.ServiceName: db},
	}, func(r grpc.ServiceRegistrar) { pb.RegisterInventoryServiceServer(r, grpcapi.New(stock)) })
	must(t, err)
	pipe := rpc.NewPipe()
	done := make(chan error, 1)
	go func() { done <- server.Serve(pipe) }()
	t.Cleanup(func() {
		_ = server.Stop(context.WithoutCancel(t.Context()))
		must(t, <-done)
	})
	d := &desk{t: t, stock: stock}
	d.as = func(p auth.Principal) pb.InventoryServiceClient {
		token, err := keys.Sign(p, time.Hour)
		must(t, err)
		conn, err := rpc.Dial("pipe", rpc.DialConfig{Pipe: pipe, Token: func() string { return token }})
		must(t, err)
		t.Cleanup(func() { _ = conn.Close() })
		return pb.NewInventoryServiceClient(conn)
	}
	d.InventoryServiceClient = d.as(auth.Principal{Subject: "mia", Role: auth.Manager})
	d.masters()
	return d
}

func (d *desk) masters() {
	ctx := d.t.Context()
	_, err := d.CreateSupplier(ctx, &pb.CreateSupplierRequest{Parent: site, SupplierId: "marrow", Supplier: &pb.Supplier{DisplayName: "Marrow and Sons", Active: true}})
	must(d.t, err)
	_, err = d.CreateLocation(ctx, &pb.CreateLocationRequest{Parent: site, LocationId: "cold", Location: &pb.Location{DisplayName: "Walk-in", Kind: pb.Location_WALK_IN, Active: true}})
	must(d.t, err)
	_, err = d.CreateItem(ctx, &pb.CreateItemRequest{Parent: site, ItemId: "bones", Item: &pb.Item{DisplayName: "Veal bones", Kind: pb.Item_PURCHASED, Storage: pb.Storage_STORAGE_CHILLED, MaxReceiptTemperatureCelsius: proto.Float64(5), Active: true}})
	must(d.t, err)
	_, err = d.CreateItem(ctx, &pb.CreateItemRequest{Parent: site, ItemId: "pouch", Item: &pb.Item{DisplayName: "Pouch", Kind: pb.Item_PACK, Storage: pb.Storage_STORAGE_CHILLED, NetMassKg: 1, ReleaseRule: pb.Item_NOT_NEEDED, Active: true}})
	must(d.t, err)
	_, err = d.CreateDelivery(ctx, &pb.CreateDeliveryRequest{Parent: site, DeliveryId: "d1", Delivery: &pb.Delivery{Supplier: site + "/suppliers/marrow", ExpectedDate: "2026-03-10", Lines: []*pb.DeliveryLine{{Item: site + "/items/bones", ExpectedMassKg: 10}}}})
	must(d.t, err)
	_, err = d.ReceiveDelivery(ctx, &pb.ReceiveDeliveryRequest{Name: site + "/deliveries/d1", Lines: []*pb.ReceiveDeliveryRequest_Line{{LineId: "1", ReceivedMassKg: 10, TemperatureCelsius: proto.Float64(3), LotId: "b1"}}})
	must(d.t, err)
	_, err = d.PackContainers(ctx, &pb.PackContainersRequest{Parent: site, Batch: site + "/batches/p", Item: site + "/items/pouch", Sources: []*pb.PackContainersRequest_Source{{Lot: site + "/lots/b1"}}, ContainerCount: 2, LotId: "p1"})
	must(d.t, err)
	_, err = d.CreateShipment(ctx, &pb.CreateShipmentRequest{Parent: site, ShipmentId: "s1", Outlet: site + "/outlets/o", Lines: []*pb.CreateShipmentRequest_Line{{Item: site + "/items/pouch", ContainerCount: 1}}})
	must(d.t, err)
}

func must(t *testing.T, err error) {
	t.Helper()
	if err != nil {
		t.Fatal(err)
	}
}

func consume(kg float64, lot string) *pb.ConsumeStockRequest {
	return &pb.ConsumeStockRequest{Parent: site, Batch: site + "/batches/one", Inputs: []*pb.ConsumeStockRequest_Input{{Item: site + "/items/bones", MassKg: kg, Lot: lot}}}
}

// TestErrorsAsClientsSeeThem goes through the real interceptors: code, reason, words for people, fields.
func TestErrorsAsClientsSeeThem(t *testing.T) {
	t.Parallel()
	d := open(t)
	ctx := t.Context()
	must(t, d.stock.NoteHold(ctx, inventory.Hold{Name: site + "/holds/h", Subject: site + "/lots/b1", PlaceTime: noon}))
	for name, c := range map[string]struct {
		call   func() error
		code   codes.Code
		reason string
		words  string
		field  string
	}{
		"missing lot": {func() error { _, err := d.GetLot(ctx, &pb.GetLotRequest{Name: site + "/lots/x"}); return err }, codes.NotFound, "LOT_MISSING", "sites/quay/lots/x does not exist", ""},
		"taken name": {func() error {
			_, err := d.CreateSupplier(ctx, &pb.CreateSupplierRequest{Parent: site, SupplierId: "marrow", Supplier: &pb.Supplier{DisplayName: "Other"}})
			return err
		}, codes.AlreadyExists, "SUPPLIER_EXISTS", "suppliers/marrow", ""},
		"shape rule":    {func() error { _, err := d.ConsumeStock(ctx, consume(-1, "")); return err }, codes.InvalidArgument, "REQUEST_INVALID", "", "inputs[0].mass_kg"},
		"name of a lot": {func() error { _, err := d.GetLot(ctx, &pb.GetLotRequest{Name: "b1"}); return err }, codes.InvalidArgument, "REQUEST_INVALID", "", "name"},
		"held lot":      {func() error { _, err := d.ConsumeStock(ctx, consume(1, site+"/lots/b1")); return err }, codes.FailedPrecondition, "LOT_HELD", "sites/quay/holds/h", site + "/lots/b1"},
		"too little":    {func() error { _, err := d.ConsumeStock(ctx, consume(1, "")); return err }, codes.FailedPrecondition, "STOCK_SHORT", "on hold", site + "/lots/b1"},
		"another kitchen": {func() error {
			r := consume(1, "")
			r.Batch = "sites/other/batches/one"
			_, err := d.ConsumeStock(ctx, r)
			return err
		}, codes.InvalidArgument, "WRONG_SITE", "sites/other/batches/one", ""},
		"future": {func() error {
			r := consume(1, "")
			r.MoveTime = timestamppb.New(noon.Add(time.Hour))
			_, err := d.ConsumeStock(ctx, r)
			return err
		}, codes.InvalidArgument, "TIME_IN_FUTURE", "has not come yet", "move_time"},
		"stale etag": {func() error {
			_, err := d.UpdateSupplier(ctx, &pb.UpdateSupplierRequest{Supplier: &pb.Supplier{Name: site + "/suppliers/marrow", DisplayName: "New", Etag: "old"}})
			return err
		}, codes.Aborted, "ETAG_MISMATCH", "read it again", ""},
		"unknown field of a mask": {func() error {
			_, err := d.UpdateSupplier(ctx, &pb.UpdateSupplierRequest{Supplier: &pb.Supplier{Name: site + "/suppliers/marrow", DisplayName: "New"}, UpdateMask: &fieldmaskpb.FieldMask{Paths: []string{"color"}}})
			return err
		}, codes.InvalidArgument, "UPDATE_MASK_INVALID", "color", ""},
		"unknown field of a filter": {func() error {
			_, err := d.ListLots(ctx, &pb.ListLotsRequest{Parent: site, Filter: "color = red"})
			return err
		}, codes.InvalidArgument, "FILTER_INVALID", "color", ""},
		"negative page": {func() error { _, err := d.ListLots(ctx, &pb.ListLotsRequest{Parent: site, PageSize: -1}); return err }, codes.InvalidArgument, "PAGE_SIZE_INVALID", "", ""},
		"token of nothing": {func() error {
			_, err := d.ListLots(ctx, &pb.ListLotsRequest{Parent: site, PageToken: "abc"})
			return err
		}, codes.InvalidArgument, "PAGE_TOKEN_INVALID", "", ""},
		"received twice": {func() error {
			_, err := d.ReceiveDelivery(ctx, &pb.ReceiveDeliveryRequest{Name: site + "/deliveries/d1", Lines: []*pb.ReceiveDeliveryRequest_Line{{LineId: "1", ReceivedMassKg: 1}}})
			return err
		}, codes.FailedPrecondition, "DELIVERY_NOT_EXPECTED", "received already", ""},
		"item of the wrong kind": {func() error {
			_, err := d.RecordProduction(ctx, &pb.RecordProductionRequest{Parent: site, Batch: site + "/batches/one", Outputs: []*pb.RecordProductionRequest_Output{{Item: site + "/items/pouch", MassKg: 1}}})
			return err
		}, codes.FailedPrecondition, "ITEM_KIND_WRONG", "packing containers", ""},
		"out of nothing": {func() error {
			_, err := d.RecordProduction(ctx, &pb.RecordProductionRequest{Parent: site, Batch: site + "/batches/one", Outputs: []*pb.RecordProductionRequest_Output{{Item: site + "/items/bones", MassKg: 1}}})
			return err
		}, codes.FailedPrecondition, "BATCH_OUTPUT_TOO_LARGE", "record what went in first", ""},
		"unknown batch": {func() error {
			_, err := d.GetMassBalance(ctx, &pb.GetMassBalanceRequest{Name: site + "/batches/none"})
			return err
		}, codes.FailedPrecondition, "BATCH_UNKNOWN", "batches/none", ""},
		"unreadable code": {func() error {
			_, err := d.ScanContainer(ctx, &pb.ScanContainerRequest{Parent: site, Code: "(01)123"})
			return err
		}, codes.InvalidArgument, "CODE_UNREADABLE", "scan again", "code"},
		"unknown code": {func() error {
			_, err := d.ScanContainer(ctx, &pb.ScanContainerRequest{Parent: site, Code: "(01)09520123456788(21)77"})
			return err
		}, codes.NotFound, "CODE_UNKNOWN", "packed here", ""},
		"held goods inside": {func() error {
			_, err := d.DispatchShipment(ctx, &pb.DispatchShipmentRequest{Name: site + "/shipments/s1"})
			return err
		}, codes.FailedPrecondition, "LOT_NOT_SHIPPABLE", "b1", site + "/lots/p1"},
		"nothing sent that could arrive": {func() error {
			_, err := d.ReceiveShipment(ctx, &pb.ReceiveShipmentRequest{Name: site + "/shipments/s1"})
			return err
		}, codes.FailedPrecondition, "SHIPMENT_NOT_DISPATCHED", "DRAFT", ""},
		"a parent of another kitchen in a batch": {func() error {
			_, err := d.BatchCreateSuppliers(ctx, &pb.BatchCreateSuppliersRequest{Parent: site, Requests: []*pb.CreateSupplierRequest{{Parent: "sites/other", Supplier: &pb.Supplier{DisplayName: "X"}}}})
			return err
		}, codes.InvalidArgument, "WRONG_SITE", "sites/other", "requests[0].parent"},
	} {
		t.Run(name, func(t *testing.T) {
			err := c.call()
			var e *apierr.Error
			if status.Code(err) != c.code || !errors.As(err, &e) || e.Reason != c.reason || !strings.Contains(e.Message, c.words) {
				t.Fatalf("got %v (%v), want %v %s %q", err, status.Code(err), c.code, c.reason, c.words)
			}
			if c.field != "" && !slices.ContainsFunc(e.Violations, func(v apierr.Violation) bool { return v.Field == c.field }) {
				t.Errorf("violations %v do not name %s", e.Violations, c.field)
			}
		})
	}
}

func TestFoodSafetyIsDown(t *testing.T) {
	t.Parallel()
	d := open(t)
	_, err := d.DispatchShipment(t.Context(), &pb.DispatchShipmentRequest{Name: site + "/shipments/s1"})
	if status.Code(err) != codes.Unavailable || apierr.ReasonOf(err) != inventory.FoodSafetyUnavailable {
		t.Fatalf("got %v", err)
	}
	sh, err := d.GetShipment(t.Context(), &pb.GetShipmentRequest{Name: site + "/shipments/s1"})
	must(t, err)
	if sh.GetState() != pb.Shipment_DRAFT {
		t.Errorf("shipment is %v", sh.GetState())
	}
}

// TestReasonsOfTheAPI compares the enum of the API with the constants of the domain.
func TestReasonsOfTheAPI(t *testing.T) {
	t.Parallel()
	file, err := parser.ParseFile(token.NewFileSet(), filepath.Join("..", "errors.go"), nil, 0)
	must(t, err)
	var domain []string
	ast.Inspect(file, func(n ast.Node) bool {
		if spec, ok := n.(*ast.ValueSpec); ok {
			for _, v := range spec.Values {
				if lit, ok := v.(*ast.BasicLit); ok {
					text, err := strconv.Unquote(lit.Value)
					must(t, err)
					domain = append(domain, text)
				}
			}
		}
		return true
	})
	domain = append(domain, "ERROR_REASON_UNSPECIFIED", "PAGE_SIZE_INVALID") // the latter is said by the paging of package aip
	if got, want := slices.Sorted(maps.Keys(pb.ErrorReason_value)), slices.Sorted(slices.Values(domain)); !slices.Equal(got, want) {
		t.Errorf("the API lists\n%v\nthe domain knows\n%v", got, want)
	}
}

func TestUpdatesAndPages(t *testing.T) {
	t.Parallel()
	d := open(t)
	ctx := t.Context()
	before, err := d.GetItem(ctx, &pb.GetItemRequest{Name: site + "/items/bones"})
	must(t, err)
	after, err := d.UpdateItem(ctx, &pb.UpdateItemRequest{
		Item:       &pb.Item{Name: before.GetName(), DisplayName: "Veal bones, sawn", Kind: pb.Item_PURCHASED, DensityKgPerLiter: 1.2, Etag: before.GetEtag()},
		UpdateMask: &fieldmaskpb.FieldMask{Paths: []string{"display_name"}},
	})
	must(t, err)
	if after.GetDisplayName() != "Veal bones, sawn" || after.GetDensityKgPerLiter() != 0 || after.GetMaxReceiptTemperatureCelsius() != 5 || after.GetEtag() == before.GetEtag() || after.GetUid() != before.GetUid() {
		t.Errorf("after the update: %v", after)
	}
	for i := range 5 {
		_, err := d.CreateSupplier(ctx, &pb.CreateSupplierRequest{Parent: site, SupplierId: "s" + strconv.Itoa(i), Supplier: &pb.Supplier{DisplayName: "S", Active: true}})
		must(t, err)
	}
	var names []string
	req := &pb.ListSuppliersRequest{Parent: site, PageSize: 2, Filter: `name != "sites/quay/suppliers/s3"`}
	for {
		page, err := d.ListSuppliers(ctx, req)
		must(t, err)
		for _, s := range page.GetSuppliers() {
			names = append(names, strings.TrimPrefix(s.GetName(), site+"/suppliers/"))
		}
		if req.PageToken = page.GetNextPageToken(); req.PageToken == "" {
			break
		}
	}
	if want := []string{"marrow", "s0", "s1", "s2", "s4"}; !slices.Equal(names, want) {
		t.Errorf("pages gave %v, want %v", names, want)
	}
	// A site-bound caller does not see another kitchen, and an outlet must name itself.
	bound := d.as(auth.Principal{Subject: "zoe", Role: auth.Cook, Site: "sites/other"})
	if _, err := bound.GetLot(ctx, &pb.GetLotRequest{Name: site + "/lots/b1"}); status.Code(err) != codes.PermissionDenied {
		t.Errorf("a cook of another kitchen: %v", err)
	}
	outlet := d.as(auth.Principal{Subject: "ola", Role: auth.Outlet, Site: site, Outlet: site + "/outlets/o"})
	if _, err := outlet.ListContainers(ctx, &pb.ListContainersRequest{Parent: site}); status.Code(err) != codes.PermissionDenied {
		t.Errorf("an outlet that does not name itself: %v", err)
	}
	if list, err := outlet.ListContainers(ctx, &pb.ListContainersRequest{Parent: site, Outlet: site + "/outlets/o"}); err != nil || len(list.GetContainers()) != 0 {
		t.Errorf("an outlet sees containers that were not shipped to it: %v, %v", list, err)
	}
}

func TestARequestIDIsUsedOnce(t *testing.T) {
	t.Parallel()
	d := open(t)
	req := consume(2, "")
	req.RequestId = "r-1"
	first, err := d.ConsumeStock(t.Context(), req)
	must(t, err)
	second, err := d.ConsumeStock(t.Context(), req)
	must(t, err)
	if !proto.Equal(first, second) {
		t.Error("the second answer differs")
	}
	lot, err := d.GetLot(t.Context(), &pb.GetLotRequest{Name: site + "/lots/b1"})
	must(t, err)
	if lot.GetOnHandMassKg() != 6 { // 10 kg, 2 kg of them packed, 2 kg consumed once
		t.Errorf("%v kg are left", lot.GetOnHandMassKg())
	}
	req.Inputs[0].MassKg = 3
	if _, err := d.ConsumeStock(t.Context(), req); apierr.ReasonOf(err) != rpc.RequestIDReused {
		t.Errorf("another request under the same id: %v", err)
	}
}
