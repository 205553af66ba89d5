// Package board draws a schedule: vessels as rows, time from left to right. Text is for a terminal and needs no colour;
// SVG is for a screen or a printer and says in words what it shows by colour. Both are pure: the same board gives the
// same bytes.
//
// What is drawn supports and does not replace the validated HACCP plan, the local code and the qualified person.
package board

import (
	"cmp"
	"errors"
	"fmt"
	"math"
	"slices"
	"strconv"
	"time"
)

// Board is what is drawn.
type Board struct {
	Site     string // name for people
	Plan     string // empty when batches were chosen one by one
	Schedule string
	State    string // in words: draft, published, superseded
	Quality  string // in words: how good the schedule is and how far from the best it may be
	Outlook  string // in words: how sure it is; empty when that is not known
	// Zone is that of the kitchen; nil means UTC.
	Zone *time.Location
	// Start and End bound what is drawn; blocks may stick out and are cut off. At most 60 days.
	Start, End time.Time
	// Rows are drawn in their order; a class is named where it changes.
	Rows    []Row
	Batches []Batch
	// Staffed are the times in which somebody is on shift, by start and without overlap.
	Staffed []Span
	// Limits says in words which limits the marks of cooling show; only the picture shows them.
	Limits string
	// Notes stand below, such as cautions.
	Notes []string
}

// Span is a half-open span of time.
type Span struct{ Start, End time.Time }

// Batch is one batch of the board.
type Batch struct {
	Name   string // for people
	Family string // batches of one family look alike
	// Due is zero when nobody waits for it.
	Due time.Time
	// Done is the end of its last step.
	Done time.Time
	// Late batches are marked. Reasons say why, in words.
	Late    bool
	Reasons []string
	// Sure is the probability of being done by Due, 0 to 1; nil when it is not known.
	Sure *float64
	// Risk says why it may become late although it is planned in time, in words.
	Risk string
}

// sureEnough is the probability of being in time above which nobody needs to look (chosen, no source).
const sureEnough = 0.95

// AtRisk says whether a batch that is planned in time may well be late.
func (x Batch) AtRisk() bool { return !x.Late && x.Sure != nil && *x.Sure < sureEnough }

// sure is the probability in few letters: "81 %"; certainty is never claimed.
func (x Batch) sure() string {
	switch {
	case x.Sure == nil:
		return ""
	case *x.Sure > 0.99:
		return ">99 %"
	case *x.Sure < 0.01:
		return "<1 %"
	}
	return fmt.Sprintf("%.0f %%", math.Round(100**x.Sure))
}

// riskiest are the batches at risk whose reasons are written out, the least sure first, and the number of all at risk.
func (b Board) riskiest() (which []int, all int) {
	for i, x := range b.Batches {
		if x.AtRisk() {
			which = append(which, i)
		}
	}
	slices.SortStableFunc(which, func(i, j int) int { return cmp.Compare(*b.Batches[i].Sure, *b.Batches[j].Sure) })
	return which[:min(len(which), reasoned)], len(which)
}

// knowsSure says whether the board tells how sure anything is.
func (b Board) knowsSure() bool {
	return slices.ContainsFunc(b.Batches, func(x Batch) bool { return x.Sure != nil })
}

// risky says of a batch at risk how sure it is and why.
func (b Board) risky(x Batch) string {
	out := x.Name + " is in time with " + x.sure() + ": done " + b.when(x.Done) + " as planned, due " + b.when(x.Due)
	if x.Risk != "" {
		out += "; when late, " + x.Risk
	}
	return out
}

// Row is one vessel, or the tables.
type Row struct {
	Name, Class string
	Blocks      []Block
	Cleanings   []Span
	Down        []Down
}

// Down is a time in which a vessel is out of service; its End is zero while nobody knows it.
type Down struct {
	Span
	Reason string
}

// Block is one step of a batch in a vessel.
type Block struct {
	Span
	Batch int // index into Board.Batches
	Step  string
	// HeldUntil is when the next step takes the material; zero or End without a hold.
	HeldUntil time.Time
	// Limit is the latest end of a cooling by its limits profile; zero when the step has none.
	Limit time.Time
}

