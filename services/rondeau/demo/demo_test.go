package demo_test

import (
	"bytes"
	"context"
	"flag"
	"os"
	"strings"
	"testing"
	"time"

	"google.golang.org/grpc"
	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/status"

	"rondeau.internal/pkg/auth"
	"rondeau.internal/pkg/clock"
	"rondeau.internal/services/rondeau/demo"
	"rondeau.internal/services/rondeau/suite"
)

var (
	seed       = flag.Uint64("seed", 1, "seed of the week that is lived through")
	reportFile = flag.String("report", "", "file for the report of the week")
)

// house is a running suite with a clock that the story moves.
type house struct {
	suite *suite.Suite
	clock *clock.Fake
	data  string
}

func newHouse(t *testing.T) *house {
	t.Helper()
	h := &house{clock: clock.NewFake(demo.DefaultStart()), data: t.TempDir()}
	h.start(t)
	t.Cleanup(func() { h.stop(t) })
	return h
}

func (h *house) start(t *testing.T) {
	t.Helper()
	s, err := suite.Start(t.Context(), suite.Options{Data: h.data, Clock: h.clock})
	if err != nil {
		t.Fatal(err)
	}
	h.suite = s
}

func (h *house) stop(t *testing.T) {
	t.Helper()
	err := h.suite.Close()
	if err != nil {
		t.Errorf("close the suite: %v", err)
	}
}

func (h *house) options(t *testing.T) demo.Options {
	return demo.Options{
		Conns: func(p auth.Principal) func(string) grpc.ClientConnInterface {
			conn, err := h.suite.Conn(p)
			if err != nil {
				t.Fatal(err)
			}
			return func(string) grpc.ClientConnInterface { return conn }
		},
		SetTime:  func(at time.Time) error { h.clock.Set(at); return nil },
		Start:    demo.DefaultStart(),
		Seed:     *seed,
		Progress: func(text string) { t.Log(text) },
	}
}

func TestTheWeekIsLivedThroughAndNothingIsLost(t *testing.T) {
	if testing.Short() {
		t.Skip("the whole week takes half a minute")
	}
	h := newHouse(t)
	options := h.options(t)
	report, err := demo.Run(t.Context(), options)
	if report != nil {
		show(t, report)
	}
	if err != nil {
		t.Fatal(err)
	}
	checkStory(t, report)
	checkInvariants(t, options)
}

// checkStory: every misfortune struck and was dealt with, whatever the seed.
func checkStory(t *testing.T, r *demo.Report) {
	t.Helper()
	for what, n := range map[string]int{
		"warm deliveries rejected": len(r.Receiving.Rejected), "vessels failed": len(r.Failures), "lots thrown away": len(r.Discarded),
	} {
		if n != 1 {
			t.Errorf("%d %s, want 1", n, what)
		}
	}
	failed := 0
	for _, c := range r.Chills {
		if c.State == "FAILED" {
			failed++
			if c.Deviation == "" || c.Cause == "" {
				t.Errorf("%s failed without a deviation or a cause", c.Chill)
			}
		} else if c.State != "PASSED" {
			t.Errorf("%s is %s", c.Chill, c.State)
		}
	}
	if failed != 1 {
		t.Errorf("%d chills failed, want 1", failed)
	}
	reasons := map[string]bool{}
	for _, f := range r.Refusals {
		reasons[f.Reason] = true
	}
	for _, reason := range []string{"ORDER_AFTER_CUT_OFF", "LOT_NOT_RELEASED", "LOT_HELD", "LOT_NOT_SHIPPABLE", "SECOND_PERSON_REQUIRED"} {
		if !reasons[reason] {
			t.Errorf("nothing was refused because of %s", reason)
		}
	}
	full, partly, none := r.Fulfilled()
	if full < partly+none {
		t.Errorf("%d orders in full and in time, %d partly, %d not at all", full, partly, none)
	}
	if r.Trace.Deliveries == 0 || r.Forward.Batches == 0 || r.Forward.Shipped == 0 {
		t.Errorf("the traces end early: back to %d deliveries, forward through %d batches to %d shipped packs", r.Trace.Deliveries, r.Forward.Batches, r.Forward.Shipped)
	}
	for _, s := range r.Shipments {
		if s.Received.IsZero() {
			t.Errorf("%s never arrived", s.Name)
		}
	}
	if len(r.Forgotten) > 0 {
		t.Errorf("schedules forgot %s", strings.Join(r.Forgotten, ", "))
	}
}

