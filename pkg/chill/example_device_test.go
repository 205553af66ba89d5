package chill_test

import (
	"fmt"
	"time"

	"rondeau.internal/pkg/chill"
	"rondeau.internal/pkg/units"
)

// A live forecast: when the limit is reached, between when and when, and until when it
// must be.
func ExampleForesee() {
	begin := time.Date(2031, 3, 4, 12, 0, 0, 0, time.UTC)
	var readings []chill.Reading
	for i, c := range []float64{70, 63.8, 58.3, 53.2, 48.6, 44.4, 40.6, 37.2} {
		readings = append(readings, chill.Reading{At: begin.Add(time.Duration(i*10) * time.Minute), Temperature: units.InCelsius(c)})
	}
	air := units.Celsius(2)
	o, err := chill.Foresee(chill.FoodCode2022(), readings, chill.Options{Ambient: &air})
	if err != nil {
		fmt.Println(err)
		return
	}
	s := o.Stages[0]
	const clock = "15:04"
	fmt.Printf("reaches %v at %s (%s to %s), limit %s, at risk: %v\n", s.Temperature,
		s.Likely.Format(clock), s.Early.Format(clock), s.Late.Format(clock), s.Deadline.Format(clock), s.AtRisk)
	// Output:
	// reaches 70 F at 14:15 (13:55 to 15:02), limit 14:20, at risk: false
}

// How much still stock a cold room cools in time: hardly any.
func ExampleMostStock() {
	pot := chill.StillPot{SpecificHeat: 4060, Start: 85, Air: 3}
	_, err := chill.MostStock(chill.PotFamily{}, pot, chill.FoodCode2022())
	fmt.Println(err)
	// Output:
	// no pot from half a litre up meets the limits in that air: use shallow pans, stir in an ice bath or a blast chiller (US FDA Food Code 2022, cooked food)
}