func (b Block) until() time.Time {
	if b.HeldUntil.After(b.End) {
		return b.HeldUntil
	}
	return b.End
}

// longest is the longest span that is drawn.
const longest = 60 * 24 * time.Hour

// Check says what cannot be drawn.
func (b Board) Check() error {
	if !b.Start.Before(b.End) {
		return fmt.Errorf("a board must end after its start: it starts %s and ends %s", b.Start.Format(time.RFC3339), b.End.Format(time.RFC3339))
	}
	if b.End.Sub(b.Start) > longest {
		return fmt.Errorf("a board of %.0f days is too long to read: draw at most 60 days, with a later start or an earlier end", b.End.Sub(b.Start).Hours()/24)
	}
	if len(b.Rows) == 0 {
		return errors.New("a board needs at least one vessel")
	}
	for _, r := range b.Rows {
		for _, k := range r.Blocks {
			if k.Batch < 0 || k.Batch >= len(b.Batches) {
				return fmt.Errorf("%s at %s belongs to batch %d, and there are %d", k.Step, r.Name, k.Batch, len(b.Batches))
			}
			if k.End.Before(k.Start) {
				return fmt.Errorf("%s at %s ends before it starts", k.Step, r.Name)
			}
		}
	}
	return nil
}

func (b Board) zone() *time.Location {
	if b.Zone == nil {
		return time.UTC
	}
	return b.Zone
}

// families numbers the families in the order of their first batch.
func (b Board) families() (names []string, of []int) {
	of = make([]int, len(b.Batches))
	for i, x := range b.Batches {
		of[i] = slices.Index(names, x.Family)
		if of[i] < 0 {
			of[i] = len(names)
			names = append(names, x.Family)
		}
	}
	return names, of
}

// Codes are short names of the batches: a letter of the family and a number in it, such as C2.
func (b Board) Codes() []string {
	names, of := b.families()
	count := make([]int, len(names))
	out := make([]string, len(b.Batches))
	for i, family := range of {
		count[family]++
		out[i] = letters(family) + strconv.Itoa(count[family])
	}
	return out
}

// letters counts A to Z, AA, AB and so on.
func letters(n int) string {
	out := string(rune('A' + n%26))
	for n = n/26 - 1; n >= 0; n = n/26 - 1 {
		out = string(rune('A'+n%26)) + out
	}
	return out
}

// lanes spreads blocks that share a vessel over lines in which they do not overlap.
func (r Row) lanes() [][]Block {
	blocks := slices.Clone(r.Blocks)
	slices.SortStableFunc(blocks, func(x, y Block) int {
		if c := x.Start.Compare(y.Start); c != 0 {
			return c
		}
		return x.End.Compare(y.End)
	})
	out := [][]Block{nil}
next:
	for _, k := range blocks {
		for i, lane := range out {
			if len(lane) == 0 || !k.Start.Before(lane[len(lane)-1].until()) {
				out[i] = append(lane, k)
				continue next
			}
		}
		out = append(out, []Block{k})
	}
	return out
}

// tick is a full hour of the kitchen's clock.
type tick struct {
	at   time.Time
	hour int
}

// ticks are the hours 0, every, 2*every ... of each day within the board. An hour that the clock skips is left out.
func (b Board) ticks(every int) []tick {
	var out []tick
	year, month, day := b.Start.In(b.zone()).Date()
	for d := 0; ; d++ {
		if time.Date(year, month, day+d, 0, 0, 0, 0, b.zone()).After(b.End) {
			return out
		}
		for h := 0; h < 24; h += every {
			at := time.Date(year, month, day+d, h, 0, 0, 0, b.zone())
			if at.Hour() == h && !at.Before(b.Start) && at.Before(b.End) {
				out = append(out, tick{at, h})
			}
		}
	}
}

// days are the calendar days of the kitchen within the board, cut to it.
func (b Board) days() []Span {
	var out []Span
	year, month, day := b.Start.In(b.zone()).Date()
	for d := 0; ; d++ {
		s := Span{time.Date(year, month, day+d, 0, 0, 0, 0, b.zone()), time.Date(year, month, day+d+1, 0, 0, 0, 0, b.zone())}
		if !s.Start.Before(b.End) {
			return out
		}
		if s, some := b.cut(s); some {
			out = append(out, s)
		}
	}
}

