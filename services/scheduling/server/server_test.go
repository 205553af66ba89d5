package server_test

import (
	"context"
	"io"
	"log/slog"
	"path/filepath"
	"strings"
	"sync"
	"testing"
	"time"

	"cloud.google.com/go/longrunning/autogen/longrunningpb"
	"github.com/google/uuid"
	"github.com/nats-io/nats.go"
	"google.golang.org/grpc"
	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/types/known/durationpb"
	"google.golang.org/protobuf/types/known/timestamppb"

	"rondeau.internal/pkg/auth"
	"rondeau.internal/pkg/bus"
	"rondeau.internal/pkg/clock"
	planningpb "rondeau.internal/pkg/gen/rondeau/planning/v1"
	schedulingpb "rondeau.internal/pkg/gen/rondeau/scheduling/v1"
	"rondeau.internal/pkg/outbox"
	"rondeau.internal/pkg/rpc"
	"rondeau.internal/pkg/sqldb"
	"rondeau.internal/services/scheduling"
	"rondeau.internal/services/scheduling/server"
)

const site = "sites/quay"

var monday = time.Date(2026, 11, 23, 6, 0, 0, 0, time.UTC)

// planning is a fake of the service planning with released batches.
type planning struct {
	planningpb.UnimplementedPlanningServiceServer
	mu      sync.Mutex
	batches []*planningpb.Batch
}

func (p *planning) GetSite(_ context.Context, req *planningpb.GetSiteRequest) (*planningpb.Site, error) {
	return &planningpb.Site{Name: req.GetName(), TimeZone: "Europe/Lisbon"}, nil
}

func (p *planning) ListBatches(_ context.Context, req *planningpb.ListBatchesRequest) (*planningpb.ListBatchesResponse, error) {
	p.mu.Lock()
	defer p.mu.Unlock()
	if !strings.Contains(req.GetFilter(), "RELEASED") {
		return &planningpb.ListBatchesResponse{}, nil
	}
	if req.GetPageToken() == "" && len(p.batches) > 1 { // two pages
		return &planningpb.ListBatchesResponse{Batches: p.batches[:1], NextPageToken: "rest"}, nil
	}
	return &planningpb.ListBatchesResponse{Batches: p.batches[min(1, len(p.batches)-1):]}, nil
}

func must(t *testing.T, err error) {
	t.Helper()
	if err != nil {
		t.Fatal(err)
	}
}

// batch is simmered in a kettle, strained into a pot and chilled; the second one takes what the first makes.
func batch(id string, feed string) *planningpb.Batch {
	step := func(id string, kind planningpb.Step_Kind, class string) *planningpb.Step {
		return &planningpb.Step{
			StepId: id, DisplayName: strings.ToUpper(id[:1]) + id[1:], Kind: kind, VesselClasses: []string{class}, CrewCount: 1, Attendance: planningpb.Step_WHOLE, MaterialState: "stock",
			DurationModel: &planningpb.Step_FixedDuration{FixedDuration: durationpb.New(20 * time.Minute)}, Instructions: "skim",
		}
	}
	simmer := step("simmer", planningpb.Step_SIMMER, "kettle")
	simmer.Attendance, simmer.KeepsVessel, simmer.UnattendedAllowed = planningpb.Step_START_AND_END, true, true
	simmer.AttendedStartDuration, simmer.AttendedEndDuration = durationpb.New(20*time.Minute), durationpb.New(10*time.Minute)
	simmer.DurationModel = &planningpb.Step_Simmer{Simmer: &planningpb.SimmerModel{HoldDuration: durationpb.New(3 * time.Hour)}}
	simmer.MaxWaitDuration = durationpb.New(30 * time.Minute)
	strain := step("strain", planningpb.Step_STRAIN, "kettle")
	strain.SameVessel, strain.SecondVesselClass, strain.KeepsVessel = true, "pot", true
	strain.MaxWaitDuration = durationpb.New(30 * time.Minute)
	chill := step("chill", planningpb.Step_CHILL, "blast-chiller")
	chill.Critical = true
	chill.DurationModel = &planningpb.Step_Chill{Chill: &planningpb.ChillModel{TargetTemperatureCelsius: 3}}
	out := &planningpb.Batch{
		Name: site + "/batches/" + id, DisplayName: "Brown stock " + id, Plan: site + "/plans/week", OutputItem: site + "/items/brown-stock",
		State: planningpb.Batch_RELEASED, DueTime: timestamppb.New(monday.Add(48 * time.Hour)), PriorityWeight: 10,
		Steps: []*planningpb.BatchStep{
			{Step: simmer, FillLiters: 90, OutputKg: 60}, {Step: strain, FillLiters: 60, OutputKg: 60}, {Step: chill, LoadKg: 60, OutputKg: 60},
		},
	}
	if feed != "" {
		out.Inputs = []*planningpb.BatchInput{{StepId: "simmer", Sources: []*planningpb.BatchInputSource{{Batch: site + "/batches/" + feed}}}}
	}
	return out
}

