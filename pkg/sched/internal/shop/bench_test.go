package shop_test

import (
	"cmp"
	"encoding/csv"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"syscall"
	"testing"
	"time"

	"rondeau.internal/pkg/sched"
	"rondeau.internal/pkg/sched/benchfmt"
	"rondeau.internal/pkg/sched/internal/shop"
	"rondeau.internal/pkg/sched/verify"
	"rondeau.internal/pkg/testenv"
)

// benchFolder finds the published instances.
func benchFolder(t *testing.T) string {
	t.Helper()
	return filepath.Join(testenv.SharedDir(t), "bench")
}

// published is one instance with its best known value.
type published struct {
	group, name  string
	in           sched.Instance
	p            *shop.Problem
	lower, upper int64
	doubtful     bool
}

var digits = regexp.MustCompile(`[0-9].*`)

func groupOf(name string) string {
	for _, s := range []string{"edata", "rdata", "vdata"} {
		if strings.Contains(name, s) {
			return "hurink " + s
		}
	}
	if n, err := strconv.Atoi(strings.TrimPrefix(name, "la")); err == nil && strings.HasPrefix(name, "la") && n <= 20 {
		return "jsp la01-20"
	}
	g := digits.ReplaceAllString(name, "")
	switch g {
	case "mt", "setb":
		return "barnes"
	case "ft", "abz", "orb", "swv", "la":
		return "jsp hard"
	}
	return g
}

func rows(t *testing.T, path string) [][]string {
	t.Helper()
	f, err := os.Open(path)
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	out, err := csv.NewReader(f).ReadAll()
	if err != nil {
		t.Fatal(err)
	}
	return out[1:]
}

func readInstance(t *testing.T, path string, read func(io.Reader, string) (sched.Instance, error)) sched.Instance {
	t.Helper()
	f, err := os.Open(path)
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	in, err := read(f, filepath.Base(path))
	if err != nil {
		t.Fatal(err)
	}
	return in
}

func number(s string) int64 {
	v, _ := strconv.ParseInt(s, 10, 64) // empty: no bound known
	return v
}

// loadPublished reads all published shop instances whose "group/name" matches.
func loadPublished(t *testing.T, match *regexp.Regexp) []published {
	t.Helper()
	bench := benchFolder(t)
	var out []published
	add := func(group, name, lo, up string, make func() sched.Instance) {
		if !match.MatchString(group + "/" + name) {
			return
		}
		in := make()
		in.Name = name
		out = append(out, published{group: group, name: name, in: in, p: fromInstance(t, &in), lower: number(lo), upper: number(up)})
	}
	file := func(folder, name, ext string, read func(io.Reader, string) (sched.Instance, error)) func() sched.Instance {
		return func() sched.Instance { return readInstance(t, filepath.Join(bench, folder, name+ext), read) }
	}
	for _, r := range rows(t, filepath.Join(bench, "fjsp", "best-known.csv")) {
		add(groupOf(r[0]), r[0], r[1], r[2], file("fjsp", r[0], ".fjs", benchfmt.FlexibleJobShop))
	}
	for _, r := range rows(t, filepath.Join(bench, "fjsp-workers", "best-known.csv")) {
		add("workers "+groupOf(r[0]), r[0], "", r[2], file("fjsp-workers", r[0], ".fjsw", benchfmt.FlexibleJobShopWorkers))
	}
	jsp := func(name string) func() sched.Instance { return file("jsp", name, ".txt", benchfmt.JobShop) }
	for i := range out {
		// Job 2 needs at least 49 (machine 1, worker 2) + 20 (machine 1) = 69; the list says 68.
		out[i].doubtful = out[i].group == "workers fattahi" && out[i].name == "fattahi1"
	}
	for _, r := range rows(t, filepath.Join(bench, "jsp", "best-known.csv")) {
		add(groupOf(r[0]), r[0], r[1], r[2], jsp(r[0]))
	}
	for _, r := range rows(t, filepath.Join(bench, "jsp", "best-known-operators.csv")) {
		add("operators "+r[1], r[0], r[2], r[3], func() sched.Instance { return benchfmt.WithOperators(jsp(r[0])(), number(r[1])) })
	}
	for _, r := range rows(t, filepath.Join(bench, "jsp", "best-known-blocking.csv")) {
		add("blocking", r[0], r[1], r[2], func() sched.Instance { return benchfmt.WithBlocking(jsp(r[0])()) })
	}
	dues, base := map[string][]benchfmt.Due{}, map[string]string{}
	for _, r := range rows(t, filepath.Join(bench, "jsp", "twt-duedates.csv")) {
		dues[r[0]] = append(dues[r[0]], benchfmt.Due{Job: int(number(r[2])), Weight: number(r[3]), Due: number(r[4])})
		base[r[0]] = r[1]
	}
	for _, r := range rows(t, filepath.Join(bench, "jsp", "best-known-twt.csv")) {
		add("twt", r[0], "", r[2], func() sched.Instance { return benchfmt.WithDueDates(jsp(base[r[0]])(), dues[r[0]]) })
	}
	return out
}

