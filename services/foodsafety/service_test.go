package foodsafety_test

import (
	"context"
	"errors"
	"fmt"
	"slices"
	"strings"
	"testing"
	"time"

	"rondeau.internal/pkg/apierr"
	"rondeau.internal/pkg/auth"
	"rondeau.internal/pkg/clock"
	"rondeau.internal/pkg/sqldb/sqldbtest"
	"rondeau.internal/pkg/units"
	"rondeau.internal/services/foodsafety"
	"rondeau.internal/services/foodsafety/sqlite"
)

const (
	site  = "sites/test"
	batch = site + "/batches/brown-stock-7"
	bulk  = site + "/lots/brown-stock-7"
	packs = site + "/lots/packs-7"
)

var noon = time.Date(2026, 3, 2, 12, 0, 0, 0, time.UTC)

// recorder keeps the events that were published.
type recorder struct{ list []foodsafety.Event }

func (r *recorder) Publish(_ context.Context, e foodsafety.Event) error {
	r.list = append(r.list, e)
	return nil
}

func (r *recorder) names() []string {
	var names []string
	for _, e := range r.list {
		names = append(names, strings.TrimPrefix(fmt.Sprintf("%T", e), "foodsafety."))
	}
	return names
}

// kitchen is a service over a fresh database, with a clock that the test moves.
type kitchen struct {
	*foodsafety.Service
	t      *testing.T
	clock  *clock.Fake
	events *recorder
	store  foodsafety.Store
}

func newKitchen(t *testing.T) *kitchen {
	t.Helper()
	store, err := sqlite.New(t.Context(), sqldbtest.SQLite(t))
	if err != nil {
		t.Fatal(err)
	}
	k := &kitchen{t: t, clock: clock.NewFake(noon), events: &recorder{}, store: store}
	k.Service, err = foodsafety.New(foodsafety.Deps{Store: store, Clock: k.clock, Events: k.events})
	if err != nil {
		t.Fatal(err)
	}
	return k
}

// as is a context of a signed-in person.
func (k *kitchen) as(subject string, role auth.Role) context.Context {
	return auth.NewContext(k.t.Context(), auth.Principal{Subject: subject, Role: role})
}

func (k *kitchen) cook() context.Context  { return k.as("ada", auth.Cook) }
func (k *kitchen) lead() context.Context  { return k.as("lea", auth.SafetyLead) }
func (k *kitchen) lead2() context.Context { return k.as("mia", auth.SafetyLead) }

func ok[T any](t *testing.T) func(v T, err error) T {
	return func(v T, err error) T {
		t.Helper()
		if err != nil {
			t.Fatal(err)
		}
		return v
	}
}

func wantReason(t *testing.T, err error, reason string) *apierr.Error {
	t.Helper()
	if !errors.Is(err, apierr.Reason(reason)) {
		t.Fatalf("got %v, want reason %s", err, reason)
	}
	e, _ := apierr.As(err)
	return e
}

func (k *kitchen) start(id string) *foodsafety.Chill {
	k.t.Helper()
	return ok[*foodsafety.Chill](k.t)(k.StartChill(k.cook(), site, foodsafety.NewChill{ID: id, Batch: batch}))
}

// read records a temperature by hand at the present moment.
func (k *kitchen) read(chill string, fahrenheit float64) {
	k.t.Helper()
	ok[*foodsafety.Reading](k.t)(k.RecordReading(k.cook(), foodsafety.NewReading{Chill: chill, Temperature: units.Fahrenheit(fahrenheit).Celsius()}))
}

// cool records a chill that meets the Food Code by hand, a reading every ten minutes.
func (k *kitchen) cool(chill string) {
	k.t.Helper()
	for _, f := range []float64{135, 120, 107, 96, 87, 80, 74, 70, 64, 58, 53, 49, 46, 43, 41} {
		k.read(chill, f)
		k.clock.Advance(10 * time.Minute)
	}
}

