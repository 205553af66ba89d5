package grpcapi_test

import (
	"context"
	"fmt"
	"io"
	"log/slog"
	"path/filepath"
	"sort"
	"strings"
	"sync"
	"testing"
	"time"

	"cloud.google.com/go/longrunning/autogen/longrunningpb"
	"google.golang.org/grpc"
	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/status"
	"google.golang.org/protobuf/types/known/durationpb"
	"google.golang.org/protobuf/types/known/fieldmaskpb"
	"google.golang.org/protobuf/types/known/timestamppb"

	"rondeau.internal/pkg/apierr"
	"rondeau.internal/pkg/auth"
	"rondeau.internal/pkg/clock"
	schedulingpb "rondeau.internal/pkg/gen/rondeau/scheduling/v1"
	"rondeau.internal/pkg/outbox"
	"rondeau.internal/pkg/rpc"
	"rondeau.internal/pkg/sqldb"
	"rondeau.internal/pkg/sqldb/sqldbtest"
	"rondeau.internal/services/scheduling"
	"rondeau.internal/services/scheduling/events"
	"rondeau.internal/services/scheduling/grpcapi"
	"rondeau.internal/services/scheduling/sqlite"
)

const site = "sites/quay"

var monday = time.Date(2026, 11, 23, 6, 0, 0, 0, time.UTC)

// planning is a fake of the service planning with one batch.
type planning struct{ batch scheduling.Batch }

func (p planning) OpenBatches(context.Context, string, string) ([]scheduling.Batch, error) {
	return []scheduling.Batch{p.batch}, nil
}

func (p planning) Batch(_ context.Context, name string) (scheduling.Batch, error) {
	if name != p.batch.Name {
		return scheduling.Batch{}, apierr.NotFound(scheduling.BatchNotReleased, name).With("batch", name)
	}
	return p.batch, nil
}

func (p planning) Site(context.Context, string) (scheduling.SiteFacts, error) {
	return scheduling.SiteFacts{TimeZone: "Europe/Lisbon"}, nil
}

type ids struct{ n int }

func (i *ids) NewID(prefix string) string { i.n++; return fmt.Sprintf("%s-%d", prefix, i.n) }
func (i *ids) NewUID() string             { return i.NewID("uid") }

// api is the service behind the real interceptors.
type api struct {
	schedulingpb.SchedulingServiceClient
	operations longrunningpb.OperationsClient
	clock      *clock.Fake
	db         *sqldb.DB
	server     *rpc.Server
	stopWorker func()
	as         func(role auth.Role) schedulingpb.SchedulingServiceClient
}

func must(t *testing.T, err error) {
	t.Helper()
	if err != nil {
		t.Fatal(err)
	}
}

