package planning_test

import (
	"context"
	"errors"
	"path"
	"slices"
	"testing"
	"time"

	"rondeau.internal/pkg/clock"
	"rondeau.internal/pkg/sqldb/sqldbtest"
	"rondeau.internal/services/planning"
	"rondeau.internal/services/planning/sqlite"
)

const site = "sites/quai"

func item(id string) string    { return site + "/items/" + id }
func product(id string) string { return site + "/products/" + id }
func outlet(id string) string  { return site + "/outlets/" + id }

func hours(h float64) *time.Duration {
	d := time.Duration(h * float64(time.Hour))
	return &d
}

// stockroom is an inventory with state.
type stockroom struct {
	items []planning.Item
	stock map[string]planning.Stock
	heard map[string]bool // purchases that deliveries were made of
	down  bool
}

func (s *stockroom) StockAndPurchases(ctx context.Context, site string, purchases []string) (stock []planning.Stock, unknown []string, err error) {
	stock, err = s.Stock(ctx, site)
	for _, p := range purchases {
		if !s.heard[p] {
			unknown = append(unknown, p)
		}
	}
	return stock, unknown, err
}

func (s *stockroom) Items(_ context.Context, _ string) ([]planning.Item, error) {
	if s.down {
		return nil, errors.New("connection refused")
	}
	return slices.Clone(s.items), nil
}

func (s *stockroom) Stock(_ context.Context, _ string, items ...string) ([]planning.Stock, error) {
	if s.down {
		return nil, errors.New("connection refused")
	}
	var out []planning.Stock
	for _, i := range s.items {
		st, ok := s.stock[i.Name]
		if ok && (len(items) == 0 || slices.Contains(items, i.Name)) {
			st.Item, st.Lots = i.Name, slices.Clone(st.Lots)
			out = append(out, st)
		}
	}
	return out, nil
}

// line is the vessels of a kitchen.
type line struct {
	vessels []planning.Vessel
	down    bool
	// times by key of the question; asked keeps the questions.
	times   map[string]planning.StepTime
	untimed bool
	// sure are the probabilities of batches; finishAsked keeps the last questions.
	sure        map[string]float64
	untold      bool
	finishAsked []planning.FinishQuestion
	asked       [][]planning.StepQuestion
}

func (l *line) StepTimes(_ context.Context, _ string, questions []planning.StepQuestion) (map[string]planning.StepTime, error) {
	l.asked = append(l.asked, questions)
	if l.untimed {
		return nil, errors.New("connection refused")
	}
	return l.times, nil
}

func (l *line) Vessels(context.Context, string) ([]planning.Vessel, error) {
	if l.down {
		return nil, errors.New("connection refused")
	}
	return slices.Clone(l.vessels), nil
}

// ledger keeps events that were published.
type ledger struct {
	kinds     []string
	released  []*planning.Batch
	kept      []string
	purchases []planning.Purchase
	cancelled []string
}

func (l *ledger) OrderPlaced(context.Context, *planning.Order) error {
	l.kinds = append(l.kinds, "order.placed")
	return nil
}

func (l *ledger) OrderChanged(context.Context, *planning.Order) error {
	l.kinds = append(l.kinds, "order.changed")
	return nil
}

func (l *ledger) OrderCancelled(context.Context, *planning.Order) error {
	l.kinds = append(l.kinds, "order.cancelled")
	return nil
}

func (l *ledger) PlanReleased(_ context.Context, _ *planning.Plan, batches []*planning.Batch, _ string, kept []string) error {
	l.kinds, l.released, l.kept = append(l.kinds, "plan.released"), batches, kept
	return nil
}

func (l *ledger) PurchaseProposed(_ context.Context, _ *planning.Plan, p *planning.Purchase) error {
	l.kinds, l.purchases = append(l.kinds, "purchase.proposed"), append(l.purchases, *p)
	return nil
}

func (l *ledger) BatchCancelled(_ context.Context, b *planning.Batch) error {
	l.kinds, l.cancelled = append(l.kinds, "batch.cancelled"), append(l.cancelled, b.Name)
	return nil
}

// kitchen is a service on SQLite with fakes around it: bones -> stock -> demi-glace -> packs.
type kitchen struct {
	*planning.Service
	t      testing.TB
	clock  *clock.Fake
	stock  *stockroom
	line   *line
	ledger *ledger
}

// monday is 2026-03-02, 08:00 in Paris.
var monday = time.Date(2026, 3, 2, 7, 0, 0, 0, time.UTC)

