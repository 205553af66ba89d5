//go:build integration

package integration

import (
	"context"
	"fmt"
	"math/rand/v2"
	"reflect"
	"strings"
	"testing"
	"time"

	"rondeau.internal/integration/harness"
	foodsafetypb "rondeau.internal/pkg/gen/rondeau/foodsafety/v1"
	"rondeau.internal/services/rondeau/demo"
)

// week is the demo's story on a suite.
func week(t *testing.T, s *harness.Suite, seed uint64, days int) demo.Options {
	return demo.Options{
		Conns: s.Conns, SetTime: s.SetTime, Start: demo.DefaultStart(), Seed: seed, Days: days, Patience: time.Minute,
		Progress: func(line string) { t.Log(line) },
	}
}

// live runs a story and looks at the kitchen afterwards. `struck` are the kills on the way, nil for none.
func live(t *testing.T, s *harness.Suite, o demo.Options, struck *strike) *demo.Report {
	t.Helper()
	if struck != nil {
		o.Hook = struck.hook
	}
	report, err := demo.Run(t.Context(), o)
	if struck != nil {
		struck.done()
	}
	if err != nil {
		t.Fatal(err)
	}
	s.Ready()
	t.Logf("%d calls in %s, %d repeated", report.TotalCalls(), report.WallTime.Round(time.Millisecond), report.Retries)
	s.Settle(time.Minute)
	faults, err := demo.Invariants(t.Context(), o)
	if err != nil {
		t.Fatal(err)
	}
	for _, fault := range faults {
		t.Error(fault)
	}
	h := &house{t: t, s: s}
	h.sound()
	if report.Ordering.Placed == 0 || report.Packs == 0 || len(report.Shipments) == 0 {
		t.Errorf("nothing happened in this week: %d orders, %d packs, %d shipments", report.Ordering.Placed, report.Packs, len(report.Shipments))
	}
	return report
}

// leastSteps is a number of steps that a week surely has.
const leastSteps = 250

// TestAWeekInContainers lives through the demo's week on the composition of deploy/compose.yaml: four services, their
// PostgreSQL databases and the broker, each in its container. One container of each kind is killed on the way.
func TestAWeekInContainers(t *testing.T) {
	s := harness.Containers(t, harness.Options{})
	o := week(t, s, 1, 0)
	random := chance(t)
	live(t, s, o, strikes(t, s, random, append(harness.Services(), harness.Broker, "postgres"), leastSteps))
}

// TestAWeekWithKilledProcessesIsTheSameWeek lives through the demo's story twice with the same seed: undisturbed, and with
// each service killed several times at random moments. What people and things did must be the same.
func TestAWeekWithKilledProcessesIsTheSameWeek(t *testing.T) {
	const days = 5
	random := chance(t)
	seed := random.Uint64N(1000)
	t.Logf("the story has seed %d", seed)
	var undisturbed, disturbed *demo.Report
	var calm, rough map[string]int
	steps := 0
	t.Run("undisturbed", func(t *testing.T) {
		s := harness.Processes(t, harness.Options{})
		o := week(t, s, seed, days)
		o.Hook = func(string) error { steps++; return nil }
		undisturbed = live(t, s, o, nil)
		calm = safetyRecords(t, s, undisturbed.Site)
	})
	if t.Failed() {
		return
	}
	t.Run("with killed processes", func(t *testing.T) {
		s := harness.Processes(t, harness.Options{})
		o := week(t, s, seed, days)
		var targets []string
		for range 3 {
			targets = append(targets, harness.Services()...)
		}
		disturbed = live(t, s, o, strikes(t, s, random, targets, steps))
		rough = safetyRecords(t, s, disturbed.Site)
	})
	if t.Failed() {
		return
	}
	for _, d := range differences(undisturbed, disturbed) {
		t.Error(d)
	}
	for what := range calm {
		if _, there := rough[what]; !there {
			rough[what] = 0
		}
	}
	for what, n := range rough {
		if n != calm[what] {
			t.Errorf("safety records, %s: %d undisturbed, %d with killed processes", what, calm[what], n)
		}
	}
}