func newAPI(t *testing.T) *api {
	t.Helper()
	db := sqldbtest.SQLite(t)
	must(t, outbox.Migrate(t.Context(), db))
	store, err := sqlite.New(t.Context(), db)
	must(t, err)
	logger := slog.New(slog.NewTextHandler(io.Discard, nil))
	hold := time.Hour
	fake := clock.NewFake(monday)
	domain, err := scheduling.New(scheduling.Deps{
		Store: store, Events: events.NewOutbox(db), Clock: fake, IDs: &ids{}, Logger: logger,
		Planning: planning{scheduling.Batch{
			Name: site + "/batches/b1", DisplayName: "Jus 40 L", State: scheduling.BatchReleased, Due: monday.Add(24 * time.Hour), Weight: 1,
			Steps: []scheduling.Step{{
				ID: "simmer", DisplayName: "Simmer", Kind: scheduling.KindSimmer, VesselClasses: []string{"kettle"}, CrewCount: 1, Attendance: scheduling.AttendWhole,
				FillLiters: 40, Duration: scheduling.DurationModel{Fixed: &hold},
			}},
		}},
	})
	must(t, err)
	server, err := grpcapi.New(domain)
	must(t, err)
	keys, err := auth.LoadOrCreateKeys(filepath.Join(t.TempDir(), "keys"))
	must(t, err)
	stores := map[string]*sqldb.DB{}
	for _, name := range grpcapi.ServiceNames() {
		stores[name] = db
	}
	rpcServer, err := rpc.NewServer(rpc.ServerConfig{Logger: logger, Verifier: keys.Verifier(), Stores: stores, Clock: fake}, server.Register)
	must(t, err)
	pipe := rpc.NewPipe()
	served := make(chan error, 1)
	go func() { served <- rpcServer.Serve(pipe) }()
	ctx, stop := context.WithCancel(context.Background())
	worked := make(chan error, 1)
	go func() {
		worked <- scheduling.NewWorker(domain, scheduling.WorkerTiming{Poll: 10 * time.Millisecond}).Run(ctx)
	}()
	stopWorker := sync.OnceFunc(func() {
		stop()
		if err := <-worked; err != nil {
			t.Error(err)
		}
	})
	t.Cleanup(func() {
		stopWorker()
		if err := rpcServer.Stop(context.Background()); err != nil {
			t.Error(err)
		}
		if err := <-served; err != nil {
			t.Error(err)
		}
	})
	dial := func(role auth.Role) *grpc.ClientConn {
		t.Helper()
		principal := auth.Principal{Subject: "ines", Role: role}
		if role == auth.Outlet {
			principal.Outlet = site + "/outlets/o1"
		}
		token, err := keys.Sign(principal, time.Hour)
		must(t, err)
		conn, err := rpc.Dial("pipe", rpc.DialConfig{Pipe: pipe, Token: func() string { return token }})
		must(t, err)
		t.Cleanup(func() { _ = conn.Close() }) // at the end of a test nothing depends on it
		return conn
	}
	manager := dial(auth.Manager)
	return &api{
		SchedulingServiceClient: schedulingpb.NewSchedulingServiceClient(manager), operations: longrunningpb.NewOperationsClient(manager), clock: fake, db: db, server: rpcServer,
		stopWorker: stopWorker,
		as: func(role auth.Role) schedulingpb.SchedulingServiceClient {
			return schedulingpb.NewSchedulingServiceClient(dial(role))
		},
	}
}

// masters creates a calendar, a crew and a kettle.
func (a *api) masters(t *testing.T) {
	t.Helper()
	calendar := &schedulingpb.Calendar{DisplayName: "Day", TimeZone: "Europe/Lisbon"}
	for day := schedulingpb.Calendar_MONDAY; day <= schedulingpb.Calendar_SUNDAY; day++ {
		calendar.WeeklyShifts = append(calendar.WeeklyShifts, &schedulingpb.Calendar_WeeklyShift{Weekday: day, StartClock: "06:00", EndClock: "22:00"})
	}
	_, err := a.CreateCalendar(t.Context(), &schedulingpb.CreateCalendarRequest{Parent: site, CalendarId: "day", Calendar: calendar})
	must(t, err)
	_, err = a.CreateCrew(t.Context(), &schedulingpb.CreateCrewRequest{Parent: site, CrewId: "cooks", Crew: &schedulingpb.Crew{DisplayName: "Cooks", Headcount: 2, Calendar: site + "/calendars/day"}})
	must(t, err)
	_, err = a.CreateVessel(t.Context(), &schedulingpb.CreateVesselRequest{Parent: site, VesselId: "kettle-1", Vessel: kettle()})
	must(t, err)
}

func kettle() *schedulingpb.Vessel {
	return &schedulingpb.Vessel{
		DisplayName: "Kettle 1", VesselClass: "kettle", PowerWatts: 24000, Efficiency: 0.5, HeatSource: schedulingpb.Vessel_ELECTRIC, MaxFillLiters: 120,
		Shape:    &schedulingpb.Vessel_Hemisphere_{Hemisphere: &schedulingpb.Vessel_Hemisphere{DiameterMeters: 0.6, WallHeightMeters: 0.4}},
		Cleaning: &schedulingpb.Vessel_Cleaning{DefaultDuration: durationpb.New(20 * time.Minute), Crew: site + "/crews/cooks"},
	}
}

// refused asserts code, reason and words of the message.
func refused(t *testing.T, err error, code codes.Code, reason string, words ...string) {
	t.Helper()
	if status.Code(err) != code || apierr.ReasonOf(err) != reason {
		t.Errorf("got %v (%s), want %s %s", err, apierr.ReasonOf(err), code, reason)
		return
	}
	for _, w := range words {
		if !strings.Contains(err.Error(), w) {
			t.Errorf("%q does not say %q", err.Error(), w)
		}
	}
}

