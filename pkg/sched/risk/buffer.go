package risk

import (
	"cmp"
	"fmt"
	"slices"

	"rondeau.internal/pkg/sched"
)

// BufferOptions steer Buffers.
type BufferOptions struct {
	// Budget is the total of all shifts, in units of time; > 0.
	Budget int64
	// Step is the size of one shift; zero means a quarter of the budget, at least 1. At most 64 steps fit the budget.
	Step int64
	// Samples per trial, 2 to Options.Samples; zero means 200 or Options.Samples if that is less.
	Samples int
	// Candidates tried per step, those most often to blame first; zero means 16, at most 1000.
	Candidates int
	// LagAllowance is by how much the expected number of broken greatest lags may rise in one step; zero: not at all.
	LagAllowance float64
}

// Buffer is one proposed shift of a block of activities (those tied by greatest lags or holds, which move together).
type Buffer struct {
	Order string
	// Shift of the planned starts; negative is earlier: the time gained is a buffer before what follows.
	Shift int64
	Moves []Move
	// OnTime is the change of the expected number of due times met, Tardiness that of the expected weighted tardiness,
	// BrokenLags that of the expected number of broken greatest lags; each on top of the buffers before this one, each
	// with its standard error, from draws that played no part in choosing.
	OnTime, Tardiness, BrokenLags Mean
}

// Move is the start to aim for in the next plan: a release no later than NotBefore, and a wish to be there.
type Move struct {
	Activity           string
	Planned, NotBefore int64
}

const (
	mostSteps  = 64
	freshRound = 1 << 20 // rounds from here on play no part in choosing
)

func (o *BufferOptions) fill(samples int) error {
	if o.Step == 0 {
		o.Step = max(1, o.Budget/4)
	}
	if o.Samples == 0 {
		o.Samples = min(200, samples)
	}
	if o.Candidates == 0 {
		o.Candidates = 16
	}
	var f Faults
	if o.Budget <= 0 || o.Budget > sched.Forever {
		f = append(f, fmt.Sprintf("a budget of %d for buffers must be positive", o.Budget))
	} else if o.Step < 0 || o.Budget/max(1, o.Step) > mostSteps {
		f = append(f, fmt.Sprintf("a step of %d for buffers: at most %d steps may fit the budget of %d", o.Step, mostSteps, o.Budget))
	}
	if o.Samples < 2 || o.Samples > samples {
		f = append(f, fmt.Sprintf("%d samples for buffers: give 2 to %d", o.Samples, samples))
	}
	if o.Candidates < 1 || o.Candidates > 1000 {
		f = append(f, fmt.Sprintf("%d candidates for buffers: give 1 to 1000", o.Candidates))
	}
	if !(o.LagAllowance >= 0 && o.LagAllowance <= 1e6) {
		f = append(f, fmt.Sprintf("an allowance of %v broken lags must not be negative", o.LagAllowance))
	}
	if len(f) > 0 {
		return f
	}
	return nil
}

// trial is what a set of shifts comes to, per realisation.
type trial struct {
	onTime, tard, lags []float64
}

// candidate is a shift of a block, alone or with the earlier blocks of its order.
type candidate struct {
	blocks []int
	shift  int64
}

// Buffers proposes where time helps most: step by step it takes the shift that raises the expected number of due times
// met most under the same luck, or, when none does so beyond chance, lowers tardiness most; it ends when the budget is
// used up or nothing helps. It needs PolicyPlanned. The proposals are for the next plan, not to be followed blindly: a
// block pulled ahead can only start earlier where the plan leaves it room, and the trial has seen to that.
func (s *Simulator) Buffers(o BufferOptions) ([]Buffer, error) {
	if s.opt.Policy != PolicyPlanned {
		return nil, Faults{"buffers move planned starts; use PolicyPlanned"}
	}
	if err := o.fill(s.opt.Samples); err != nil {
		return nil, err
	}
	defer s.run.asPlanned()
	f := &finder{s: s, o: o, shift: make([]int64, len(s.p.acts)), blame: make([]int, len(s.p.acts))}
	f.findBlocks()
	now, err := f.try(0, true)
	if err != nil {
		return nil, err
	}
	before, err := f.try(freshRound, false)
	if err != nil {
		return nil, err
	}
	var out []Buffer
	for left := o.Budget; left >= o.Step; left -= o.Step {
		best, next, err := f.best(now)
		if err != nil {
			return nil, err
		}
		if best == nil {
			break
		}
		f.apply(best, 1)
		after, err := f.try(freshRound, false)
		if err != nil {
			return nil, err
		}
		out = append(out, f.describe(best, before, after))
		before, now = after, next
		if _, err = f.try(0, true); err != nil { // whom to blame now
			return nil, err
		}
	}
	return out, nil
}