func emptyKitchen(t testing.TB) *kitchen {
	t.Helper()
	store, err := sqlite.New(t.Context(), sqldbtest.SQLite(t))
	if err != nil {
		t.Fatal(err)
	}
	k := &kitchen{
		t: t, clock: clock.NewFake(monday), ledger: &ledger{}, line: &line{},
		stock: &stockroom{stock: map[string]planning.Stock{}, heard: map[string]bool{}},
	}
	k.Service, err = planning.New(planning.Deps{Store: store, Events: k.ledger, Inventory: k.stock, Scheduling: k.line, Clock: k.clock})
	if err != nil {
		t.Fatal(err)
	}
	must(t)(k.CreateSite(t.Context(), path.Base(site), &planning.Site{DisplayName: "Quai kitchen", TimeZone: "Europe/Paris"}))
	return k
}

func must(t testing.TB) func(any, error) {
	t.Helper()
	return func(_ any, err error) {
		t.Helper()
		if err != nil {
			t.Fatal(err)
		}
	}
}

func weekdays(days ...time.Weekday) planning.Weekdays {
	var w planning.Weekdays
	for _, d := range days {
		w |= 1 << d
	}
	return w
}

// brownStock yields 60 kg for 40 kg bones, 90 kg water and 5 kg vegetables, on average 98 % of it.
func brownStock() *planning.FormulaVersion {
	return &planning.FormulaVersion{
		BaseOutputKg: 60, YieldMean: 0.98, YieldSD: 0.05,
		Ingredients: []planning.Ingredient{
			{Item: item("bones"), MassKg: 40, Step: "roast"},
			{Item: item("water"), MassKg: 90, Step: "simmer"},
			{Item: item("celery"), MassKg: 5, Step: "simmer"},
		},
		ByProducts: []planning.ByProduct{{Item: item("fat"), MassKg: 1.5}},
		Steps: []planning.Step{
			{ID: "roast", DisplayName: "Roast", Kind: "ROAST", VesselClasses: []string{"oven"}, FixedDuration: hours(1), LoadKgPerKg: 0.7},
			{ID: "simmer", DisplayName: "Simmer", Kind: "SIMMER", VesselClasses: []string{"kettle"}, Simmer: &planning.SimmerModel{Hold: 8 * time.Hour}, PlanningDuration: hours(10), FillLitersPerKg: 2.2, Attendance: planning.AttendStartAndEnd, AttendedStart: time.Hour, Unattended: true},
			{ID: "chill", DisplayName: "Chill", Kind: "CHILL", VesselClasses: []string{"blast-chiller"}, Chill: &planning.ChillModel{TargetCelsius: 3}, PlanningDuration: hours(4), LoadKgPerKg: 1, LimitsProfile: site + "/limitsProfiles/us-food-code-2022", Critical: true},
		},
	}
}

// demiGlace reduces 2.5 kg stock to 1 kg and mounts it with butter.
func demiGlace() *planning.FormulaVersion {
	return &planning.FormulaVersion{
		BaseOutputKg: 20, YieldMean: 1, YieldSD: 0.04,
		Ingredients: []planning.Ingredient{{Item: item("brown-stock"), MassKg: 30}, {Item: item("brown-stock"), MassKg: 20, Step: "finish"}, {Item: item("butter"), MassKg: 1, Step: "finish"}},
		Steps: []planning.Step{
			{ID: "reduce", DisplayName: "Reduce", Kind: "REDUCE", VesselClasses: []string{"rondeau", "kettle"}, Reduce: &planning.ReduceModel{MassFraction: 0.4}, PlanningDuration: hours(5), FillLitersPerKg: 2.5},
			{ID: "finish", DisplayName: "Finish", Kind: "BLEND", FixedDuration: hours(0.5)},
			{ID: "chill", DisplayName: "Chill", Kind: "CHILL", VesselClasses: []string{"blast-chiller"}, Chill: &planning.ChillModel{TargetCelsius: 3}, PlanningDuration: hours(3), LoadKgPerKg: 1},
		},
	}
}

