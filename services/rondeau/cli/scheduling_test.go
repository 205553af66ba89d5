package cli

import (
	"bytes"
	"context"
	"encoding/xml"
	"errors"
	"flag"
	"net"
	"os"
	"path/filepath"
	"strings"
	"sync"
	"testing"
	"time"

	"cloud.google.com/go/longrunning/autogen/longrunningpb"
	rpcstatus "google.golang.org/genproto/googleapis/rpc/status"
	"google.golang.org/grpc"
	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/credentials/insecure"
	"google.golang.org/grpc/status"
	"google.golang.org/grpc/test/bufconn"
	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/types/known/durationpb"
	"google.golang.org/protobuf/types/known/emptypb"
	"google.golang.org/protobuf/types/known/timestamppb"

	foodsafetypb "rondeau.internal/pkg/gen/rondeau/foodsafety/v1"
	planningpb "rondeau.internal/pkg/gen/rondeau/planning/v1"
	schedulingpb "rondeau.internal/pkg/gen/rondeau/scheduling/v1"
)

var updateBoard = flag.Bool("update-board", false, "rewrite the golden board")

// boardSite is an invented kitchen whose answers are fixed, so that a board can be compared letter by letter.
const boardSite = "sites/harbour"

func boardTime(day, hour, minute int) *timestamppb.Timestamp {
	return timestamppb.New(time.Date(2027, 3, 22+day, hour, minute, 0, 0, time.UTC)) // Lisbon's winter time
}

type fakePlanning struct {
	planningpb.UnimplementedPlanningServiceServer
}

func (fakePlanning) GetSite(context.Context, *planningpb.GetSiteRequest) (*planningpb.Site, error) {
	return &planningpb.Site{Name: boardSite, DisplayName: "Harbour Kitchen", TimeZone: "Europe/Lisbon"}, nil
}

func (fakePlanning) GetOrder(_ context.Context, req *planningpb.GetOrderRequest) (*planningpb.Order, error) {
	return &planningpb.Order{Name: req.GetName(), DispatchTime: boardTime(1, 14, 0)}, nil
}

func (fakePlanning) GetBatch(_ context.Context, req *planningpb.GetBatchRequest) (*planningpb.Batch, error) {
	stock, jus := boardSite+"/items/brown-stock", boardSite+"/items/jus"
	chill := []*planningpb.BatchStep{{Step: &planningpb.Step{StepId: "chill", LimitsProfile: boardSite + "/limitsProfiles/own"}}}
	switch strings.TrimPrefix(req.GetName(), boardSite+"/batches/") {
	case "stock":
		return &planningpb.Batch{Name: req.GetName(), DisplayName: "Brown stock, 100 kg, for 2027-03-23", OutputItem: stock, Steps: chill, DueTime: boardTime(1, 12, 0), Pegs: []*planningpb.Peg{
			{Order: boardSite + "/outlets/pier/orders/o1"}, {Order: boardSite + "/outlets/pier/orders/o1"}, {Par: boardSite + "/pars/p"}, {Order: boardSite + "/outlets/hill/orders/o2"},
		}}, nil
	case "jus":
		return &planningpb.Batch{Name: req.GetName(), DisplayName: "Jus, 9 kg, for 2027-03-23", OutputItem: jus, DueTime: boardTime(1, 10, 0), Pegs: []*planningpb.Peg{{Order: boardSite + "/outlets/pier/orders/o1"}}}, nil
	case "packs":
		return &planningpb.Batch{
			Name: req.GetName(), DisplayName: "Brown stock 1 kg, 90 packs, for 2027-03-24", Product: boardSite + "/products/stock-1kg", OutputItem: boardSite + "/items/stock-1kg",
			Inputs: []*planningpb.BatchInput{{Item: boardSite + "/items/bags", MassKg: 1}, {Item: stock, MassKg: 90}},
		}, nil
	}
	return nil, status.Error(codes.NotFound, "there is no such batch")
}

type fakeSafety struct {
	foodsafetypb.UnimplementedFoodSafetyServiceServer
	away bool
}

func (f *fakeSafety) GetLimitsProfile(context.Context, *foodsafetypb.GetLimitsProfileRequest) (*foodsafetypb.LimitsProfile, error) {
	if f.away {
		return nil, status.Error(codes.NotFound, "profile own is not there")
	}
	return &foodsafetypb.LimitsProfile{DisplayName: "Own limits", Stages: []*foodsafetypb.LimitsProfile_Stage{
		{WithinDuration: durationpb.New(2 * time.Hour)}, {WithinDuration: durationpb.New(6 * time.Hour)},
	}}, nil
}

