package risk_test

import (
	"testing"

	"rondeau.internal/pkg/sched"
	"rondeau.internal/pkg/sched/kitchengen"
	"rondeau.internal/pkg/sched/risk"
)

// roast and freeze: the roast takes 100 times a factor uniform in [0.5, 1.5) from 200 on, the freezing 100 from 300 on.
func roastAndFreeze(t *testing.T, due, most int64) risk.Case {
	b := newBench()
	b.add("roast", 200*unit, middle(100*unit), "oven")
	b.add("freeze", 300*unit, middle(100*unit))
	b.due(due * unit)
	l := b.lag("roast", "freeze")
	l.HasMax, l.Max = true, most*unit
	return b.spread(t, uniform(0.5, 1.5), "roast")
}

func TestBuffersPullTheUncertainStepAhead(t *testing.T) {
	t.Parallel()
	c := roastAndFreeze(t, 420, 1000)
	s := simulator(t, c, risk.Options{Samples: 1000})
	got, err := s.Buffers(risk.BufferOptions{Budget: 50 * unit, Step: 10 * unit, Samples: 1000})
	if err != nil {
		t.Fatal(err)
	}
	// On time if the factor is at most 1.2; each 10 earlier allow 0.1 more, until nothing is late.
	if len(got) != 3 {
		t.Fatalf("%d buffers, want 3: %+v", len(got), got)
	}
	for i, b := range got {
		near(t, "gain", b.OnTime.Value, 0.1, 2.0/risk.RoundSize)
		if len(b.Moves) != 1 || b.Moves[0].Activity != "roast" || b.Shift != -10*unit || b.Moves[0].NotBefore != (190-10*int64(i))*unit {
			t.Errorf("buffer %d is %+v", i, b)
		}
		if b.BrokenLags.Value != 0 || b.Tardiness.Value >= 0 || b.Order != "o" {
			t.Errorf("buffer %d is %+v", i, b)
		}
	}
	// The gain is real: a plan made with the moves is on time that often.
	c.Plan.Assignments[0].Start -= 30 * unit
	c.Plan.Assignments[0].End -= 30 * unit
	near(t, "on time with the buffers", report(t, c, risk.Options{}).AllOnTime.Value, 1, 0)
}

func TestBuffersDoNotBreakGreatestLags(t *testing.T) {
	t.Parallel()
	c := roastAndFreeze(t, 400, 105)
	c.Instance.Activities[1].Release = 300 * unit
	s := simulator(t, c, risk.Options{Samples: 1000})
	// 30 earlier the roast waits at most 80, 60 earlier up to 110.
	got, err := s.Buffers(risk.BufferOptions{Budget: 90 * unit, Step: 30 * unit, Samples: 1000})
	if err != nil {
		t.Fatal(err)
	}
	if len(got) != 1 {
		t.Fatalf("%d buffers, want 1: %+v", len(got), got)
	}
	near(t, "gain", got[0].OnTime.Value, 0.3, 2.0/risk.RoundSize)
	got, err = s.Buffers(risk.BufferOptions{Budget: 90 * unit, Step: 30 * unit, Samples: 1000, LagAllowance: 0.1})
	if err != nil {
		t.Fatal(err)
	}
	if len(got) != 2 {
		t.Fatalf("%d buffers, want 2: %+v", len(got), got)
	}
	near(t, "broken lags", got[1].BrokenLags.Value, 0.05, 2.0/risk.RoundSize)
}

func TestTiedStepsMoveTogether(t *testing.T) {
	t.Parallel()
	got, err := simulator(t, roastAndFreeze(t, 420, 60), risk.Options{}).Buffers(risk.BufferOptions{Budget: 20 * unit, Step: 20 * unit, Samples: 1000})
	if err != nil {
		t.Fatal(err)
	}
	if len(got) != 1 || len(got[0].Moves) != 2 {
		t.Fatalf("%+v", got)
	}
	near(t, "gain", got[0].OnTime.Value, 0.2, 2.0/risk.RoundSize)
}

func TestBuffersOfAKitchen(t *testing.T) {
	t.Parallel()
	helped := 0
	for seed := range uint64(4) {
		in, plan := planned(t, seed, kitchengen.Size{Batches: 10}, 200)
		for i := range in.Activities { // due soon after the planned end, so that spreads matter
			if a := &in.Activities[i]; a.DueWeight > 0 {
				a.Due = max(a.Due, plan.Assignments[i].End+1800)
			}
		}
		s := simulator(t, uncertain(in, plan, 0.2), risk.Options{Samples: 400, Seed: seed})
		got, err := s.Buffers(risk.BufferOptions{Budget: 4 * 3600, Samples: 100, Candidates: 8, LagAllowance: 0.2})
		if err != nil {
			t.Fatal(err)
		}
		for _, b := range got {
			helped++
			for _, m := range b.Moves {
				if m.NotBefore < in.Horizon.Start || b.Shift < 0 && m.NotBefore > m.Planned {
					t.Errorf("seed %d: move %+v", seed, m)
				}
			}
		}
	}
	if helped == 0 {
		t.Error("no kitchen had a use for a buffer")
	}
}

func TestBuffersRefuseWhatMakesNoSense(t *testing.T) {
	t.Parallel()
	c := roastAndFreeze(t, 420, 1000)
	s := simulator(t, c, risk.Options{Samples: 100})
	for _, o := range []risk.BufferOptions{
		{},
		{Budget: -1},
		{Budget: 100, Step: 1},
		{Budget: 100, Step: -5},
		{Budget: 100, Samples: 101},
		{Budget: 100, Samples: 1},
		{Budget: 100, Candidates: -1},
		{Budget: 100, LagAllowance: -1},
		{Budget: 2 * sched.Forever},
	} {
		if _, err := s.Buffers(o); err == nil {
			t.Errorf("%+v is accepted", o)
		}
	}
	if _, err := simulator(t, c, risk.Options{Policy: risk.PolicyEarly}).Buffers(risk.BufferOptions{Budget: 100}); err == nil {
		t.Error("buffers for PolicyEarly are accepted")
	}
}
