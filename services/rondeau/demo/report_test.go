package demo

import (
	"errors"
	"strings"
	"testing"
	"time"
)

func TestTheReportShowsWhatHappenedAndItsCautions(t *testing.T) {
	t.Parallel()
	start := time.Date(2026, 3, 16, 4, 0, 0, 0, time.UTC)
	r := &Report{
		Kitchen: "Test kitchen", Start: start, End: start.AddDate(0, 0, 1), Cautions: []string{"Ask the qualified person."},
		Calls: map[string]int{"GetLot": 2, "StartRun": 5},
		Steps: []StepDone{
			{Run: "r", Kind: "REDUCE", Batch: "Demi-glace", Vessel: "rondeau-1", Planned: 5 * time.Hour, Actual: 6*time.Hour + 10*time.Minute, Late: 70 * time.Minute, Finish: start.Add(6 * time.Hour)},
		},
		Forecasts: []Forecast{
			{Run: "r", Covered: true, Early: start.Add(5 * time.Hour), Late: start.Add(7 * time.Hour)},
			{Run: "r", Covered: true, Early: start.Add(7 * time.Hour), Late: start.Add(8 * time.Hour)},
			{Run: "r", Early: start, Late: start},
		},
		Fulfilment: []OrderOutcome{
			{Outlet: "a", Ordered: 5, Shipped: 5, OnTime: true},
			{Outlet: "b", Ordered: 5, Shipped: 3, OnTime: true, Short: []ShortLine{{"demi-1kg", 2, "kettle failed"}}},
			{Outlet: "c", Ordered: 5, Shipped: 5},
			{Outlet: "d", Ordered: 4},
			{Outlet: "e", Ordered: 4, Cancelled: true},
		},
	}
	var b strings.Builder
	err := r.Write(&b)
	if err != nil {
		t.Fatal(err)
	}
	for _, want := range []string{
		"1 shipped in full and in time, 2 in part or late, 1 not at all", "Demi-glace  rondeau-1  5 h 00 min  6 h 10 min  1 h 10 min",
		"1 of 2 forecasts", "2 demi-1kg  kettle failed", "7 calls", "StartRun 5, GetLot 2", "Caution: Ask the qualified person.",
	} {
		if !strings.Contains(b.String(), want) {
			t.Errorf("the report lacks %q:\n%s", want, b.String())
		}
	}
}

func TestAReportThatCannotBeWrittenSaysSo(t *testing.T) {
	t.Parallel()
	err := (&Report{}).Write(full{})
	if !errors.Is(err, errFull) {
		t.Errorf("got %v", err)
	}
}

var errFull = errors.New("the disk is full")

type full struct{}

func (full) Write([]byte) (int, error) { return 0, errFull }
