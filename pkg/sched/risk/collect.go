package risk

import (
	"cmp"
	"math"
	"slices"

	"rondeau.internal/pkg/sched"
)

// tally counts over the realisations.
type tally struct {
	s     *Simulator
	n     int
	ends  []int64 // per activity, n values
	order []int64 // per order, n values
	lags  []int64 // per watched lag, n values

	tard, over   sums
	allOnTime    int
	acts         []actTally
	orders       []orderTally
	vessels      []vesselTally
	exceeded     []int
	limits       []int // resources that can be exceeded
	x, xx, xy    []float64
	cx, cxx, cxy []float64
	causes       *causeTally
}

type actTally struct {
	onTime, slips, standing, unwatched, unfinished, critical int
	delay, stood                                             float64
	tard                                                     sums
}

type orderTally struct {
	onTime int
	hasDue bool
	tard   sums
}

type vesselTally struct {
	slips, starts, blocked int
}

// Run carries the plan out and reports. It may be called again; the result is the same.
func (s *Simulator) Run() (*Report, error) {
	p, n := s.p, s.opt.Samples
	t := &tally{
		s: s, n: n, ends: make([]int64, n*len(p.acts)), order: make([]int64, n*len(p.orders)), lags: make([]int64, n*len(p.watched)),
		acts: make([]actTally, len(p.acts)), orders: make([]orderTally, len(p.orders)), vessels: make([]vesselTally, len(p.vessels)),
		exceeded: make([]int, len(p.base)), x: make([]float64, len(p.acts)), xx: make([]float64, len(p.acts)), xy: make([]float64, len(p.acts)),
		cx: make([]float64, len(s.d.causes)), cxx: make([]float64, len(s.d.causes)), cxy: make([]float64, len(s.d.causes)),
		causes: newCauseTally(s),
	}
	for r := range p.base {
		if p.canExceed(int32(r)) {
			t.limits = append(t.limits, r)
		}
	}
	for i := range p.acts {
		if a := &p.acts[i]; a.weight > 0 && a.order >= 0 {
			t.orders[a.order].hasDue = true
		}
	}
	if err := s.each(0, n, t.count); err != nil {
		return nil, err
	}
	return t.report(), nil
}

// canExceed reports whether anything can overload a resource.
func (p *program) canExceed(r int32) bool {
	return slices.ContainsFunc(p.stores, func(s store) bool { return s.res == r }) ||
		slices.ContainsFunc(p.acts, func(a act) bool {
			return slices.ContainsFunc(a.dems, func(d demand) bool { return d.res == r && (d.open || a.fact) })
		})
}

// count adds realisation i.
func (t *tally) count(i int) {
	s, p := t.s, t.s.p
	tard := s.tardiness()
	t.tard.add(tard)
	t.over.add(float64(s.overtime()))
	late := t.countActs(i)
	if late {
		s.blame(func(a int32) { t.acts[a].critical++ })
		t.causes.count()
	} else {
		t.allOnTime++
	}
	t.countOrders(i)
	for k := range p.watched {
		w := &p.watched[k]
		t.lags[k*t.n+i] = s.moment(w.to) - s.moment(w.from)
	}
	t.countVessels()
	for _, r := range t.limits {
		if s.exceeded(r) {
			t.exceeded[r]++
		}
	}
	t.correlate(i, tard)
}

// moment is the value of a slot, bounded.
func (s *Simulator) moment(slot int32) int64 {
	if v := s.run.val[slot]; v < sched.Forever {
		return v
	}
	return s.p.cap
}

func (t *tally) countActs(i int) (late bool) {
	s := t.s
	for k := range s.p.acts {
		a, c := &s.p.acts[k], &t.acts[k]
		end := s.end(int32(k))
		t.ends[k*t.n+i] = end
		if s.run.val[2*k+1] >= sched.Forever {
			c.unfinished++
		}
		if a.weight > 0 {
			if end <= a.due {
				c.onTime++
				c.tard.add(0)
			} else {
				late = true
				c.tard.add(float64(a.weight) * float64(end-a.due))
			}
		}
		if d := s.moment(int32(2*k)) - a.start; d > 0 {
			c.delay += float64(d)
			if d > s.opt.Tolerance {
				c.slips++
			}
		}
		if n := s.standing(k); n > 0 {
			c.standing++
			c.stood += float64(n)
			if s.unwatched(k) {
				c.unwatched++
			}
		}
	}
	return late
}

func (t *tally) countOrders(i int) {
	s := t.s
	for k := range s.p.orders {
		c := &t.orders[k]
		last, tard := int64(math.MinInt64), 0.0
		for _, a := range s.p.orders[k].acts {
			x := &s.p.acts[a]
			end := s.end(a)
			last = max(last, end)
			if x.weight > 0 && end > x.due {
				tard += float64(x.weight) * float64(end-x.due)
			}
		}
		t.order[k*t.n+i] = last
		if tard == 0 {
			c.onTime++
		}
		c.tard.add(tard)
	}
}

func (t *tally) countVessels() {
	s := t.s
	for k := range s.p.vessels {
		v, c := &s.p.vessels[k], &t.vessels[k]
		slipped := 0
		blocked := false
		for _, st := range v.stays {
			a := &s.p.acts[st.act]
			if s.moment(2*st.act)-a.start > s.opt.Tolerance {
				slipped++
			}
			if len(v.down) > 0 && !a.fact {
				start, rel := s.run.val[2*st.act], s.run.val[2*st.act+1]
				if st.until >= 0 {
					rel = max(rel, s.run.val[2*st.until])
				}
				blocked = blocked || start < sched.Forever && clearOf(v.down, start, rel) > start
			}
		}
		c.starts += slipped
		if slipped > 0 {
			c.slips++
		}
		if blocked {
			c.blocked++
		}
	}
}

