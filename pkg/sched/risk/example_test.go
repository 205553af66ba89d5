package risk_test

import (
	"fmt"

	"rondeau.internal/pkg/sched"
	"rondeau.internal/pkg/sched/risk"
)

// A stock simmers eight hours, give or take, and is strained at once; in one batch of ten the fat has not set in time
// for the reduction. Times are minutes.
func Example() {
	in := sched.Instance{
		Name: "one stock", Horizon: sched.Span{End: 3000},
		Vessels: []sched.Vessel{{Name: "kettle"}, {Name: "chiller"}},
		Activities: []sched.Activity{
			{Name: "simmer", Order: "stock", Modes: []sched.Mode{{Start: 20, Middle: 480, End: 10, Uses: []sched.Use{{Vessel: "kettle"}}}}},
			{Name: "chill", Order: "stock", Due: 960, DueWeight: 1, Modes: []sched.Mode{{Middle: 360, Uses: []sched.Use{{Vessel: "chiller"}}}}},
		},
		Lags: []sched.Lag{{From: "simmer", To: "chill", HasMax: true, Max: 30, Why: "strained stock goes to the chiller at once"}},
	}
	plan, _, err := sched.Solve(in, sched.Options{})
	if err != nil {
		fmt.Println(err)
		return
	}
	simmer, err := risk.LogNormalInterval(0.9, 1.1, 0.9) // a forecast's interval: nine times of ten within 10 %
	if err != nil {
		fmt.Println(err)
		return
	}
	s, err := risk.New(risk.Case{Instance: in, Plan: plan, Spreads: []risk.Spread{
		{Activity: "simmer", Middle: risk.Phase{Factor: simmer}},
		{Activity: "chill", Middle: risk.Phase{Extras: []risk.Extra{{Probability: 0.1, Add: 360}}}},
	}}, risk.Options{})
	if err != nil {
		fmt.Println(err)
		return
	}
	r, err := s.Run()
	if err != nil {
		fmt.Println(err)
		return
	}
	promise, err := r.Promise("stock", 0.8)
	if err != nil {
		fmt.Println(err)
		return
	}
	fmt.Printf("on time: %.2f\n", r.AllOnTime.Value)
	fmt.Printf("done with a probability of 0.8 by about %d\n", promise.Moment/10*10)
	fmt.Printf("what goes with lateness most: %s\n", r.Drivers[0].Name)
	// Output:
	// on time: 0.90
	// done with a probability of 0.8 by about 900
	// what goes with lateness most: chill
}
