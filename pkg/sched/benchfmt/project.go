package benchfmt

import (
	"bufio"
	"errors"
	"fmt"
	"io"
	"strings"

	"rondeau.internal/pkg/sched"
)

func addCapacities(in *sched.Instance, caps []int64) {
	for i, c := range caps {
		in.Resources = append(in.Resources, sched.Resource{Name: fmt.Sprintf("r%d", i+1), Capacity: c})
	}
}

// RCPSP reads a PSPLIB single-mode file (.sm). Jobs become activities "1", "2", ...
func RCPSP(r io.Reader, name string) (sched.Instance, error) {
	in := makespan(name, 0)
	sections, err := psplib(r)
	if err != nil {
		return in, fmt.Errorf("project %s: %w", name, err)
	}
	caps := newTokens(strings.NewReader(sections.capacities))
	var capacity []int64
	for range len(strings.Fields(sections.capacities)) {
		capacity = append(capacity, caps.next("a capacity", 0, 1<<30))
	}
	addCapacities(&in, capacity)
	if caps.err != nil {
		return sched.Instance{}, fmt.Errorf("project %s: %w", name, caps.err)
	}
	for i, row := range sections.demands {
		t := newTokens(strings.NewReader(row))
		if no := t.next("a job number", 1, sizeLimit); t.err == nil && no != int64(i+1) {
			return sched.Instance{}, fmt.Errorf("project %s: durations of job %d stand where job %d belongs", name, no, i+1)
		}
		t.next("a mode number", 1, 1)
		d := t.next("a duration", 0, 1<<30)
		m := sched.Mode{Middle: d}
		for k := range capacity {
			if q := t.next("a demand", 0, 1<<30); q > 0 {
				m.Needs = append(m.Needs, sched.Need{Resource: fmt.Sprintf("r%d", k+1), Amount: q})
			}
		}
		if t.err != nil {
			return sched.Instance{}, fmt.Errorf("project %s: %w", name, t.err)
		}
		in.Activities = append(in.Activities, sched.Activity{Name: fmt.Sprint(i + 1), Modes: []sched.Mode{m}})
		in.Horizon.End += d
	}
	n := int64(len(in.Activities))
	for _, row := range sections.precedence {
		t := newTokens(strings.NewReader(row))
		from := t.next("a job number", 1, n)
		t.next("a number of modes", 1, 1)
		for range t.next("a number of successors", 0, n) {
			in.Lags = append(in.Lags, sched.Lag{From: fmt.Sprint(from), To: fmt.Sprint(t.next("a successor", 1, n))})
		}
		if t.err != nil {
			return sched.Instance{}, fmt.Errorf("project %s: %w", name, t.err)
		}
	}
	return in, nil
}

type psplibSections struct {
	precedence, demands []string
	capacities          string
}

// psplib cuts a file into its tables.
func psplib(r io.Reader) (psplibSections, error) {
	var s psplibSections
	sc := bufio.NewScanner(r)
	section, skip := "", 0
	for sc.Scan() {
		line := strings.TrimSpace(sc.Text())
		switch {
		case strings.HasPrefix(line, "*"):
			section = ""
		case strings.HasPrefix(line, "PRECEDENCE RELATIONS"):
			section, skip = "precedence", 1
		case strings.HasPrefix(line, "REQUESTS/DURATIONS"):
			section, skip = "demands", 2
		case strings.HasPrefix(line, "RESOURCEAVAILABILITIES"):
			section, skip = "capacities", 1
		case skip > 0:
			skip--
		case line == "":
		case section == "precedence":
			s.precedence = append(s.precedence, line)
		case section == "demands":
			s.demands = append(s.demands, line)
		case section == "capacities":
			s.capacities += line + " "
		}
	}
	if err := sc.Err(); err != nil {
		return s, err
	}
	if len(s.precedence) == 0 || len(s.demands) == 0 || s.capacities == "" {
		return s, errors.New("a table is missing: precedence relations, requests/durations or resource availabilities")
	}
	if len(s.demands) > sizeLimit {
		return s, fmt.Errorf("more than %d jobs", sizeLimit)
	}
	return s, nil
}

// RCPSPMax reads a ProGen/max file (.sch): least start-to-start lags, negative ones being greatest lags the other way.
// Activities are "0" (source, pinned to time 0) to the sink.
func RCPSPMax(r io.Reader, name string) (sched.Instance, error) {
	in := makespan(name, 0)
	t := newTokens(r)
	n := t.next("the number of activities", 1, sizeLimit) + 2
	res := t.next("the number of resources", 0, 1000)
	t.next("a zero", 0, 1<<30)
	t.next("a zero", 0, 1<<30)
	reach := make([]int64, n)
	for range n {
		from := t.next("an activity", 0, n-1)
		t.next("a number of modes", 1, 1)
		count := t.next("a number of successors", 0, n)
		to := make([]int64, count)
		for k := range to {
			to[k] = t.next("a successor", 0, n-1)
		}
		for _, v := range to {
			lag := t.next("a lag", -1<<30, 1<<30)
			if t.err != nil {
				return sched.Instance{}, fmt.Errorf("project %s: %w", name, t.err)
			}
			l := sched.Lag{From: fmt.Sprint(from), To: fmt.Sprint(v), FromEdge: sched.EdgeStart, ToEdge: sched.EdgeStart, Min: lag}
			if lag < 0 { // start(v) >= start(from) - |lag|
				l = sched.Lag{From: l.To, To: l.From, FromEdge: sched.EdgeStart, ToEdge: sched.EdgeStart, Min: -sched.Forever, Max: -lag, HasMax: true}
			}
			in.Lags = append(in.Lags, l)
			reach[from] = max(reach[from], lag)
		}
	}
	for i := range n {
		if no := t.next("an activity", 0, n-1); t.err == nil && no != i {
			return sched.Instance{}, fmt.Errorf("project %s: durations of activity %d stand where %d belongs", name, no, i)
		}
		t.next("a mode number", 1, 1)
		m := sched.Mode{Middle: t.next("a duration", 0, 1<<30)}
		for k := range res {
			if q := t.next("a demand", 0, 1<<30); q > 0 {
				m.Needs = append(m.Needs, sched.Need{Resource: fmt.Sprintf("r%d", k+1), Amount: q})
			}
		}
		in.Activities = append(in.Activities, sched.Activity{Name: fmt.Sprint(i), Modes: []sched.Mode{m}})
		in.Horizon.End += max(m.Middle, reach[i])
	}
	var caps []int64
	for range res {
		caps = append(caps, t.next("a capacity", 0, 1<<30))
	}
	addCapacities(&in, caps)
	if t.err != nil {
		return sched.Instance{}, fmt.Errorf("project %s: %w", name, t.err)
	}
	in.Activities[0].Fixed = &sched.Fixed{}
	return in, nil
}