func checkInvariants(t *testing.T, options demo.Options) {
	t.Helper()
	faults, err := demo.Invariants(t.Context(), options)
	if err != nil {
		t.Fatal(err)
	}
	for _, fault := range faults {
		t.Error(fault)
	}
}

// tell lives through two days and returns what was told of them. before is called before each step with its number.
func tell(t *testing.T, before func(h *house, step int), wrap func(grpc.ClientConnInterface) grpc.ClientConnInterface) []string {
	t.Helper()
	h := newHouse(t)
	options := h.options(t)
	options.Days = 2
	var story []string
	options.Progress = func(text string) { story = append(story, text) }
	step := 0
	options.Hook = func(string) error {
		step++
		before(h, step)
		return nil
	}
	plain := options.Conns
	options.Conns = func(p auth.Principal) func(string) grpc.ClientConnInterface {
		return func(service string) grpc.ClientConnInterface { return wrap(plain(p)(service)) }
	}
	_, err := demo.Run(t.Context(), options)
	if err != nil {
		t.Fatal(err)
	}
	checkInvariants(t, h.options(t))
	return story
}

func undisturbed(*house, int) {}

func unchanged(c grpc.ClientConnInterface) grpc.ClientConnInterface { return c }

// lossy is a connection that loses every fifth answer after the call was carried out.
type lossy struct {
	grpc.ClientConnInterface
	calls *int
}

func (l lossy) Invoke(ctx context.Context, method string, args, reply any, opts ...grpc.CallOption) error {
	err := l.ClientConnInterface.Invoke(ctx, method, args, reply, opts...)
	*l.calls++
	if err == nil && *l.calls%5 == 0 {
		return status.Error(codes.Unavailable, "the answer was lost")
	}
	return err
}

func TestTheSameSeedGivesTheSameStoryWhateverIsStoppedOrLost(t *testing.T) {
	if testing.Short() {
		t.Skip("three stories of two days take a while")
	}
	want := tell(t, undisturbed, unchanged)
	stops := map[int]bool{3: true, 25: true, 60: true, 90: true, 120: true, 160: true, 200: true}
	calls := 0
	for name, got := range map[string][]string{
		"the suite is stopped and started": tell(t, func(h *house, step int) {
			if stops[step] {
				h.stop(t)
				h.start(t)
			}
		}, unchanged),
		"every fifth answer is lost": tell(t, undisturbed, func(c grpc.ClientConnInterface) grpc.ClientConnInterface {
			return lossy{ClientConnInterface: c, calls: &calls}
		}),
	} {
		for i := range max(len(want), len(got)) {
			if i >= len(want) || i >= len(got) || want[i] != got[i] {
				t.Errorf("when %s, the story parts at line %d of %d and %d:\n%q\n%q", name, i, len(want), len(got), want[min(i, len(want)-1)], got[min(i, len(got)-1)])
				break
			}
		}
	}
}

func show(t *testing.T, report *demo.Report) {
	t.Helper()
	var text bytes.Buffer
	err := report.Write(&text)
	if err != nil {
		t.Fatal(err)
	}
	if *reportFile != "" {
		err = os.WriteFile(*reportFile, text.Bytes(), 0o600)
		if err != nil {
			t.Error(err)
		}
	}
	t.Log("\n" + text.String())
}