// produce tells of the bulk lot of the batch and the packs made from it.
func (k *kitchen) produce() {
	k.t.Helper()
	for _, l := range []foodsafety.Lot{
		{Name: site + "/lots/bones", Item: site + "/items/bones", CreateTime: noon},
		{Name: bulk, Item: site + "/items/stock", Batch: batch, Inputs: []string{site + "/lots/bones"}, CreateTime: noon},
		{Name: packs, Item: site + "/items/packs", Batch: site + "/batches/pack-7", Inputs: []string{bulk}, CreateTime: noon},
	} {
		if err := k.LotCreated(k.t.Context(), l); err != nil {
			k.t.Fatal(err)
		}
	}
}

func (k *kitchen) status(lot string) foodsafety.LotStatus {
	k.t.Helper()
	list, _, err := k.CheckLots(k.lead(), site, []string{lot})
	if err != nil {
		k.t.Fatal(err)
	}
	return list[0]
}

func TestGoodChillIsReleasedByAnotherPerson(t *testing.T) {
	t.Parallel()
	k := newKitchen(t)
	k.produce()
	c := k.start("c1")
	k.cool(c.Name)
	_, err := k.ReleaseLot(k.lead(), foodsafety.ReleaseRequest{Lot: bulk})
	if e := wantReason(t, err, foodsafety.LotNotReleasable); len(e.Violations) != 1 || e.Violations[0].Field != c.Name {
		t.Errorf("an unfinished chill must be the only objection: %v", e.Violations)
	}
	c = ok[*foodsafety.Chill](t)(k.FinishChill(k.cook(), c.Name, time.Time{}, ""))
	if c.State != foodsafety.ChillPassed || c.Deviation != "" || c.Finisher != "ada" {
		t.Fatalf("got %s, deviation %q, finisher %q", c.State, c.Deviation, c.Finisher)
	}
	if st := k.status(bulk); !st.Clear || st.Shippable || st.Released {
		t.Errorf("clear but not released: %+v", st)
	}
	_, err = k.ReleaseLot(k.as("ada", auth.SafetyLead), foodsafety.ReleaseRequest{Lot: bulk})
	wantReason(t, err, foodsafety.SecondPersonRequired)
	r := ok[*foodsafety.Release](t)(k.ReleaseLot(k.lead(), foodsafety.ReleaseRequest{Lot: bulk}))
	if r.Signer != "lea" || !slices.Equal(r.RecordMakers, []string{"ada"}) || !slices.Equal(r.ReviewedChills, []string{c.Name}) {
		t.Errorf("release %+v", r)
	}
	if st := k.status(bulk); !st.Shippable {
		t.Errorf("released lot is not shippable: %v", st.Reasons)
	}
	_, err = k.ReleaseLot(k.lead(), foodsafety.ReleaseRequest{Lot: bulk})
	wantReason(t, err, foodsafety.LotAlreadyReleased)
	// The packs come from another batch; the chill of the stock they were made from counts for them.
	r = ok[*foodsafety.Release](t)(k.ReleaseLot(k.lead(), foodsafety.ReleaseRequest{Lot: packs}))
	if !slices.Equal(r.ReviewedChills, []string{c.Name}) {
		t.Errorf("the chill of the ancestor must be reviewed, got %v", r.ReviewedChills)
	}
	want := []string{"ChillStarted", "ChillFinished", "LotReleased", "LotReleased"}
	if got := k.events.names(); !slices.Equal(got, want) {
		t.Errorf("events %v, want %v", got, want)
	}
}

