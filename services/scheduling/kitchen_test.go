package scheduling_test

import (
	"context"
	"fmt"
	"io"
	"log/slog"
	"strings"
	"sync"
	"testing"
	"time"

	"rondeau.internal/pkg/apierr"
	"rondeau.internal/pkg/clock"
	"rondeau.internal/pkg/sqldb"
	"rondeau.internal/pkg/sqldb/sqldbtest"
	"rondeau.internal/services/scheduling"
	"rondeau.internal/services/scheduling/postgres"
	"rondeau.internal/services/scheduling/sqlite"
)

const site = "sites/quay"

// monday is a Monday at 06:00 in Lisbon (UTC in winter).
var monday = time.Date(2026, 11, 23, 6, 0, 0, 0, time.UTC)

// planning is a fake of the service planning that keeps batches.
type planning struct {
	mu      sync.Mutex
	batches map[string]scheduling.Batch
	down    bool
}

func (p *planning) put(b scheduling.Batch) {
	p.mu.Lock()
	defer p.mu.Unlock()
	p.batches[b.Name] = b
}

func (p *planning) answer() error {
	if p.down {
		return apierr.Unavailable(scheduling.PlanningUnavailable, "planning does not answer").With("service", "planning")
	}
	return nil
}

func (p *planning) OpenBatches(_ context.Context, _, plan string) ([]scheduling.Batch, error) {
	p.mu.Lock()
	defer p.mu.Unlock()
	var out []scheduling.Batch
	for _, b := range p.batches {
		if (b.State == scheduling.BatchReleased || b.State == scheduling.BatchInProgress) && (plan == "" || b.Plan == plan) {
			out = append(out, b)
		}
	}
	return out, p.answer()
}

func (p *planning) Batch(_ context.Context, name string) (scheduling.Batch, error) {
	p.mu.Lock()
	defer p.mu.Unlock()
	b, found := p.batches[name]
	if !found {
		return b, apierr.NotFound(scheduling.BatchNotReleased, name)
	}
	return b, p.answer()
}

func (p *planning) Site(context.Context, string) (scheduling.SiteFacts, error) {
	return scheduling.SiteFacts{TimeZone: "Europe/Lisbon"}, p.answer()
}

// facts is a fake of the outbox that keeps what was said.
type facts struct {
	mu   sync.Mutex
	said []string
}

func (f *facts) say(format string, args ...any) error {
	f.mu.Lock()
	defer f.mu.Unlock()
	f.said = append(f.said, fmt.Sprintf(format, args...))
	return nil
}

func id(name string) string { return name[strings.LastIndexByte(name, '/')+1:] }

func ids(names []string) string {
	var out []string
	for _, n := range names {
		out = append(out, id(n))
	}
	return strings.Join(out, ",")
}

func (f *facts) SchedulePublished(_ context.Context, _ scheduling.Schedule, superseded string) error {
	return f.say("schedule published, superseding %v", superseded != "")
}

func (f *facts) RunStarted(_ context.Context, r scheduling.Run) error {
	return f.say("%s started in %s by %s", id(r.Name), id(r.Vessel), r.Operator)
}

func (f *facts) RunFinished(_ context.Context, r scheduling.Run, last bool) error {
	return f.say("%s finished, batch finished %v", id(r.Name), last)
}

func (f *facts) RunAborted(_ context.Context, r scheduling.Run) error {
	return f.say("%s aborted: %s", id(r.Name), r.AbortReason)
}

func (f *facts) VesselDown(_ context.Context, v scheduling.Vessel, w scheduling.DownWindow, planned []string) error {
	return f.say("%s down: %s, planned %s", id(v.Name), w.Reason, ids(planned))
}

func (f *facts) VesselUp(_ context.Context, v scheduling.Vessel, _ string, _ time.Time) error {
	return f.say("%s up", id(v.Name))
}

func (f *facts) ForecastChanged(_ context.Context, r scheduling.Run, _ time.Time, delayed []string) error {
	return f.say("forecast of %s changed, delays %s", id(r.Name), ids(delayed))
}

// numbers makes ids that count up.
type numbers struct {
	mu sync.Mutex
	n  int
}

func (n *numbers) NewID(prefix string) string {
	n.mu.Lock()
	defer n.mu.Unlock()
	n.n++
	return fmt.Sprintf("%s-%d", prefix, n.n)
}

func (n *numbers) NewUID() string { return n.NewID("uid") }

// kitchen is a service over SQLite with fakes of what surrounds it.
type kitchen struct {
	*scheduling.Service
	t        testing.TB
	store    scheduling.Store
	planning *planning
	facts    *facts
	clock    *clock.Fake
}

