package demo

import (
	"fmt"
	"io"
	"sort"
	"strings"
	"text/tabwriter"
	"time"
)

// Write writes the report for people: two to three screens.
func (r *Report) Write(out io.Writer) error {
	t := &text{out: out, zone: r.Start.Location()}
	r.writeWeek(t)
	r.writePlans(t)
	r.writeBatches(t)
	r.writeSteps(t)
	r.writeChills(t)
	r.writeSafety(t)
	r.writeOrders(t)
	r.writeTrace(t)
	r.writeCalls(t)
	t.line("")
	for _, c := range r.Cautions {
		t.line("Caution: %s", c)
	}
	return t.err
}

// text writes lines and tables and keeps the first error.
type text struct {
	out  io.Writer
	zone *time.Location
	err  error
}

func (t *text) line(format string, args ...any) {
	if t.err == nil {
		_, t.err = fmt.Fprintf(t.out, strings.TrimRight(format, " ")+"\n", args...)
	}
}

func (t *text) title(words string) {
	t.line("")
	t.line("%s", strings.ToUpper(words))
}

// table writes aligned rows, the first of which are headings.
func (t *text) table(rows [][]string) {
	if t.err != nil || len(rows) < 2 {
		return
	}
	w := tabwriter.NewWriter(t.out, 0, 0, 2, ' ', 0)
	for _, row := range rows {
		_, t.err = fmt.Fprintln(w, "  "+strings.Join(row, "\t"))
		if t.err != nil {
			return
		}
	}
	t.err = w.Flush()
}

func (t *text) when(at time.Time) string {
	if at.IsZero() {
		return "-"
	}
	return at.In(t.zone).Format("Mon 15:04")
}

// clip shortens a text to a width.
func clip(s string, width int) string {
	runes := []rune(s)
	if len(runes) <= width {
		return s
	}
	return string(runes[:width-1]) + "…"
}

func (r *Report) writeWeek(t *text) {
	t.line("%s, %s to %s (seed %d)", r.Kitchen, r.Start.Format("2 Jan 2006 15:04 MST"), r.End.In(t.zone).Format("2 Jan 15:04"), r.Seed)
	t.line("  %s; %d resources imported", r.House, r.Imported)
	full, partly, none := r.Fulfilled()
	t.line("  %d orders placed (%d during the week), %d changed, %d cancelled; %d shipped in full and in time, %d in part or late, %d not at all",
		r.Ordering.Placed, r.Ordering.Later, r.Ordering.Changed, r.Ordering.Cancelled, full, partly, none)
	t.line("  %d deliveries, %d lines accepted, %.0f kg; %d rejected", r.Receiving.Deliveries, r.Receiving.Lines, r.Receiving.MassKg, len(r.Receiving.Rejected))
	for _, l := range r.Receiving.Rejected {
		t.line("    %s  %.0f kg %s at %.1f C: %s", t.when(l.Time), l.MassKg, l.Item, l.Celsius, l.Reason)
	}
	t.line("  %d runs, %d measurements, %d probe readings, %d packs filled, %d releases signed, %d shipments", r.Runs, r.Measurements, r.Readings, r.Packs, r.Releases, len(r.Shipments))
}

func (r *Report) writePlans(t *text) {
	t.title("Plans and schedules")
	rows := [][]string{{"time", "plan", "batches", "cancelled", "kept", "purchases", "covered", "short", "why"}}
	for _, p := range r.Plans {
		rows = append(rows, []string{
			t.when(p.Time), p.Plan, fmt.Sprint(p.Batches), fmt.Sprint(p.Cancelled), fmt.Sprint(p.Kept), fmt.Sprintf("%d (%.0f kg)", p.Purchases, p.PurchasedKg),
			fmt.Sprintf("%d of %d", p.Covered, p.Ordered), fmt.Sprint(len(p.Shortages)), clip(p.Reason, 60),
		})
	}
	t.table(rows)
	rows = [][]string{{"time", "schedule", "steps", "moved", "late", "gap", "why"}}
	for _, s := range r.Schedules {
		state, gap := strings.ToLower(s.Status), fmt.Sprintf("%.0f %%", 100*s.Gap)
		if s.Refused != "" {
			state = "not published"
		}
		rows = append(rows, []string{t.when(s.Time), state, fmt.Sprint(s.Assignments), fmt.Sprint(s.Moved), fmt.Sprint(len(s.Late)), gap, clip(s.Reason, 84)})
	}
	t.table(rows)
	for _, f := range r.Failures {
		t.line("  %s failed on %s (%s), back on %s", f.Vessel, t.when(f.Time), f.Reason, t.when(f.Repaired))
	}
}

