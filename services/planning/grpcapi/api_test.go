package grpcapi_test

import (
	"context"
	"errors"
	"log/slog"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"time"

	"google.golang.org/grpc"
	"google.golang.org/protobuf/types/known/durationpb"
	"google.golang.org/protobuf/types/known/fieldmaskpb"

	"rondeau.internal/pkg/apierr"
	"rondeau.internal/pkg/auth"
	"rondeau.internal/pkg/clock"
	pb "rondeau.internal/pkg/gen/rondeau/planning/v1"
	"rondeau.internal/pkg/outbox"
	"rondeau.internal/pkg/rpc"
	"rondeau.internal/pkg/sqldb"
	"rondeau.internal/pkg/sqldb/sqldbtest"
	"rondeau.internal/services/planning"
	"rondeau.internal/services/planning/events"
	"rondeau.internal/services/planning/grpcapi"
	"rondeau.internal/services/planning/sqlite"
)

// monday is 2026-03-02, 08:00 in Paris.
var monday = time.Date(2026, 3, 2, 7, 0, 0, 0, time.UTC)

// pantry answers for inventory and scheduling: bones are bought, stock is made of them, packs are filled.
type pantry struct{ down bool }

func (p *pantry) Items(context.Context, string) ([]planning.Item, error) {
	if p.down {
		return nil, errors.New("no answer")
	}
	return []planning.Item{
		{Name: "sites/quai/items/bones", DisplayName: "Bones", Kind: planning.ItemPurchased, LeadDays: 1, CaseMassKg: 10},
		{Name: "sites/quai/items/stock", DisplayName: "Stock", Kind: planning.ItemMade},
		{Name: "sites/quai/items/pack", DisplayName: "Stock 2 kg", Kind: planning.ItemPack, NetMassKg: 2},
	}, nil
}

func (p *pantry) Stock(context.Context, string, ...string) ([]planning.Stock, error) {
	if p.down {
		return nil, errors.New("no answer")
	}
	return []planning.Stock{{Item: "sites/quai/items/pack", Lots: []planning.StockLot{{Lot: "sites/quai/lots/l", Containers: 4, MassKg: 8}}}}, nil
}

func (p *pantry) StockAndPurchases(ctx context.Context, site string, _ []string) (stock []planning.Stock, unknown []string, err error) {
	stock, err = p.Stock(ctx, site)
	return stock, nil, err
}

func (p *pantry) Vessels(context.Context, string) ([]planning.Vessel, error) {
	return []planning.Vessel{{Name: "sites/quai/vessels/k", DisplayName: "Kettle", Class: "kettle", MaxFillLiters: 100}}, nil
}

// StepTimes knows nothing of the kettle's heat.
func (p *pantry) StepTimes(context.Context, string, []planning.StepQuestion) (map[string]planning.StepTime, error) {
	return nil, nil
}

// Finishes is sure of nothing.
func (p *pantry) Finishes(_ context.Context, _ string, questions []planning.FinishQuestion) ([]planning.Finish, error) {
	out := make([]planning.Finish, len(questions))
	for i := range out {
		out[i] = planning.Finish{Known: true, Probability: 0.75}
	}
	return out, nil
}

type api struct {
	t      *testing.T
	clock  *clock.Fake
	pantry *pantry
	db     *sqldb.DB
	keys   *auth.Keys
	pipe   *rpc.Pipe
}

func newAPI(t *testing.T) *api {
	t.Helper()
	a := &api{t: t, clock: clock.NewFake(monday), pantry: &pantry{}, db: sqldbtest.SQLite(t), pipe: rpc.NewPipe()}
	store, err := sqlite.New(t.Context(), a.db)
	check(t, err)
	check(t, outbox.Migrate(t.Context(), a.db))
	service, err := planning.New(planning.Deps{Store: store, Events: events.NewPublisher(a.db), Inventory: a.pantry, Scheduling: a.pantry, Clock: a.clock})
	check(t, err)
	a.keys, err = auth.LoadOrCreateKeys(filepath.Join(t.TempDir(), "tokens.key"))
	check(t, err)
	server, err := rpc.NewServer(rpc.ServerConfig{
		Logger: slog.New(slog.DiscardHandler), Verifier: a.keys.Verifier(), Clock: a.clock,
		Stores: map[string]*sqldb.DB{pb.PlanningService_ServiceDesc.ServiceName: a.db},
	}, func(r grpc.ServiceRegistrar) { pb.RegisterPlanningServiceServer(r, grpcapi.New(service)) })
	check(t, err)
	done := make(chan error, 1)
	go func() { done <- server.Serve(a.pipe) }()
	t.Cleanup(func() {
		ctx, cancel := context.WithTimeout(context.WithoutCancel(t.Context()), 5*time.Second)
		defer cancel()
		if err := server.Stop(ctx); err != nil {
			t.Errorf("stop: %v", err)
		}
		<-done
	})
	return a
}

