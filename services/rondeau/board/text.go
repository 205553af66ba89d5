package board

import (
	"fmt"
	"io"
	"math"
	"slices"
	"strings"
	"time"
	"unicode"
	"unicode/utf8"
)

// Signs of the drawing in text.
const (
	signUse     = '='
	signLate    = '!'
	signRisk    = '?'
	signHold    = '-'
	signClean   = '~'
	signDown    = 'x'
	signClosed  = '.'
	signDay     = ':'
	signSeveral = '+'
)

// Least width of the text, and the widest column of vessel names, in characters.
const (
	leastWidth = 80
	nameWidth  = 18
)

// Text draws a board for a terminal of a width in characters; below 80 it is drawn for 80. A column stands for at most an
// hour; what does not fit beside each other is drawn below each other in strips of whole days.
func Text(w io.Writer, b Board, width int) error {
	if err := b.Check(); err != nil {
		return err
	}
	t := &text{board: b, codes: b.Codes()}
	for _, r := range b.Rows {
		t.names = max(t.names, min(utf8.RuneCountInString(plain(r.Name)), nameWidth))
	}
	t.names++
	t.columns = max(width, leastWidth) - t.names - 1
	t.line("%s", plain(b.title()))
	if b.Quality != "" {
		t.wrap(plain(b.Quality), 0, max(width, leastWidth))
	}
	if b.Outlook != "" {
		t.wrap(plain(b.Outlook), 0, max(width, leastWidth))
	}
	strips := t.strips()
	scale := time.Duration(0)
	for _, s := range strips {
		scale = max(scale, t.scale(s))
	}
	for _, s := range strips {
		t.strip(s, scale)
	}
	t.legend(max(width, leastWidth))
	_, err := io.WriteString(w, t.out.String())
	return err
}

// text is one drawing in progress.
type text struct {
	board   Board
	codes   []string
	names   int // width of the names
	columns int // width of the time
	out     strings.Builder
}

func (t *text) line(format string, args ...any) {
	t.out.WriteString(strings.TrimRight(fmt.Sprintf(format, args...), " ") + "\n")
}

// plain keeps a name from steering the terminal.
func plain(s string) string {
	return strings.Map(func(r rune) rune {
		if unicode.IsControl(r) {
			return ' '
		}
		return r
	}, s)
}

// wrap writes words in lines of a width; lines after the first are indented.
func (t *text) wrap(words string, indent, width int) {
	line := ""
	for _, word := range strings.Fields(words) {
		if line != "" && utf8.RuneCountInString(line)+1+utf8.RuneCountInString(word) > width {
			t.line("%s", line)
			line = strings.Repeat(" ", indent)
		}
		if strings.TrimSpace(line) != "" {
			line += " "
		}
		line += word
	}
	t.line("%s", line)
}

// strips cuts the board into parts of whole days whose columns stand for half an hour; when that makes more than three of
// them, for an hour.
func (t *text) strips() []Board {
	whole := t.board
	days := whole.days()
	for _, column := range []time.Duration{30 * time.Minute, time.Hour} {
		fits := time.Duration(t.columns) * column
		if whole.End.Sub(whole.Start) <= fits {
			return []Board{whole}
		}
		perStrip := max(int(fits/(24*time.Hour)), 1)
		if column < time.Hour && len(days) > 3*perStrip {
			continue
		}
		var out []Board
		for part := range slices.Chunk(days, perStrip) {
			s := whole
			s.Start, s.End = part[0].Start, part[len(part)-1].End
			out = append(out, s)
		}
		return out
	}
	return nil // not reached: an hour always serves
}

// scale is the time of a column: the shortest of these with which a strip fits.
func (t *text) scale(b Board) time.Duration {
	for _, s := range []time.Duration{10 * time.Minute, 15 * time.Minute, 20 * time.Minute, 30 * time.Minute} {
		if b.End.Sub(b.Start) <= time.Duration(t.columns)*s {
			return s
		}
	}
	return time.Hour
}

// strip draws one part of the time.
func (t *text) strip(b Board, scale time.Duration) {
	columns := int((b.End.Sub(b.Start) + scale - 1) / scale)
	at := func(when time.Time) int { return int(math.Round(float64(when.Sub(b.Start)) / float64(scale))) }
	t.line("")
	days, hours := blank(columns), blank(columns)
	for _, d := range b.days() {
		name := d.Start.In(b.zone()).Format("Mon 2 Jan")
		if width := at(d.End) - at(d.Start); width < len(name)+1 {
			name = d.Start.In(b.zone()).Format("Mon")
		}
		put(days, at(d.Start), signDay, name)
	}
	every := 1
	for _, every = range []int{1, 2, 3, 4, 6, 12} {
		if time.Duration(every)*time.Hour >= 4*scale {
			break
		}
	}
	for _, k := range b.ticks(every) {
		if column := at(k.at); column+2 <= columns {
			put(hours, column, 0, fmt.Sprintf("%02d", k.hour))
		}
	}
	t.line("%-*s|%s", t.names, "", string(days))
	t.line("%-*s|%s", t.names, b.Start.In(b.zone()).Format("MST"), string(hours))
	for _, r := range b.Rows {
		name := plain(r.Name)
		for i, lane := range r.lanes() {
			cells := t.background(b, columns, scale, at)
			for _, d := range r.Down {
				if c, some := b.down(d); some {
					fill(cells, at(c.Start), at(c.End), signDown)
				}
			}
			if i == 0 {
				for _, c := range r.Cleanings {
					fill(cells, at(c.Start), max(at(c.End), at(c.Start)+1), signClean)
				}
			}
			t.blocks(cells, lane, b, at)
			t.line("%-*s|%s", t.names, shorten(name, t.names-1), string(cells))
			name = ""
		}
	}
}