func TestMissedLimitHoldsTheBatchAtOnce(t *testing.T) {
	t.Parallel()
	k := newKitchen(t)
	k.produce()
	c := k.start("c1")
	for _, f := range []float64{135, 125, 115, 106, 98, 90} {
		k.read(c.Name, f)
		k.clock.Advance(25 * time.Minute)
	}
	c = ok[*foodsafety.Chill](t)(k.GetChill(k.cook(), c.Name))
	if c.State != foodsafety.ChillFailed || !c.AtRisk {
		t.Fatalf("90 F after 2 h 5 min: %s, %s", c.State, c.Judgement.Summary)
	}
	want := []string{"ChillStarted", "ChillLimitAtRisk", "DeviationOpened", "HoldWasPlaced", "ChillFinished"}
	if got := k.events.names(); !slices.Equal(got, want) {
		t.Errorf("events %v, want %v", got, want)
	}
	d := ok[*foodsafety.Deviation](t)(k.GetDeviation(k.cook(), c.Deviation))
	if d.Kind != foodsafety.DeviationChillLimit || d.State != foodsafety.DeviationOpen || d.Opener != "foodsafety" || !slices.Contains(d.Subjects, batch) {
		t.Errorf("deviation %+v", d)
	}
	for _, lot := range []string{bulk, packs} {
		if st := k.status(lot); st.Clear || st.Shippable || len(st.Holds) != 1 || len(st.Deviations) != 1 {
			t.Errorf("%s must be held with its batch or ancestor: %+v", lot, st)
		}
	}
	if st := k.status(site + "/lots/bones"); !st.Shippable {
		t.Errorf("what the batch was made from is not held: %+v", st)
	}

	hold := k.status(bulk).Holds[0]
	_, err := k.LiftHold(k.lead(), hold, "looks fine", "")
	wantReason(t, err, foodsafety.HoldDeviationOpen)
	_, err = k.CloseDeviation(k.lead(), d.Name, "", "")
	wantReason(t, err, foodsafety.DeviationUndecided)
	_, err = k.RecordCorrectiveAction(k.lead(), d.Name, "reheated to 165 F", foodsafety.DecisionReheat, "")
	if err != nil {
		t.Fatal(err)
	}
	_, err = k.CloseDeviation(k.lead(), d.Name, "", "")
	wantReason(t, err, foodsafety.SecondPersonRequired)
	d = ok[*foodsafety.Deviation](t)(k.CloseDeviation(k.lead2(), d.Name, "reviewed", ""))
	if d.State != foodsafety.DeviationClosed || d.Closer != "mia" {
		t.Errorf("deviation %+v", d)
	}
	ok[*foodsafety.Hold](t)(k.LiftHold(k.lead(), hold, "reheated, chilled again", ""))
	_, err = k.LiftHold(k.lead2(), hold, "again", "")
	wantReason(t, err, foodsafety.HoldStateWrong)

	_, err = k.ReleaseLot(k.lead2(), foodsafety.ReleaseRequest{Lot: bulk})
	if e := wantReason(t, err, foodsafety.LotNotReleasable); !strings.Contains(e.Error(), "no later chill") {
		t.Errorf("reheating needs a later chill: %v", e)
	}
	again := k.start("c2")
	k.cool(again.Name)
	ok[*foodsafety.Chill](t)(k.FinishChill(k.cook(), again.Name, time.Time{}, ""))
	ok[*foodsafety.Release](t)(k.ReleaseLot(k.lead2(), foodsafety.ReleaseRequest{Lot: bulk}))
}

func TestDiscardedFoodIsNeverReleased(t *testing.T) {
	t.Parallel()
	k := newKitchen(t)
	k.produce()
	c := k.start("c1")
	k.read(c.Name, 130)
	k.clock.Advance(3 * time.Hour)
	k.read(c.Name, 100)
	c = ok[*foodsafety.Chill](t)(k.GetChill(k.cook(), c.Name))
	ok[*foodsafety.Deviation](t)(k.RecordCorrectiveAction(k.lead(), c.Deviation, "poured away", foodsafety.DecisionDiscard, ""))
	ok[*foodsafety.Deviation](t)(k.CloseDeviation(k.lead2(), c.Deviation, "", ""))
	_, err := k.LiftHold(k.lead(), k.status(bulk).Holds[0], "empty", "")
	wantReason(t, err, foodsafety.HoldDiscarded)
	_, err = k.ReleaseLot(k.lead(), foodsafety.ReleaseRequest{Lot: bulk})
	wantReason(t, err, foodsafety.LotNotReleasable)
	_, err = k.RecordCorrectiveAction(k.lead(), c.Deviation, "changed my mind", foodsafety.DecisionAccept, "")
	wantReason(t, err, foodsafety.DeviationStateWrong)
}