// house is the running service with what surrounds it.
type house struct {
	schedulingpb.SchedulingServiceClient
	operations longrunningpb.OperationsClient
	nats       *nats.Conn
	clock      *clock.Fake
	service    *server.Service
	stop       func()
}

type world struct {
	dir      string
	keys     *auth.Keys
	embedded *bus.Embedded
	peer     *grpc.ClientConn
	planning *planning
	clock    *clock.Fake
}

func newWorld(t *testing.T) *world {
	t.Helper()
	w := &world{dir: t.TempDir(), planning: &planning{}, clock: clock.NewFake(monday)}
	var err error
	w.keys, err = auth.LoadOrCreateKeys(filepath.Join(w.dir, "keys"))
	must(t, err)
	w.embedded, err = bus.StartEmbedded(filepath.Join(w.dir, "nats"), bus.Options{})
	must(t, err)
	t.Cleanup(w.embedded.Shutdown)
	nc, err := w.embedded.Connect()
	must(t, err)
	defer nc.Close()
	must(t, bus.EnsureStreams(t.Context(), nc, 1))
	w.peer = w.serve(t, map[string]*sqldb.DB{planningpb.PlanningService_ServiceDesc.ServiceName: scratch(t)}, auth.Service, func(r grpc.ServiceRegistrar) {
		planningpb.RegisterPlanningServiceServer(r, w.planning)
	})
	return w
}

// scratch is a database for the answers to repeated requests of the fake.
func scratch(t *testing.T) *sqldb.DB {
	t.Helper()
	db, err := sqldb.OpenSQLite(t.Context(), filepath.Join(t.TempDir(), "fake.db"))
	must(t, err)
	t.Cleanup(func() { must(t, db.Close()) })
	must(t, outbox.Migrate(t.Context(), db))
	return db
}

// serve starts a gRPC server on a pipe and answers a connection to it.
func (w *world) serve(t *testing.T, stores map[string]*sqldb.DB, role auth.Role, register func(grpc.ServiceRegistrar)) *grpc.ClientConn {
	t.Helper()
	s, err := rpc.NewServer(rpc.ServerConfig{Logger: quiet(), Verifier: w.keys.Verifier(), Stores: stores, Clock: w.clock}, register)
	must(t, err)
	pipe := rpc.NewPipe()
	served := make(chan error, 1)
	go func() { served <- s.Serve(pipe) }()
	token, err := w.keys.Sign(auth.Principal{Subject: "ines", Role: role}, time.Hour)
	must(t, err)
	conn, err := rpc.Dial("pipe", rpc.DialConfig{Pipe: pipe, Token: func() string { return token }})
	must(t, err)
	t.Cleanup(func() {
		_ = conn.Close() // at the end of a test nothing depends on it
		ctx, cancel := context.WithTimeout(context.Background(), 5*time.Second)
		defer cancel()
		must(t, s.Stop(ctx))
		must(t, <-served)
	})
	return conn
}

func quiet() *slog.Logger { return slog.New(slog.NewTextHandler(io.Discard, nil)) }