// fakeScheduling answers a watch with the next of its streams.
type fakeScheduling struct {
	schedulingpb.UnimplementedSchedulingServiceServer
	mu        sync.Mutex
	streams   []func(stream grpc.ServerStreamingServer[schedulingpb.WatchOperationResponse]) error
	schedule  *schedulingpb.Schedule
	solved    int
	cancelled int
}

func (f *fakeScheduling) ListVessels(context.Context, *schedulingpb.ListVesselsRequest) (*schedulingpb.ListVesselsResponse, error) {
	vessel := func(id, name, class string) *schedulingpb.Vessel {
		return &schedulingpb.Vessel{Name: boardSite + "/vessels/" + id, DisplayName: name, VesselClass: class}
	}
	kettle := vessel("kettle-1", "Kettle 1", "kettle")
	kettle.DownWindows = []*schedulingpb.Vessel_DownWindow{{StartTime: boardTime(1, 9, 0), Reason: "burner"}}
	return &schedulingpb.ListVesselsResponse{Vessels: []*schedulingpb.Vessel{
		vessel("pan", "Wide pan", "rondeau"), kettle, vessel("kettle-2", "Kettle 2", "kettle"), vessel("blast", "Blast chiller", "blast-chiller"),
	}}, nil
}

func (f *fakeScheduling) ListCrews(context.Context, *schedulingpb.ListCrewsRequest) (*schedulingpb.ListCrewsResponse, error) {
	return &schedulingpb.ListCrewsResponse{Crews: []*schedulingpb.Crew{
		{Name: boardSite + "/crews/day", Calendar: boardSite + "/calendars/day", Active: proto.Bool(true)}, {Name: boardSite + "/crews/gone", Calendar: boardSite + "/calendars/always", Active: proto.Bool(false)},
	}}, nil
}

func (f *fakeScheduling) ListCalendars(context.Context, *schedulingpb.ListCalendarsRequest) (*schedulingpb.ListCalendarsResponse, error) {
	return &schedulingpb.ListCalendarsResponse{Calendars: []*schedulingpb.Calendar{dayCalendar(), {
		Name: boardSite + "/calendars/always", TimeZone: "UTC", WeeklyShifts: []*schedulingpb.Calendar_WeeklyShift{{Weekday: schedulingpb.Calendar_MONDAY, StartClock: "00:00", EndClock: "24:00"}},
	}}}, nil
}

// dayCalendar is Monday and Tuesday from 06:00 to 20:00, on Tuesday, 23 March 2027 from 08:00.
func dayCalendar() *schedulingpb.Calendar {
	return &schedulingpb.Calendar{
		Name: boardSite + "/calendars/day", TimeZone: "Europe/Lisbon",
		WeeklyShifts: []*schedulingpb.Calendar_WeeklyShift{
			{Weekday: schedulingpb.Calendar_MONDAY, StartClock: "06:00", EndClock: "14:00"},
			{Weekday: schedulingpb.Calendar_MONDAY, StartClock: "13:30", EndClock: "20:00"},
			{Weekday: schedulingpb.Calendar_TUESDAY, StartClock: "06:00", EndClock: "20:00"},
			{Weekday: schedulingpb.Calendar_SUNDAY, StartClock: "22:00", EndClock: "02:00"},
		},
		Exceptions: []*schedulingpb.Calendar_DayException{{ExceptionDate: "2027-03-23", Spans: []*schedulingpb.Calendar_ClockSpan{{StartClock: "08:00", EndClock: "20:00"}}}},
	}
}

func (f *fakeScheduling) GetSchedule(_ context.Context, req *schedulingpb.GetScheduleRequest) (*schedulingpb.Schedule, error) {
	if req.GetName() != f.schedule.GetName() {
		return nil, status.Error(codes.NotFound, "there is no such schedule")
	}
	return f.schedule, nil
}

func (f *fakeScheduling) AssessSchedule(_ context.Context, req *schedulingpb.AssessScheduleRequest) (*schedulingpb.Outlook, error) {
	out := proto.CloneOf(f.schedule.GetOutlook())
	out.SampleCount = req.GetSampleCount()
	return out, nil
}

