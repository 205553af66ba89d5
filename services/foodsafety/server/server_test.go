package server_test

import (
	"context"
	"fmt"
	"log/slog"
	"math"
	"path/filepath"
	"slices"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/google/uuid"
	"github.com/nats-io/nats.go"
	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/types/known/timestamppb"

	"rondeau.internal/pkg/apierr"
	"rondeau.internal/pkg/auth"
	"rondeau.internal/pkg/bus"
	"rondeau.internal/pkg/clock"
	foodsafetypb "rondeau.internal/pkg/gen/rondeau/foodsafety/v1"
	inventorypb "rondeau.internal/pkg/gen/rondeau/inventory/v1"
	schedulingpb "rondeau.internal/pkg/gen/rondeau/scheduling/v1"
	"rondeau.internal/pkg/outbox"
	"rondeau.internal/pkg/rpc"
	"rondeau.internal/pkg/sqldb"
	"rondeau.internal/pkg/sqldb/sqldbtest"
	"rondeau.internal/services/foodsafety"
	"rondeau.internal/services/foodsafety/events"
	"rondeau.internal/services/foodsafety/server"
)

const (
	site   = "sites/quay"
	batch  = site + "/batches/stock-1"
	run    = batch + "/runs/chill"
	vessel = site + "/vessels/blast-1"
	bones  = site + "/lots/bones"
	stock  = site + "/lots/stock-1"
	packs  = site + "/lots/packs-1"
)

var noon = time.Date(2026, 3, 2, 12, 0, 0, 0, time.UTC)

// house is the service with its API, running against a broker.
type house struct {
	t     *testing.T
	clock *clock.Fake
	nats  *nats.Conn
	keys  *auth.Keys
	pipe  *rpc.Pipe
	db    *sqldb.DB

	mu   sync.Mutex
	told []string // subjects of the facts that the service told, in order
}

func newHouse(t *testing.T, nc *nats.Conn, database string) *house {
	t.Helper()
	h := &house{t: t, clock: clock.NewFake(noon), nats: nc, pipe: rpc.NewPipe()}
	var err error
	if h.db, err = server.Open(t.Context(), database); err != nil {
		t.Fatal(err)
	}
	if h.keys, err = auth.LoadOrCreateKeys(filepath.Join(t.TempDir(), "key")); err != nil {
		t.Fatal(err)
	}
	logger := slog.New(slog.DiscardHandler)
	service, err := server.New(t.Context(), server.Deps{DB: h.db, NATS: nc, Clock: h.clock, Logger: logger, WatchInterval: 20 * time.Millisecond})
	if err != nil {
		t.Fatal(err)
	}
	api, err := rpc.NewServer(rpc.ServerConfig{
		Logger: logger, Verifier: h.keys.Verifier(), Stores: map[string]*sqldb.DB{service.ServiceNames()[0]: service.DB()}, Clock: h.clock,
		Checks: map[string]func(context.Context) error{"foodsafety": service.Health},
	}, service.Register)
	if err != nil {
		t.Fatal(err)
	}
	ctx, cancel := context.WithCancel(t.Context())
	var running sync.WaitGroup
	running.Go(func() {
		if err := service.Run(ctx); err != nil && ctx.Err() == nil {
			t.Error(err)
		}
	})
	running.Go(func() { _ = api.Serve(h.pipe) })
	t.Cleanup(func() {
		if err := api.Stop(context.WithoutCancel(t.Context())); err != nil {
			t.Error(err)
		}
		cancel()
		running.Wait()
		if err := h.db.Close(); err != nil {
			t.Error(err)
		}
	})
	return h
}

// file is the path of a database file that does not exist yet.
func file(t *testing.T) string {
	t.Helper()
	return filepath.Join(t.TempDir(), "foodsafety.db")
}

func (h *house) as(subject string, role auth.Role) foodsafetypb.FoodSafetyServiceClient {
	h.t.Helper()
	token, err := h.keys.Sign(auth.Principal{Subject: subject, Role: role, Site: site}, time.Hour)
	if err != nil {
		h.t.Fatal(err)
	}
	conn, err := rpc.Dial("pipe", rpc.DialConfig{Pipe: h.pipe, Token: func() string { return token }})
	if err != nil {
		h.t.Fatal(err)
	}
	h.t.Cleanup(func() { _ = conn.Close() })
	return foodsafetypb.NewFoodSafetyServiceClient(conn)
}

