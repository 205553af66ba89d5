package demo_test

import (
	"bytes"
	"context"
	"flag"
	"os"
	"testing"
	"time"

	"google.golang.org/grpc"

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
}

func newHouse(t *testing.T) *house {
	t.Helper()
	h := &house{clock: clock.NewFake(demo.DefaultStart())}
	s, err := suite.Start(t.Context(), suite.Options{Data: t.TempDir(), Clock: h.clock})
	if err != nil {
		t.Fatal(err)
	}
	h.suite = s
	t.Cleanup(func() {
		err := s.Close()
		if err != nil {
			t.Errorf("close the suite: %v", err)
		}
	})
	return h
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
	faults, err := demo.Invariants(context.WithoutCancel(t.Context()), options)
	if err != nil {
		t.Fatal(err)
	}
	for _, fault := range faults {
		t.Error(fault)
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