func check(t *testing.T, err error) {
	t.Helper()
	if err != nil {
		t.Fatal(err)
	}
}

// as returns a client that signs in as p.
func (a *api) as(p auth.Principal) pb.PlanningServiceClient {
	a.t.Helper()
	token, err := a.keys.Sign(p, time.Hour)
	check(a.t, err)
	conn, err := rpc.Dial("", rpc.DialConfig{Pipe: a.pipe, Token: func() string { return token }})
	check(a.t, err)
	a.t.Cleanup(func() { _ = conn.Close() })
	return pb.NewPlanningServiceClient(conn)
}

func (a *api) manager() pb.PlanningServiceClient {
	return a.as(auth.Principal{Subject: "mira", Role: auth.Manager})
}

func step() *pb.Step {
	return &pb.Step{
		StepId: "simmer", DisplayName: "Simmer", Kind: pb.Step_SIMMER, VesselClasses: []string{"kettle"}, FillLitersPerKgOutput: 2,
		DurationModel: &pb.Step_Simmer{Simmer: &pb.SimmerModel{HoldDuration: durationpb.New(6 * time.Hour)}},
	}
}

// furnish makes a kitchen with an approved formula, a product and two outlets.
func (a *api) furnish(c pb.PlanningServiceClient) {
	a.t.Helper()
	ctx := a.t.Context()
	_, err := c.CreateSite(ctx, &pb.CreateSiteRequest{SiteId: "quai", Site: &pb.Site{DisplayName: "Quai", TimeZone: "Europe/Paris"}})
	check(a.t, err)
	_, err = c.CreateFormula(ctx, &pb.CreateFormulaRequest{
		Parent: "sites/quai", FormulaId: "stock", Formula: &pb.Formula{DisplayName: "Stock", OutputItem: "sites/quai/items/stock"},
		Version: &pb.FormulaVersion{BaseOutputKg: 10, Ingredients: []*pb.Ingredient{{Item: "sites/quai/items/bones", MassKg: 8}}, Steps: []*pb.Step{step()}},
	})
	check(a.t, err)
	_, err = c.ApproveFormulaVersion(ctx, &pb.ApproveFormulaVersionRequest{Name: "sites/quai/formulas/stock/versions/1"})
	check(a.t, err)
	_, err = c.CreateProduct(ctx, &pb.CreateProductRequest{Parent: "sites/quai", ProductId: "stock-2kg", Product: &pb.Product{
		DisplayName: "Stock 2 kg", Item: "sites/quai/items/pack", SourceItem: "sites/quai/items/stock", NetMassKg: 2,
		Steps: []*pb.Step{{StepId: "portion", DisplayName: "Portion", Kind: pb.Step_PORTION, DurationModel: &pb.Step_RateKgPerHour{RateKgPerHour: 50}}},
	}})
	check(a.t, err)
	for _, id := range []string{"pier", "hill"} {
		_, err = c.CreateOutlet(ctx, &pb.CreateOutletRequest{Parent: "sites/quai", OutletId: id, Outlet: &pb.Outlet{DisplayName: id, DispatchTimeOfDay: "14:00"}})
		check(a.t, err)
	}
}

func orderRequest(outlet, day string, count int32) *pb.CreateOrderRequest {
	return &pb.CreateOrderRequest{Parent: "sites/quai/outlets/" + outlet, Order: &pb.Order{
		DispatchDate: day, Lines: []*pb.Order_Line{{Product: "sites/quai/products/stock-2kg", ContainerCount: count}},
	}}
}