// open starts the service over the world's database; stop ends it as a process would.
func (w *world) open(t *testing.T) *house {
	t.Helper()
	db, err := server.Open(t.Context(), filepath.Join(w.dir, "scheduling.db"))
	must(t, err)
	nc, err := w.embedded.Connect()
	must(t, err)
	service, err := server.New(t.Context(), server.Deps{
		DB: db, NATS: nc, Clock: w.clock, Logger: quiet(), Peers: func(string) grpc.ClientConnInterface { return w.peer },
		Worker: scheduling.WorkerTiming{Poll: 20 * time.Millisecond, Report: 20 * time.Millisecond},
		Assess: 20 * time.Millisecond,
	})
	must(t, err)
	must(t, service.Health(t.Context()))
	stores := map[string]*sqldb.DB{}
	for _, name := range service.ServiceNames() {
		stores[name] = service.DB()
	}
	conn := w.serve(t, stores, auth.Manager, service.Register)
	ctx, cancel := context.WithCancel(context.Background())
	ended := make(chan error, 1)
	go func() { ended <- service.Run(ctx) }()
	var once sync.Once
	h := &house{
		SchedulingServiceClient: schedulingpb.NewSchedulingServiceClient(conn), operations: longrunningpb.NewOperationsClient(conn), nats: nc, clock: w.clock, service: service,
	}
	h.stop = func() {
		once.Do(func() {
			cancel()
			must(t, <-ended)
			nc.Close()
			must(t, db.Close())
		})
	}
	t.Cleanup(h.stop)
	return h
}

// eventually polls until the condition holds.
func eventually(t *testing.T, what string, condition func() bool) {
	t.Helper()
	deadline := time.Now().Add(20 * time.Second)
	for !condition() {
		if time.Now().After(deadline) {
			t.Fatalf("waited in vain: %s", what)
		}
		time.Sleep(20 * time.Millisecond)
	}
}

func (h *house) masters(t *testing.T) {
	t.Helper()
	ctx := t.Context()
	calendar := &schedulingpb.Calendar{DisplayName: "Day", TimeZone: "Europe/Lisbon"}
	for day := schedulingpb.Calendar_MONDAY; day <= schedulingpb.Calendar_SUNDAY; day++ {
		calendar.WeeklyShifts = append(calendar.WeeklyShifts, &schedulingpb.Calendar_WeeklyShift{Weekday: day, StartClock: "06:00", EndClock: "22:00"})
	}
	_, err := h.CreateCalendar(ctx, &schedulingpb.CreateCalendarRequest{Parent: site, CalendarId: "day", Calendar: calendar})
	must(t, err)
	_, err = h.CreateCrew(ctx, &schedulingpb.CreateCrewRequest{Parent: site, CrewId: "cooks", Crew: &schedulingpb.Crew{DisplayName: "Cooks", Headcount: 2, Calendar: site + "/calendars/day"}})
	must(t, err)
	kettle := func(id string) *schedulingpb.CreateVesselRequest {
		return &schedulingpb.CreateVesselRequest{Parent: site, VesselId: id, Vessel: &schedulingpb.Vessel{
			DisplayName: id, VesselClass: "kettle", PowerWatts: 24000, Efficiency: 0.5, MaxFillLiters: 120, UnattendedAllowed: true,
			Shape: &schedulingpb.Vessel_Hemisphere_{Hemisphere: &schedulingpb.Vessel_Hemisphere{DiameterMeters: 0.6, WallHeightMeters: 0.4}},
		}}
	}
	_, err = h.BatchCreateVessels(ctx, &schedulingpb.BatchCreateVesselsRequest{Parent: site, Requests: []*schedulingpb.CreateVesselRequest{
		kettle("kettle-1"), kettle("kettle-2"),
		{Parent: site, VesselId: "pot-1", Vessel: &schedulingpb.Vessel{DisplayName: "Pot 1", VesselClass: "pot", MaxFillLiters: 80}},
		{Parent: site, VesselId: "blast", Vessel: &schedulingpb.Vessel{DisplayName: "Blast chiller", VesselClass: "blast-chiller", LoadCapacityKg: 120, UnattendedAllowed: true, Cooling: &schedulingpb.Vessel_Cooling{
			Method: schedulingpb.Vessel_Cooling_AIR, MediumTemperatureCelsius: -5, HeatTransferWattsPerSquareMeterKelvin: 35, PanDepthMeters: 0.04,
		}}},
	}})
	must(t, err)
}