// finder looks for buffers.
type finder struct {
	s       *Simulator
	o       BufferOptions
	shift   []int64 // per activity, so far
	blame   []int   // per activity, how often it is on a chain that makes something late
	blocks  [][]int32
	blockOf []int
}

// findBlocks joins activities that greatest lags or holds tie. Blocks with started or pinned activities stay put.
func (f *finder) findBlocks() {
	p := f.s.p
	root := make([]int32, len(p.acts))
	for i := range root {
		root[i] = int32(i)
	}
	find := func(x int32) int32 {
		for root[x] != x {
			root[x] = root[root[x]]
			x = root[x]
		}
		return x
	}
	join := func(x, y int32) {
		if x, y = find(x), find(y); x != y {
			root[max(x, y)] = min(x, y)
		}
	}
	acts := indexOf(p.acts, func(a *act) string { return a.name })
	longest := int64(0)
	for i := range p.acts {
		longest = max(longest, p.acts[i].end-p.acts[i].start)
	}
	for _, l := range p.in.Lags {
		// A lag that leaves more time than the longest activity takes need not keep its ends together.
		if l.HasMax && l.Max-max(0, l.Min) <= longest {
			join(acts[l.From], acts[l.To])
		}
	}
	for _, h := range p.in.Holds {
		join(acts[h.Activity], acts[h.Until])
	}
	f.blockOf = make([]int, len(p.acts))
	at := map[int32]int{}
	for i := range p.acts {
		r := find(int32(i))
		k, known := at[r]
		if !known {
			k = len(f.blocks)
			at[r] = k
			f.blocks = append(f.blocks, nil)
		}
		f.blocks[k] = append(f.blocks[k], int32(i))
		f.blockOf[i] = k
	}
}

func (f *finder) movable(block int) bool {
	return !slices.ContainsFunc(f.blocks[block], func(a int32) bool { return f.s.p.in.Activities[a].Fixed != nil })
}

// try plays the realisations with the present shifts.
func (f *finder) try(round int, blame bool) (trial, error) {
	s, n := f.s, f.o.Samples
	t := trial{onTime: make([]float64, n), tard: make([]float64, n), lags: make([]float64, n)}
	s.run.asPlanned()
	for i := range s.p.acts {
		a := &s.p.acts[i]
		if f.shift[i] != 0 {
			s.run.floor[i] = max(s.p.from, s.p.in.Activities[i].Release, a.floor+f.shift[i])
		}
	}
	for i := range s.p.nodes {
		if n := &s.p.nodes[i]; n.kind == nodeClean {
			s.run.wash[n.clean] = max(s.p.from, s.p.cleans[n.clean].floor+f.shift[n.act])
		}
	}
	if blame {
		clear(f.blame)
	}
	err := s.each(round, n, func(i int) {
		t.tard[i] = s.tardiness()
		for k := range s.p.acts {
			if a := &s.p.acts[k]; a.weight > 0 && s.end(int32(k)) <= a.due {
				t.onTime[i]++
			}
		}
		for k := range s.p.watched {
			if w := &s.p.watched[k]; w.hasMost && s.moment(w.to)-s.moment(w.from) > w.most {
				t.lags[i]++
			}
		}
		if blame {
			s.blame(func(a int32) { f.blame[a]++ })
		}
	})
	return t, err
}

func change(before, after []float64) Mean {
	var s sums
	for i := range before {
		s.add(after[i] - before[i])
	}
	return s.mean(len(before))
}

// apply adds (sign 1) or takes back (-1) a candidate.
func (f *finder) apply(c *candidate, sign int64) {
	for _, b := range c.blocks {
		for _, a := range f.blocks[b] {
			f.shift[a] += sign * c.shift
		}
	}
}