func TestWhatIsSentComesBack(t *testing.T) {
	t.Parallel()
	a := newAPI(t)
	c := a.manager()
	a.furnish(c)
	ctx := t.Context()
	v, err := c.GetFormulaVersion(ctx, &pb.GetFormulaVersionRequest{Name: "sites/quai/formulas/stock/versions/1"})
	check(t, err)
	if v.GetState() != pb.FormulaVersion_APPROVED || v.GetApprover() != "mira" || v.GetSteps()[0].GetSimmer().GetHoldDuration().AsDuration() != 6*time.Hour {
		t.Errorf("got %v", v)
	}
	o, err := c.GetOutlet(ctx, &pb.GetOutletRequest{Name: "sites/quai/outlets/pier"})
	check(t, err)
	if !o.GetActive() || o.GetDispatchTimeOfDay() != "14:00" {
		t.Errorf("got %v", o)
	}
	o.DispatchWeekdays = []pb.Weekday{pb.Weekday_WEEKDAY_MONDAY, pb.Weekday_WEEKDAY_SUNDAY}
	o.Active = new(bool)
	o.DisplayName = "not in the mask"
	o, err = c.UpdateOutlet(ctx, &pb.UpdateOutletRequest{Outlet: o, UpdateMask: &fieldmaskpb.FieldMask{Paths: []string{"dispatch_weekdays", "active"}}})
	check(t, err)
	if o.GetActive() || o.GetDisplayName() != "pier" || !slices.Equal(o.GetDispatchWeekdays(), []pb.Weekday{pb.Weekday_WEEKDAY_MONDAY, pb.Weekday_WEEKDAY_SUNDAY}) {
		t.Errorf("got %v", o)
	}
	if list, err := c.ListOutlets(ctx, &pb.ListOutletsRequest{Parent: "sites/quai", Filter: "active = true"}); err != nil || len(list.GetOutlets()) != 1 {
		t.Errorf("got %v, %v", list, err)
	}
	p, err := c.UpdateProduct(ctx, &pb.UpdateProductRequest{Product: &pb.Product{Name: "sites/quai/products/stock-2kg", PeriodDays: 3}, UpdateMask: &fieldmaskpb.FieldMask{Paths: []string{"period_days"}}})
	check(t, err)
	if p.GetPeriodDays() != 3 || p.GetNetMassKg() != 2 || len(p.GetSteps()) != 1 || p.GetEtag() == "" {
		t.Errorf("got %v", p)
	}
	par, err := c.CreatePar(ctx, &pb.CreateParRequest{Parent: "sites/quai", ParId: "own", Par: &pb.Par{Product: "sites/quai/products/stock-2kg", ContainerCount: 6}})
	check(t, err)
	par, err = c.UpdatePar(ctx, &pb.UpdateParRequest{Par: &pb.Par{Name: par.GetName(), ContainerCount: 8, Etag: par.GetEtag()}})
	if err != nil || par.GetContainerCount() != 8 || par.GetProduct() == "" {
		t.Errorf("got %v, %v", par, err)
	}
}