func (h *house) solve(t *testing.T) *schedulingpb.Schedule {
	t.Helper()
	op, err := h.SolveSchedule(t.Context(), &schedulingpb.SolveScheduleRequest{Parent: site, Plan: site + "/plans/week", IterationBudget: 100})
	must(t, err)
	op, err = h.operations.WaitOperation(t.Context(), &longrunningpb.WaitOperationRequest{Name: op.GetName(), Timeout: durationpb.New(25 * time.Second)})
	must(t, err)
	if op.GetResponse() == nil {
		t.Fatalf("the operation ended with %v", op)
	}
	var out schedulingpb.Schedule
	must(t, op.GetResponse().UnmarshalTo(&out))
	return &out
}

func TestAKitchenIsScheduledCookedAndReplanned(t *testing.T) {
	w := newWorld(t)
	w.planning.batches = []*planningpb.Batch{batch("b1", ""), batch("b2", "b1")}
	h := w.open(t)
	var mu sync.Mutex
	heard := map[string]int{}
	sub, err := h.nats.Subscribe("rondeau.scheduling.v1.>", func(m *nats.Msg) {
		mu.Lock()
		defer mu.Unlock()
		heard[m.Subject]++
	})
	must(t, err)
	defer func() { must(t, sub.Unsubscribe()) }()
	has := func(subject string, n int) func() bool {
		return func() bool { mu.Lock(); defer mu.Unlock(); return heard["rondeau.scheduling.v1."+subject] >= n }
	}
	ctx := t.Context()
	h.masters(t)

	draft := h.solve(t)
	if len(draft.GetAssignments()) != 6 {
		t.Fatalf("draft: %v", draft.GetReport())
	}
	published, err := h.PublishSchedule(ctx, &schedulingpb.PublishScheduleRequest{Name: draft.GetName(), Etag: draft.GetEtag()})
	must(t, err)
	eventually(t, "schedule published", has("schedule.published", 1))
	var first *schedulingpb.Outlook
	eventually(t, "an outlook of the published schedule", func() bool {
		read, err := h.GetSchedule(ctx, &schedulingpb.GetScheduleRequest{Name: published.GetName()})
		must(t, err)
		first = read.GetOutlook()
		return first != nil && !first.GetOutdated()
	})
	if len(first.GetBatches()) != 2 || first.GetRefusal() != "" || first.GetSampleCount() != 1000 {
		t.Errorf("outlook %v", first)
	}
	for _, a := range published.GetAssignments() {
		if a.GetStepId() == "strain" && (len(a.GetAdditionalVessels()) != 1 || a.GetAdditionalVessels()[0] != site+"/vessels/pot-1") {
			t.Errorf("strained into %v", a.GetAdditionalVessels())
		}
	}

	// The first batch is begun; a kettle fails; the rest is planned anew.
	h.clock.Set(published.GetAssignments()[0].GetStartTime().AsTime())
	run := site + "/batches/b1/runs/simmer"
	started, err := h.StartRun(ctx, &schedulingpb.StartRunRequest{Name: run})
	must(t, err)
	eventually(t, "run started", has("run.started", 1))
	h.clock.Advance(30 * time.Minute)
	_, err = h.TakeVesselDown(ctx, &schedulingpb.TakeVesselDownRequest{Name: site + "/vessels/kettle-2", Reason: "burner"})
	must(t, err)
	eventually(t, "an outlook that knows the started run and the kettle", func() bool {
		read, err := h.GetSchedule(ctx, &schedulingpb.GetScheduleRequest{Name: published.GetName()})
		must(t, err)
		o := read.GetOutlook()
		return !o.GetOutdated() && o.GetAssessTime().AsTime().After(first.GetAssessTime().AsTime())
	})
	eventually(t, "vessel down", has("vessel.down", 1))
	second := h.solve(t)
	for _, a := range second.GetAssignments() {
		if a.GetRun() == run && (!a.GetStarted() || !a.GetStartTime().AsTime().Equal(started.GetStartTime().AsTime())) {
			t.Errorf("what had begun moved: %v", a)
		}
		if a.GetVessel() == site+"/vessels/kettle-2" && !a.GetStarted() {
			t.Errorf("planned into the broken kettle: %v", a)
		}
	}
	_, err = h.PublishSchedule(ctx, &schedulingpb.PublishScheduleRequest{Name: second.GetName()})
	must(t, err)

	// A temperature tells when the simmer will be over; the strain is held up.
	_, err = h.RecordMeasurement(ctx, &schedulingpb.RecordMeasurementRequest{Parent: run, Measurement: &schedulingpb.Measurement{
		Value: &schedulingpb.Measurement_TemperatureCelsius{TemperatureCelsius: 20},
	}})
	must(t, err)
	eventually(t, "forecast changed", has("run.forecast_changed", 1))
	h.clock.Advance(4 * time.Hour)
	finished, err := h.FinishRun(ctx, &schedulingpb.FinishRunRequest{Name: run})
	must(t, err)
	if len(finished.GetNextRuns()) != 2 {
		t.Errorf("next: %v", finished.GetNextRuns())
	}
	eventually(t, "run finished", has("run.finished", 1))

	// Planning cancels the second batch; the news comes twice.
	payload, err := proto.Marshal(&planningpb.BatchCancelled{Batch: site + "/batches/b2", Plan: site + "/plans/week", Reason: "outlet closed"})
	must(t, err)
	for range 2 {
		must(t, bus.NewPublisher(h.nats).Publish(ctx, outbox.Event{
			ID: uuid.NewString(), Subject: "rondeau.planning.v1.batch.cancelled", Resource: site + "/batches/b2", Time: h.clock.Now(), Payload: payload,
		}))
	}
	eventually(t, "the runs of b2 are taken back", func() bool {
		runs, err := h.ListRuns(ctx, &schedulingpb.ListRunsRequest{Parent: site + "/batches/b2", Filter: "state = CANCELLED"})
		must(t, err)
		return len(runs.GetRuns()) == 3
	})
}