// tell publishes a fact of another service, twice under the same id, as a relay may.
func (h *house) tell(subject, resource string, fact proto.Message) {
	h.t.Helper()
	payload, err := proto.Marshal(fact)
	if err != nil {
		h.t.Fatal(err)
	}
	e := outbox.Event{ID: uuid.NewString(), Subject: subject, Resource: resource, Time: h.clock.Now(), Payload: payload}
	for range 2 {
		if err := bus.NewPublisher(h.nats).Publish(h.t.Context(), e); err != nil {
			h.t.Fatal(err)
		}
	}
}

// listen collects what the service tells.
func (h *house) listen() {
	h.t.Helper()
	sub, err := h.nats.Subscribe("rondeau.foodsafety.v1.>", func(m *nats.Msg) {
		h.mu.Lock()
		defer h.mu.Unlock()
		h.told = append(h.told, strings.TrimPrefix(m.Subject, "rondeau.foodsafety.v1."))
	})
	if err != nil {
		h.t.Fatal(err)
	}
	h.t.Cleanup(func() { _ = sub.Unsubscribe() })
}

// eventually waits until fn is satisfied and fails with its last complaint.
func eventually(t *testing.T, fn func() error) {
	t.Helper()
	deadline := time.Now().Add(20 * time.Second)
	for {
		err := fn()
		if err == nil {
			return
		}
		if time.Now().After(deadline) {
			t.Fatal(err)
		}
		time.Sleep(10 * time.Millisecond)
	}
}

func must[T any](t *testing.T) func(v T, err error) T {
	return func(v T, err error) T {
		t.Helper()
		if err != nil {
			t.Fatal(err)
		}
		return v
	}
}

func lotCreated(name, batch string, inputs ...string) *inventorypb.LotCreated {
	m := &inventorypb.LotCreated{Lot: &inventorypb.Lot{Name: name, Item: site + "/items/i", Batch: batch, ProduceTime: timestamppb.New(noon)}}
	for _, in := range inputs {
		m.Inputs = append(m.Inputs, &inventorypb.LotInput{Lot: in, MassKg: 1})
	}
	return m
}

func startBroker(t *testing.T) *nats.Conn {
	t.Helper()
	broker, err := bus.StartEmbedded(t.TempDir(), bus.Options{})
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(broker.Shutdown)
	nc, err := broker.Connect()
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(nc.Close)
	if err := bus.EnsureStreams(t.Context(), nc, 1); err != nil {
		t.Fatal(err)
	}
	return nc
}

// stream sends some minutes of a Newton cooling towards 2 C from 60 C, a reading every minute by the probe's name.
func stream(t *testing.T, c foodsafetypb.FoodSafetyServiceClient, from time.Time, rate float64, first, end int) *foodsafetypb.StreamReadingsResponse {
	t.Helper()
	s, err := c.StreamReadings(t.Context())
	if err != nil {
		t.Fatal(err)
	}
	q := &foodsafetypb.StreamReadingsRequest{Parent: site}
	for i := first; i < end; i++ {
		d := time.Duration(i) * time.Minute
		q.Readings = append(q.Readings, &foodsafetypb.Reading{
			Probe: site + "/probes/p1", ObserveTime: timestamppb.New(from.Add(d)), TemperatureCelsius: 2 + 58*math.Exp(-rate*d.Hours()),
		})
	}
	if err := s.Send(q); err != nil {
		t.Fatal(err)
	}
	return must[*foodsafetypb.StreamReadingsResponse](t)(s.CloseAndRecv())
}

// The main story: news of lots and of the chill run arrive, a first chill goes wrong and is caught, the food is heated
// and chilled again, people decide, the stock and the packs made from it are released.
func TestAChillGoesWrongAndIsPutRight(t *testing.T) {
	t.Run("sqlite", func(t *testing.T) { wrongAndRight(t, file(t)) })
	t.Run("postgres", func(t *testing.T) { wrongAndRight(t, sqldbtest.PostgresURL(t)) })
}