func TestEveryReasonOfTheDomainIsInTheProto(t *testing.T) {
	t.Parallel()
	// Kept by hand beside errors.go; the comparison goes both ways for the domain's own reasons.
	domain := []string{
		scheduling.VesselMissing, scheduling.VesselExists, scheduling.VesselInvalid, scheduling.VesselDown, scheduling.VesselNotDown, scheduling.VesselOccupied,
		scheduling.VesselUnsuitable, scheduling.CalendarMissing, scheduling.CalendarExists, scheduling.CalendarInvalid, scheduling.CrewMissing, scheduling.CrewExists,
		scheduling.CrewInvalid, scheduling.LimitsInvalid, scheduling.ScheduleMissing, scheduling.ScheduleNotDraft, scheduling.ScheduleEmpty, scheduling.ScheduleBroken,
		scheduling.ScheduleOutdated, scheduling.NoBatches, scheduling.BatchNotReleased, scheduling.BatchInvalid, scheduling.RunMissing, scheduling.RunNotPlanned,
		scheduling.RunNotRunning, scheduling.PreviousStepNotFinished, scheduling.TimeImplausible, scheduling.MeasurementMissing, scheduling.MeasurementExists,
		scheduling.MeasurementImplausible, scheduling.ForecastNotPossible, scheduling.OperationMissing, scheduling.SolveInterrupted, scheduling.SolveCancelled,
		scheduling.PlanningUnavailable, scheduling.EtagMismatch, scheduling.Malformed, scheduling.WindowInvalid, scheduling.ProblemInvalid, scheduling.OperationKept,
		scheduling.OutlookNotPossible,
		"RESOURCE_NAME_INVALID", "PAGE_SIZE_INVALID", "PAGE_TOKEN_INVALID", "FILTER_INVALID", "UPDATE_MASK_INVALID",
	}
	var declared []string
	for name, number := range schedulingpb.ErrorReason_value {
		if number != 0 {
			declared = append(declared, name)
		}
	}
	sort.Strings(domain)
	sort.Strings(declared)
	if strings.Join(domain, " ") != strings.Join(declared, " ") {
		t.Errorf("domain  %v\ndeclared %v", domain, declared)
	}
}

func TestMastersKeepEveryField(t *testing.T) {
	t.Parallel()
	a := newAPI(t)
	a.masters(t)
	v, err := a.GetVessel(t.Context(), &schedulingpb.GetVesselRequest{Name: site + "/vessels/kettle-1"})
	must(t, err)
	if v.GetHemisphere().GetWallHeightMeters() != 0.4 || v.GetHeatSource() != schedulingpb.Vessel_ELECTRIC || !v.GetActive() || v.GetState() != schedulingpb.Vessel_AVAILABLE ||
		v.GetCleaning().GetDefaultDuration().AsDuration() != 20*time.Minute || v.GetEtag() == "" || v.GetUid() == "" {
		t.Errorf("vessel: %v", v)
	}
	v, err = a.UpdateVessel(t.Context(), &schedulingpb.UpdateVesselRequest{
		Vessel:     &schedulingpb.Vessel{Name: v.GetName(), DisplayName: "Kettle one", VesselClass: "kettle", Etag: v.GetEtag()},
		UpdateMask: &fieldmaskpb.FieldMask{Paths: []string{"display_name"}},
	})
	must(t, err)
	if v.GetDisplayName() != "Kettle one" || v.GetHemisphere() == nil || v.GetPowerWatts() != 24000 {
		t.Errorf("after the change: %v", v)
	}
	c, err := a.GetCalendar(t.Context(), &schedulingpb.GetCalendarRequest{Name: site + "/calendars/day"})
	must(t, err)
	if len(c.GetWeeklyShifts()) != 7 || c.GetWeeklyShifts()[6].GetWeekday() != schedulingpb.Calendar_SUNDAY || c.GetWeeklyShifts()[0].GetEndClock() != "22:00" {
		t.Errorf("calendar: %v", c)
	}
	limits, err := a.GetKitchenLimits(t.Context(), &schedulingpb.GetKitchenLimitsRequest{Name: site + "/kitchenLimits"})
	must(t, err)
	if limits.GetAirTemperatureCelsius() != scheduling.DefaultAirTemperatureCelsius {
		t.Errorf("default limits: %v", limits)
	}
	weight := int32(3)
	limits, err = a.UpdateKitchenLimits(t.Context(), &schedulingpb.UpdateKitchenLimitsRequest{KitchenLimits: &schedulingpb.KitchenLimits{
		Name: limits.GetName(), ElectricPowerWatts: 60000, Weights: &schedulingpb.KitchenLimits_Weights{Overtime: &weight},
	}})
	must(t, err)
	if limits.GetElectricPowerWatts() != 60000 || limits.GetWeights().GetOvertime() != 3 || limits.GetAirTemperatureCelsius() != scheduling.DefaultAirTemperatureCelsius {
		t.Errorf("limits: %v", limits)
	}
	both, err := a.BatchCreateVessels(t.Context(), &schedulingpb.BatchCreateVesselsRequest{Parent: site, Requests: []*schedulingpb.CreateVesselRequest{
		{Parent: site, VesselId: "kettle-2", Vessel: kettle()}, {Parent: site, VesselId: "kettle-3", Vessel: kettle()},
	}})
	must(t, err)
	if len(both.GetVessels()) != 2 {
		t.Errorf("created %v", both)
	}
	page, err := a.ListVessels(t.Context(), &schedulingpb.ListVesselsRequest{Parent: site, PageSize: 2, Filter: `vessel_class = "kettle" AND active = true`})
	must(t, err)
	rest, err := a.ListVessels(t.Context(), &schedulingpb.ListVesselsRequest{Parent: site, PageSize: 2, PageToken: page.GetNextPageToken(), Filter: `vessel_class = "kettle" AND active = true`})
	must(t, err)
	if len(page.GetVessels()) != 2 || len(rest.GetVessels()) != 1 || rest.GetNextPageToken() != "" {
		t.Errorf("pages of %d and %d", len(page.GetVessels()), len(rest.GetVessels()))
	}
}