func (f *fakeScheduling) EstimateFinishes(_ context.Context, req *schedulingpb.EstimateFinishesRequest) (*schedulingpb.EstimateFinishesResponse, error) {
	out := &schedulingpb.EstimateFinishesResponse{Schedule: f.schedule.GetName()}
	for _, q := range req.GetQuestions() {
		p := 0.5
		if q.GetBatch() == boardSite+"/batches/stock" && q.GetFinishByTime().AsTime().Equal(boardTime(1, 14, 0).AsTime()) {
			p = 0.9
		}
		out.Finishes = append(out.Finishes, &schedulingpb.EstimateFinishesResponse_Finish{Batch: q.GetBatch(), DoneProbability: &p})
	}
	return out, nil
}

func (f *fakeScheduling) ListSchedules(context.Context, *schedulingpb.ListSchedulesRequest) (*schedulingpb.ListSchedulesResponse, error) {
	return &schedulingpb.ListSchedulesResponse{Schedules: []*schedulingpb.Schedule{f.schedule}}, nil
}

func (f *fakeScheduling) SolveSchedule(context.Context, *schedulingpb.SolveScheduleRequest) (*longrunningpb.Operation, error) {
	f.mu.Lock()
	defer f.mu.Unlock()
	f.solved++
	return &longrunningpb.Operation{Name: boardSite + "/operations/o1"}, nil
}

func (f *fakeScheduling) CancelOperation(context.Context, *longrunningpb.CancelOperationRequest) (*emptypb.Empty, error) {
	f.mu.Lock()
	defer f.mu.Unlock()
	f.cancelled++
	return &emptypb.Empty{}, nil
}

func (f *fakeScheduling) WatchOperation(_ *schedulingpb.WatchOperationRequest, stream grpc.ServerStreamingServer[schedulingpb.WatchOperationResponse]) error {
	f.mu.Lock()
	if len(f.streams) == 0 {
		f.mu.Unlock()
		return status.Error(codes.Internal, "watched once too often")
	}
	next := f.streams[0]
	f.streams = f.streams[1:]
	f.mu.Unlock()
	return next(stream)
}

// boardSchedule places a stock, the jus made of it, which is late, and its packs.
func boardSchedule() *schedulingpb.Schedule {
	place := func(batch, step, name, vessel string, from, to *timestamppb.Timestamp) *schedulingpb.Schedule_Assignment {
		if vessel != "" {
			vessel = boardSite + "/vessels/" + vessel
		}
		return &schedulingpb.Schedule_Assignment{Batch: boardSite + "/batches/" + batch, StepId: step, DisplayName: name, Vessel: vessel, StartTime: from, EndTime: to, HeldUntilTime: to}
	}
	simmer := place("stock", "simmer", "Simmer", "kettle-1", boardTime(0, 6, 30), boardTime(0, 15, 0))
	simmer.HeldUntilTime = boardTime(0, 17, 0)
	simmer.Cleanings = []*schedulingpb.Schedule_CleaningRun{{Vessel: boardSite + "/vessels/kettle-1", StartTime: boardTime(0, 6, 0), EndTime: boardTime(0, 6, 30)}}
	strain := place("stock", "strain", "Strain", "", boardTime(0, 17, 0), boardTime(0, 17, 30))
	strain.AdditionalVessels = []string{boardSite + "/vessels/kettle-2"}
	return &schedulingpb.Schedule{
		Name: boardSite + "/schedules/s1", Plan: boardSite + "/plans/w12", State: schedulingpb.Schedule_DRAFT, StartTime: boardTime(0, 6, 0), EndTime: boardTime(1, 13, 20),
		Assignments: []*schedulingpb.Schedule_Assignment{
			simmer, strain, place("stock", "chill", "Chill", "blast", boardTime(0, 17, 30), boardTime(0, 21, 0)),
			place("jus", "reduce", "Reduce", "pan", boardTime(1, 8, 0), boardTime(1, 13, 0)),
			place("packs", "freeze", "Freeze", "blast", boardTime(1, 9, 0), boardTime(1, 13, 20)),
		},
		Report: &schedulingpb.Schedule_Report{
			Status: schedulingpb.Schedule_Report_FEASIBLE, Gap: 0.125, Summary: "All 5 steps are placed; Jus, 9 kg, for 2027-03-23 will be 3 h late.", Caution: "It supports and does not replace the HACCP plan.",
			LateBatches: []*schedulingpb.Schedule_LateBatch{{
				Batch: boardSite + "/batches/jus", DueTime: boardTime(1, 10, 0), EndTime: boardTime(1, 13, 0), Delay: durationpb.New(3 * time.Hour),
				Reasons: []string{"Reduce of Jus waits until Tue 23 Mar 08:00, because nobody is on shift before."},
			}},
		},
		Outlook: boardOutlook(),
	}
}