func TestAcceptedDeviationAllowsRelease(t *testing.T) {
	t.Parallel()
	k := newKitchen(t)
	k.produce()
	c := k.start("c1")
	k.clock.Advance(3 * time.Hour)
	if n, err := k.WatchClock(t.Context()); n != 1 || err != nil {
		t.Fatalf("a chill without readings must fail by the clock: %d, %v", n, err)
	}
	if n, err := k.WatchClock(t.Context()); n != 0 || err != nil {
		t.Fatalf("and only once: %d, %v", n, err)
	}
	c = ok[*foodsafety.Chill](t)(k.GetChill(k.cook(), c.Name))
	if c.State != foodsafety.ChillFailed || c.Judgement.Stages[0].Verdict != foodsafety.VerdictNotShown {
		t.Fatalf("%s: %s", c.State, c.Judgement.Summary)
	}
	// The readings were in the memory of the thermometer: they come late, and show that the limits were met. The chill
	// stays failed until people have decided.
	in := ok[*foodsafety.Intake](t)(k.RecordReadings(k.cook(), site, []foodsafety.NewReading{
		{Chill: c.Name, ObserveTime: noon, Temperature: 60},
		{Chill: c.Name, ObserveTime: noon.Add(90 * time.Minute), Temperature: 20},
		{Chill: c.Name, ObserveTime: noon.Add(3 * time.Hour), Temperature: 4},
	}, 0))
	if in.Accepted != 3 || !slices.Equal(in.Failed, []string{c.Name}) {
		t.Fatalf("intake %+v", in)
	}
	c = ok[*foodsafety.Chill](t)(k.GetChill(k.cook(), c.Name))
	if c.State != foodsafety.ChillFailed || !c.Judgement.Met() {
		t.Fatalf("%s: %s", c.State, c.Judgement.Summary)
	}
	ok[*foodsafety.Deviation](t)(k.RecordCorrectiveAction(k.lead(), c.Deviation, "logger memory shows the limits met", foodsafety.DecisionAccept, ""))
	ok[*foodsafety.Deviation](t)(k.CloseDeviation(k.lead2(), c.Deviation, "", ""))
	ok[*foodsafety.Hold](t)(k.LiftHold(k.lead(), k.status(bulk).Holds[0], "see deviation", ""))
	r := ok[*foodsafety.Release](t)(k.ReleaseLot(k.lead(), foodsafety.ReleaseRequest{Lot: bulk}))
	if !slices.Equal(r.ReviewedDeviations, []string{c.Deviation}) {
		t.Errorf("reviewed %v", r.ReviewedDeviations)
	}
}

func TestLateReadingSpeaksAgainstAPassedChill(t *testing.T) {
	t.Parallel()
	k := newKitchen(t)
	k.produce()
	ok[*foodsafety.Probe](t)(k.CreateProbe(k.lead(), site, "p1", foodsafety.Probe{DisplayName: "Centre"}))
	c := k.start("c1")
	k.cool(c.Name)
	c = ok[*foodsafety.Chill](t)(k.FinishChill(k.cook(), c.Name, time.Time{}, ""))
	ok[*foodsafety.Release](t)(k.ReleaseLot(k.lead(), foodsafety.ReleaseRequest{Lot: bulk}))
	// A second probe had been in the middle of the pot.
	in := ok[*foodsafety.Intake](t)(k.RecordReadings(k.cook(), site, []foodsafety.NewReading{
		{Chill: c.Name, Probe: site + "/probes/p1", ObserveTime: noon.Add(130 * time.Minute), Temperature: 40},
	}, 0))
	if !slices.Equal(in.Failed, []string{c.Name}) {
		t.Fatalf("intake %+v", in)
	}
	if st := k.status(bulk); st.Shippable || st.Released || len(st.Holds) != 1 {
		t.Errorf("the release must be void and the lot held: %+v", st)
	}
	list, _, err := k.ListReleases(k.lead(), foodsafety.Page{Site: site, Limit: 10})
	if err != nil || len(list) != 1 || !list[0].Voided {
		t.Errorf("releases %+v, %v", list, err)
	}
	// A reading measured after the finish is kept and does not count.
	k2 := newKitchen(t)
	c = k2.start("c1")
	k2.cool(c.Name)
	ok[*foodsafety.Chill](t)(k2.FinishChill(k2.cook(), c.Name, time.Time{}, ""))
	k2.clock.Advance(time.Hour)
	k2.read(c.Name, 70)
	if c = ok[*foodsafety.Chill](t)(k2.GetChill(k2.cook(), c.Name)); c.State != foodsafety.ChillPassed || c.ReadingCount != 16 {
		t.Errorf("%s with %d readings", c.State, c.ReadingCount)
	}
}