func TestOrdersPagesAndRepeats(t *testing.T) {
	t.Parallel()
	a := newAPI(t)
	c := a.manager()
	a.furnish(c)
	ctx := t.Context()
	for _, day := range []string{"2026-03-06", "2026-03-05", "2026-03-07"} {
		r := orderRequest("pier", day, 2)
		r.RequestId = "order-for-" + day
		first, err := c.CreateOrder(ctx, r)
		check(t, err)
		again, err := c.CreateOrder(ctx, r)
		check(t, err)
		if first.GetName() != again.GetName() {
			t.Errorf("a repeated request made %s and %s", first.GetName(), again.GetName())
		}
	}
	var days []string
	r := &pb.ListOrdersRequest{Parent: "sites/quai/outlets/-", PageSize: 2, Filter: "state = PLACED"}
	for {
		list, err := c.ListOrders(ctx, r)
		check(t, err)
		for _, o := range list.GetOrders() {
			days = append(days, o.GetDispatchDate())
		}
		if r.PageToken = list.GetNextPageToken(); r.PageToken == "" {
			break
		}
	}
	if !slices.Equal(days, []string{"2026-03-05", "2026-03-06", "2026-03-07"}) {
		t.Errorf("days %v", days)
	}
	if n, _, err := outbox.Lag(ctx, a.db); err != nil || n != 3 {
		t.Errorf("%d events wait, %v", n, err)
	}
	list, err := c.ListOrders(ctx, &pb.ListOrdersRequest{Parent: "sites/quai/outlets/pier", PageSize: 1})
	check(t, err)
	o := list.GetOrders()[0]
	o.Lines[0].ContainerCount = 5
	o, err = c.UpdateOrder(ctx, &pb.UpdateOrderRequest{Order: o, UpdateMask: &fieldmaskpb.FieldMask{Paths: []string{"lines"}}})
	if err != nil || o.GetLines()[0].GetContainerCount() != 5 || len(o.GetLines()) != 1 {
		t.Errorf("got %v, %v", o, err)
	}
	o, err = c.UpdateOrder(ctx, &pb.UpdateOrderRequest{Order: &pb.Order{Name: o.GetName(), Note: "call first"}})
	if err != nil || o.GetNote() != "call first" || o.GetLines()[0].GetContainerCount() != 5 {
		t.Errorf("got %v, %v", o, err)
	}
	a.clock.Set(o.GetCutOffTime().AsTime())
	if o, err = c.GetOrder(ctx, &pb.GetOrderRequest{Name: o.GetName()}); err != nil || o.GetState() != pb.Order_CONFIRMED {
		t.Errorf("after the cut-off: %v, %v", o.GetState(), err)
	}
}

func TestPlanThroughTheAPI(t *testing.T) {
	t.Parallel()
	a := newAPI(t)
	c := a.manager()
	a.furnish(c)
	ctx := t.Context()
	_, err := c.CreateOrder(ctx, orderRequest("pier", "2026-03-06", 10))
	check(t, err)
	request := &pb.CreatePlanRequest{Parent: "sites/quai", PlanId: "w10", Plan: &pb.Plan{StartDate: "2026-03-02", EndDate: "2026-03-09"}, ValidateOnly: true}
	dry, err := c.CreatePlan(ctx, request)
	check(t, err)
	request.ValidateOnly = false
	plan, err := c.CreatePlan(ctx, request)
	check(t, err)
	if len(plan.GetBatches()) != 2 || len(dry.GetBatches()) != 2 || len(plan.GetPurchases()) != 1 || plan.GetPurchases()[0].GetMassKg() != 10 {
		t.Fatalf("got %v", plan)
	}
	// 10 packs less 4 in stock at 2 kg.
	if s := plan.GetSummary(); s.GetOrderedContainerCount() != 10 || s.GetCoveredContainerCount() != 10 {
		t.Errorf("summary %v", s)
	}
	released, err := c.ReleasePlan(ctx, &pb.ReleasePlanRequest{Name: plan.GetName(), Etag: plan.GetEtag()})
	check(t, err)
	if released.GetState() != pb.Plan_RELEASED || released.GetReleaser() != "mira" {
		t.Errorf("got %v", released.GetState())
	}
	list, err := c.ListBatches(ctx, &pb.ListBatchesRequest{Parent: "sites/quai", Filter: `state = RELEASED AND plan = "sites/quai/plans/w10"`})
	if err != nil || len(list.GetBatches()) != 2 {
		t.Fatalf("got %v, %v", list, err)
	}
	cook, pack := list.GetBatches()[0], list.GetBatches()[1]
	if pack.GetProduct() == "" || pack.GetContainerCount() != 6 || cook.GetInputs()[0].GetSources()[0].GetPurchase() != plan.GetPurchases()[0].GetName() {
		t.Errorf("got %v and %v", cook, pack)
	}
	if in := pack.GetInputs()[0]; in.GetMassKg() != 12 || in.GetSources()[0].GetBatch() != cook.GetName() {
		t.Errorf("input %v", in)
	}
	if s := cook.GetSteps()[0]; s.GetFillLiters() != 2*cook.GetNominalOutputKg() || s.GetStep().GetSimmer() == nil {
		t.Errorf("step %v", s)
	}
	plans, err := c.ListPlans(ctx, &pb.ListPlansRequest{Parent: "sites/quai"})
	if err != nil || len(plans.GetPlans()) != 1 || len(plans.GetPlans()[0].GetBatches()) != 0 {
		t.Errorf("got %v, %v", plans, err)
	}
	check0, err := c.CheckAvailability(ctx, &pb.CheckAvailabilityRequest{Outlet: "sites/quai/outlets/hill", Product: "sites/quai/products/stock-2kg", DispatchDate: "2026-03-06"})
	if err != nil || check0.GetPromisedContainerCount() != 0 || check0.GetStockContainerCount() != 4 || check0.GetPlannedContainerCount() != 6 || check0.GetCommittedContainerCount() != 10 ||
		check0.OnTimeProbability != nil || check0.GetProbabilityBasis() == "" {
		t.Errorf("got %v, %v", check0, err)
	}
}

