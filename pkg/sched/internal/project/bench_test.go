package project

import (
	"bufio"
	"encoding/csv"
	"fmt"
	"maps"
	"os"
	"path/filepath"
	"slices"
	"strconv"
	"strings"
	"syscall"
	"testing"
	"time"
)

// readNumbers returns all whole numbers of a text.
func readNumbers(text string) []int32 {
	var out []int32
	sc := bufio.NewScanner(strings.NewReader(text))
	sc.Buffer(nil, 1<<20)
	sc.Split(bufio.ScanWords)
	for sc.Scan() {
		if v, err := strconv.Atoi(strings.Trim(sc.Text(), "[]")); err == nil {
			out = append(out, int32(v))
		}
	}
	return out
}

// readSM reads a PSPLIB single-mode file that is known to be well formed.
func readSM(text string) *Problem {
	section := func(head string, skip int) []string {
		_, rest, _ := strings.Cut(text, head)
		rest, _, _ = strings.Cut(rest, "***")
		return strings.Split(strings.TrimSpace(rest), "\n")[skip:]
	}
	p := &Problem{}
	for _, row := range section("REQUESTS/DURATIONS:", 2) {
		v := readNumbers(row)
		p.Durations = append(p.Durations, v[2])
		p.Demands = append(p.Demands, v[3:])
	}
	for _, row := range section("PRECEDENCE RELATIONS:", 1) {
		v := readNumbers(row)
		for _, j := range v[3:] {
			p.Lags = append(p.Lags, Lag{v[0] - 1, j - 1, p.Durations[v[0]-1]})
		}
	}
	p.Capacities = readNumbers(section("RESOURCEAVAILABILITIES:", 1)[0])
	return p
}

// readSch reads a ProGen/max file that is known to be well formed.
func readSch(text string) *Problem {
	v := readNumbers(text)
	n, r := int(v[0])+2, int(v[1])
	v = v[4:]
	p := &Problem{Releases: make([]int32, n), Deadlines: make([]int32, n)}
	for i := range n {
		k := int(v[2])
		for q := range k {
			p.Lags = append(p.Lags, Lag{int32(i), v[3+q], v[3+k+q]})
		}
		v = v[3+2*k:]
		p.Deadlines[i] = -1
	}
	for range n {
		p.Durations = append(p.Durations, v[2])
		p.Demands = append(p.Demands, v[3:3+r])
		v = v[3+r:]
	}
	p.Capacities = v[:r]
	p.Deadlines[0] = p.Durations[0]
	return p
}

// published is one row of a list of best known values.
type published struct {
	name, group  string
	lower, upper int
	infeasible   bool
	p            *Problem
}

func readPublished(dir string, row []string) (published, error) {
	x := published{name: row[0], infeasible: row[2] == "infeasible"}
	x.group, _, _ = strings.Cut(x.name, "_")
	x.lower, _ = strconv.Atoi(row[1]) // none: 0
	x.upper, _ = strconv.Atoi(row[2])
	b, err := os.ReadFile(filepath.Join(dir, x.name+".sm"))
	if err == nil {
		size := 3
		if strings.HasPrefix(x.name, "j1") {
			size = 4
		}
		x.group = x.group[:size] // j305 is of j30, j1205 of j120
		x.p = readSM(string(b))
		return x, nil
	}
	if b, err = os.ReadFile(filepath.Join(dir, x.name+".sch")); err != nil {
		return x, err
	}
	x.p = readSch(string(b))
	return x, nil
}

// tally sums up the runs of a group.
type tally struct {
	gap                 float64
	runs, solved, ended int
}

// TestPublished measures the engine on published instances if RONDEAU_BENCH names their folder. RONDEAU_MATCH is a
// list of patterns of names, RONDEAU_SECONDS the time for each, RONDEAU_SEEDS how many seeds. With RONDEAU_CPU set the
// time is that of the processors, which other programs on the machine do not take away.
func TestPublished(t *testing.T) {
	dir := os.Getenv("RONDEAU_BENCH")
	if dir == "" {
		t.Skip("RONDEAU_BENCH names no folder with instances")
	}
	seconds, _ := strconv.ParseFloat(os.Getenv("RONDEAU_SECONDS"), 64)
	seeds, _ := strconv.Atoi(os.Getenv("RONDEAU_SEEDS"))
	b, err := os.ReadFile(filepath.Join(dir, "best-known.csv"))
	if err != nil {
		t.Fatal(err)
	}
	rows, err := csv.NewReader(strings.NewReader(string(b))).ReadAll()
	if err != nil {
		t.Fatal(err)
	}
	groups := map[string]*tally{}
	for _, row := range rows[1:] {
		if !slices.ContainsFunc(strings.Fields(os.Getenv("RONDEAU_MATCH")), func(pattern string) bool {
			ok, _ := filepath.Match(pattern, row[0])
			return ok
		}) {
			continue
		}
		x, err := readPublished(dir, row)
		if err != nil {
			t.Fatal(err)
		}
		if groups[x.group] == nil {
			groups[x.group] = &tally{}
		}
		for seed := range max(1, seeds) {
			measure(t, x, uint64(seed), seconds, groups[x.group])
		}
	}
	for _, k := range slices.Sorted(maps.Keys(groups)) {
		g := groups[k]
		fmt.Printf("%-8s runs %3d solved %3d ended %3d mean gap %.3f%%\n", k, g.runs, g.solved, g.ended, g.gap/float64(max(1, g.solved)))
	}
}

// measure runs the engine once.
func measure(t *testing.T, x published, seed uint64, seconds float64, g *tally) {
	now := func() time.Duration { return time.Duration(time.Now().UnixNano()) }
	if os.Getenv("RONDEAU_CPU") != "" {
		now = processorTime
	}
	began := now()
	var at time.Duration
	res, err := Solve(x.p, Options{
		Seed: seed, Iterations: 1 << 50, Workers: 2,
		Deadline:  func() bool { return (now() - began).Seconds() > seconds },
		OnImprove: func([]int32, int32) { at = now() - began },
	})
	took := now() - began
	if err != nil {
		t.Fatal(err)
	}
	g.runs++
	note := ""
	switch {
	case res.Starts != nil && x.infeasible, res.Status == Infeasible && !x.infeasible:
		t.Errorf("%s: %v with %v", x.name, res.Status, res.Starts)
	case res.Starts != nil:
		if b := broken(x.p, res.Starts); b != "" || int(res.Makespan) < x.lower || int(res.Bound) > x.upper {
			t.Errorf("%s: %d..%d contradicts %d..%d; breaks %q", x.name, res.Bound, res.Makespan, x.lower, x.upper, b)
		}
		gap := 100 * float64(int(res.Makespan)-x.upper) / float64(x.upper)
		g.gap += gap
		g.solved++
		note = fmt.Sprintf("%+.2f%%", gap)
	case res.Status != Infeasible:
		note = "nothing"
	}
	if res.Status == Optimal || res.Status == Infeasible {
		g.ended++
	}
	fmt.Printf("%-10s seed %d %4d..%4d known %4d..%4d best at %6.2f took %6.2f iterations %8d %s\n",
		x.name, seed, res.Bound, res.Makespan, x.lower, x.upper, at.Seconds(), took.Seconds(), res.Iterations, note)
}

func processorTime() time.Duration {
	var u syscall.Rusage
	if err := syscall.Getrusage(syscall.RUSAGE_SELF, &u); err != nil {
		return 0
	}
	return time.Duration(u.Utime.Nano())
}
