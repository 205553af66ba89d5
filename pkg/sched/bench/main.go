// Command bench measures the scheduling engine on published instances and on generated kitchens.
//
//	go run ./pkg/sched/bench --family fjsp --seconds 10 --seeds 5
//
// For each instance and seed it prints the value reached, the best known one, the gap between them, the time until the
// value was found and whether package verify accepts every plan that was handed out; then the mean gap per group, as
// the median over the seeds. Time is wall-clock time of the whole process, reading of the instance included; with --cpu
// it is the processor time of the whole process divided by the number of cores, which says what a quiet machine would
// reach when this one is not.
//
// Family replan disturbs a kitchen that follows a plan and plans again: it prints the cost and the number of activities
// that are not where they were, at 0.2 s, at 2 s and at the end, and what planning without the published plan comes to in
// the time of the end.
package main

import (
	"errors"
	"flag"
	"fmt"
	"io"
	"math"
	"os"
	"os/signal"
	"path"
	"runtime"
	"runtime/pprof"
	"strconv"
	"strings"
	"sync/atomic"
	"time"

	"rondeau.internal/pkg/sched"
)

// settings are what the flags say.
type settings struct {
	families   []string
	match      string
	instances  string
	seconds    float64
	iterations int
	seeds      int
	sizes      []int
	kitchens   int
	blend      int64
	published  int
	mark       float64
	csv        string
	profile    string
	cpu        bool
}

func main() {
	asked := make(chan os.Signal, 1)
	signal.Notify(asked, os.Interrupt)
	if err := run(os.Args[1:], interrupted(asked), os.Stdout, os.Stderr); err != nil && !errors.Is(err, flag.ErrHelp) {
		fmt.Fprintln(os.Stderr, "bench:", err)
		os.Exit(1)
	}
}

// interrupted says whether somebody has asked to end; what was measured until then is still summed up.
func interrupted(asked <-chan os.Signal) func() bool {
	var over atomic.Bool
	go func() {
		<-asked
		over.Store(true)
	}()
	return over.Load
}

func run(args []string, over func() bool, out, logs io.Writer) (err error) {
	s, err := parse(args, logs)
	if err != nil {
		return err
	}
	cases, err := load(s)
	if err != nil {
		return err
	}
	if len(cases) == 0 {
		return fmt.Errorf("no instance of family %s matches %q; `--match '*'` takes all of them", strings.Join(s.families, ", "), s.match)
	}
	if s.profile != "" {
		stop, err := startProfile(s.profile)
		if err != nil {
			return err
		}
		defer func() { err = errors.Join(err, stop()) }()
	}
	fmt.Fprintf(out, "%d instances, %d seeds each, %s, %d cores, %s\n\n", len(cases), s.seeds, s.budget(), runtime.GOMAXPROCS(0), runtime.Version())
	results := measureAll(cases, s, over, out)
	summarise(out, results)
	if s.csv != "" {
		if err := writeCSV(s.csv, results); err != nil {
			return err
		}
	}
	return faults(results)
}

// measureAll runs every case with every seed.
func measureAll(cases []benchCase, s settings, over func() bool, out io.Writer) []result {
	var results []result
	t, family := table{out}, ""
	for _, c := range cases {
		if again := c.disturb != nil; family == "" || again != (family == replanFamily) {
			t.head(again)
		}
		family = c.family
		for seed := range s.seeds {
			if over() {
				break
			}
			var r result
			if c.disturb != nil {
				var o outcome
				r, o = measureReplan(c, uint64(seed+1), s, over)
				t.replanRow(r, o)
			} else {
				r = measure(c, uint64(seed+1), s, over)
				t.row(r)
			}
			results = append(results, r)
		}
	}
	return results
}

func (s settings) budget() string {
	if s.iterations > 0 {
		return fmt.Sprintf("%d iterations", s.iterations)
	}
	if s.cpu {
		return fmt.Sprintf("%g s of all cores", s.seconds)
	}
	return fmt.Sprintf("%g s", s.seconds)
}

