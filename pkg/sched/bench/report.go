package main

import (
	"cmp"
	"encoding/csv"
	"errors"
	"fmt"
	"io"
	"math"
	"os"
	"slices"
	"strconv"
	"strings"
	"time"

	"rondeau.internal/pkg/sched"
)

// table prints rows as they come, so that a long run shows how it goes.
type table struct{ out io.Writer }

const rowFormat = "%-14s %-14s %4v %10v %10v %10v %9v %9v %9v %11v  %s\n"

// head prints the names of the columns, those of re-planning if again is set.
func (t table) head(again bool) {
	if again {
		t.replanHead()
		return
	}
	fmt.Fprintf(t.out, rowFormat, "family", "instance", "seed", "value", "bound", "best known", "gap %", "first s", "best s", "iterations", "plans")
}

func (t table) row(r result) {
	value, bound, known, gap := "-", "-", "-", "-"
	switch {
	case r.status == sched.StatusInfeasible:
		value = "impossible"
	case r.status == sched.StatusFeasible || r.status == sched.StatusOptimal:
		value, bound = strconv.FormatInt(r.value, 10), strconv.FormatInt(r.bound, 10)
	}
	if r.known.hasUpper {
		known = strconv.FormatInt(r.known.upper, 10)
	}
	if r.known.infeasible {
		known = "impossible"
	}
	if !math.IsNaN(r.gap) {
		gap = fmt.Sprintf("%.2f", r.gap)
	}
	state := "verified"
	if r.marked {
		state += fmt.Sprintf(", %d late at the mark, %d of them on time at the end, where %d are late", r.lateThen, r.needless, r.late)
	}
	if r.fault != "" {
		state = "WRONG: " + r.fault
	}
	fmt.Fprintf(t.out, rowFormat, r.family, r.name, r.seed, value, bound, known, gap, seconds(r.first), seconds(r.best), r.iterations, state)
}

func seconds(d time.Duration) string {
	if d == 0 {
		return "-"
	}
	return fmt.Sprintf("%.2f", d.Seconds())
}

// group is the summary of the instances of one published series.
type group struct {
	family, name               string
	runs, solved, best, proved int
	gaps                       map[uint64][]float64 // by seed
}

// summarise prints per group the mean gap, as the median over the seeds.
func summarise(out io.Writer, results []result) {
	var groups []*group
	for _, r := range results {
		i := slices.IndexFunc(groups, func(g *group) bool { return g.family == r.family && g.name == r.group })
		if i < 0 {
			i = len(groups)
			groups = append(groups, &group{family: r.family, name: r.group, gaps: map[uint64][]float64{}})
		}
		groups[i].add(r)
	}
	slices.SortStableFunc(groups, func(a, b *group) int { return cmp.Or(cmp.Compare(a.family, b.family), cmp.Compare(a.name, b.name)) })
	const format = "%-14s %-14s %6v %8v %12v %9v %14v\n"
	fmt.Fprintf(out, "\n"+format, "family", "group", "runs", "solved", "best known", "proved", "mean gap %")
	for _, g := range groups {
		gap := "-"
		if m, ok := g.medianGap(); ok {
			gap = fmt.Sprintf("%.3f", m)
		}
		fmt.Fprintf(out, format, g.family, g.name, g.runs, g.solved, g.best, g.proved, gap)
	}
}

func (g *group) add(r result) {
	g.runs++
	if r.solved() {
		g.solved++
	}
	if r.status == sched.StatusOptimal || r.status == sched.StatusInfeasible {
		g.proved++
	}
	if math.IsNaN(r.gap) {
		return
	}
	if r.gap <= 0 {
		g.best++
	}
	g.gaps[r.seed] = append(g.gaps[r.seed], r.gap)
}

// medianGap is the median over the seeds of the mean gap over the instances.
func (g *group) medianGap() (float64, bool) {
	var means []float64
	for _, gaps := range g.gaps {
		sum := 0.0
		for _, v := range gaps {
			sum += v
		}
		means = append(means, sum/float64(len(gaps)))
	}
	if len(means) == 0 {
		return 0, false
	}
	slices.Sort(means)
	n := len(means)
	return (means[(n-1)/2] + means[n/2]) / 2, true
}

func writeCSV(file string, results []result) (err error) {
	f, err := os.Create(file)
	if err != nil {
		return err
	}
	defer func() { err = errors.Join(err, f.Close()) }()
	w := csv.NewWriter(f)
	rows := [][]string{{
		"family", "group", "instance", "seed", "status", "value", "bound", "best_known", "gap_percent", "first_seconds", "best_seconds", "total_seconds",
		"iterations", "late", "verified", "fault",
	}}
	for _, r := range results {
		known, gap := "", ""
		if r.known.hasUpper {
			known = strconv.FormatInt(r.known.upper, 10)
		}
		if !math.IsNaN(r.gap) {
			gap = strconv.FormatFloat(r.gap, 'f', 4, 64)
		}
		rows = append(rows, []string{
			r.family, r.group, r.name, strconv.FormatUint(r.seed, 10), r.status.String(), strconv.FormatInt(r.value, 10), strconv.FormatInt(r.bound, 10),
			known, gap, decimal(r.first), decimal(r.best), decimal(r.took), strconv.Itoa(r.iterations), strconv.Itoa(r.late),
			strconv.FormatBool(r.fault == ""), r.fault,
		})
	}
	return w.WriteAll(rows)
}

func decimal(d time.Duration) string { return strconv.FormatFloat(d.Seconds(), 'f', 3, 64) }

// faults is an error when a run went wrong: a plan that breaks a constraint is never a matter of degree.
func faults(results []result) error {
	var wrong []string
	for _, r := range results {
		if r.fault != "" {
			wrong = append(wrong, fmt.Sprintf("%s %s, seed %d: %s", r.family, r.name, r.seed, r.fault))
		}
	}
	if len(wrong) == 0 {
		return nil
	}
	return fmt.Errorf("%d of %d runs are wrong:\n  %s", len(wrong), len(results), strings.Join(wrong, "\n  "))
}
