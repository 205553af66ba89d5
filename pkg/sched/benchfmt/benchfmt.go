// Package benchfmt reads the plain-text formats in which scheduling problems are published, so that the engine is
// measured on problems with known optima: flexible job shop (.fjs, also with workers, .fjsw), job shop, PSPLIB
// single-mode project scheduling (.sm, Kolisch and Sprecher 1996) and ProGen/max (.sch, Schwindt 1998). Each becomes a
// sched.Instance whose objective is the makespan.
package benchfmt

import (
	"bufio"
	"fmt"
	"io"
	"strconv"
	"strings"

	"rondeau.internal/pkg/sched"
)

// sizeLimit bounds counts read from a file, so that a damaged file cannot ask for absurd amounts of memory.
const sizeLimit = 20000

// tokens reads whitespace-separated integers.
type tokens struct {
	sc  *bufio.Scanner
	err error
	n   int
}

func newTokens(r io.Reader) *tokens {
	sc := bufio.NewScanner(r)
	sc.Buffer(make([]byte, 1<<16), 1<<22)
	sc.Split(bufio.ScanWords)
	return &tokens{sc: sc}
}

// next returns the next integer in [lo, hi]; after an error it returns lo.
func (t *tokens) next(what string, lo, hi int64) int64 {
	if t.err != nil {
		return lo
	}
	if !t.sc.Scan() {
		t.err = fmt.Errorf("the file ends before %s (number %d)", what, t.n+1)
		if err := t.sc.Err(); err != nil {
			t.err = err
		}
		return lo
	}
	t.n++
	v, err := strconv.ParseInt(strings.Trim(t.sc.Text(), "[]"), 10, 64)
	if err != nil || v < lo || v > hi {
		t.err = fmt.Errorf("%s (number %d) is %q; it must be a whole number between %d and %d", what, t.n, t.sc.Text(), lo, hi)
		return lo
	}
	return v
}

func makespan(name string, horizon int64) sched.Instance {
	return sched.Instance{Name: name, Horizon: sched.Span{End: max(1, horizon)}, Weights: sched.Weights{Makespan: 1}}
}

func addMachines(in *sched.Instance, prefix string, n int64) {
	for m := range n {
		in.Vessels = append(in.Vessels, sched.Vessel{Name: fmt.Sprintf("%s%d", prefix, m)})
	}
}

func opName(job, op int64) string { return fmt.Sprintf("j%d.%d", job, op) }

// JobShop reads lines of machine and duration pairs, machines numbered from 0.
func JobShop(r io.Reader, name string) (sched.Instance, error) {
	t := newTokens(r)
	jobs, machines := t.next("the number of jobs", 1, sizeLimit), t.next("the number of machines", 1, sizeLimit)
	in := makespan(name, 0)
	addMachines(&in, "m", machines)
	for j := range jobs {
		for k := range machines {
			m := t.next("a machine", 0, machines-1)
			d := t.next("a duration", 0, 1<<30)
			if t.err != nil {
				return sched.Instance{}, fmt.Errorf("job shop %s: %w", name, t.err)
			}
			addOp(&in, j, k, []sched.Mode{mode(d, m)})
		}
	}
	return in, nil
}

func mode(d int64, machine int64) sched.Mode {
	m := sched.Mode{Name: fmt.Sprintf("m%d", machine), Middle: d}
	if d > 0 {
		m.Uses = []sched.Use{{Vessel: m.Name}}
	}
	return m
}

// addOp appends an operation, ties it to the one before it and lengthens the horizon.
func addOp(in *sched.Instance, job, op int64, modes []sched.Mode) {
	in.Activities = append(in.Activities, sched.Activity{Name: opName(job, op), Order: fmt.Sprintf("j%d", job), Modes: modes})
	var longest int64
	for i := range modes {
		longest = max(longest, modes[i].Middle)
	}
	in.Horizon.End += longest
	if op > 0 {
		in.Lags = append(in.Lags, sched.Lag{From: opName(job, op-1), To: opName(job, op)})
	}
}

// FlexibleJobShop reads .fjs: per job the number of operations, per operation the eligible machines (from 1) with
// durations. The first line may carry a third number, the mean number of machines per operation.
func FlexibleJobShop(r io.Reader, name string) (sched.Instance, error) {
	return flexible(r, name, false)
}