func TestBadRequestsAreAnsweredWithCodeReasonAndWords(t *testing.T) {
	t.Parallel()
	a := newAPI(t)
	a.masters(t)
	ctx := t.Context()
	_, err := a.GetVessel(ctx, &schedulingpb.GetVesselRequest{Name: site + "/vessels/none"})
	refused(t, err, codes.NotFound, scheduling.VesselMissing, "vessels/none does not exist")
	_, err = a.CreateVessel(ctx, &schedulingpb.CreateVesselRequest{Parent: site, VesselId: "kettle-1", Vessel: kettle()})
	refused(t, err, codes.AlreadyExists, scheduling.VesselExists)
	small := kettle()
	small.MaxFillLiters = 500
	_, err = a.CreateVessel(ctx, &schedulingpb.CreateVesselRequest{Parent: site, Vessel: small})
	refused(t, err, codes.InvalidArgument, scheduling.VesselInvalid, "correct the fields named")
	_, err = a.UpdateVessel(ctx, &schedulingpb.UpdateVesselRequest{Vessel: &schedulingpb.Vessel{
		Name: site + "/vessels/kettle-1", DisplayName: "x", VesselClass: "kettle", Etag: "v7",
	}})
	refused(t, err, codes.Aborted, scheduling.EtagMismatch, "read it again")
	_, err = a.CreateCalendar(ctx, &schedulingpb.CreateCalendarRequest{Parent: site, Calendar: &schedulingpb.Calendar{DisplayName: "x", TimeZone: "Mars/Olympus"}})
	refused(t, err, codes.InvalidArgument, scheduling.CalendarInvalid)
	_, err = a.CreateCrew(ctx, &schedulingpb.CreateCrewRequest{Parent: site, Crew: &schedulingpb.Crew{DisplayName: "x", Headcount: 1, Calendar: site + "/calendars/none"}})
	refused(t, err, codes.NotFound, scheduling.CalendarMissing)
	_, err = a.CreateCrew(ctx, &schedulingpb.CreateCrewRequest{Parent: site, Crew: &schedulingpb.Crew{DisplayName: "x", Headcount: 0, Calendar: site + "/calendars/day"}})
	refused(t, err, codes.InvalidArgument, rpc.RequestInvalid)
	_, err = a.ListVessels(ctx, &schedulingpb.ListVesselsRequest{Parent: site, Filter: "colour = red"})
	refused(t, err, codes.InvalidArgument, "FILTER_INVALID")
	_, err = a.GetRun(ctx, &schedulingpb.GetRunRequest{Name: site + "/batches/b1/runs/simmer"})
	refused(t, err, codes.NotFound, scheduling.RunMissing)
	_, err = a.operations.GetOperation(ctx, &longrunningpb.GetOperationRequest{Name: site + "/operations/none"})
	refused(t, err, codes.NotFound, scheduling.OperationMissing)
	_, err = a.operations.GetOperation(ctx, &longrunningpb.GetOperationRequest{Name: "operations/1"})
	refused(t, err, codes.InvalidArgument, "RESOURCE_NAME_INVALID")
	_, err = a.operations.DeleteOperation(ctx, &longrunningpb.DeleteOperationRequest{Name: site + "/operations/none"})
	refused(t, err, codes.FailedPrecondition, scheduling.OperationKept)
	_, err = a.EstimateStepDurations(ctx, &schedulingpb.EstimateStepDurationsRequest{Batch: site + "/batches/b2"})
	refused(t, err, codes.NotFound, scheduling.BatchNotReleased)
}