// fromInstance converts what the readers of package benchfmt make.
func fromInstance(t *testing.T, in *sched.Instance) *shop.Problem {
	t.Helper()
	vessel := map[string]int32{}
	for i := range in.Vessels {
		vessel[in.Vessels[i].Name] = int32(i)
	}
	p := &shop.Problem{Resources: len(in.Vessels), Blocking: len(in.Holds) > 0}
	if in.Weights.Makespan == 0 {
		p.Objective = shop.WeightedTardiness
	}
	if len(in.Resources) > 0 {
		p.Operators = int(in.Resources[0].Capacity)
	}
	last := ""
	for i := range in.Activities {
		a := &in.Activities[i]
		if a.Order != last || i == 0 {
			p.Jobs = append(p.Jobs, shop.Job{})
			last = a.Order
		}
		j := &p.Jobs[len(p.Jobs)-1]
		var op shop.Operation
		for _, m := range a.Modes {
			x := shop.Mode{Duration: m.Middle}
			for _, u := range m.Uses {
				x.Resources = append(x.Resources, vessel[u.Vessel])
			}
			op.Modes = append(op.Modes, x)
		}
		j.Operations = append(j.Operations, op)
		if a.DueWeight > 0 {
			j.Due, j.Weight = a.Due, a.DueWeight
		}
	}
	return p
}

// check compares a result with the instance by the independent checker.
func check(t *testing.T, in *sched.Instance, p *shop.Problem, r *shop.Result) {
	t.Helper()
	if r.Bound > r.Value {
		t.Errorf("%s: the bound %d is above the value %d", in.Name, r.Bound, r.Value)
	}
	var plan sched.Plan
	at := map[string]int{}
	for i := range in.Activities {
		a := &in.Activities[i]
		m := &a.Modes[r.Modes[i]]
		as := sched.Assignment{Activity: a.Name, Order: a.Order, Mode: m.Name, Start: r.Starts[i], End: r.Starts[i] + m.Middle, HeldUntil: r.Starts[i] + m.Middle}
		for _, u := range m.Uses {
			as.Vessels = append(as.Vessels, u.Vessel)
		}
		at[a.Name] = i
		plan.Assignments = append(plan.Assignments, as)
	}
	for _, h := range in.Holds {
		plan.Assignments[at[h.Activity]].HeldUntil = plan.Assignments[at[h.Until]].Start
	}
	cost, ok := verify.Cost(*in, plan)
	if !ok {
		t.Fatalf("%s: the plan cannot be priced", in.Name)
	}
	plan.Objective = cost
	value := cost.Makespan
	if p.Objective == shop.WeightedTardiness {
		value = cost.Tardiness
	}
	if value != r.Value {
		t.Errorf("%s: stated value %d, it is %d", in.Name, r.Value, value)
	}
	for i, v := range verify.Check(*in, plan) {
		if i < 5 {
			t.Errorf("%s: %s", in.Name, v)
		}
	}
}

// cpu returns the processor time that the process has used, so that a measurement does not depend on what else runs.
func cpu() time.Duration {
	var u syscall.Rusage
	if syscall.Getrusage(syscall.RUSAGE_SELF, &u) != nil {
		return 0
	}
	return time.Duration(u.Utime.Nano() + u.Stime.Nano())
}