// FlexibleJobShopWorkers reads .fjsw: as .fjs, with a choice of worker (from 1) and duration per machine.
func FlexibleJobShopWorkers(r io.Reader, name string) (sched.Instance, error) {
	return flexible(r, name, true)
}

func flexible(r io.Reader, name string, workers bool) (sched.Instance, error) {
	br := bufio.NewReader(r)
	head, err := br.ReadString('\n')
	if err != nil {
		return sched.Instance{}, fmt.Errorf("flexible job shop %s: first line: %w", name, err)
	}
	f := strings.Fields(head)
	want := 2
	if workers {
		want = 3
	}
	if len(f) < want {
		return sched.Instance{}, fmt.Errorf("flexible job shop %s: the first line must have %d numbers", name, want)
	}
	t := newTokens(io.MultiReader(strings.NewReader(strings.Join(f[:want], " ")+"\n"), br))
	jobs, machines := t.next("the number of jobs", 1, sizeLimit), t.next("the number of machines", 1, sizeLimit)
	in := makespan(name, 0)
	addMachines(&in, "m", machines+1)
	in.Vessels = in.Vessels[1:] // numbered from 1
	var crew int64
	if workers {
		crew = t.next("the number of workers", 1, sizeLimit)
		addMachines(&in, "w", crew+1)
		in.Vessels = append(in.Vessels[:machines], in.Vessels[machines+1:]...)
	}
	for j := range jobs {
		ops := t.next("the number of operations", 0, sizeLimit)
		for k := range ops {
			var modes []sched.Mode
			for range t.next("the number of machines of an operation", 1, machines) {
				m := t.next("a machine", 1, machines)
				if !workers {
					modes = append(modes, mode(t.next("a duration", 0, 1<<30), m))
					continue
				}
				for range t.next("the number of workers of an operation", 1, crew) {
					w := t.next("a worker", 1, crew)
					x := mode(t.next("a duration", 1, 1<<30), m)
					x.Name = fmt.Sprintf("m%d/w%d", m, w)
					x.Uses = append(x.Uses, sched.Use{Vessel: fmt.Sprintf("w%d", w)})
					modes = append(modes, x)
				}
			}
			if t.err != nil {
				return sched.Instance{}, fmt.Errorf("flexible job shop %s: %w", name, t.err)
			}
			addOp(&in, j, k, modes)
		}
	}
	if t.err != nil {
		return sched.Instance{}, fmt.Errorf("flexible job shop %s: %w", name, t.err)
	}
	return in, nil
}

// WithOperators adds a pool of identical operators, one of which every operation takes while it lasts.
func WithOperators(in sched.Instance, operators int64) sched.Instance {
	in.Resources = append(in.Resources, sched.Resource{Name: "operators", Capacity: operators})
	acts := append([]sched.Activity(nil), in.Activities...)
	for i := range acts {
		acts[i].Modes = append([]sched.Mode(nil), acts[i].Modes...)
		for k := range acts[i].Modes {
			acts[i].Modes[k].Needs = append(acts[i].Modes[k].Needs, sched.Need{Resource: "operators", Amount: 1})
		}
	}
	in.Activities = acts
	return in
}

// WithBlocking makes every operation hold its machine until the next operation of its job starts.
func WithBlocking(in sched.Instance) sched.Instance {
	for _, l := range in.Lags {
		in.Holds = append(in.Holds, sched.Hold{Activity: l.From, Until: l.To})
	}
	return in
}

// Due is the promise for one job of a job shop, for the weighted tardiness problem.
type Due struct {
	Job         int
	Weight, Due int64
}

// WithDueDates keeps the listed jobs only and replaces the makespan by the weighted tardiness of their last operations.
func WithDueDates(in sched.Instance, dues []Due) sched.Instance {
	keep := map[string]Due{}
	for _, d := range dues {
		keep[fmt.Sprintf("j%d", d.Job)] = d
	}
	last := map[string]int{}
	var acts []sched.Activity
	names := map[string]bool{}
	for _, a := range in.Activities {
		if _, ok := keep[a.Order]; ok {
			last[a.Order] = len(acts)
			acts = append(acts, a)
			names[a.Name] = true
		}
	}
	for order, i := range last {
		acts[i].Due, acts[i].DueWeight = keep[order].Due, keep[order].Weight
	}
	var lags []sched.Lag
	for _, l := range in.Lags {
		if names[l.From] && names[l.To] {
			lags = append(lags, l)
		}
	}
	in.Activities, in.Lags, in.Weights = acts, lags, sched.Weights{}
	return in
}