func wrongAndRight(t *testing.T, database string) {
	h := newHouse(t, startBroker(t), database)
	h.listen()
	ctx := t.Context()
	manager, gateway := h.as("max", auth.Manager), h.as("gateway-1", auth.Service)
	lead, lead2, inventory := h.as("lea", auth.SafetyLead), h.as("mia", auth.SafetyLead), h.as("inventory", auth.Service)
	must[*foodsafetypb.Probe](t)(manager.CreateProbe(ctx, &foodsafetypb.CreateProbeRequest{Parent: site, ProbeId: "p1", Probe: &foodsafetypb.Probe{DisplayName: "Centre", Vessel: vessel}}))

	h.tell("rondeau.inventory.v1.lot.created", bones, lotCreated(bones, ""))
	h.tell("rondeau.inventory.v1.stock.consumed", batch, &inventorypb.StockConsumed{Batch: batch, Inputs: []*inventorypb.LotInput{{Lot: bones, MassKg: 40}}})
	started := &schedulingpb.RunStarted{
		Run: run, Batch: batch, StepId: "chill", Kind: schedulingpb.StepKind_CHILL, Vessel: vessel, Operator: "ada", Recorder: "ada",
		StartTime: timestamppb.New(noon), RecordTime: timestamppb.New(noon), LimitsProfile: "us-food-code-2022",
	}
	h.tell("rondeau.scheduling.v1.run.started", run, started)
	h.tell("rondeau.inventory.v1.delivery.rejected", site+"/deliveries/d1", &inventorypb.DeliveryLineRejected{
		Delivery: site + "/deliveries/d1", Supplier: site + "/suppliers/s", LimitCelsius: proto.Float64(5), ReceiveTime: timestamppb.New(noon), Receiver: "rob",
		Line: &inventorypb.DeliveryLine{LineId: "l1", Item: site + "/items/bones", TemperatureCelsius: proto.Float64(9), DecisionReason: "too warm"},
	})
	var first *foodsafetypb.Chill
	eventually(t, func() error {
		list, err := lead.ListChills(ctx, &foodsafetypb.ListChillsRequest{Parent: site, Filter: fmt.Sprintf("run = %q", run)})
		if err != nil || len(list.GetChills()) != 1 {
			return fmt.Errorf("chills of the run: %v, %w", list.GetChills(), err)
		}
		first = list.GetChills()[0]
		return nil
	})
	if first.GetStarter() != "ada" || !slices.Equal(first.GetProbes(), []string{site + "/probes/p1"}) {
		t.Errorf("chill begun by the news of the run: %v", first)
	}
	eventually(t, func() error {
		list, err := lead.ListDeviations(ctx, &foodsafetypb.ListDeviationsRequest{Parent: site, Filter: "kind = RECEIVING_TEMPERATURE"})
		if err != nil || len(list.GetDeviations()) != 1 {
			return fmt.Errorf("deviations of deliveries: %v, %w", list.GetDeviations(), err)
		}
		return nil
	})

	// Too slow: 0.3 1/h reaches 21 C after 3.7 h. The forecast says so after half an hour.
	h.clock.Advance(30 * time.Minute)
	got := stream(t, gateway, noon, 0.3, 0, 31)
	if got.GetAcceptedCount() != 31 || !slices.Equal(got.GetChillsAtRisk(), []string{first.GetName()}) {
		t.Errorf("first half hour: %v", got)
	}
	forecast := must[*foodsafetypb.ChillForecast](t)(lead.ForecastChill(ctx, &foodsafetypb.ForecastChillRequest{Name: first.GetName()}))
	if len(forecast.GetStages()) != 2 || !forecast.GetStages()[0].GetAtRisk() || !strings.Contains(forecast.GetStages()[0].GetAdvice(), "ice bath") {
		t.Errorf("forecast %v", forecast)
	}
	growth := must[*foodsafetypb.GrowthEstimate](t)(lead.EstimateChillGrowth(ctx, &foodsafetypb.EstimateChillGrowthRequest{Name: first.GetName()}))
	if growth.GetReadingCount() == 0 || growth.GetUpperLog10() < growth.GetLikelyLog10() || len(growth.GetCautions()) == 0 || growth.GetEstimateTime() == nil {
		t.Errorf("growth %v", growth)
	}
	// Nothing more comes; the clock finds it.
	h.clock.Advance(2 * time.Hour)
	eventually(t, func() error {
		var err error
		if first, err = lead.GetChill(ctx, &foodsafetypb.GetChillRequest{Name: first.GetName()}); err != nil || first.GetState() != foodsafetypb.Chill_FAILED {
			return fmt.Errorf("chill is %s, %w", first.GetState(), err)
		}
		return nil
	})
	h.tell("rondeau.inventory.v1.lot.created", stock, lotCreated(stock, batch, bones))
	h.tell("rondeau.inventory.v1.lot.created", packs, lotCreated(packs, site+"/batches/pack-1", stock))
	check := func(lot string) *foodsafetypb.CheckLotsResponse_LotStatus {
		t.Helper()
		return must[*foodsafetypb.CheckLotsResponse](t)(inventory.CheckLots(ctx, &foodsafetypb.CheckLotsRequest{Parent: site, Lots: []string{lot}})).GetLotStatuses()[0]
	}
	eventually(t, func() error {
		if st := check(packs); !st.GetKnown() || len(st.GetHolds()) != 1 || st.GetShippable() {
			return fmt.Errorf("packs from a held batch: %v", st)
		}
		return nil
	})

	// Heated and chilled again, properly this time.
	again := must[*foodsafetypb.Chill](t)(manager.StartChill(ctx, &foodsafetypb.StartChillRequest{Parent: site, ChillId: "again", Chill: &foodsafetypb.Chill{Batch: batch, Run: run, Vessel: vessel}}))
	second := h.clock.Now()
	for minute := 0; minute < 300; minute += 30 {
		h.clock.Advance(30 * time.Minute)
		if got := stream(t, gateway, second, 0.75, minute, minute+30); got.GetAcceptedCount() != 30 || len(got.GetFailedChills()) != 0 {
			t.Errorf("second chill: %v", got)
		}
	}
	h.tell("rondeau.scheduling.v1.run.finished", run, &schedulingpb.RunFinished{
		Run: run, Batch: batch, Kind: schedulingpb.StepKind_CHILL, Operator: "ada", Recorder: "ada", StartTime: timestamppb.New(noon), FinishTime: timestamppb.New(h.clock.Now()),
	})
	eventually(t, func() error {
		var err error
		if again, err = lead.GetChill(ctx, &foodsafetypb.GetChillRequest{Name: again.GetName()}); err != nil || again.GetState() != foodsafetypb.Chill_PASSED {
			return fmt.Errorf("chill is %s: %s, %w", again.GetState(), again.GetJudgement().GetSummary(), err)
		}
		return nil
	})
	must[*foodsafetypb.Deviation](t)(lead.RecordCorrectiveAction(ctx, &foodsafetypb.RecordCorrectiveActionRequest{Name: first.GetDeviation(), CorrectiveAction: &foodsafetypb.CorrectiveAction{
		Text: "heated to 165 F for 15 s and chilled again in the ice bath", Decision: foodsafetypb.CorrectiveAction_REHEAT_AND_RECHILL,
	}}))
	if _, err := lead.CloseDeviation(ctx, &foodsafetypb.CloseDeviationRequest{Name: first.GetDeviation()}); apierr.ReasonOf(err) != foodsafety.SecondPersonRequired {
		t.Errorf("closing one's own action: %v", err)
	}
	must[*foodsafetypb.Deviation](t)(lead2.CloseDeviation(ctx, &foodsafetypb.CloseDeviationRequest{Name: first.GetDeviation(), Note: "reviewed"}))
	if _, err := lead.ReleaseLot(ctx, &foodsafetypb.ReleaseLotRequest{Lot: stock}); apierr.ReasonOf(err) != foodsafety.LotNotReleasable {
		t.Errorf("release of held stock: %v", err)
	}
	must[*foodsafetypb.Hold](t)(lead.LiftHold(ctx, &foodsafetypb.LiftHoldRequest{Name: check(stock).GetHolds()[0], Reason: "see deviation"}))
	for _, lot := range []string{stock, packs} {
		r := must[*foodsafetypb.Release](t)(lead.ReleaseLot(ctx, &foodsafetypb.ReleaseLotRequest{Lot: lot}))
		if r.GetSigner() != "lea" || r.GetMeaning() == "" || len(r.GetReviewedChills()) != 2 || !slices.Contains(r.GetRecordMakers(), "gateway-1") {
			t.Errorf("release %v", r)
		}
		if st := check(lot); !st.GetShippable() {
			t.Errorf("%s: %v", lot, st.GetReasons())
		}
	}
	want := []string{
		"deviation.opened", "chill.started", "chill.limit_at_risk", "deviation.opened", "hold.placed", "chill.finished", "chill.started",
		"chill.finished", "deviation.closed", "hold.lifted", "lot.released", "lot.released",
	}
	eventually(t, func() error {
		h.mu.Lock()
		defer h.mu.Unlock()
		told := slices.Clone(h.told)
		if len(told) >= 2 && told[0] == "chill.started" { // inventory and scheduling are told apart from each other
			told[0], told[1] = told[1], told[0]
		}
		if !slices.Equal(told, want) {
			return fmt.Errorf("told %v, want %v", told, want)
		}
		return nil
	})
	trail := must[*foodsafetypb.ListSafetyRecordsResponse](t)(h.as("aud", auth.Auditor).ListSafetyRecords(ctx, &foodsafetypb.ListSafetyRecordsRequest{Parent: site, PageSize: 1000, Filter: `actor = "lea"`}))
	if len(trail.GetSafetyRecords()) != 4 {
		t.Errorf("lea's entries in the trail: %v", trail)
	}
}

