package chill_test

import (
	"fmt"
	"time"

	"rondeau.internal/pkg/chill"
	"rondeau.internal/pkg/units"
)

func ExampleJudge() {
	start := time.Date(2031, 3, 4, 18, 0, 0, 0, time.UTC)
	var readings []chill.Reading
	for i, f := range []float64{150, 134, 112, 93, 79, 68, 59} {
		readings = append(readings, chill.Reading{At: start.Add(time.Duration(i) * 25 * time.Minute), Temperature: units.InFahrenheit(f)})
	}
	j, err := chill.Judge(chill.FoodCode2022(), readings, chill.Options{})
	if err != nil {
		fmt.Println(err)
		return
	}
	for _, s := range j.Stages {
		fmt.Println(s.Stage.Name, s.Verdict, s.Elapsed, s.Margin)
	}
	// Output:
	// 135 to 70 F failed 2h5m0s -5m0s
	// 135 to 41 F pending 2h30m0s 3h30m0s
}