func TestRolesAreKept(t *testing.T) {
	t.Parallel()
	a := newAPI(t)
	a.masters(t)
	ctx := t.Context()
	_, err := a.as(auth.Auditor).ListVessels(ctx, &schedulingpb.ListVesselsRequest{Parent: site})
	must(t, err)
	_, err = a.as(auth.Auditor).TakeVesselDown(ctx, &schedulingpb.TakeVesselDownRequest{Name: site + "/vessels/kettle-1", Reason: "x"})
	refused(t, err, codes.PermissionDenied, auth.RoleNotAllowed)
	_, err = a.as(auth.Cook).TakeVesselDown(ctx, &schedulingpb.TakeVesselDownRequest{Name: site + "/vessels/kettle-1", Reason: "burner"})
	must(t, err)
	_, err = a.as(auth.Cook).SolveSchedule(ctx, &schedulingpb.SolveScheduleRequest{Parent: site})
	refused(t, err, codes.PermissionDenied, auth.RoleNotAllowed)
	_, err = a.as(auth.Outlet).ListRuns(ctx, &schedulingpb.ListRunsRequest{Parent: site + "/batches/-"})
	refused(t, err, codes.PermissionDenied, auth.RoleNotAllowed)
}

func TestARequestSentTwiceActsOnce(t *testing.T) {
	t.Parallel()
	a := newAPI(t)
	a.masters(t)
	req := &schedulingpb.TakeVesselDownRequest{Name: site + "/vessels/kettle-1", Reason: "burner", RequestId: "down-1"}
	first, err := a.TakeVesselDown(t.Context(), req)
	must(t, err)
	again, err := a.TakeVesselDown(t.Context(), req)
	must(t, err)
	if first.GetEtag() != again.GetEtag() || len(again.GetDownWindows()) != 1 {
		t.Errorf("first %v, again %v", first, again)
	}
	count, _, err := outbox.Lag(t.Context(), a.db)
	must(t, err)
	if count != 1 {
		t.Errorf("%d events", count)
	}
	req.Reason = "another"
	_, err = a.TakeVesselDown(t.Context(), req)
	refused(t, err, codes.FailedPrecondition, rpc.RequestIDReused)
}