// Readings must be taken while the broker and every other service are down; what there is to tell waits.
func TestReadingsAreTakenWithoutTheBroker(t *testing.T) {
	nc, err := bus.Dial("nats://127.0.0.1:1")
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(nc.Close)
	h := newHouse(t, nc, file(t))
	ctx := t.Context()
	cook := h.as("ada", auth.Cook)
	c := must[*foodsafetypb.Chill](t)(cook.StartChill(ctx, &foodsafetypb.StartChillRequest{Parent: site, ChillId: "c1", Chill: &foodsafetypb.Chill{Batch: batch}}))
	for _, celsius := range []float64{60, 50, 40} {
		must[*foodsafetypb.Reading](t)(cook.RecordReading(ctx, &foodsafetypb.RecordReadingRequest{Parent: c.GetName(), Reading: &foodsafetypb.Reading{TemperatureCelsius: celsius}}))
		h.clock.Advance(50 * time.Minute)
	}
	eventually(t, func() error {
		got, err := cook.GetChill(ctx, &foodsafetypb.GetChillRequest{Name: c.GetName()})
		if err != nil || got.GetState() != foodsafetypb.Chill_FAILED || got.GetReadingCount() != 3 {
			return fmt.Errorf("chill is %s with %d readings, %w", got.GetState(), got.GetReadingCount(), err)
		}
		return nil
	})
	waiting, _, err := outbox.Lag(ctx, h.db)
	if err != nil || waiting < 4 {
		t.Errorf("%d facts wait, %v; want started, opened, placed, finished at least", waiting, err)
	}
}

