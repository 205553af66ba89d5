// Package kitchengen makes random scheduling problems that look like the week of a central kitchen: batches of stock
// and sauce that are roasted, simmered, strained, chilled, defatted, reduced, portioned and frozen in a few kettles,
// ovens and chillers by a crew on shifts. It exists to test and measure the engine; names and numbers are invented.
package kitchengen

import (
	"fmt"
	"math/rand/v2"

	"rondeau.internal/pkg/sched"
)

// Times in seconds.
const (
	minute = int64(60)
	hour   = 60 * minute
	day    = 24 * hour
)

// Size says how large an instance is to be.
type Size struct {
	Batches int
	// Days over which releases and due times are spread; zero means one day per 22 batches, at least 3.
	Days int
	// Kettles, Ovens, Chillers; zero means in proportion to the batches per day.
	Kettles, Ovens, Chillers int
}

// maker builds one instance.
type maker struct {
	r    *rand.Rand
	in   sched.Instance
	size Size
}

// Kitchen makes an instance with eight activities per batch. The same seed and size give the same instance.
func Kitchen(seed uint64, size Size) sched.Instance {
	if size.Days == 0 {
		size.Days = max(3, (size.Batches+21)/22)
	}
	perDay := (size.Batches + size.Days - 1) / size.Days
	scale := func(n *int, tenths int) {
		if *n == 0 {
			*n = max(2, (perDay*tenths+9)/10)
		}
	}
	scale(&size.Kettles, 8)
	scale(&size.Ovens, 2)
	scale(&size.Chillers, 3)
	m := &maker{r: rand.New(rand.NewPCG(seed, 0x6b69746368656e)), size: size}
	m.in.Name = fmt.Sprintf("kitchen %d with %d batches", seed, size.Batches)
	m.in.Horizon = sched.Span{Start: 0, End: int64(2*size.Days+6) * day}
	m.in.Weights = sched.DefaultWeights()
	m.calendars()
	m.vessels()
	for b := range size.Batches {
		m.batch(b)
	}
	return m.in
}

// between returns a multiple of five minutes in [lo, hi] minutes, in seconds.
func (m *maker) between(lo, hi int64) int64 {
	return (lo/5 + m.r.Int64N((hi-lo)/5+1)) * 5 * minute
}

func (m *maker) calendars() {
	crew := sched.Calendar{Name: "crew"}
	idle := sched.Calendar{Name: "unattended"}
	heads := int64(3 + m.size.Batches/m.size.Days/3)
	res := sched.Resource{Name: "heads", Capacity: 0}
	for d := int64(0); d < m.in.Horizon.End/day; d++ {
		at := d * day
		crew.Open = append(crew.Open,
			sched.Open{Span: sched.Span{Start: at + 5*hour, End: at + 21*hour}},
			sched.Open{Span: sched.Span{Start: at + 21*hour, End: at + 23*hour}, Overtime: true})
		res.Levels = append(res.Levels,
			sched.Level{At: at + 5*hour, Capacity: heads},
			sched.Level{At: at + 13*hour, Capacity: max(2, heads-1)},
			sched.Level{At: at + 21*hour, Capacity: 2},
			sched.Level{At: at + 23*hour, Capacity: 0})
	}
	idle.Open = append(idle.Open, sched.Open{Span: m.in.Horizon})
	m.in.Calendars = []sched.Calendar{crew, idle}
	perDay := int64(m.size.Batches/m.size.Days + 1)
	m.in.Resources = []sched.Resource{
		res,
		{Name: "power", Capacity: 30 + 14*perDay},
		{Name: "chiller-load", Capacity: 120 + 40*perDay},
		{Name: "walk-in-shelf", Capacity: 300 + 160*perDay},
	}
}

var states = []string{"light", "dark", "celery", "fish"}

func (m *maker) vessels() {
	clean := sched.Setup{Name: "kettle-cleaning", States: states, Calendar: "crew", Needs: []sched.Need{{Resource: "heads", Amount: 1}}}
	minutes := [4][4]int64{{5, 10, 10, 20}, {20, 5, 20, 20}, {35, 35, 5, 35}, {45, 45, 45, 5}}
	for i := range minutes {
		var row []sched.Change
		for j, t := range minutes[i] {
			row = append(row, sched.Change{Duration: t * minute, Attended: i != j})
		}
		clean.Change = append(clean.Change, row)
	}
	m.in.Setups = []sched.Setup{clean}
	for i := range m.size.Kettles {
		v := sched.Vessel{Name: kettle(i), Setup: clean.Name, State: "light"}
		if i == 0 {
			v.Down = []sched.Span{{Start: day + 9*hour, End: day + 14*hour}}
		}
		m.in.Vessels = append(m.in.Vessels, v)
	}
	for i := range m.size.Ovens {
		m.in.Vessels = append(m.in.Vessels, sched.Vessel{Name: fmt.Sprintf("oven-%d", i+1)})
	}
	for i := range m.size.Chillers {
		m.in.Vessels = append(m.in.Vessels, sched.Vessel{Name: fmt.Sprintf("chiller-%d", i+1)})
	}
	m.in.Vessels = append(m.in.Vessels, sched.Vessel{Name: "portioner-1"}, sched.Vessel{Name: "portioner-2"}, sched.Vessel{Name: "portioner-3"})
}