func TestAComputationGoesOnAfterARestart(t *testing.T) {
	w := newWorld(t)
	for _, id := range []string{"b1", "b2", "b3", "b4", "b5"} {
		w.planning.batches = append(w.planning.batches, batch(id, ""))
	}
	h := w.open(t)
	h.masters(t)
	op, err := h.SolveSchedule(t.Context(), &schedulingpb.SolveScheduleRequest{Parent: site, IterationBudget: 1000000, MaxDuration: durationpb.New(3 * time.Second)})
	must(t, err)
	var metadata schedulingpb.SolveScheduleMetadata
	eventually(t, "a first schedule", func() bool {
		op, err = h.operations.GetOperation(t.Context(), &longrunningpb.GetOperationRequest{Name: op.GetName()})
		must(t, err)
		must(t, op.GetMetadata().UnmarshalTo(&metadata))
		return metadata.GetBestCost() != nil
	})
	h.stop()

	h = w.open(t)
	op, err = h.operations.WaitOperation(t.Context(), &longrunningpb.WaitOperationRequest{Name: op.GetName(), Timeout: durationpb.New(25 * time.Second)})
	must(t, err)
	var out schedulingpb.Schedule
	if op.GetResponse() == nil {
		t.Fatalf("ended with %v", op)
	}
	must(t, op.GetResponse().UnmarshalTo(&out))
	if len(out.GetAssignments()) != 15 {
		t.Errorf("placed %d steps: %v", len(out.GetAssignments()), out.GetReport())
	}
}

func TestNewNamesEverythingThatIsMissing(t *testing.T) {
	_, err := server.New(t.Context(), server.Deps{})
	if err == nil || !strings.Contains(err.Error(), "DB") || !strings.Contains(err.Error(), "Peers") {
		t.Errorf("got %v", err)
	}
}