// boardOutlook is sure of nothing, least of the jus.
func boardOutlook() *schedulingpb.Outlook {
	batch := func(id, name string, due, end *timestamppb.Timestamp, sure *float64, causes ...*schedulingpb.Outlook_Cause) *schedulingpb.Outlook_BatchOutlook {
		out := &schedulingpb.Outlook_BatchOutlook{
			Batch: boardSite + "/batches/" + id, DisplayName: name, DueTime: due, PlannedEndTime: end, OnTimeProbability: sure, Causes: causes,
			FinishP50Time: timestamppb.New(end.AsTime().Add(10 * time.Minute)), FinishP80Time: timestamppb.New(end.AsTime().Add(time.Hour)),
			FinishP95Time: timestamppb.New(end.AsTime().Add(15 * time.Hour)),
		}
		if due != nil {
			out.SlackDuration = durationpb.New(due.AsTime().Sub(end.AsTime()))
		}
		return out
	}
	return &schedulingpb.Outlook{
		Schedule: boardSite + "/schedules/s1", AssessTime: boardTime(0, 6, 0), SampleCount: 1000, AllOnTimeProbability: 0, ExpectedLateBatchCount: 1.19,
		Batches: []*schedulingpb.Outlook_BatchOutlook{
			batch("jus", "Jus, 9 kg, for 2027-03-23", boardTime(1, 10, 0), boardTime(1, 13, 0), proto.Float64(0), &schedulingpb.Outlook_Cause{
				Kind: schedulingpb.Outlook_Cause_PLAN, LateFraction: 1, Text: "the plan leaves too little time (nearly all of its late ends)",
			}),
			batch("stock", "Brown stock, 100 kg, for 2027-03-23", boardTime(1, 12, 0), boardTime(0, 21, 0), proto.Float64(0.8125), &schedulingpb.Outlook_Cause{
				Kind: schedulingpb.Outlook_Cause_STEP, LateFraction: 0.7, Batch: boardSite + "/batches/stock", StepId: "simmer", Vessel: boardSite + "/vessels/kettle-1",
				Text: "Simmer in Kettle 1 takes 50 min longer than planned (70 % of its late ends)",
			}),
			batch("packs", "Brown stock 1 kg, 90 packs, for 2027-03-24", nil, boardTime(1, 13, 20), nil),
		},
		Waits:   []*schedulingpb.Outlook_Wait{{Text: "Brown stock, 100 kg may wait longer than 1 h after Simmer: with 4 %, then 25 min longer"}},
		Buffers: []*schedulingpb.Outlook_Buffer{{Text: "begin Simmer of Brown stock, 100 kg and 2 more steps 1 h earlier, at Mon 22 Mar 05:30: 0.09 batches more in time on average"}},
		Spreads: []*schedulingpb.Outlook_Spread{
			{Kind: schedulingpb.StepKind_REDUCE, VesselClass: "rondeau", StepCount: 1, P10Factor: 0.81, P50Factor: 1.02, P90Factor: 1.28, RunCount: 2, Basis: "7 measurements in 2 runs show about 96 % of the heat stated (90 to 103 %)"},
			{Kind: schedulingpb.StepKind_STRAIN, StepCount: 1, P10Factor: 0.79, P50Factor: 1, P90Factor: 1.26, Basis: "work by hand (common practice, no source)"},
		},
		Summary:  "All 2 batches with a due time are in time with less than 1 %; least sure is Jus, 9 kg, for 2027-03-23 with less than 1 %.",
		Cautions: []string{"It supports and does not replace the HACCP plan."},
	}
}

// harbour is an app whose suite is made of the fakes.
type harbour struct {
	t       *testing.T
	fake    *fakeScheduling
	safety  *fakeSafety
	conn    *grpc.ClientConn
	out     bytes.Buffer
	errText bytes.Buffer
}