// cut is the part of a span within the board.
func (b Board) cut(s Span) (Span, bool) {
	if s.Start.Before(b.Start) {
		s.Start = b.Start
	}
	if s.End.After(b.End) {
		s.End = b.End
	}
	return s, s.Start.Before(s.End)
}

// closed are the times within the board in which nobody is on shift.
func (b Board) closed() []Span {
	var out []Span
	from := b.Start
	for _, s := range b.Staffed {
		if s.Start.After(from) {
			if c, some := b.cut(Span{from, s.Start}); some {
				out = append(out, c)
			}
		}
		if s.End.After(from) {
			from = s.End
		}
	}
	if c, some := b.cut(Span{from, b.End}); some {
		out = append(out, c)
	}
	return out
}

// down is the part of a time out of service within the board.
func (b Board) down(d Down) (Span, bool) {
	if d.End.IsZero() {
		d.End = b.End
	}
	return b.cut(d.Span)
}

// outage says of a vessel when and why it is out of service.
func (b Board) outage(r Row, d Down) string {
	until := "until further notice"
	if !d.End.IsZero() {
		until = "until " + b.when(d.End)
	}
	return fmt.Sprintf("%s is out of service from %s %s: %s", r.Name, b.when(d.Start), until, d.Reason)
}

// when writes a moment as the kitchen's clock shows it: "Tue 24 Nov 14:30".
func (b Board) when(t time.Time) string { return t.In(b.zone()).Format("Mon 2 Jan 15:04") }

// reasoned is for how many late batches the reasons are written out; a kitchen that is late with everything would not
// read them all.
const reasoned = 5

// explained are the batches whose reasons are written out: the latest ones. all says whether these are all late ones.
func (b Board) explained() (which map[int]bool, all bool) {
	var late []int
	for i, x := range b.Batches {
		if x.Late {
			late = append(late, i)
		}
	}
	slices.SortStableFunc(late, func(i, j int) int {
		return cmp.Compare(b.Batches[j].Done.Sub(b.Batches[j].Due), b.Batches[i].Done.Sub(b.Batches[i].Due))
	})
	which = map[int]bool{}
	for _, i := range late[:min(len(late), reasoned)] {
		which[i] = true
	}
	return which, len(late) <= reasoned
}

// others stands below the late batches when not all reasons are written out.
const others = "The reasons are written out for the five latest batches; the schedule has them all."

// span writes days, hours and minutes: "6 h 10 min".
func span(d time.Duration) string {
	d = d.Round(time.Minute)
	h, m := int(d.Hours()), int(d.Minutes())%60
	switch {
	case h >= 48:
		return fmt.Sprintf("%d d %d h", h/24, h%24)
	case h == 0:
		return fmt.Sprintf("%d min", m)
	case m == 0:
		return fmt.Sprintf("%d h", h)
	}
	return fmt.Sprintf("%d h %02d min", h, m)
}

// title is the first line of a drawing.
func (b Board) title() string {
	out := b.Site
	if b.Plan != "" {
		out += ", plan " + b.Plan
	}
	if b.Schedule != "" {
		out += ", " + b.Schedule
	}
	if b.State != "" {
		out += " (" + b.State + ")"
	}
	return out
}

// describe says of a batch what it is, when it is done and when it was due.
func (b Board) describe(x Batch) string {
	out := x.Name
	if !x.Done.IsZero() {
		out += ": done " + b.when(x.Done)
	}
	if !x.Due.IsZero() {
		out += ", due " + b.when(x.Due)
	}
	return out
}

// tardy says of a late batch by how much.
func (b Board) tardy(x Batch) string {
	out := x.Name + " is late"
	if !x.Due.IsZero() && x.Done.After(x.Due) {
		out += " by " + span(x.Done.Sub(x.Due)) + ": due " + b.when(x.Due) + ", done " + b.when(x.Done)
	}
	return out
}
