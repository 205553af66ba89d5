package benchfmt_test

import (
	"encoding/csv"
	"io"
	"os"
	"path/filepath"
	"strconv"
	"strings"
	"testing"

	"rondeau.internal/pkg/sched"
	"rondeau.internal/pkg/sched/benchfmt"
	"rondeau.internal/pkg/sched/verify"
	"rondeau.internal/pkg/testenv"
)

// benchFolder finds the published instances.
func benchFolder(t *testing.T) string {
	t.Helper()
	return filepath.Join(testenv.SharedDir(t), "bench")
}

type bound struct {
	lower, upper int64
	infeasible   bool
}

func readBounds(t *testing.T, path string) map[string]bound {
	t.Helper()
	f, err := os.Open(path)
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	rows, err := csv.NewReader(f).ReadAll()
	if err != nil {
		t.Fatal(err)
	}
	out := map[string]bound{}
	lo, up := 1, 2
	for i, h := range rows[0] {
		if h == "lower_bound" {
			lo, up = i, i+1
		}
	}
	for _, r := range rows[1:] {
		b := bound{infeasible: r[lo] == "infeasible"}
		b.lower, _ = strconv.ParseInt(r[lo], 10, 64) // empty: no bound known
		b.upper, _ = strconv.ParseInt(r[up], 10, 64)
		key := r[0]
		if rows[0][1] == "operators" {
			key += "/" + r[1]
		}
		out[key] = b
	}
	return out
}

type reader func(io.Reader, string) (sched.Instance, error)