// Several gateways send at once, overlapping each other, while the clock is watched and facts go out. Every reading is
// stored exactly once, and the chill fails exactly once.
func TestGatewaysSendAtTheSameTime(t *testing.T) {
	t.Run("sqlite", func(t *testing.T) { gateways(t, file(t)) })
	t.Run("postgres", func(t *testing.T) { gateways(t, sqldbtest.PostgresURL(t)) })
}

func gateways(t *testing.T, database string) {
	h := newHouse(t, startBroker(t), database)
	ctx := t.Context()
	lead := h.as("lea", auth.SafetyLead)
	must[*foodsafetypb.Probe](t)(lead.CreateProbe(ctx, &foodsafetypb.CreateProbeRequest{Parent: site, ProbeId: "p1", Probe: &foodsafetypb.Probe{DisplayName: "Centre"}}))
	c := must[*foodsafetypb.Chill](t)(lead.StartChill(ctx, &foodsafetypb.StartChillRequest{Parent: site, ChillId: "c1", Chill: &foodsafetypb.Chill{Batch: batch, Probes: []string{site + "/probes/p1"}}}))
	h.clock.Advance(3 * time.Hour)
	const senders, readings = 4, 150
	var accepted, all [senders]int64
	var wg sync.WaitGroup
	for i := range senders {
		client := h.as(fmt.Sprintf("gateway-%d", i), auth.Service)
		wg.Go(func() {
			got := stream(t, client, noon, 0.3, 0, readings)
			accepted[i] = got.GetAcceptedCount()
			all[i] = got.GetAcceptedCount() + got.GetDuplicateCount()
		})
	}
	wg.Wait()
	sum := int64(0)
	for i := range senders {
		sum += accepted[i]
		if all[i] != readings {
			t.Errorf("sender %d: %d of %d answered", i, all[i], readings)
		}
	}
	if sum != readings {
		t.Errorf("%d accepted by all senders together, want %d", sum, readings)
	}
	c = must[*foodsafetypb.Chill](t)(lead.GetChill(ctx, &foodsafetypb.GetChillRequest{Name: c.GetName()}))
	if c.GetState() != foodsafetypb.Chill_FAILED || c.GetReadingCount() != readings {
		t.Errorf("%s with %d readings", c.GetState(), c.GetReadingCount())
	}
	holds := must[*foodsafetypb.ListHoldsResponse](t)(lead.ListHolds(ctx, &foodsafetypb.ListHoldsRequest{Parent: site}))
	deviations := must[*foodsafetypb.ListDeviationsResponse](t)(lead.ListDeviations(ctx, &foodsafetypb.ListDeviationsRequest{Parent: site}))
	if len(holds.GetHolds()) != 1 || len(deviations.GetDeviations()) != 1 {
		t.Errorf("%d holds, %d deviations", len(holds.GetHolds()), len(deviations.GetDeviations()))
	}
}

