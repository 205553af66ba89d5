package explode

// maxRounds bounds the repetitions of a plan whose batches turned out late.
const maxRounds = 6

// shift is the later day on which new supply can really be there, and why; day 0 means that the planned day stands.
type shift struct {
	day   int32
	cause Cause
	root  int32
}

// moved holds a shift for a node and a day. Nodes without an entry have nil.
type moved [][]shift

// refine plans again as long as batches start later than was planned: what goes into a late batch was timed for its
// planned start, and would lie, or spoil, until the real one. Each round plans the late batches for the day that the
// round before found, so that needs of different days which are served on the same day become one batch. The best plan is kept.
func refine(p *Problem, first *solver) (*solver, error) {
	best, last := first, first
	shifts := make(moved, len(p.Nodes))
	for range maxRounds {
		if !shifts.learn(last) {
			break
		}
		next, err := plan(p, shifts)
		if err != nil {
			return nil, err
		}
		if next.betterThan(best) {
			best = next
		}
		last = next
	}
	return best, nil
}

// learn enters the batches of a plan that start late and reports whether that was news.
func (m moved) learn(s *solver) bool {
	news := false
	days := int32(s.p.Days)
	for i := range s.drafts {
		d := &s.drafts[i]
		if int32(d.Start) <= d.planStart {
			continue
		}
		lead := s.calendars[d.Node].lead
		if m[d.Node] == nil {
			m[d.Node] = make([]shift, days)
		}
		row, due := m[d.Node], int32(d.Due)
		for day := max(d.planStart+lead, 0); day < min(due, days); day++ {
			if row[day].day < due {
				row[day] = shift{due, d.lateCause, d.lateRoot}
				news = true
			}
		}
	}
	return news
}

// availableFor is the calendar's answer, moved to the day that an earlier round found, and the reason of the move.
func (m moved) availableFor(node int, day int32, c *calendar) (int32, Cause, int32) {
	avail := c.availableFor(day)
	if m == nil || m[node] == nil || avail == never || int(avail) >= len(m[node]) {
		return avail, NoCause, int32(node)
	}
	if later := m[node][avail]; later.day > 0 && later.day < c.days {
		return later.day, later.cause, later.root
	}
	return avail, NoCause, int32(node) // or it would not come at all: plan it as early as it goes and tell why it is late
}

// betterThan compares two plans of a problem: by the share of demand that is late or short, each day of lateness counted, and
// when that is equal by the number of batches, which each take a vessel, its cleaning and people.
func (s *solver) betterThan(other *solver) bool {
	a, b := s.penalty(), other.penalty()
	if a < b*(1-relTol) {
		return true
	}
	return a <= b*(1+relTol) && s.batches() < other.batches()
}

// batches counts the batches that are really made.
func (s *solver) batches() int {
	n := 0
	for i := range s.drafts {
		if s.drafts[i].Nominal > 0 {
			n++
		}
	}
	return n
}

// penalty is the sum over demands of the share that is late, times the days; what does not come at all counts as the
// whole horizon. Orders count four times as much as pars, forecasts twice.
func (s *solver) penalty() float64 {
	weights := [demandKinds]float64{Order: 4, Forecast: 2, Par: 1}
	horizon := float64(s.p.Days)
	total := 0.0
	for ni := range s.needs {
		n := &s.needs[ni]
		if n.to.Kind != ToDemand || n.qty == 0 {
			continue
		}
		missing := n.qty
		late := 0.0
		for _, ai := range s.allocOfNeed.row(ni) {
			a := &s.allocs[ai]
			missing -= a.got
			late += a.got * float64(max(0, s.supplies[a.supply].avail-n.day))
		}
		late += max(0, missing) * horizon
		total += weights[n.class] * late / n.qty
	}
	return total
}