func (r *Report) writeBatches(t *text) {
	t.title("Batches, plan against actual")
	rows := [][]string{{"done", "batch", "planned kg", "expected", "actual", "input", "steam", "balance", "due"}}
	for _, b := range r.Batches {
		due := "in time"
		if b.Finish.After(b.Due) {
			due = short(b.Finish.Sub(b.Due)) + " late"
		}
		rows = append(rows, []string{
			t.when(b.Finish), clip(b.Title, 44), fmt.Sprintf("%.1f", b.PlannedKg), fmt.Sprintf("%.1f", b.ExpectedKg), fmt.Sprintf("%.1f", b.ActualKg),
			fmt.Sprintf("%.1f", b.InputKg), fmt.Sprintf("%.1f", b.SteamKg), fmt.Sprintf("%.1f %%", b.RecoveryPercent), due,
		})
	}
	t.table(rows)
	for _, b := range r.Batches {
		if b.Short != "" {
			t.line("  made smaller: %s: %s", b.Title, b.Short)
		}
	}
	for _, g := range r.GivenUp {
		t.line("  given up: %s", g)
	}
	t.line("  all %d closed batches: %.0f kg in, %.0f kg steamed off, %.1f kg unexplained; worst %.2f %% (%s)",
		r.Balance.Batches, r.Balance.InputKg, r.Balance.SteamKg, r.Balance.UnexplainedKg, r.Balance.WorstPercent, r.Balance.WorstBatch)
}

// writeSteps shows the reductions one by one, and the other kinds of step as sums.
func (r *Report) writeSteps(t *text) {
	t.title("Steps, planned against actual duration")
	type sum struct {
		count           int
		planned, actual time.Duration
	}
	sums := map[string]*sum{}
	rows := [][]string{{"reduction", "vessel", "planned", "actual", "end against plan"}}
	for _, s := range r.Steps {
		if s.Kind == "REDUCE" {
			rows = append(rows, []string{clip(s.Batch, 44), s.Vessel, short(s.Planned), short(s.Actual), short(s.Late)})
		}
		if sums[s.Kind] == nil {
			sums[s.Kind] = &sum{}
		}
		sums[s.Kind].count++
		sums[s.Kind].planned += s.Planned
		sums[s.Kind].actual += s.Actual
	}
	t.table(rows)
	rows = [][]string{{"kind", "runs", "planned", "actual", "ratio"}}
	for _, kind := range sortedKeys(sums) {
		s := sums[kind]
		ratio := "-"
		if s.planned > 0 {
			ratio = fmt.Sprintf("%.2f", float64(s.actual)/float64(s.planned))
		}
		rows = append(rows, []string{strings.ToLower(kind), fmt.Sprint(s.count), short(s.planned), short(s.actual), ratio})
	}
	t.table(rows)
	if hits, all := r.ForecastHits(); all > 0 {
		t.line("  %d of %d forecasts of reductions held the real end in their interval", hits, all)
	}
}

func (r *Report) writeChills(t *text) {
	t.title("Chills")
	rows := [][]string{{"batch", "vessel", "result", "readings", "limits: time taken (margin)"}}
	for _, c := range r.Chills {
		var stages []string
		for _, s := range c.Stages {
			word := short(s.Took) + " (" + short(s.Margin) + ")"
			if s.Verdict != "MET" {
				word = strings.ToLower(strings.ReplaceAll(s.Verdict, "_", " ")) + " after " + short(s.Took)
			}
			stages = append(stages, s.Limit+": "+word)
		}
		rows = append(rows, []string{clip(c.Title, 40), c.Vessel, strings.ToLower(c.State), fmt.Sprint(c.Readings), strings.Join(stages, "; ")})
	}
	t.table(rows)
	for _, c := range r.Chills {
		if c.Cause != "" {
			t.line("  %s: what was wrong: %s", c.Title, c.Cause)
		}
	}
}