// newKitchen has two kettles, a pan, a chiller, a shared walk-in and one crew of three from 06:00 to 22:00 every day.
func newKitchen(t testing.TB) *kitchen {
	t.Helper()
	store, err := sqlite.New(t.Context(), sqldbtest.SQLite(t))
	must(t, err)
	return newKitchenOn(t, store)
}

// onBoth runs a test over both databases.
func onBoth(t *testing.T, test func(t *testing.T, k *kitchen)) {
	t.Helper()
	sqldbtest.Each(t, func(t *testing.T, db *sqldb.DB) {
		open := sqlite.New
		if db.Dialect() == sqldb.Postgres {
			open = postgres.New
		}
		store, err := open(t.Context(), db)
		must(t, err)
		test(t, newKitchenOn(t, store))
	})
}

func newKitchenOn(t testing.TB, store scheduling.Store) *kitchen {
	t.Helper()
	k := serviceOn(t, store)
	k.masters()
	return k
}

// serviceOn is a service over a store that may know the kitchen already.
func serviceOn(t testing.TB, store scheduling.Store) *kitchen {
	t.Helper()
	var err error
	k := &kitchen{t: t, store: store, planning: &planning{batches: map[string]scheduling.Batch{}}, facts: &facts{}, clock: clock.NewFake(monday)}
	k.Service, err = scheduling.New(scheduling.Deps{
		Store: store, Planning: k.planning, Events: k.facts, Clock: k.clock, IDs: &numbers{}, Logger: slog.New(slog.NewTextHandler(io.Discard, nil)),
	})
	must(t, err)
	return k
}

// masters creates the vessels and the crew.
func (k *kitchen) masters() {
	t := k.t
	t.Helper()
	calendar := scheduling.Calendar{Name: site + "/calendars/day", DisplayName: "Day", TimeZone: "Europe/Lisbon"}
	for day := time.Sunday; day <= time.Saturday; day++ {
		calendar.Shifts = append(calendar.Shifts, scheduling.Shift{Weekday: day, Start: 360, End: 1320})
	}
	_, err := k.CreateCalendar(t.Context(), calendar)
	must(t, err)
	_, err = k.CreateCrew(t.Context(), scheduling.Crew{Name: site + "/crews/cooks", DisplayName: "Cooks", Headcount: 3, Calendar: calendar.Name, Active: true})
	must(t, err)
	_, err = k.CreateVessels(t.Context(), []scheduling.Vessel{
		kettle("kettle-1"), kettle("kettle-2"),
		{
			Name: site + "/vessels/pan", DisplayName: "Wide pan", Class: "rondeau", Active: true, PowerWatts: 18000, Efficiency: 0.5, MaxFillLiters: 90,
			Shape: scheduling.Shape{Kind: scheduling.ShapePan, Length: 0.9, Width: 0.6, Height: 0.2}, UnattendedAllowed: false,
		},
		{
			Name: site + "/vessels/blast", DisplayName: "Blast chiller", Class: "blast-chiller", Active: true, UnattendedAllowed: true,
			Cooling: &scheduling.Cooling{Method: scheduling.CoolingAir, MediumTemperatureCelsius: -5, HeatTransfer: 35, PanDepthMeters: 0.04},
		},
		{Name: site + "/vessels/walk-in", DisplayName: "Walk-in", Class: "walk-in", Active: true, LoadCapacityKg: 100, UnattendedAllowed: true},
	})
	must(t, err)
}

func kettle(name string) scheduling.Vessel {
	return scheduling.Vessel{
		Name: site + "/vessels/" + name, DisplayName: strings.ToUpper(name[:1]) + strings.ReplaceAll(name[1:], "-", " "), Class: "kettle", Active: true,
		PowerWatts: 24000, Efficiency: 0.5, MinFillLiters: 20, MaxFillLiters: 120, UnattendedAllowed: true,
		Shape:    scheduling.Shape{Kind: scheduling.ShapeHemisphere, Diameter: 0.6, Height: 0.4},
		Cleaning: &scheduling.Cleaning{Default: 30 * time.Minute, Attended: true},
	}
}

func ptr[T any](v T) *T { return &v }