func newHarbour(t *testing.T) *harbour {
	t.Helper()
	t.Setenv("COLUMNS", "100")
	h := &harbour{t: t, fake: &fakeScheduling{schedule: boardSchedule()}, safety: &fakeSafety{}}
	listener := bufconn.Listen(1 << 16)
	server := grpc.NewServer()
	schedulingpb.RegisterSchedulingServiceServer(server, h.fake)
	planningpb.RegisterPlanningServiceServer(server, fakePlanning{})
	foodsafetypb.RegisterFoodSafetyServiceServer(server, h.safety)
	served := make(chan error, 1)
	go func() { served <- server.Serve(listener) }()
	var err error
	h.conn, err = grpc.NewClient("passthrough:///harbour", grpc.WithTransportCredentials(insecure.NewCredentials()),
		grpc.WithContextDialer(func(ctx context.Context, _ string) (net.Conn, error) { return listener.DialContext(ctx) }))
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() {
		_ = h.conn.Close() // at the end nothing depends on it
		server.Stop()
		if err := <-served; err != nil {
			t.Error(err)
		}
	})
	return h
}

func (h *harbour) run(ctx context.Context, args ...string) error {
	h.out.Reset()
	h.errText.Reset()
	a := &app{in: strings.NewReader(""), out: &h.out, err: &h.errText, conns: map[string]*grpc.ClientConn{"suite": h.conn}}
	root := a.root()
	root.SetArgs(append([]string{"--site", "harbour"}, args...))
	return root.ExecuteContext(ctx)
}

// searchState is a message of a watch.
func searchState(stage schedulingpb.SolveScheduleMetadata_Stage, tried int32, schedule string) *schedulingpb.WatchOperationResponse {
	m := &schedulingpb.SolveScheduleMetadata{
		Stage: stage, IterationCount: tried, IterationBudget: 500, StepCount: 5, Schedule: schedule, ElapsedDuration: durationpb.New(time.Duration(tried) * 10 * time.Millisecond), Gap: 0.125,
		Bound: &schedulingpb.Schedule_Cost{Tardiness: 9000, Rest: 70}, LateBatchCount: 1, LateDuration: durationpb.New(3 * time.Hour), BestCost: &schedulingpb.Schedule_Cost{Tardiness: 10800, Rest: 80},
	}
	return &schedulingpb.WatchOperationResponse{Name: boardSite + "/operations/o1", Metadata: m, Done: stage >= schedulingpb.SolveScheduleMetadata_FINISHED}
}

func tells(messages ...*schedulingpb.WatchOperationResponse) func(grpc.ServerStreamingServer[schedulingpb.WatchOperationResponse]) error {
	return func(stream grpc.ServerStreamingServer[schedulingpb.WatchOperationResponse]) error {
		for _, m := range messages {
			if err := stream.Send(m); err != nil {
				return err
			}
		}
		return nil
	}
}

const (
	solving   = schedulingpb.SolveScheduleMetadata_SOLVING
	finished  = schedulingpb.SolveScheduleMetadata_FINISHED
	cancelled = schedulingpb.SolveScheduleMetadata_CANCELLED
)

// goldenText compares an output with the one kept.
func goldenText(t *testing.T, name, got string) {
	t.Helper()
	path := filepath.Join("testdata", name)
	if *updateBoard {
		if err := os.WriteFile(path, []byte(got), 0o644); err != nil {
			t.Fatal(err)
		}
	}
	want, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	if got != string(want) {
		t.Errorf("it differs from %s; look at it and rewrite it with -update-board\n%s", path, got)
	}
}

func TestTheBoardOfASchedule(t *testing.T) {
	h := newHarbour(t)
	if err := h.run(t.Context(), "schedule", "board"); err != nil {
		t.Fatal(err)
	}
	goldenText(t, "board.txt", h.out.String())
}