func parse(args []string, logs io.Writer) (settings, error) {
	var s settings
	var family, sizes string
	f := flag.NewFlagSet("bench", flag.ContinueOnError)
	f.SetOutput(logs)
	f.StringVar(&family, "family", "fjsp", "families, separated by commas: "+strings.Join(familyNames(), ", "))
	f.StringVar(&s.match, "match", "*", "pattern of instance names, such as 'mk*'")
	f.StringVar(&s.instances, "instances", "../shared/bench", "folder with the published instances")
	f.Float64Var(&s.seconds, "seconds", 10, "wall-clock seconds per instance and seed")
	f.BoolVar(&s.cpu, "cpu", false, "count processor time divided by the cores instead of wall-clock time; for a machine that does other work too")
	f.IntVar(&s.iterations, "iterations", 0, "iterations per instance and seed instead of seconds; makes a run repeatable")
	f.IntVar(&s.seeds, "seeds", 1, "seeds per instance")
	f.StringVar(&sizes, "batches", "10,50,150", "sizes of families kitchen and replan in batches, 1 to 2000")
	f.IntVar(&s.kitchens, "kitchens", 1, "different kitchens of each size in family kitchen")
	f.Int64Var(&s.blend, "blend", 0, "what a unit of tardiness costs beside the other parts in family replan; 0 puts tardiness first")
	f.Float64Var(&s.mark, "mark", 0, "also say how many orders are late at so many seconds, and how many of them not at the end; not in family replan")
	f.IntVar(&s.published, "published", 20000, "iterations spent on the plan that is disturbed in family replan, the same for every run")
	f.StringVar(&s.csv, "csv", "", "file for the results as CSV")
	f.StringVar(&s.profile, "cpuprofile", "", "file for a CPU profile")
	if err := f.Parse(args); err != nil {
		return s, err
	}
	if f.NArg() > 0 {
		return s, fmt.Errorf("%q is not a flag; give the family with --family", f.Arg(0))
	}
	s.families = strings.Split(family, ",")
	for _, name := range s.families {
		if _, known := families[name]; !known && name != kitchenFamily && name != replanFamily {
			return s, fmt.Errorf("family %q is not known; the families are %s", name, strings.Join(familyNames(), ", "))
		}
	}
	for _, text := range strings.Split(sizes, ",") {
		n, err := strconv.Atoi(strings.TrimSpace(text))
		if err != nil || n < 1 || n > 2000 {
			return s, fmt.Errorf("--batches: %q is not a number of batches from 1 to 2000", text)
		}
		s.sizes = append(s.sizes, n)
	}
	if s.iterations < 0 || s.iterations == 0 && !(s.seconds > 0 && s.seconds <= 86400) {
		return s, errors.New("give --seconds above 0 and up to 86400, or --iterations above 0")
	}
	if _, err := processorTime(); s.cpu && err != nil {
		return s, fmt.Errorf("--cpu: %w", err)
	}
	if s.blend < 0 || s.published < 1 {
		return s, errors.New("--blend is at least 0, --published at least 1")
	}
	if s.seeds < 1 {
		return s, errors.New("--seeds is at least 1")
	}
	if s.kitchens < 1 {
		return s, errors.New("--kitchens is at least 1")
	}
	if _, err := path.Match(s.match, ""); err != nil {
		return s, fmt.Errorf("--match %q: %w", s.match, err)
	}
	return s, nil
}

func startProfile(file string) (stop func() error, err error) {
	f, err := os.Create(file)
	if err != nil {
		return nil, err
	}
	if err := pprof.StartCPUProfile(f); err != nil {
		return nil, errors.Join(err, f.Close())
	}
	return func() error {
		pprof.StopCPUProfile()
		return f.Close()
	}, nil
}

// options are those of a run that begins now.
func (s settings) options(seed uint64, w *watch, over func() bool) sched.Options {
	opt := sched.Options{Seed: seed, Stop: s.deadline(w, over), Iterations: s.iterations}
	if s.iterations == 0 {
		opt.Iterations = math.MaxInt
	}
	return opt
}

// deadline is a function that says when the time of a case is over.
func (s settings) deadline(w *watch, over func() bool) func() bool {
	if s.iterations > 0 {
		return over
	}
	limit := time.Duration(s.seconds * float64(time.Second))
	return func() bool { return over() || w.elapsed() >= limit }
}