func TestOutletsSeeAndChangeOnlyTheirOwn(t *testing.T) {
	t.Parallel()
	a := newAPI(t)
	a.furnish(a.manager())
	ctx := t.Context()
	pier := a.as(auth.Principal{Subject: "pia", Role: auth.Outlet, Outlet: "sites/quai/outlets/pier"})
	o, err := pier.CreateOrder(ctx, orderRequest("pier", "2026-03-06", 1))
	check(t, err)
	hill := a.as(auth.Principal{Subject: "hugo", Role: auth.Outlet, Outlet: "sites/quai/outlets/hill"})
	for name, call := range map[string]func() error{
		"order for another": func() error { _, err := hill.CreateOrder(ctx, orderRequest("pier", "2026-03-06", 1)); return err },
		"read another's":    func() error { _, err := hill.GetOrder(ctx, &pb.GetOrderRequest{Name: o.GetName()}); return err },
		"cancel another's":  func() error { _, err := hill.CancelOrder(ctx, &pb.CancelOrderRequest{Name: o.GetName()}); return err },
		"list all": func() error {
			_, err := hill.ListOrders(ctx, &pb.ListOrdersRequest{Parent: "sites/quai/outlets/-"})
			return err
		},
		"change another's": func() error {
			_, err := hill.UpdateOrder(ctx, &pb.UpdateOrderRequest{Order: &pb.Order{Name: o.GetName(), Note: "x"}})
			return err
		},
		"plan": func() error {
			_, err := hill.CreatePlan(ctx, &pb.CreatePlanRequest{Parent: "sites/quai", Plan: &pb.Plan{StartDate: "2026-03-02", EndDate: "2026-03-09"}})
			return err
		},
	} {
		if err := call(); apierr.KindOf(err) != apierr.KindPermissionDenied {
			t.Errorf("%s: %v", name, err)
		}
	}
	if _, err := pier.CancelOrder(ctx, &pb.CancelOrderRequest{Name: o.GetName()}); err != nil {
		t.Errorf("cancel one's own: %v", err)
	}
	if list, err := pier.ListProducts(ctx, &pb.ListProductsRequest{Parent: "sites/quai"}); err != nil || len(list.GetProducts()) != 1 {
		t.Errorf("read the catalogue: %v, %v", list, err)
	}
}