// best tries the candidates and returns the best of those that help beyond chance, or nil.
func (f *finder) best(now trial) (*candidate, trial, error) {
	var best *candidate
	var bestTrial trial
	var bestOnTime, bestTard float64
	for _, c := range f.candidates() {
		f.apply(&c, 1)
		t, err := f.try(0, false)
		f.apply(&c, -1)
		if err != nil {
			return nil, trial{}, err
		}
		onTime, tard, lags := change(now.onTime, t.onTime), change(now.tard, t.tard), change(now.lags, t.lags)
		if lags.Value > f.o.LagAllowance {
			continue
		}
		if onTime.Value < 2*onTime.StandardError || onTime.Value <= 0 {
			if onTime.Value < 0 || -tard.Value < 2*tard.StandardError || tard.Value >= 0 {
				continue
			}
			onTime.Value = 0
		}
		if best == nil || onTime.Value > bestOnTime || onTime.Value == bestOnTime && tard.Value < bestTard {
			best, bestTrial, bestOnTime, bestTard = &c, t, onTime.Value, tard.Value
		}
	}
	return best, bestTrial, nil
}

// candidates lists shifts of the blocks most often to blame: earlier, alone and with all earlier blocks of the order;
// and later, for blocks that are only in the way of others.
func (f *finder) candidates() []candidate {
	score := make([]int, len(f.blocks))
	hurt := make([]bool, len(f.blocks)) // has something late of its own
	for a := range f.s.p.acts {
		k := f.blockOf[a]
		score[k] = max(score[k], f.blame[a])
		hurt[k] = hurt[k] || f.s.p.acts[a].weight > 0 && f.blame[a] > 0
	}
	var ranked []int
	for k := range f.blocks {
		if score[k] > 0 && f.movable(k) {
			ranked = append(ranked, k)
		}
	}
	slices.SortStableFunc(ranked, func(x, y int) int { return cmp.Compare(score[y], score[x]) })
	var out []candidate
	for _, k := range ranked {
		if len(out) >= f.o.Candidates {
			break
		}
		if f.room(k) {
			out = append(out, candidate{blocks: []int{k}, shift: -f.o.Step})
		}
		if all := f.withEarlier(k); len(all) > 1 {
			out = append(out, candidate{blocks: all, shift: -f.o.Step})
		}
		if !hurt[k] {
			out = append(out, candidate{blocks: []int{k}, shift: f.o.Step})
		}
	}
	return out[:min(len(out), f.o.Candidates)]
}

// room reports whether some activity of a block may start earlier than it is planned now.
func (f *finder) room(block int) bool {
	return slices.ContainsFunc(f.blocks[block], func(a int32) bool {
		return f.s.p.acts[a].start+f.shift[a] > max(f.s.p.from, f.s.p.in.Activities[a].Release)
	})
}

// withEarlier is a block with the movable blocks of its order that the plan starts before it.
func (f *finder) withEarlier(block int) []int {
	p := f.s.p
	first := func(k int) int64 {
		t := int64(sched.Forever)
		for _, a := range f.blocks[k] {
			t = min(t, p.acts[a].start)
		}
		return t
	}
	out := []int{block}
	order := p.acts[f.blocks[block][0]].order
	if order < 0 {
		return out
	}
	for _, a := range p.orders[order].acts {
		if k := f.blockOf[a]; !slices.Contains(out, k) && first(k) < first(block) && f.movable(k) {
			out = append(out, k)
		}
	}
	return out
}

func (f *finder) describe(c *candidate, before, after trial) Buffer {
	p := f.s.p
	b := Buffer{
		Shift: c.shift, OnTime: change(before.onTime, after.onTime), Tardiness: change(before.tard, after.tard),
		BrokenLags: change(before.lags, after.lags), Order: p.in.Activities[f.blocks[c.blocks[0]][0]].Order,
	}
	for _, k := range c.blocks {
		for _, a := range f.blocks[k] {
			b.Moves = append(b.Moves, Move{
				Activity: p.acts[a].name, Planned: p.acts[a].start,
				NotBefore: max(p.from, p.in.Activities[a].Release, p.acts[a].start+f.shift[a]),
			})
		}
	}
	slices.SortStableFunc(b.Moves, func(x, y Move) int { return cmp.Compare(x.Planned, y.Planned) })
	return b
}