func kettle(i int) string { return fmt.Sprintf("kettle-%d", i+1) }

// step is the frame of one activity of a batch.
type step struct {
	name               string
	start, middle, end int64
	vessels            []string // alternatives
	power, heads       int64
}

func (m *maker) activity(batch, state string, s step) *sched.Activity {
	a := sched.Activity{Name: batch + "/" + s.name, Order: batch, State: state}
	for _, v := range s.vessels {
		mode := sched.Mode{
			Name: v, Start: s.start, Middle: s.middle, End: s.end, AttendedCalendar: "crew", UnattendedCalendar: "unattended",
			Energy: s.power * s.middle / hour,
		}
		if v != "table" {
			mode.Uses = []sched.Use{{Vessel: v}}
		}
		if s.heads > 0 {
			mode.Needs = append(mode.Needs, sched.Need{Resource: "heads", Amount: s.heads, During: sched.Attended})
		}
		if s.power > 0 {
			mode.Needs = append(mode.Needs, sched.Need{Resource: "power", Amount: s.power})
		}
		a.Modes = append(a.Modes, mode)
	}
	m.in.Activities = append(m.in.Activities, a)
	return &m.in.Activities[len(m.in.Activities)-1]
}

func (m *maker) names(kind string, n int) []string {
	var out []string
	for i := range n {
		out = append(out, fmt.Sprintf("%s-%d", kind, i+1))
	}
	return out
}

// some returns at least two of the names, the first ones being the small vessels.
func (m *maker) some(names []string) []string {
	from := m.r.IntN(max(1, len(names)/2))
	return names[from:]
}

// batch adds roast, simmer, strain, chill, defat, reduce, portion, freeze.
func (m *maker) batch(n int) {
	b := fmt.Sprintf("batch-%03d", n+1)
	state := states[m.r.IntN(len(states))]
	load := 20 + m.r.Int64N(60)
	release := m.r.Int64N(int64(m.size.Days))*day + m.between(240, 600)
	kettles := m.some(m.names("kettle", m.size.Kettles))
	m.activity(b, state, step{name: "roast", start: m.between(10, 20), middle: m.between(40, 90), end: 10 * minute, vessels: m.names("oven", m.size.Ovens), power: 8, heads: 1}).Release = release
	m.activity(b, state, step{name: "simmer", start: m.between(15, 30), middle: m.between(240, 720), end: 5 * minute, vessels: kettles, power: 6, heads: 1})
	m.activity(b, state, step{name: "strain", start: m.between(15, 30), vessels: kettles, heads: 2})
	chill := m.activity(b, state, step{name: "chill", start: 5 * minute, middle: m.between(60, 180), end: 5 * minute, vessels: m.names("chiller", m.size.Chillers), power: 4, heads: 1})
	for i := range chill.Modes {
		chill.Modes[i].Needs = append(chill.Modes[i].Needs, sched.Need{Resource: "chiller-load", Amount: load})
	}
	m.activity(b, state, step{name: "defat", start: m.between(10, 25), vessels: []string{"table"}, heads: 1})
	m.activity(b, state, step{name: "reduce", start: m.between(10, 20), middle: m.between(120, 360), end: 10 * minute, vessels: kettles, power: 7, heads: 1})
	portion := m.activity(b, state, step{name: "portion", start: m.between(30, 75), vessels: []string{"portioner-1", "portioner-2", "portioner-3"}, heads: 2})
	for i := range portion.Modes {
		portion.Modes[i].Pausable = sched.InStart
	}
	freeze := m.activity(b, state, step{name: "freeze", start: 5 * minute, middle: m.between(180, 480), vessels: []string{"table"}, power: 3, heads: 1})
	freeze.Due = release + m.between(1300, 3600)
	freeze.DueWeight = 1 + m.r.Int64N(4)

	tie := func(from, to string, minLag, maxLag int64, why string) {
		m.in.Lags = append(m.in.Lags, sched.Lag{From: b + "/" + from, To: b + "/" + to, Min: minLag, Max: maxLag, HasMax: maxLag >= 0, Why: why})
	}
	tie("roast", "simmer", 0, 40*minute, "roasted bones go into the kettle while warm")
	tie("simmer", "strain", 0, 9*hour, "the stock stays hot in its kettle until it is strained")
	tie("strain", "chill", 0, 30*minute, "strained stock goes to the chiller at once")
	tie("chill", "defat", 4*hour, 3*day, "the fat sets before it is lifted")
	tie("defat", "reduce", 0, 2*hour, "defatted stock is reduced the same shift")
	tie("reduce", "portion", 0, 90*minute, "the sauce is portioned hot")
	tie("portion", "freeze", 0, 60*minute, "packs go to the freezer at once")
	m.in.Holds = append(m.in.Holds, sched.Hold{Activity: b + "/simmer", Until: b + "/strain"})
	m.in.Holds = append(m.in.Holds, sched.Hold{Activity: b + "/reduce", Until: b + "/portion"})
	m.in.Stores = append(m.in.Stores, sched.Store{Resource: "walk-in-shelf", Amount: load, Producer: b + "/chill", Consumer: b + "/defat"})
	same := sched.Link{First: b + "/simmer", Second: b + "/strain"}
	for _, k := range kettles {
		same.Pairs = append(same.Pairs, [2]string{k, k})
	}
	m.in.Links = append(m.in.Links, same)
}
