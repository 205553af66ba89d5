package sched

import "math"

// climb is the search for good rents: steps along an average of the directions seen so far (a deflected subgradient, after
// Camerini, Fratta and Maffioli, Mathematical Programming Study 3, 1975), as long as the rise that is hoped for demands
// (Polyak's length, with the hope lowered when it is disappointed, after Goffin and Kiwiel, Mathematical Programming 85,
// 1999; all from memory). This arithmetic only chooses rents; the bound that they give is computed in integers.
type climb struct {
	per   int32     // cells with a common rent
	x     []float64 // rents now, limit by limit
	way   []float64
	got   []float64
	scale []float64 // per limit, by what its rents weigh against those of others
	value int64     // under the rents now
	free  int64     // under no rents
	best  int64     // greatest value so far
	hope  float64   // rise of best that the next steps aim at
	fails int       // steps since best rose
	top   [][]int64 // rents that gave it; nil: none
	steps int
	idle  int // steps since best rose by anything worth it
	mark  int64
}

// How the climb goes, found by trial on kitchens of 8 to 150 batches.
const (
	newest    = 0.15 // weight of the newest direction in the average
	reach     = 0.1  // length of a step, as a part of Polyak's
	firstHope = 0.1  // as a part of the distance to the cost of the best plan
	raised    = 1.5  // change of the hope after a step that rises by a good part of it
	lowered   = 0.6  // and after several that do not rise
	patient   = 5    // so many
	stepLimit = 800  // after so many steps, and
	idleLimit = 80   // after so many that gain next to nothing, the climb ends
)

// begin evaluates rents of zero.
func (r *rents) begin() {
	k := &r.climb
	longest := int64(1)
	for _, t := range r.all {
		for i := range t.nodes {
			longest = max(longest, r.p.tail[t.nodes[i].act])
		}
	}
	k.per = int32(max(1, longest/(160*r.g.g)))
	n := len(r.limits) * int((r.g.cells+k.per-1)/k.per)
	k.x, k.way, k.got = make([]float64, n), make([]float64, n), make([]float64, n)
	for _, l := range r.limits {
		peak := int64(1)
		for _, c := range l.cap {
			peak = max(peak, c)
		}
		k.scale = append(k.scale, 1/float64(peak))
	}
	k.value = r.value(true)
	k.free, k.best, k.mark = k.value, k.value, k.value
	r.excess(k.got)
	copy(k.way, k.got)
}

// bound is the least weighted lateness that is proved so far.
func (r *rents) bound() int64 { return ceilDiv(r.climb.best, rentScale) }

// spent reports whether further steps promise nothing.
func (r *rents) spent() bool {
	k := &r.climb
	return len(r.limits) == 0 || len(r.all) == 0 || k.steps >= stepLimit || k.idle >= idleLimit
}

// step moves the rents once; goal is the cost of the best plan known.
func (r *rents) step(goal int64) {
	k := &r.climb
	k.steps++
	if k.hope == 0 {
		k.hope = firstHope * math.Max(float64(goal*rentScale-k.best), 0.02*float64(k.best))
	}
	norm := 0.0
	n := len(k.x) / len(r.limits)
	for i, w := range k.way {
		if k.x[i] > 0 || w > 0 {
			d := w * k.scale[i/n]
			norm += float64(d * d)
		}
	}
	if norm <= 0 {
		k.idle = idleLimit // nothing is asked for by too much work
		return
	}
	for i, w := range k.way {
		s := k.scale[i/n]
		k.x[i] = math.Max(0, k.x[i]+float64(reach*k.hope/norm*w*s*s))
	}
	r.ask(k.x)
	k.value = r.value(true)
	r.excess(k.got)
	for i, g := range k.got {
		k.way[i] += float64(newest * (g - k.way[i]))
	}
	k.judge(r)
}

// judge keeps the rents if they prove more than any before, and sets the hope for the next step.
func (k *climb) judge(r *rents) {
	k.idle++
	if k.value <= k.best {
		if k.fails++; k.fails == patient {
			k.fails = 0
			k.hope *= lowered
		}
		return
	}
	if float64(k.value-k.best) > k.hope/20 {
		k.hope *= raised
	}
	k.best, k.fails = k.value, 0
	r.keepTop()
	if k.best-k.mark > k.mark/1000 {
		k.mark, k.idle = k.best, 0
	}
}

// ask makes x the rents, rounded.
func (r *rents) ask(x []float64) {
	k := &r.climb
	i := 0
	for _, l := range r.limits {
		for c := int32(0); c < r.g.cells; c += k.per {
			v := max(0, int64(math.Min(x[i], float64(l.roof))))
			for j := c; j < min(c+k.per, r.g.cells); j++ {
				l.rent[j] = v
			}
			i++
		}
	}
}

// excess is by how much the runs found last take more than there is, limit by limit and rent by rent.
func (r *rents) excess(out []float64) {
	k := &r.climb
	i := 0
	for _, l := range r.limits {
		used := int64(0)
		for c := int32(0); c < r.g.cells; c += k.per {
			sum := int64(0)
			for j := c; j < min(c+k.per, r.g.cells); j++ {
				used += l.use[j]
				sum += used - l.cap[j]
			}
			out[i] = float64(sum)
			i++
		}
	}
}

// keepTop remembers the rents.
func (r *rents) keepTop() {
	k := &r.climb
	if k.top == nil {
		k.top = make([][]int64, len(r.limits))
	}
	for i, l := range r.limits {
		k.top[i] = append(k.top[i][:0], l.rent...)
	}
}

// cellsPerTry is how much of the bound's work may be done for each plan tried, more where a plan takes longer to try:
// about a tenth of the time.
const cellsPerTry = 1000

// raiseBound improves the bound in proportion to the plans tried, so that the result does not depend on the speed of
// the machine. It begins when there is a plan.
func (s *searcher) raiseBound() {
	if s.best == nil || s.noRents || s.best.cost.Tardiness <= s.bound.Tardiness || s.proved() {
		return
	}
	credit := int64(s.used) * int64(max(cellsPerTry, len(s.p.acts)/4))
	if s.rents == nil {
		if credit < 200*int64(len(s.p.acts)) {
			return
		}
		if s.rents = s.p.newRents(); s.rents == nil {
			s.noRents = true
			return
		}
	}
	r := s.rents
	for int64(r.climb.steps+3)*r.work < credit && !r.spent() {
		if r.climb.steps > 0 && s.opt.Stop != nil && s.opt.Stop() {
			break
		}
		r.step(s.best.cost.Tardiness)
		if r.bound() >= s.best.cost.Tardiness {
			break
		}
	}
	if b := r.bound(); b > s.bound.Tardiness {
		s.bound.Tardiness = b
		s.bound = s.p.in.Weights.Weigh(s.bound)
	}
}
