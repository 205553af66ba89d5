package microbe_test

import (
	"encoding/json"
	"fmt"
	"time"

	"rondeau.internal/pkg/microbe"
	"rondeau.internal/pkg/units"
)

var start = time.Date(2024, 3, 4, 14, 0, 0, 0, time.UTC)

// A stock that was chilled in an ice bath, read every quarter of an hour.
func ExampleGrowth() {
	var history []microbe.Reading
	for i, c := range []units.Celsius{71, 52, 38, 28, 20, 15, 11, 8, 6, 5, 4} {
		history = append(history, microbe.Reading{At: start.Add(time.Duration(i) * 15 * time.Minute), Temperature: c})
	}
	r, err := microbe.Growth(history, microbe.Product{PH: 6.1, SaltPercent: 0.6}, microbe.Options{})
	if err != nil {
		fmt.Println(err)
		return
	}
	fmt.Printf("likely %.2f, upper %.2f log10; criterion of %.0f log10 %v\n", r.Likely, r.Upper, r.Limit, r.Verdict)
	fmt.Println(r.Reason)
	fmt.Println(r.Cautions[0])
	// Output:
	// likely 0.02, upper 0.06 log10; criterion of 1 log10 met
	// the upper value of 0.06 log10 is within the limit of 1.00
	// This supports and does not replace the validated HACCP plan, the local code and the qualified person.
}

// A tracker follows a chill live; its state can be stored between two readings.
func ExampleTracker() {
	tracker, err := microbe.NewTracker(microbe.Product{Category: microbe.Beef, PH: 5.9, SaltPercent: 0.8}, microbe.Options{})
	if err != nil {
		fmt.Println(err)
		return
	}
	for i := range 5 {
		at := start.Add(time.Duration(i) * 20 * time.Minute)
		if err := tracker.Add(at, units.Celsius(58-3*float64(i))); err != nil {
			fmt.Println(err)
			return
		}
	}
	stored, err := json.Marshal(tracker)
	if err != nil {
		fmt.Println(err)
		return
	}
	var again microbe.Tracker
	if err := json.Unmarshal(stored, &again); err != nil {
		fmt.Println(err)
		return
	}
	err = again.Add(start.Add(80*time.Minute), 45)
	fmt.Println(err)
	r := again.Result()
	fmt.Printf("likely %.2f, upper %.2f log10 so far: %v, %s\n", r.Likely, r.Upper, r.Verdict, r.Reason)
	// Output:
	// reading 6 has the time of reading 5 (2024-03-04T15:20:00Z): keep one of them, the one that was in the food
	// likely 0.02, upper 0.11 log10 so far: not decidable, the food is still where growth happens
}

// A sauce that was held at 71 C.
func ExampleLethality() {
	target, err := microbe.TargetByID("listeria-6d")
	if err != nil {
		fmt.Println(err)
		return
	}
	history := []microbe.Reading{{At: start, Temperature: 20}, {At: start.Add(25 * time.Minute), Temperature: 72}, {At: start.Add(28 * time.Minute), Temperature: 72}}
	r, err := microbe.Lethality(history, target, microbe.Options{})
	if err != nil {
		fmt.Println(err)
		return
	}
	fmt.Printf("worth %v at %v, proven %v of %v: %v\n", r.F.Round(time.Second), target.Reference, r.Proven.Round(time.Second), target.Required(), r.Verdict)
	// Output:
	// worth 8m25s at 70.0 C, proven 6m11s of 2m0s: met
}

func ExampleAppendixA() {
	hold, err := microbe.AppendixA(145.8, false)
	fmt.Println(hold, err)
	_, err = microbe.AppendixA(128, false)
	fmt.Println(err)
	// Output:
	// 4m0s <nil>
	// 128.0 F is below the table, which starts at 130.0 F: cook hotter, or take another validated table
}