func TestARunIsScheduledCookedAndMeasuredThroughTheAPI(t *testing.T) {
	t.Parallel()
	a := newAPI(t)
	a.masters(t)
	ctx := t.Context()
	estimates, err := a.EstimateStepDurations(ctx, &schedulingpb.EstimateStepDurationsRequest{Batch: site + "/batches/b1"})
	must(t, err)
	if len(estimates.GetEstimates()) != 1 || estimates.GetEstimates()[0].GetTotalDuration().AsDuration() != time.Hour || estimates.GetCaution() == "" {
		t.Errorf("estimates: %v", estimates)
	}
	op, err := a.SolveSchedule(ctx, &schedulingpb.SolveScheduleRequest{Parent: site, IterationBudget: 20})
	must(t, err)
	op, err = a.operations.WaitOperation(ctx, &longrunningpb.WaitOperationRequest{Name: op.GetName(), Timeout: durationpb.New(20 * time.Second)})
	must(t, err)
	var draft schedulingpb.Schedule
	must(t, op.GetResponse().UnmarshalTo(&draft))
	var metadata schedulingpb.SolveScheduleMetadata
	must(t, op.GetMetadata().UnmarshalTo(&metadata))
	if metadata.GetStage() != schedulingpb.SolveScheduleMetadata_FINISHED || metadata.GetSchedule() != draft.GetName() || len(draft.GetAssignments()) != 1 {
		t.Fatalf("metadata %v, draft %v", &metadata, &draft)
	}
	listed, err := a.ListOperations(ctx, &longrunningpb.ListOperationsRequest{Name: site, Filter: "done = true"})
	must(t, err)
	if len(listed.GetOperations()) != 1 {
		t.Errorf("operations: %v", listed)
	}
	checked, err := a.PublishSchedule(ctx, &schedulingpb.PublishScheduleRequest{Name: draft.GetName(), ValidateOnly: true})
	must(t, err)
	if checked.GetState() != schedulingpb.Schedule_DRAFT {
		t.Errorf("a check published it: %v", checked.GetState())
	}
	published, err := a.PublishSchedule(ctx, &schedulingpb.PublishScheduleRequest{Name: draft.GetName(), Etag: draft.GetEtag()})
	must(t, err)
	run := published.GetAssignments()[0].GetRun()
	next, err := a.ListRuns(ctx, &schedulingpb.ListRunsRequest{Parent: site + "/batches/-", Filter: fmt.Sprintf("state = PLANNED AND vessel = %q", site+"/vessels/kettle-1")})
	must(t, err)
	if len(next.GetRuns()) != 1 || next.GetRuns()[0].GetName() != run {
		t.Errorf("next at the kettle: %v", next)
	}
	a.clock.Set(published.GetAssignments()[0].GetStartTime().AsTime())
	cook := a.as(auth.Cook)
	started, err := cook.StartRun(ctx, &schedulingpb.StartRunRequest{Name: run, Operator: "Rui"})
	must(t, err)
	if started.GetOperator() != "Rui" || started.GetStartRecorder() != "ines" || started.GetForecast().GetCaution() == "" {
		t.Errorf("started: %v", started)
	}
	m, err := cook.RecordMeasurement(ctx, &schedulingpb.RecordMeasurementRequest{Parent: run, Measurement: &schedulingpb.Measurement{
		Value: &schedulingpb.Measurement_Check_{Check: &schedulingpb.Measurement_Check{DisplayName: "bones covered", Passed: true}},
	}})
	must(t, err)
	if m.GetCheck().GetDisplayName() != "bones covered" || m.GetRecordTime() == nil {
		t.Errorf("measurement: %v", m)
	}
	_, err = cook.RecordMeasurement(ctx, &schedulingpb.RecordMeasurementRequest{Parent: run, Measurement: &schedulingpb.Measurement{}})
	refused(t, err, codes.InvalidArgument, rpc.RequestInvalid)
	_, err = cook.RecordMeasurement(ctx, &schedulingpb.RecordMeasurementRequest{Parent: run, Measurement: &schedulingpb.Measurement{
		Value: &schedulingpb.Measurement_MassKg{MassKg: 1}, ObserveTime: timestamppb.New(a.clock.Now().Add(time.Hour)),
	}})
	refused(t, err, codes.InvalidArgument, scheduling.TimeImplausible, "future")
	a.clock.Advance(time.Hour)
	forecast, err := cook.ForecastRun(ctx, &schedulingpb.ForecastRunRequest{Name: run})
	must(t, err)
	if forecast.GetExpectedFinishTime() == nil || forecast.GetBasis() == "" {
		t.Errorf("forecast: %v", forecast)
	}
	finished, err := cook.FinishRun(ctx, &schedulingpb.FinishRunRequest{Name: run, Outputs: []*schedulingpb.Run_Output{{Quantity: &schedulingpb.Run_Output_MassKg{MassKg: 38.5}}}})
	must(t, err)
	if finished.GetState() != schedulingpb.Run_FINISHED || finished.GetOutputs()[0].GetMassKg() != 38.5 || finished.GetMeasurements().GetMeasurementCount() != 1 {
		t.Errorf("finished: %v", finished)
	}
	_, err = cook.AbortRun(ctx, &schedulingpb.AbortRunRequest{Name: run, Reason: "x"})
	refused(t, err, codes.FailedPrecondition, scheduling.RunNotRunning, "finished already")
	measurements, err := a.ListMeasurements(ctx, &schedulingpb.ListMeasurementsRequest{Parent: run})
	must(t, err)
	if len(measurements.GetMeasurements()) != 1 {
		t.Errorf("measurements: %v", measurements)
	}
}