// stock is a batch that is simmered, reduced and chilled.
func stock(name string, liters float64, due time.Time) scheduling.Batch {
	return scheduling.Batch{
		Name: site + "/batches/" + name, DisplayName: "Brown stock " + name, Plan: site + "/plans/week", OutputItem: site + "/items/brown-stock", OutputKg: liters / 2,
		State: scheduling.BatchReleased, Due: due, Weight: 1,
		Steps: []scheduling.Step{
			{
				ID: "simmer", DisplayName: "Simmer", Kind: scheduling.KindSimmer, VesselClasses: []string{"kettle"}, CrewCount: 1, Attendance: scheduling.AttendStarts,
				AttendedStart: 30 * time.Minute, AttendedEnd: 15 * time.Minute, UnattendedAllowed: true, KeepsVessel: true, FillLiters: liters, MaterialState: "stock",
				Duration: scheduling.DurationModel{Simmer: &scheduling.SimmerModel{Hold: 4 * time.Hour, StartCelsius: 10}}, MaxWait: ptr(time.Hour),
			},
			{
				ID: "reduce", DisplayName: "Reduction", Kind: scheduling.KindReduce, VesselClasses: []string{"rondeau"}, CrewCount: 1, Attendance: scheduling.AttendStarts,
				AttendedStart: 15 * time.Minute, AttendedEnd: 15 * time.Minute, FillLiters: liters * 0.6, MaterialState: "stock", KeepsVessel: true,
				Duration: scheduling.DurationModel{Reduce: &scheduling.ReduceModel{MassFraction: 0.5, StartBrix: 5, StartCelsius: 90}}, MaxWait: ptr(30 * time.Minute),
			},
			{
				ID: "chill", DisplayName: "Chill", Kind: scheduling.KindChill, VesselClasses: []string{"blast-chiller"}, CrewCount: 1, Attendance: scheduling.AttendStarts,
				AttendedStart: 10 * time.Minute, AttendedEnd: 5 * time.Minute, UnattendedAllowed: true, LoadKg: liters * 0.3, Critical: true,
				Duration: scheduling.DurationModel{Chill: &scheduling.ChillModel{TargetCelsius: 3, StartCelsius: 85}},
			},
		},
	}
}

// must1 answers a value that cannot fail to be there.
func must1[T any](v T, err error) T {
	if err != nil {
		panic(err)
	}
	return v
}

func must(t testing.TB, err error) {
	t.Helper()
	if err != nil {
		t.Fatal(err)
	}
}

// refused asserts the reason of an error and that its message speaks of what matters.
func refused(t testing.TB, err error, reason string, words ...string) {
	t.Helper()
	if apierr.ReasonOf(err) != reason {
		t.Fatalf("got %v, want reason %s", err, reason)
	}
	text := err.Error()
	for _, w := range words {
		if !strings.Contains(text, w) {
			t.Errorf("%q does not say %q", text, w)
		}
	}
}

// work runs a worker until the operation has ended and answers the schedule.
func (k *kitchen) work(op scheduling.Operation) scheduling.Schedule {
	k.t.Helper()
	ctx, stop := context.WithCancel(k.t.Context())
	var wait sync.WaitGroup
	wait.Add(1)
	go func() {
		defer wait.Done()
		if err := scheduling.NewWorker(k.Service, scheduling.WorkerTiming{Poll: 10 * time.Millisecond}).Run(ctx); err != nil {
			k.t.Error(err)
		}
	}()
	done, err := k.WaitOperation(ctx, op.Name, time.Minute)
	stop()
	wait.Wait()
	must(k.t, err)
	if done.Stage != scheduling.StageFinished {
		k.t.Fatalf("operation ended %s: %s", done.Stage, done.ErrorText)
	}
	out, err := k.Schedule(k.t.Context(), done.Schedule)
	must(k.t, err)
	return out
}

func (k *kitchen) solve(c scheduling.Solve) scheduling.Schedule {
	k.t.Helper()
	c.Site = site
	if c.Budget == 0 {
		c.Budget = 200
	}
	op, err := k.SolveSchedule(k.t.Context(), c)
	must(k.t, err)
	return k.work(op)
}

func (k *kitchen) publish(s scheduling.Schedule) scheduling.Schedule {
	k.t.Helper()
	out, err := k.PublishSchedule(k.t.Context(), scheduling.Publish{Name: s.Name, Actor: "ines"})
	must(k.t, err)
	return out
}

func place(t testing.TB, s scheduling.Schedule, batch, step string) scheduling.Assignment {
	t.Helper()
	for _, a := range s.Assignments {
		if a.Batch == site+"/batches/"+batch && a.StepID == step {
			return a
		}
	}
	t.Fatalf("%s of %s is not placed; report: %+v", step, batch, s.Report)
	return scheduling.Assignment{}
}

func runOf(batch, step string) string { return site + "/batches/" + batch + "/runs/" + step }