// Each main error as a client sees it: kind, reason, words of the message.
func TestRefusalsTellWhatToDo(t *testing.T) {
	t.Parallel()
	a := newAPI(t)
	c := a.manager()
	a.furnish(c)
	ctx := t.Context()
	o, err := c.CreateOrder(ctx, orderRequest("pier", "2026-03-06", 1))
	check(t, err)
	span := &pb.Plan{StartDate: "2026-03-02", EndDate: "2026-03-09"}
	for _, e := range []struct {
		name, reason, text string
		kind               apierr.Kind
		call               func() error
	}{
		{"a missing order", planning.OrderMissing, "does not exist", apierr.KindNotFound, func() error {
			_, err := c.GetOrder(ctx, &pb.GetOrderRequest{Name: "sites/quai/outlets/pier/orders/none"})
			return err
		}},
		{"a late order", planning.OrderAfterCutOff, "next dispatch day open is Tuesday 2026-03-03, until 2026-03-02 14:00 CET", apierr.KindFailedPrecondition, func() error {
			_, err := c.CreateOrder(ctx, orderRequest("pier", "2026-03-02", 1))
			return err
		}},
		{"a stale etag", planning.EtagMismatch, "read it again", apierr.KindAborted, func() error {
			_, err := c.CancelOrder(ctx, &pb.CancelOrderRequest{Name: o.GetName(), Etag: "old"})
			return err
		}},
		{"a taken name", planning.NameTaken, "exists already", apierr.KindAlreadyExists, func() error {
			_, err := c.CreateSite(ctx, &pb.CreateSiteRequest{SiteId: "quai", Site: &pb.Site{DisplayName: "Quai", TimeZone: "Europe/Paris"}})
			return err
		}},
		{"an unknown zone", planning.FieldInvalid, "IANA name", apierr.KindInvalidArgument, func() error {
			_, err := c.UpdateSite(ctx, &pb.UpdateSiteRequest{Site: &pb.Site{Name: "sites/quai", TimeZone: "Paris"}})
			return err
		}},
		{"an approved version", planning.FormulaVersionFixed, "revise the formula", apierr.KindFailedPrecondition, func() error {
			_, err := c.UpdateFormulaVersion(ctx, &pb.UpdateFormulaVersionRequest{FormulaVersion: &pb.FormulaVersion{Name: "sites/quai/formulas/stock/versions/1", BaseOutputKg: 11, Ingredients: []*pb.Ingredient{{Item: "sites/quai/items/bones", MassKg: 8}}, Steps: []*pb.Step{step()}}})
			return err
		}},
		{"a plan of the past", planning.PlanStartsInPast, "begin today or later", apierr.KindFailedPrecondition, func() error {
			_, err := c.CreatePlan(ctx, &pb.CreatePlanRequest{Parent: "sites/quai", Plan: &pb.Plan{StartDate: "2026-02-02", EndDate: "2026-03-09"}})
			return err
		}},
		{"inventory is down", planning.InventoryUnavailable, "try again", apierr.KindUnavailable, func() error {
			a.pantry.down = true
			defer func() { a.pantry.down = false }()
			ctx, cancel := context.WithTimeout(ctx, 3*time.Second)
			defer cancel()
			_, err := c.CheckAvailability(ctx, &pb.CheckAvailabilityRequest{Outlet: "sites/quai/outlets/hill", Product: "sites/quai/products/stock-2kg"})
			return err
		}},
		{"a bad filter", "FILTER_INVALID", "fields are", apierr.KindInvalidArgument, func() error {
			_, err := c.ListBatches(ctx, &pb.ListBatchesRequest{Parent: "sites/quai", Filter: "colour = brown"})
			return err
		}},
		{"no lines", planning.FieldInvalid, "order at least one product", apierr.KindInvalidArgument, func() error {
			_, err := c.CreateOrder(ctx, &pb.CreateOrderRequest{Parent: "sites/quai/outlets/pier", Order: &pb.Order{DispatchDate: "2026-03-06"}})
			return err
		}},
		{"not a number", rpc.RequestInvalid, "container_count", apierr.KindInvalidArgument, func() error {
			_, err := c.CreateOrder(ctx, orderRequest("pier", "2026-03-06", -1))
			return err
		}},
		{"a released plan", planning.PlanNotDraft, "only drafts can be deleted", apierr.KindFailedPrecondition, func() error {
			p, err := c.CreatePlan(ctx, &pb.CreatePlanRequest{Parent: "sites/quai", Plan: span})
			check(t, err)
			_, err = c.ReleasePlan(ctx, &pb.ReleasePlanRequest{Name: p.GetName()})
			check(t, err)
			_, err = c.DeletePlan(ctx, &pb.DeletePlanRequest{Name: p.GetName()})
			return err
		}},
	} {
		err := e.call()
		var got *apierr.Error
		if !errors.As(err, &got) || got.Kind != e.kind || got.Reason != e.reason || !strings.Contains(got.Message, e.text) {
			t.Errorf("%s: %v", e.name, err)
		}
	}
}

func TestReasonsOfTheDomainAndTheAPIAreTheSame(t *testing.T) {
	t.Parallel()
	reasons := planning.Reasons()
	for number, name := range pb.ErrorReason_name {
		if number != 0 && !slices.Contains(reasons, name) {
			t.Errorf("%s is in the API only", name)
		}
	}
	for _, r := range reasons {
		if _, ok := pb.ErrorReason_value[r]; !ok {
			t.Errorf("%s is in the domain only", r)
		}
	}
}