func load(t *testing.T, path string, read reader) sched.Instance {
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

// doubtful lists instances whose published best value is below what can be shown by hand from the file itself.
var doubtful = map[string]bool{
	// Job 2 needs at least 49 (machine 1, worker 2) + 20 (machine 1) = 69; the list says 68.
	"fattahi1.fjsw": true,
}

// score solves one instance and checks the result; it returns the gap to the best known value in percent (negative if
// better), and whether there is a plan.
func score(t *testing.T, in sched.Instance, b bound, iterations int) (gap float64, solved bool) {
	t.Helper()
	plan, rep, err := sched.Solve(in, sched.Options{Iterations: iterations})
	if err != nil {
		t.Fatalf("%s: %v", in.Name, err)
	}
	if len(plan.Assignments) == 0 {
		if rep.Status == sched.StatusInfeasible && !b.infeasible {
			t.Errorf("%s: called infeasible, but a plan of %d is known: %+v", in.Name, b.upper, rep.Conflicts)
		}
		if rep.Status != sched.StatusInfeasible && b.infeasible {
			t.Errorf("%s: infeasible, but that is not proved", in.Name)
		}
		return 0, false
	}
	for i, v := range verify.Check(in, plan) {
		if i < 5 {
			t.Errorf("%s: %s", in.Name, v)
		}
	}
	if b.infeasible {
		t.Errorf("%s: a plan was returned, but it is proved that none exists", in.Name)
		return 0, false
	}
	value := plan.Objective.Makespan
	if in.Weights.Makespan == 0 {
		value = plan.Objective.Tardiness
	}
	if value < b.lower {
		t.Errorf("%s: %d is below the known lower bound %d", in.Name, value, b.lower)
	}
	if bound := max(rep.Bound.Makespan*in.Weights.Makespan, rep.Bound.Tardiness); bound > b.upper && !doubtful[in.Name] {
		t.Errorf("%s: our bound %d is above the known plan of %d", in.Name, bound, b.upper)
	}
	if value < b.upper {
		t.Logf("%s: %d is better than the best known %d", in.Name, value, b.upper)
	}
	return 100 * float64(value-b.upper) / float64(max(1, b.upper)), true
}

type family struct {
	folder, csv, ext string
	read             reader
	every            int // take each n-th instance
	iterations       int
}

// Best known values: bounds are those of the csv files beside the instances (sources named there).
func TestPublishedInstances(t *testing.T) {
	t.Parallel()
	bench := benchFolder(t)
	for _, f := range []family{
		{"fjsp", "best-known.csv", ".fjs", benchfmt.FlexibleJobShop, 4, 60},
		{"fjsp-workers", "best-known.csv", ".fjsw", benchfmt.FlexibleJobShopWorkers, 4, 60},
		{"jsp", "best-known.csv", ".txt", benchfmt.JobShop, 5, 80},
		{"rcpsp", "best-known.csv", ".sm", benchfmt.RCPSP, 8, 300},
		{"rcpspmax", "best-known.csv", ".sch", benchfmt.RCPSPMax, 3, 60},
	} {
		if os.Getenv("RONDEAU_BENCH") != "" {
			f.every, f.iterations = 1, 4000
		}
		t.Run(f.folder, func(t *testing.T) {
			t.Parallel()
			bounds := readBounds(t, filepath.Join(bench, f.folder, f.csv))
			files, _ := filepath.Glob(filepath.Join(bench, f.folder, "*"+f.ext))
			if len(files) == 0 {
				t.Fatal("no instances")
			}
			var sum float64
			solved, none, proved := 0, 0, 0
			for i, path := range files {
				name := strings.TrimSuffix(filepath.Base(path), f.ext)
				b, ok := bounds[name]
				if !ok || i%f.every != 0 {
					continue
				}
				g, ok := score(t, load(t, path, f.read), b, f.iterations)
				switch {
				case ok:
					sum += g
					solved++
				case b.infeasible:
					proved++
				default:
					none++
				}
			}
			t.Logf("%s: %d solved, mean gap to best known %.2f %%, %d feasible ones without a plan, %d infeasible ones without a plan",
				f.folder, solved, sum/float64(max(1, solved)), none, proved)
		})
	}
}

func TestJobShopVariants(t *testing.T) {
	t.Parallel()
	bench := benchFolder(t)
	for key, b := range readBounds(t, filepath.Join(bench, "jsp", "best-known-operators.csv")) {
		name, operators, _ := strings.Cut(key, "/")
		if name != "ft06" && name != "la01" {
			continue
		}
		n, err := strconv.ParseInt(operators, 10, 64)
		if err != nil {
			t.Fatal(err)
		}
		in := load(t, filepath.Join(bench, "jsp", name+".txt"), benchfmt.JobShop)
		if _, ok := score(t, benchfmt.WithOperators(in, n), b, 40); !ok {
			t.Errorf("%s with %d operators: no plan", name, n)
		}
	}
	for name, b := range readBounds(t, filepath.Join(bench, "jsp", "best-known-blocking.csv")) {
		in := load(t, filepath.Join(bench, "jsp", name+".txt"), benchfmt.JobShop)
		if len(in.Activities) > 100 {
			continue
		}
		g, ok := score(t, benchfmt.WithBlocking(in), b, 40)
		t.Logf("%s blocking: gap %.1f %%", name, g)
		if !ok {
			t.Errorf("%s with blocking: no plan", name)
		}
	}
}

func TestJobShopWithDueDates(t *testing.T) {
	t.Parallel()
	bench := benchFolder(t)
	f, err := os.Open(filepath.Join(bench, "jsp", "twt-duedates.csv"))
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	rows, err := csv.NewReader(f).ReadAll()
	if err != nil {
		t.Fatal(err)
	}
	dues, base := map[string][]benchfmt.Due{}, map[string]string{}
	for _, r := range rows[1:] {
		var d benchfmt.Due
		for i, p := range []*int64{nil, nil, nil, &d.Weight, &d.Due} {
			if p != nil {
				if *p, err = strconv.ParseInt(r[i], 10, 64); err != nil {
					t.Fatal(err)
				}
			}
		}
		if d.Job, err = strconv.Atoi(r[2]); err != nil {
			t.Fatal(err)
		}
		dues[r[0]] = append(dues[r[0]], d)
		base[r[0]] = r[1]
	}
	solved, total, known := 0, int64(0), int64(0)
	for name, b := range readBounds(t, filepath.Join(bench, "jsp", "best-known-twt.csv")) {
		if !strings.HasPrefix(name, "la16") && !strings.HasPrefix(name, "ft10") && os.Getenv("RONDEAU_BENCH") == "" {
			continue
		}
		in := benchfmt.WithDueDates(load(t, filepath.Join(bench, "jsp", base[name]+".txt"), benchfmt.JobShop), dues[name])
		b.lower = 0 // none is known
		gap, ok := score(t, in, b, 100)
		if !ok {
			t.Errorf("%s: no plan", name)
			continue
		}
		solved++
		known += b.upper
		total += b.upper + int64(gap*float64(max(1, b.upper))/100+0.5)
	}
	t.Logf("%d instances, tardiness %d in all, best known %d", solved, total, known)
}

func TestDamagedFilesAreRefusedWithAReason(t *testing.T) {
	t.Parallel()
	for _, c := range []struct {
		name, text, want string
		read             reader
	}{
		{"job shop cut short", "2 2\n0 3 1 4\n1 2", "ends before", benchfmt.JobShop},
		{"job shop with a machine that does not exist", "1 2\n0 3 2 4\n", "between 0 and 1", benchfmt.JobShop},
		{"flexible job shop with one number", "3\n", "must have 2 numbers", benchfmt.FlexibleJobShop},
		{"flexible job shop with a word", "1 1\n1 1 1 soup\n", "soup", benchfmt.FlexibleJobShop},
		{"flexible job shop with workers that do not exist", "1 1 1\n1 1 1 1 2 5\n", "between 1 and 1", benchfmt.FlexibleJobShopWorkers},
		{"project without tables", "hello\n", "table is missing", benchfmt.RCPSP},
		{"project with lags cut short", "1 1 0 0\n0 1 1 1 [0]\n", "ends before", benchfmt.RCPSPMax},
	} {
		t.Run(c.name, func(t *testing.T) {
			t.Parallel()
			if _, err := c.read(strings.NewReader(c.text), "x"); err == nil || !strings.Contains(err.Error(), c.want) {
				t.Errorf("%v, want it to mention %q", err, c.want)
			}
		})
	}
}

func FuzzReaders(f *testing.F) {
	f.Add("2 2\n0 3 1 4\n1 2 0 2\n")
	f.Add("1 2\n2 1 1 5 2 1 3 2 4\n")
	f.Add("1 1 1\n1 1 1 1 1 5\n")
	f.Add("1 1 0 0\n0 1 1 1 [0]\n1 1 1 2 [4]\n2 1 0\n0 1 0 0\n1 1 4 1\n2 1 0 0\n2\n")
	f.Add("PRECEDENCE RELATIONS:\nx\n1 1 1 2\n2 1 0\n***\nREQUESTS/DURATIONS:\nx\n-\n1 1 3 1\n2 1 2 1\n***\nRESOURCEAVAILABILITIES:\n R1\n 1\n***\n")
	f.Fuzz(func(t *testing.T, text string) {
		if len(text) > 2000 {
			return
		}
		for _, read := range []reader{benchfmt.JobShop, benchfmt.FlexibleJobShop, benchfmt.FlexibleJobShopWorkers, benchfmt.RCPSP, benchfmt.RCPSPMax} {
			in, err := read(strings.NewReader(text), "fuzz")
			if err != nil || len(in.Activities) > 30 || in.Validate() != nil {
				continue
			}
			plan, _, err := sched.Solve(in, sched.Options{Iterations: 3})
			if err != nil {
				t.Fatal(err)
			}
			if len(plan.Assignments) > 0 {
				if vs := verify.Check(in, plan); len(vs) > 0 {
					t.Fatal(vs)
				}
			}
		}
	})
}