func (r *Report) writeSafety(t *text) {
	t.title("Deviations and refusals")
	for _, d := range r.Deviations {
		t.line("  %s to %s  %s, %s by %s, closed by %s", t.when(d.Opened), t.when(d.Closed), strings.ToLower(strings.ReplaceAll(d.Kind, "_", " ")),
			strings.ToLower(strings.ReplaceAll(d.Decision, "_", " ")), d.ActionBy, d.ClosedBy)
		t.line("    %s", clip(d.Text, 150))
	}
	for _, d := range r.Discarded {
		t.line("  thrown away: %s", d)
	}
	for _, u := range r.Unreleased {
		t.line("  not released: %s", clip(u, 150))
	}
	rows := [][]string{{"time", "reason", "refused"}}
	for _, f := range r.Refusals {
		rows = append(rows, []string{t.when(f.Time), f.Reason, clip(f.What, 90)})
	}
	t.table(rows)
	t.line("  %d entries in the trail of food safety", r.Records)
}

func (r *Report) writeOrders(t *text) {
	t.title("Orders that were not shipped in full and in time")
	rows := [][]string{{"day", "outlet", "shipped", "short of", "why"}}
	for _, o := range r.Fulfilment {
		if o.Cancelled || o.Outstanding || o.Shipped >= o.Ordered && o.OnTime {
			continue
		}
		shipped := fmt.Sprintf("%d of %d", o.Shipped, o.Ordered)
		if len(o.Short) == 0 {
			rows = append(rows, []string{o.Date, o.Outlet, shipped, "", "left late"})
		}
		for _, s := range o.Short {
			rows = append(rows, []string{o.Date, o.Outlet, shipped, fmt.Sprintf("%d %s", s.Missing, s.Product), clip(s.Why, 80)})
		}
	}
	t.table(rows)
	if len(rows) == 1 {
		t.line("  none")
	}
	if len(r.Plans) == 0 {
		return
	}
	last := r.Plans[len(r.Plans)-1]
	if len(last.Shortages) > 0 {
		t.line("  the plan in force at the end (%s) expects %d shortages, the first:", last.Plan, len(last.Shortages))
	}
	for _, text := range last.Shortages[:min(4, len(last.Shortages))] {
		t.line("    %s", clip(text, 150))
	}
}

func (r *Report) writeTrace(t *text) {
	t.title("Trace")
	if r.Trace.Root != "" {
		t.line("  back from %s: %d lots, %d batches, %d deliveries of %s; recovery %.1f %%",
			r.Trace.What, r.Trace.Lots, r.Trace.Batches, r.Trace.Deliveries, strings.Join(r.Trace.Suppliers, ", "), r.Trace.RecoveryPercent)
		for i, step := range r.Trace.Path {
			t.line("    %s%s", strings.Repeat(" ", i), step)
		}
	}
	if r.Forward.Root != "" {
		t.line("  forward from %s: %d batches, %d lots, %d packs, %d of them shipped to %s",
			r.Forward.What, r.Forward.Batches, r.Forward.Lots, r.Forward.Containers, r.Forward.Shipped, strings.Join(r.Forward.Outlets, ", "))
	}
}

func (r *Report) writeCalls(t *text) {
	t.title("Calls")
	names := sortedKeys(r.Calls)
	sort.SliceStable(names, func(i, j int) bool { return r.Calls[names[i]] > r.Calls[names[j]] })
	var words []string
	for _, name := range names {
		words = append(words, fmt.Sprintf("%s %d", name, r.Calls[name]))
	}
	t.line("  %d calls in %.1f s, %d repeated", r.TotalCalls(), r.WallTime.Seconds(), r.Retries)
	for len(words) > 0 {
		n := min(7, len(words))
		t.line("    %s", strings.Join(words[:n], ", "))
		words = words[n:]
	}
}