func newKitchen(t testing.TB) *kitchen {
	t.Helper()
	k := emptyKitchen(t)
	ctx := t.Context()
	day := 24 * time.Hour
	k.stock.items = []planning.Item{
		{Name: item("bones"), DisplayName: "Veal bones", Kind: planning.ItemPurchased, ShelfLife: 4 * day, CaseMassKg: 20, LeadDays: 1, DeliveryWeekdays: weekdays(time.Tuesday, time.Thursday, time.Friday), Supplier: site + "/suppliers/bones"},
		{Name: item("celery"), DisplayName: "Celery", Kind: planning.ItemPurchased, ShelfLife: 6 * day, LeadDays: 1, Allergens: []string{"CELERY"}},
		{Name: item("butter"), DisplayName: "Butter", Kind: planning.ItemPurchased, ShelfLife: 30 * day, CaseMassKg: 5, LeadDays: 1, Allergens: []string{"MILK"}},
		{Name: item("water"), DisplayName: "Water", Kind: planning.ItemUtility},
		{Name: item("brown-stock"), DisplayName: "Brown stock", Kind: planning.ItemMade, ShelfLife: 5 * day},
		{Name: item("demi-glace"), DisplayName: "Demi-glace", Kind: planning.ItemMade, ShelfLife: 5 * day},
		{Name: item("fat"), DisplayName: "Rendered fat", Kind: planning.ItemMade, ShelfLife: 60 * day},
		{Name: item("demi-pack"), DisplayName: "Demi-glace 1 kg", Kind: planning.ItemPack, NetMassKg: 1},
	}
	k.line.vessels = []planning.Vessel{
		{Name: site + "/vessels/kettle-1", DisplayName: "Kettle 1", Class: "kettle", MinFillLiters: 40, MaxFillLiters: 150},
		{Name: site + "/vessels/rondeau-1", DisplayName: "Rondeau 1", Class: "rondeau", MinFillLiters: 10, MaxFillLiters: 60},
		{Name: site + "/vessels/oven-1", DisplayName: "Oven 1", Class: "oven", LoadCapacityKg: 50},
		{Name: site + "/vessels/chiller-1", DisplayName: "Chiller 1", Class: "blast-chiller", LoadCapacityKg: 80},
		{Name: site + "/vessels/filler-1", DisplayName: "Filler 1", Class: "portioner"},
		{Name: site + "/vessels/freezer-1", DisplayName: "Freezer 1", Class: "blast-freezer", LoadCapacityKg: 120},
	}
	must(t)(k.CreateFormula(ctx, site, "brown-stock", &planning.Formula{DisplayName: "Brown stock", OutputItem: item("brown-stock")}, brownStock()))
	must(t)(k.CreateFormula(ctx, site, "demi-glace", &planning.Formula{DisplayName: "Demi-glace", OutputItem: item("demi-glace")}, demiGlace()))
	for _, f := range []string{"brown-stock", "demi-glace"} {
		must(t)(k.ApproveFormulaVersion(ctx, site+"/formulas/"+f+"/versions/1", "", "chef"))
	}
	must(t)(k.CreateProduct(ctx, site, "demi-1kg", &planning.Product{
		DisplayName: "Demi-glace 1 kg", Item: item("demi-pack"), SourceItem: item("demi-glace"), NetMassKg: 1, LossFraction: 0.02, Active: true,
		Steps: []planning.Step{
			{ID: "portion", DisplayName: "Portion", Kind: "PORTION", VesselClasses: []string{"portioner"}, RateKgPerHour: 30},
			{ID: "freeze", DisplayName: "Freeze", Kind: "FREEZE", VesselClasses: []string{"blast-freezer"}, Chill: &planning.ChillModel{TargetCelsius: -18}, PlanningDuration: hours(10), LoadKgPerKg: 1},
		},
	}))
	for _, o := range []string{"pier", "hill"} {
		weight := 1
		if o == "hill" {
			weight = 5
		}
		must(t)(k.CreateOutlet(ctx, site, o, &planning.Outlet{DisplayName: "Bistro " + o, Active: true, Priority: weight, CutOff: hours(24)}))
	}
	return k
}

func (k *kitchen) order(outletID, id string, day planning.Date, count int) *planning.Order {
	k.t.Helper()
	o, err := k.CreateOrder(k.t.Context(), outlet(outletID), id, &planning.Order{DispatchDate: day, Lines: []planning.OrderLine{{Product: product("demi-1kg"), Count: count}}})
	if err != nil {
		k.t.Fatal(err)
	}
	return o
}

func (k *kitchen) plan(id string, start, end planning.Date) (*planning.Plan, []*planning.Batch) {
	k.t.Helper()
	p, b, err := k.CreatePlan(k.t.Context(), site, planning.PlanRequest{ID: id, Start: start, End: end}, false)
	if err != nil {
		k.t.Fatal(err)
	}
	return p, b
}