// correlate adds durations and causes against tardiness.
func (t *tally) correlate(i int, tard float64) {
	d := t.s.d
	row := d.values[(i%RoundSize)*len(d.columns):]
	for k := 0; k < len(d.columns); {
		a := d.columns[k].act
		x := 0.0
		for ; k < len(d.columns) && d.columns[k].act == a; k++ {
			x += float64(row[k] - d.base[3*int(a)+d.columns[k].phase])
		}
		t.x[a] += x
		t.xx[a] += x * x
		t.xy[a] += x * tard
	}
	for k := range d.causes {
		x := d.scores[k][i%RoundSize]
		t.cx[k] += x
		t.cxx[k] += x * x
		t.cxy[k] += x * tard
	}
}

func (t *tally) correlation(x, xx, xy float64) float64 {
	n := float64(t.n)
	vx, vy := xx-x*x/n, t.tard.xx-t.tard.x*t.tard.x/n
	// Sums of squares that cancel to rounding error mean that nothing varies.
	if vx <= 1e-9*xx || vy <= 1e-9*t.tard.xx {
		return 0
	}
	return max(-1, min(1, (xy-x*t.tard.x/n)/math.Sqrt(vx*vy)))
}

func (t *tally) report() *Report {
	s, p, n, q := t.s, t.s.p, t.n, t.s.opt.Quantiles
	r := &Report{
		Samples: n, Policy: s.opt.Policy, Quantiles: slices.Clone(q), Tardiness: t.tard.mean(n), Overtime: t.over.mean(n),
		AllOnTime: probability(t.allOnTime, n),
	}
	for k := range p.acts {
		a, c := &p.acts[k], &t.acts[k]
		x := ActivityRisk{
			Activity: a.name, Order: p.in.Activities[k].Order, PlannedStart: a.start, PlannedEnd: a.end, End: ends(t.ends[k*n:(k+1)*n], q),
			HasDue: a.weight > 0, Slips: probability(c.slips, n), Delay: c.delay / float64(n), Standing: probability(c.standing, n),
			Unwatched: probability(c.unwatched, n), Unfinished: probability(c.unfinished, n), Criticality: float64(c.critical) / float64(n),
			Sensitivity: t.correlation(t.x[k], t.xx[k], t.xy[k]),
		}
		if c.standing > 0 {
			x.StandingTime = c.stood / float64(c.standing)
			r.Caution = Caution
		}
		if x.HasDue {
			x.Due, x.OnTime, x.Tardiness = a.due, probability(c.onTime, n), c.tard.mean(n)
		}
		r.Activities = append(r.Activities, x)
	}
	for k := range p.orders {
		c := &t.orders[k]
		values := t.order[k*n : (k+1)*n]
		x := OrderRisk{Order: p.orders[k].name, End: ends(values, q), HasDue: c.hasDue}
		if c.hasDue {
			x.OnTime, x.Tardiness = probability(c.onTime, n), c.tard.mean(n)
			x.Causes = t.causes.of(k)
		}
		r.Orders = append(r.Orders, x)
		r.orderEnds = append(r.orderEnds, values)
	}
	t.lagRisks(r)
	for k := range p.vessels {
		c := &t.vessels[k]
		x := VesselRisk{Vessel: p.vessels[k].name, Slips: probability(c.slips, n), Blocked: probability(c.blocked, n)}
		if m := len(p.vessels[k].stays); m > 0 {
			x.SlippingShare = float64(c.starts) / float64(n*m)
		}
		r.Vessels = append(r.Vessels, x)
	}
	for k := range p.base {
		r.Resources = append(r.Resources, ResourceRisk{Resource: p.in.Resources[k].Name, Exceeded: probability(t.exceeded[k], n)})
	}
	t.drivers(r)
	return r
}

func (t *tally) lagRisks(r *Report) {
	for k := range t.s.p.watched {
		w := &t.s.p.watched[k]
		l := &t.s.p.in.Lags[w.index]
		values := t.lags[k*t.n : (k+1)*t.n]
		count, excess := 0, 0.0
		for _, v := range values {
			over := int64(0)
			if w.hasMost {
				over = v - w.most
			}
			if w.hasLest {
				over = max(over, w.least-v)
			}
			if over > 0 {
				count++
				excess += float64(over)
			}
		}
		x := LagRisk{Index: w.index, From: l.From, To: l.To, Why: l.Why, Broken: probability(count, t.n), Lag: ends(values, t.s.opt.Quantiles)}
		if count > 0 {
			x.Excess = excess / float64(count)
		}
		r.Lags = append(r.Lags, x)
		r.Caution = Caution
	}
}

func (t *tally) drivers(r *Report) {
	add := func(kind DriverKind, name string, c float64) {
		if math.Abs(c) > r.Noise() {
			r.Drivers = append(r.Drivers, Driver{Kind: kind, Name: name, Correlation: c})
		}
	}
	for i := range r.Activities {
		add(DriverActivity, r.Activities[i].Activity, r.Activities[i].Sensitivity)
	}
	kinds := [...]DriverKind{causeVessel: DriverVessel, causeOrder: DriverOrder, causeYield: DriverYield}
	for k := range t.s.d.causes {
		c := &t.s.d.causes[k]
		add(kinds[c.kind], c.name, t.correlation(t.cx[k], t.cxx[k], t.cxy[k]))
	}
	slices.SortStableFunc(r.Drivers, func(a, b Driver) int { return cmp.Compare(math.Abs(b.Correlation), math.Abs(a.Correlation)) })
}