func TestHoldMakesReleaseVoid(t *testing.T) {
	t.Parallel()
	k := newKitchen(t)
	k.produce()
	_, err := k.ReleaseLot(k.lead(), foodsafety.ReleaseRequest{Lot: bulk})
	if e := wantReason(t, err, foodsafety.LotNotReleasable); !strings.Contains(e.Error(), "no chill of") {
		t.Errorf("no chill on record must be said: %v", e)
	}
	q := foodsafety.ReleaseRequest{Lot: bulk, NoChillReason: "raw mirepoix", ValidateOnly: true}
	ok[*foodsafety.Release](t)(k.ReleaseLot(k.lead(), q))
	if st := k.status(bulk); st.Released {
		t.Fatal("validate_only must store nothing")
	}
	q.ValidateOnly = false
	r := ok[*foodsafety.Release](t)(k.ReleaseLot(k.lead(), q))
	if r.NoChillReason != "raw mirepoix" {
		t.Errorf("release %+v", r)
	}
	h := ok[*foodsafety.Hold](t)(k.PlaceHold(k.cook(), site, "", batch, "glass near the kettle", ""))
	if st := k.status(bulk); st.Shippable || st.Released {
		t.Errorf("held after release: %+v", st)
	}
	_, err = k.LiftHold(k.cook(), h.Name, "never mind", "")
	wantReason(t, err, foodsafety.SecondPersonRequired)
	ok[*foodsafety.Hold](t)(k.LiftHold(k.lead(), h.Name, "no glass found", ""))
	if st := k.status(bulk); !st.Clear || st.Released || st.Shippable {
		t.Errorf("a lifted hold leaves the release void: %+v", st)
	}
	ok[*foodsafety.Release](t)(k.ReleaseLot(k.lead(), q))
	if st := k.status(bulk); !st.Shippable {
		t.Errorf("released again: %+v", st)
	}
	// A hold on what it was made from blocks it too, without making its release void.
	h = ok[*foodsafety.Hold](t)(k.PlaceHold(k.lead(), site, "recall", site+"/lots/bones", "supplier recall", ""))
	if st := k.status(packs); st.Clear || !slices.Equal(st.Holds, []string{h.Name}) {
		t.Errorf("packs from recalled bones: %+v", st)
	}
	_, err = k.PlaceHold(k.lead(), site, "recall", bulk, "again", "")
	wantReason(t, err, foodsafety.HoldExists)
}

func TestUnknownLotsAreNotShippable(t *testing.T) {
	t.Parallel()
	k := newKitchen(t)
	if st := k.status(bulk); st.Known || st.Clear || st.Shippable || len(st.Reasons) == 0 {
		t.Errorf("%+v", st)
	}
	_, err := k.ReleaseLot(k.lead(), foodsafety.ReleaseRequest{Lot: bulk})
	wantReason(t, err, foodsafety.LotUnknown)
	// Known, but made from a lot whose news has not arrived.
	if err := k.LotCreated(t.Context(), foodsafety.Lot{Name: bulk, Batch: batch}); err != nil {
		t.Fatal(err)
	}
	if err := k.StockConsumed(t.Context(), batch, []string{site + "/lots/bones"}); err != nil {
		t.Fatal(err)
	}
	if st := k.status(bulk); !st.Known || st.Clear {
		t.Errorf("%+v", st)
	}
	if err := k.LotCreated(t.Context(), foodsafety.Lot{Name: site + "/lots/bones"}); err != nil {
		t.Fatal(err)
	}
	if st := k.status(bulk); !st.Clear || st.Shippable {
		t.Errorf("%+v", st)
	}
	_, _, err = k.CheckLots(k.lead(), site, []string{"sites/other/lots/x"})
	wantReason(t, err, foodsafety.SiteMismatch)
}