func TestASearchIsShownAndItsScheduleDrawn(t *testing.T) {
	h := newHarbour(t)
	svg := filepath.Join(t.TempDir(), "week.svg")
	h.fake.streams = append(h.fake.streams, tells(searchState(solving, 200, ""), searchState(solving, 300, ""), searchState(finished, 500, boardSite+"/schedules/s1")))
	if err := h.run(t.Context(), "schedule", "solve", "w12", "--svg", svg); err != nil {
		t.Fatal(err)
	}
	if !strings.HasPrefix(h.errText.String(), "  2 s  1 late by 3h, by weight 3 h, bound 2 h, gap 12.5 %, 200 of 500 plans\n  5 s  ") || strings.Contains(h.errText.String(), "\r") {
		t.Errorf("said %q", h.errText.String())
	}
	for _, words := range []string{"Harbour Kitchen, plan w12, s1 (draft)", "Kettle 1", "B1!!!", "is late by 3 h"} {
		if !strings.Contains(h.out.String(), words) {
			t.Errorf("does not show %q:\n%s", words, h.out.String())
		}
	}
	drawn, err := os.ReadFile(svg)
	if err != nil {
		t.Fatal(err)
	}
	if err := xml.Unmarshal(drawn, new(struct{ XMLName xml.Name })); err != nil {
		t.Error(err)
	}
	for _, words := range []string{"plan w12", "cooling limit Mon 22 Mar 23:30", "B1 late", "the last limit of Own limits", "burner", "gap"} {
		if !strings.Contains(strings.ToLower(string(drawn)), strings.ToLower(words)) {
			t.Errorf("the picture does not say %q", words)
		}
	}
	left, err := filepath.Glob(filepath.Join(filepath.Dir(svg), ".*"))
	if err != nil || len(left) > 0 {
		t.Errorf("left behind: %v %v", left, err)
	}
}

func TestASearchInJSONPrintsTheScheduleAlone(t *testing.T) {
	h := newHarbour(t)
	h.fake.streams = append(h.fake.streams, tells(searchState(solving, 200, ""), searchState(finished, 500, boardSite+"/schedules/s1")))
	if err := h.run(t.Context(), "-o", "json", "schedule", "solve"); err != nil {
		t.Fatal(err)
	}
	if h.errText.Len() > 0 || !strings.HasPrefix(h.out.String(), "{") || !strings.Contains(h.out.String(), `"sites/harbour/schedules/s1"`) {
		t.Errorf("printed %q and %q", h.out.String(), h.errText.String())
	}
}

func TestABrokenStreamIsTakenUpAgain(t *testing.T) {
	h := newHarbour(t)
	h.fake.streams = append(h.fake.streams,
		func(stream grpc.ServerStreamingServer[schedulingpb.WatchOperationResponse]) error {
			if err := stream.Send(searchState(solving, 200, "")); err != nil {
				return err
			}
			return status.Error(codes.Unavailable, "the service stops")
		},
		tells(), // a stream that ends before its time
		tells(searchState(finished, 500, boardSite+"/schedules/s1")))
	if err := h.run(t.Context(), "schedule", "solve"); err != nil {
		t.Fatal(err)
	}
	if h.fake.solved != 1 || strings.Count(h.errText.String(), "asking again") != 1 || !strings.Contains(h.out.String(), "Kettle 1") {
		t.Errorf("asked for %d searches, said %q", h.fake.solved, h.errText.String())
	}
}

func TestAnInterruptedSearchKeepsItsBest(t *testing.T) {
	h := newHarbour(t)
	ctx, interrupt := context.WithCancel(t.Context())
	defer interrupt()
	h.fake.streams = append(h.fake.streams,
		func(stream grpc.ServerStreamingServer[schedulingpb.WatchOperationResponse]) error {
			if err := stream.Send(searchState(solving, 200, "")); err != nil {
				return err
			}
			interrupt()
			<-stream.Context().Done()
			return stream.Context().Err()
		},
		tells(searchState(solving, 210, ""), searchState(cancelled, 220, boardSite+"/schedules/s1")))
	if err := h.run(ctx, "schedule", "solve"); err != nil {
		t.Fatal(err)
	}
	if h.fake.cancelled != 1 || !strings.Contains(h.errText.String(), "stopping the search") || !strings.Contains(h.out.String(), "Kettle 1") {
		t.Errorf("cancelled %d times, said %q, printed %q", h.fake.cancelled, h.errText.String(), h.out.String())
	}
}