// background shows when nobody is on shift, and midnights.
func (t *text) background(b Board, columns int, scale time.Duration, at func(time.Time) int) []rune {
	cells := blank(columns)
	for _, c := range b.closed() {
		fill(cells, at(c.Start), at(c.End), signClosed)
	}
	for _, k := range b.ticks(24) {
		fill(cells, at(k.at), at(k.at)+1, signDay)
	}
	return cells
}

// blocks draws the steps of one lane. Steps that are too short to be told apart share a column and are marked so.
func (t *text) blocks(cells []rune, lane []Block, b Board, at func(time.Time) int) {
	taken := make([]bool, len(cells))
	for _, k := range lane {
		if !k.until().After(b.Start) || !k.Start.Before(b.End) {
			continue
		}
		from, to := at(k.Start), max(at(k.End), at(k.Start)+1)
		fill(cells, to, at(k.until()), signHold)
		sign := signOf(b.Batches[k.Batch])
		label := []rune(t.codes[k.Batch])
		if sign != signUse && to-from <= len(label) && to-from > 1 {
			label = append(label[:to-from-1:to-from-1], sign)
		}
		if from < 0 {
			from = 0
		}
		for i := from; i < min(to, len(cells)); i++ {
			switch {
			case taken[i]:
				cells[i] = signSeveral
			case i-from < len(label):
				cells[i] = label[i-from]
			default:
				cells[i] = sign
			}
			taken[i] = true
		}
	}
}

// signOf is the sign of a batch in a vessel.
func signOf(x Batch) rune {
	switch {
	case x.Late:
		return signLate
	case x.AtRisk():
		return signRisk
	}
	return signUse
}

func (t *text) legend(width int) {
	b := t.board
	t.line("")
	risk := ""
	if b.knowsSure() {
		risk = "? in use for a batch that is in time with less than 95 %, "
	}
	t.wrap("Signs: = in use, ! in use for a late batch, "+risk+"- holds material until the next step takes it, ~ cleaning, x out of service, "+
		". nobody on shift, : midnight, + several short steps", 0, width)
	t.line("")
	t.batches(width)
	late := false
	explained, all := b.explained()
	for i, x := range b.Batches {
		if !x.Late {
			continue
		}
		if !late {
			t.line("")
			late = true
		}
		t.wrap(t.codes[i]+" "+plain(b.tardy(x)), 2, width)
		if !explained[i] {
			continue
		}
		for _, reason := range x.Reasons {
			t.out.WriteString("  ")
			t.wrap(plain(reason), 4, width-2)
		}
	}
	if !all {
		t.wrap(others, 0, width)
	}
	risky, _ := b.riskiest()
	for _, i := range risky {
		t.wrap(t.codes[i]+" "+plain(b.risky(b.Batches[i])), 2, width)
	}
	for _, r := range b.Rows {
		for _, d := range r.Down {
			if _, some := b.down(d); some {
				t.wrap(plain(b.outage(r, d)), 2, width)
			}
		}
	}
	for _, n := range b.Notes {
		t.wrap(plain(n), 0, width)
	}
}

// batches lists what the codes stand for, with how sure each one is where that is known.
func (t *text) batches(width int) {
	b := t.board
	room, sure := width-2-5-2*18, ""
	if b.knowsSure() {
		room, sure = room-9, fmt.Sprintf("  %7s", "IN TIME")
	}
	t.line("  %-4s %-*s  %-16s  %-16s%s", "CODE", room, "BATCH", "DONE", "DUE", sure)
	for i, x := range b.Batches {
		mark, due := signOf(x), ""
		if mark == signUse {
			mark = ' '
		}
		if !x.Due.IsZero() {
			due = b.when(x.Due)
		}
		if sure != "" {
			sure = fmt.Sprintf("  %7s", x.sure())
		}
		t.line("%c %-4s %-*s  %-16s  %-16s%s", mark, t.codes[i], room, shorten(plain(x.Name), room), b.when(x.Done), due, sure)
	}
}

func blank(n int) []rune { return []rune(strings.Repeat(" ", n)) }

// fill writes a sign into the cells from one column to before another.
func fill(cells []rune, from, to int, sign rune) {
	for i := max(from, 0); i < min(to, len(cells)); i++ {
		cells[i] = sign
	}
}

// put writes a sign (0: none) and words at a column, as far as they fit.
func put(cells []rune, at int, sign rune, words string) {
	if sign != 0 {
		words = string(sign) + words
	}
	for i, r := range []rune(words) {
		if at+i >= 0 && at+i < len(cells) {
			cells[at+i] = r
		}
	}
}

// shorten cuts a name with a mark.
func shorten(s string, width int) string {
	runes := []rune(s)
	if len(runes) <= width {
		return s
	}
	return string(runes[:width-1]) + "~"
}