// TestGapTable prints the gaps to the best known values. It runs only when RONDEAU_BENCH is set, to the seconds of
// processor time per worker and instance; RONDEAU_BENCH_ONLY is a regular expression for group/name, RONDEAU_BENCH_SEEDS the number of seeds.
func TestGapTable(t *testing.T) {
	seconds, err := strconv.ParseFloat(os.Getenv("RONDEAU_BENCH"), 64)
	if err != nil {
		t.Skip("set RONDEAU_BENCH to the seconds per instance to measure")
	}
	seeds := max(1, int(number(os.Getenv("RONDEAU_BENCH_SEEDS"))))
	workers := 2
	if w := number(os.Getenv("RONDEAU_BENCH_WORKERS")); w > 0 {
		workers = int(w)
	}
	type sum struct {
		gap       float64
		n, solved int
	}
	groups := map[string]*sum{}
	for _, x := range loadPublished(t, regexp.MustCompile(os.Getenv("RONDEAU_BENCH_ONLY"))) {
		var values []int64
		var iters, at int64
		var took time.Duration
		var bound int64
		for seed := range seeds {
			begin := cpu()
			r, err := shop.Solve(x.p, shop.Options{Seed: uint64(seed + 1), Iterations: 1 << 40, Workers: workers, Deadline: func() bool {
				return (cpu() - begin).Seconds() >= seconds*float64(workers)
			}})
			if err != nil {
				t.Errorf("%s %s: %v", x.group, x.name, err)
				continue
			}
			took += (cpu() - begin) / time.Duration(workers)
			check(t, &x.in, x.p, &r)
			values = append(values, r.Value)
			iters += r.Iterations
			at += r.BestAt
			bound = r.Bound
			if !x.doubtful && (r.Value < x.lower || r.Bound > x.upper) {
				t.Errorf("%s %s: value %d, bound %d; known to lie between %d and %d", x.group, x.name, r.Value, r.Bound, x.lower, x.upper)
			}
		}
		if len(values) == 0 {
			continue
		}
		slices.Sort(values)
		v := values[(len(values)-1)/2]
		gap := 100 * float64(v-x.upper) / float64(max(1, x.upper))
		g := groups[x.group]
		if g == nil {
			g = &sum{}
			groups[x.group] = g
		}
		g.gap += gap
		g.n++
		if v <= x.upper {
			g.solved++
		}
		fmt.Printf("%-16s %-12s best known %6d  bound %6d  values %v  gap %6.2f  %8.0f moves/s  best at %d  took %.1fs\n", x.group, x.name, x.upper, bound,
			values, gap, float64(iters)/took.Seconds(), at/int64(len(values)), took.Seconds()/float64(len(values)))
	}
	var names []string
	for n := range groups {
		names = append(names, n)
	}
	slices.SortFunc(names, cmp.Compare)
	for _, n := range names {
		g := groups[n]
		fmt.Printf("== %-16s %3d instances, mean gap %6.3f %%, %d at the best known\n", n, g.n, g.gap/float64(g.n), g.solved)
	}
}

// A sample of every family: plans pass the independent checker, values and bounds are consistent with the best known
// ones (sources are named in the csv files beside the instances), and the gap after a small number of moves is small.
func TestPublishedInstances(t *testing.T) {
	t.Parallel()
	// Limits of the mean gap in percent: about twice what the engine reaches with this budget.
	limits := map[string]float64{
		"mk": 3, "hurink vdata": 1, "barnes": 5, "workers mk": 6, "jsp la01-20": 1, "jsp hard": 4, "operators 4": 2, "operators 6": 6, "blocking": 8,
	}
	gaps := map[string][]float64{}
	for _, x := range loadPublished(t, regexp.MustCompile(`/(mk0[124]|la0[23]_vdata|mt10xx|la0[25]|ft(06|10)|la16_f1.)$`)) {
		r, err := shop.Solve(x.p, shop.Options{Iterations: 6000})
		if err != nil {
			t.Fatal(err)
		}
		check(t, &x.in, x.p, &r)
		if r.Value < x.lower || r.Bound > x.upper {
			t.Errorf("%s %s: value %d, bound %d; known to lie between %d and %d", x.group, x.name, r.Value, r.Bound, x.lower, x.upper)
		}
		gaps[x.group] = append(gaps[x.group], 100*float64(r.Value-x.upper)/float64(max(1, x.upper)))
	}
	for group, limit := range limits {
		if len(gaps[group]) == 0 {
			t.Errorf("%s: no instance", group)
			continue
		}
		var sum float64
		for _, g := range gaps[group] {
			sum += g
		}
		if mean := sum / float64(len(gaps[group])); mean > limit {
			t.Errorf("%s: mean gap %.2f %%, want at most %g %%", group, mean, limit)
		} else {
			t.Logf("%s: mean gap %.2f %%", group, mean)
		}
	}
}