func TestASearchThatEndsWithoutAScheduleSaysWhy(t *testing.T) {
	h := newHarbour(t)
	failed := searchState(schedulingpb.SolveScheduleMetadata_FAILED, 0, "")
	failed.Error = &rpcstatus.Status{Message: "the data of the kitchen do not make a problem"}
	h.fake.streams = append(h.fake.streams, tells(failed))
	err := h.run(t.Context(), "schedule", "solve")
	if err == nil || err.Error() != "the data of the kitchen do not make a problem" {
		t.Errorf("said %v", err)
	}
	// A schedule that places nothing tells its conflicts; there is no picture of it.
	h.fake.schedule.Assignments = nil
	h.fake.schedule.Report = &schedulingpb.Schedule_Report{Status: schedulingpb.Schedule_Report_INFEASIBLE, Summary: "There is none.", Conflicts: []*schedulingpb.Schedule_Conflict{{
		Text: "Kettle 1 holds 120 L, the batch fills 140 L.", Relaxations: []*schedulingpb.Schedule_Conflict_Relaxation{{Text: "a smaller batch"}},
	}}}
	svg := filepath.Join(t.TempDir(), "none.svg")
	err = h.run(t.Context(), "schedule", "board", "s1", "--svg", svg)
	if err == nil || !strings.Contains(err.Error(), "no picture") || !strings.Contains(h.out.String(), "Conflict: Kettle 1 holds 120 L, the batch fills 140 L. Would help: a smaller batch") {
		t.Errorf("said %v, printed %q", err, h.out.String())
	}
	if _, err := os.Stat(svg); !errors.Is(err, os.ErrNotExist) {
		t.Errorf("a picture of nothing: %v", err)
	}
	// What was proved and tried is said in place of what might help.
	c := h.fake.schedule.Report.Conflicts[0]
	c.Minimal, c.Remedies = true, []*schedulingpb.Schedule_Remedy{{Text: "let it end at 16:10", Least: true, Verified: true}}
	h.out.Reset()
	if err := h.run(t.Context(), "schedule", "board", "s1"); err != nil {
		t.Error(err)
	}
	for _, words := range []string{"Proved conflict: Kettle 1 holds 120 L", "Makes it possible: let it end at 16:10; less is proved not to be enough."} {
		if !strings.Contains(h.out.String(), words) || strings.Contains(h.out.String(), "Would help") {
			t.Errorf("does not print %q: %q", words, h.out.String())
		}
	}
}

func TestAPictureThatCannotBeWrittenIsSaidBeforeTheSearch(t *testing.T) {
	h := newHarbour(t)
	for _, path := range []string{filepath.Join(t.TempDir(), "none", "x.svg"), t.TempDir()} {
		err := h.run(t.Context(), "schedule", "solve", "--svg", path)
		var usage *usageError
		if !errors.As(err, &usage) || !strings.Contains(err.Error(), path) || h.fake.solved > 0 {
			t.Errorf("said %v after %d searches", err, h.fake.solved)
		}
	}
}

func TestShowDrawsAPictureToo(t *testing.T) {
	h := newHarbour(t)
	svg := filepath.Join(t.TempDir(), "s1.svg")
	if err := h.run(t.Context(), "schedule", "show", "s1", "--svg", svg); err != nil {
		t.Fatal(err)
	}
	if info, err := os.Stat(svg); err != nil || info.Size() < 1000 || info.Mode().Perm() != 0o644 {
		t.Errorf("%v %v", info, err)
	}
	if !strings.Contains(h.out.String(), "w12") {
		t.Errorf("printed %q", h.out.String())
	}
	if err := h.run(t.Context(), "schedule", "show", "s2", "--svg", svg); err == nil {
		t.Error("a schedule that is not there was drawn")
	}
}

func TestABoardIsDrawnWithoutWhatCannotBeRead(t *testing.T) {
	h := newHarbour(t)
	h.safety.away = true
	h.fake.schedule.Assignments[4].Batch = boardSite + "/batches/gone"
	svg := filepath.Join(t.TempDir(), "s1.svg")
	if err := h.run(t.Context(), "schedule", "board", "--svg", svg); err != nil {
		t.Fatal(err)
	}
	drawn, err := os.ReadFile(svg)
	if err != nil {
		t.Fatal(err)
	}
	for _, words := range []string{"Not marked, because the limits could not be read: own (profile own", ">gone<"} {
		if !strings.Contains(string(drawn), words) {
			t.Errorf("the picture does not say %q", words)
		}
	}
	if strings.Contains(string(drawn), "cooling limit") || !strings.Contains(h.out.String(), "C1   gone") {
		t.Errorf("printed %s", h.out.String())
	}
}