// A fact that comes twice under two ids, as after a replay, changes nothing; facts in the wrong order end the same.
func TestFactsTwiceAndOutOfOrder(t *testing.T) {
	h := newHouse(t, startBroker(t), file(t))
	inventory := h.as("inventory", auth.Service)
	facts := []func(){
		func() {
			h.tell("rondeau.inventory.v1.lot.created", packs, lotCreated(packs, site+"/batches/pack-1", stock))
		},
		func() { h.tell("rondeau.inventory.v1.lot.created", stock, lotCreated(stock, batch, bones)) },
		func() {
			h.tell("rondeau.inventory.v1.stock.consumed", batch, &inventorypb.StockConsumed{Batch: batch, Inputs: []*inventorypb.LotInput{{Lot: bones}}})
		},
		func() { h.tell("rondeau.inventory.v1.lot.created", bones, lotCreated(bones, "")) },
	}
	for range 2 {
		for _, fact := range facts {
			fact()
		}
	}
	eventually(t, func() error {
		got, err := inventory.CheckLots(t.Context(), &foodsafetypb.CheckLotsRequest{Parent: site, Lots: []string{packs, stock, bones}})
		if err != nil {
			return err
		}
		for i, st := range got.GetLotStatuses() {
			if !st.GetClear() || st.GetShippable() != (i == 2) {
				return fmt.Errorf("%v", st)
			}
		}
		return nil
	})
	parked, err := outbox.ListParked(t.Context(), h.db, "foodsafety-inventory", 10)
	if err != nil || len(parked) != 0 {
		t.Errorf("parked %v, %v", parked, err)
	}
}

func TestDepsAreChecked(t *testing.T) {
	_, err := server.New(t.Context(), server.Deps{})
	if err == nil {
		t.Fatal("nothing was missed")
	}
	for _, name := range []string{"DB", "NATS", "Clock", "Logger"} {
		if !strings.Contains(err.Error(), name) {
			t.Errorf("%v does not name %s", err, name)
		}
	}
	if len(events.Consumers(nil)) != 2 {
		t.Error("a consumer for inventory and one for scheduling")
	}
}