// safetyRecords counts the entries of food safety's trail by what was done to what.
func safetyRecords(t *testing.T, s *harness.Suite, site string) map[string]int {
	t.Helper()
	h := &house{t: t, s: s, site: site}
	out := map[string]int{}
	token := ""
	for {
		page, err := h.foodsafety(h.manager()).ListSafetyRecords(h.ctx(), &foodsafetypb.ListSafetyRecordsRequest{Parent: site, PageSize: 100, PageToken: token})
		h.must(err)
		for _, r := range page.GetSafetyRecords() {
			// Whether a chill was begun by the event of its run or by the cook who then needs not take it over depends on who
			// was first.
			if r.GetAction() == "chill.taken_over" {
				continue
			}
			collection := strings.Split(strings.TrimPrefix(r.GetResource(), site+"/"), "/")[0]
			out[collection+" "+r.GetAction()+" by "+r.GetActorRole()]++
		}
		token = page.GetNextPageToken()
		if token == "" {
			return out
		}
	}
}

// differences compares what does not depend on names that services make up.
func differences(a, b *demo.Report) []string {
	var out []string
	compare := func(what string, x, y any) {
		if !reflect.DeepEqual(x, y) {
			out = append(out, fmt.Sprintf("%s: %v undisturbed, %v with killed processes", what, x, y))
		}
	}
	compare("orders", a.Ordering, b.Ordering)
	compare("deliveries", a.Receiving.Deliveries, b.Receiving.Deliveries)
	compare("delivery lines", a.Receiving.Lines, b.Receiving.Lines)
	compare("mass received", a.Receiving.MassKg, b.Receiving.MassKg)
	compare("plans", len(a.Plans), len(b.Plans))
	compare("batches", len(a.Batches), len(b.Batches))
	compare("runs", a.Runs, b.Runs)
	compare("measurements", a.Measurements, b.Measurements)
	compare("readings", a.Readings, b.Readings)
	compare("chills", len(a.Chills), len(b.Chills))
	compare("deviations", len(a.Deviations), len(b.Deviations))
	compare("packs", a.Packs, b.Packs)
	compare("releases", a.Releases, b.Releases)
	compare("shipments", len(a.Shipments), len(b.Shipments))
	return out
}

// strike is a plan of kills over the steps of a story.
type strike struct {
	t       *testing.T
	s       *harness.Suite
	at      map[int]string        // by number of the step
	delay   map[int]time.Duration // from the beginning of the step
	step    int
	pending func() error
	struck  int
}

// strikes spreads kills of the given parts over the first `steps` steps of a story.
func strikes(t *testing.T, s *harness.Suite, random *rand.Rand, parts []string, steps int) *strike {
	k := &strike{t: t, s: s, at: map[int]string{}, delay: map[int]time.Duration{}}
	random.Shuffle(len(parts), func(i, j int) { parts[i], parts[j] = parts[j], parts[i] })
	stretch := steps / (len(parts) + 1)
	for i, part := range parts {
		n := 2 + i*stretch + random.IntN(max(stretch, 1))
		k.at[n] = part
		k.delay[n] = time.Duration(random.IntN(60)) * time.Millisecond
	}
	return k
}

// hook kills when its step has come: a moment later, in the middle of the step's calls.
func (k *strike) hook(name string) error {
	k.step++
	part := k.at[k.step]
	if part == "" {
		return nil
	}
	if k.pending != nil {
		err := k.pending()
		if err != nil {
			return err
		}
	}
	k.struck++
	k.t.Logf("%s is killed %s after the beginning of step %d, %q", part, k.delay[k.step], k.step, name)
	k.pending = k.s.Strike(context.WithoutCancel(k.t.Context()), part, k.delay[k.step])
	return nil
}

// done fails the test when the story was over before the strikes were.
func (k *strike) done() {
	k.t.Helper()
	if k.pending != nil {
		err := k.pending()
		if err != nil {
			k.t.Error(err)
		}
	}
	if k.struck < len(k.at)/2 || k.struck == 0 {
		k.t.Errorf("%d of %d kills happened in %d steps", k.struck, len(k.at), k.step)
	}
}