func TestTheProgressOfATerminalStandsInOneLine(t *testing.T) {
	t.Parallel()
	var out bytes.Buffer
	p := &progressLine{to: &out, terminal: true}
	p.show(searchState(schedulingpb.SolveScheduleMetadata_WAITING, 0, ""))
	p.show(searchState(solving, 100, ""))
	p.say("note")
	p.say("note")
	p.show(searchState(finished, 500, "x"))
	p.end()
	if strings.Count(out.String(), "\r\033[K") != 3 || strings.Count(out.String(), "note\n") != 1 || strings.Count(out.String(), "\n") != 3 {
		t.Errorf("wrote %q", out.String())
	}
	none := searchState(solving, 10, "")
	none.Metadata.BestCost, none.Metadata.Bound = nil, nil
	timely := searchState(solving, 10, "")
	timely.Metadata.LateBatchCount, timely.Metadata.BestCost.Tardiness, timely.Metadata.Bound.Tardiness = 0, 0, 0
	for want, m := range map[string]*schedulingpb.WatchOperationResponse{
		"no schedule yet, 10 of 500 plans": none, "no batch late, best 80, bound 70, gap 12.5 %, 10 of 500 plans": timely,
	} {
		if got := progressWords(m.GetMetadata()); !strings.HasSuffix(got, want) {
			t.Errorf("%q does not end with %q", got, want)
		}
	}
}

func TestOpenTimesFollowShiftsAndExceptions(t *testing.T) {
	t.Parallel()
	from, to := boardTime(0, 0, 0).AsTime(), boardTime(2, 0, 0).AsTime()
	open, err := openTimes(dayCalendar(), from, to)
	if err != nil {
		t.Fatal(err)
	}
	var got []string
	for _, s := range join(open) {
		got = append(got, s.Start.UTC().Format("Mon 15:04")+" "+s.End.UTC().Format("Mon 15:04"))
	}
	// The shift of Sunday night reaches into Monday; the shifts of Monday overlap; Tuesday is an exception.
	if want := "Sun 22:00 Mon 02:00, Mon 06:00 Mon 20:00, Tue 08:00 Tue 20:00"; strings.Join(got, ", ") != want {
		t.Errorf("open %s, want %s", strings.Join(got, ", "), want)
	}
	if _, err := openTimes(&schedulingpb.Calendar{TimeZone: "Nowhere/Else"}, from, to); err == nil {
		t.Error("a zone that is none was taken")
	}
}

// The outlook in words: nothing is said by colour, and an order of an outlet is as sure as the batches made for it.
func TestTheOutlookOfASchedule(t *testing.T) {
	h := newHarbour(t)
	h.fake.schedule.State = schedulingpb.Schedule_PUBLISHED
	if err := h.run(t.Context(), "schedule", "outlook", "s1"); err != nil {
		t.Fatal(err)
	}
	goldenText(t, "outlook.txt", h.out.String())
	if err := h.run(t.Context(), "schedule", "outlook", "s1", "-o", "json"); err != nil {
		t.Fatal(err)
	}
	for _, want := range []string{`"on_time_probability": 0.8125`, `"sample_count": 1000`, `"finish_p95_time"`, `"cautions"`} {
		if !strings.Contains(h.out.String(), want) {
			t.Errorf("JSON lacks %s:\n%s", want, h.out.String())
		}
	}
	if err := h.run(t.Context(), "schedule", "outlook", "s1", "--samples", "50"); err != nil {
		t.Fatal(err)
	}
	if !strings.Contains(h.out.String(), "50 samples") {
		t.Errorf("made anew:\n%s", h.out.String())
	}
	h.fake.schedule.Outlook = &schedulingpb.Outlook{Refusal: "it fits no more", Summary: "How sure the schedule is cannot be said: it fits no more", Cautions: []string{"HACCP"}}
	if err := h.run(t.Context(), "schedule", "outlook", "s1"); err != nil {
		t.Fatal(err)
	}
	if text := h.out.String(); !strings.Contains(text, "cannot be said") || strings.Contains(text, "samples") || !strings.Contains(text, "HACCP") {
		t.Errorf("a refusal:\n%s", text)
	}
}

func TestASearchBoundedByTimeIsShownByTime(t *testing.T) {
	m := &schedulingpb.SolveScheduleMetadata{
		Stage: schedulingpb.SolveScheduleMetadata_FINISHED, BudgetKind: schedulingpb.SolveScheduleMetadata_TIME, IterationCount: 41000, MaxDuration: durationpb.New(10 * time.Second),
		ElapsedDuration: durationpb.New(4 * time.Second), EndReason: schedulingpb.SolveScheduleMetadata_SETTLED,
	}
	if got, want := progressWords(m), "  4 of 10 s  no schedule yet, 41000 plans; nothing better came for long"; got != want {
		t.Errorf("got %q, want %q", got, want)
	}
}
