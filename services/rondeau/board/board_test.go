package board_test

import (
	"bytes"
	"encoding/xml"
	"errors"
	"flag"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"strconv"
	"strings"
	"testing"
	"time"

	"rondeau.internal/services/rondeau/board"
)

var update = flag.Bool("update", false, "rewrite the golden files")

// at is a moment of the week of Monday, 22 March 2027 in Lisbon, which sets its clocks forward on Sunday, 28 March.
func at(t *testing.T, day, hour, minute int) time.Time {
	t.Helper()
	zone, err := time.LoadLocation("Europe/Lisbon")
	if err != nil {
		t.Fatal(err)
	}
	return time.Date(2027, 3, 22+day, hour, minute, 0, 0, zone)
}

// kitchen is an invented kitchen's board with everything that can be drawn.
func kitchen(t *testing.T) board.Board {
	t.Helper()
	m := func(day, hour, minute int) time.Time { return at(t, day, hour, minute) }
	span := func(from, to time.Time) board.Span { return board.Span{Start: from, End: to} }
	sure := func(p float64) *float64 { return &p }
	b := board.Board{
		Outlook: "Outlook of Mon 22 Mar 06:00: all 3 batches with a due time are in time with less than 1 %.",
		Site:    "Harbour Kitchen", Plan: "w13", Schedule: "s1", State: "draft", Zone: m(0, 0, 0).Location(), Start: m(0, 6, 0), End: m(2, 12, 0),
		Quality: "All 11 steps are placed; Demi-glace <dark> & \"thick\", 12 kg will be 3 h late; not proved to be the best. Gap to the proved bound: 12.5 %.",
		Batches: []board.Batch{
			{
				Name: "Brown stock, 200 kg", Family: "Brown stock", Due: m(2, 9, 0), Done: m(1, 8, 30), Sure: sure(0.812),
				Risk: "Simmer in Kettle 1 takes 50 min longer than planned (70 % of its late ends)",
			},
			{Name: "Demi-glace <dark> & \"thick\", 12 kg", Family: "Demi-glace", Due: m(1, 15, 0), Done: m(1, 18, 0), Late: true, Sure: sure(0), Reasons: []string{
				"Reduction of Demi-glace cannot begin before Tue 23 Mar 08:30, because Chill of Brown stock comes first.",
				"Its longest step is Reduction: 6 h at best, in Wide pan (physics).",
			}},
			{Name: "Fish fumet, 40 kg", Family: "Fish fumet", Due: m(1, 12, 0), Done: m(0, 15, 0), Sure: sure(0.997)},
			{Name: "Brown stock, 80 kg", Family: "Brown stock", Done: m(2, 11, 0)},
		},
		Rows: []board.Row{
			{Name: "Blast chiller", Class: "chiller", Blocks: []board.Block{
				{Span: span(m(1, 4, 0), m(1, 8, 30)), Batch: 0, Step: "Chill", Limit: m(1, 10, 0)},
				{Span: span(m(0, 12, 0), m(0, 15, 0)), Batch: 2, Step: "Chill", Limit: m(0, 18, 0)},
				{Span: span(m(1, 16, 0), m(1, 18, 0)), Batch: 1, Step: "Chill", Limit: m(1, 22, 0)},
				{Span: span(m(1, 17, 0), m(1, 17, 5)), Batch: 3, Step: "Chill"},
				{Span: span(m(2, 9, 0), m(2, 11, 0)), Batch: 3, Step: "Chill", Limit: m(2, 15, 0)},
			}},
			{
				Name: "Kettle 1", Class: "kettle",
				Blocks: []board.Block{
					{Span: span(m(0, 7, 0), m(0, 19, 0)), Batch: 0, Step: "Simmer", HeldUntil: m(1, 4, 0)},
					{Span: span(m(1, 20, 0), m(2, 9, 0)), Batch: 3, Step: "Simmer"},
				},
				Cleanings: []board.Span{span(m(0, 6, 30), m(0, 7, 0)), span(m(1, 6, 0), m(1, 6, 40))},
				Down:      []board.Down{{Span: span(m(1, 8, 0), m(1, 18, 0)), Reason: "burner <2>"}},
			},
			{Name: "Kettle with a name that is far too long for its place", Class: "kettle"},
			{Name: "Wide pan", Class: "pan", Blocks: []board.Block{
				{Span: span(m(0, 5, 0), m(0, 11, 45)), Batch: 2, Step: "Simmer"},
				{Span: span(m(0, 11, 45), m(0, 11, 50)), Batch: 2, Step: "Strain"},
				{Span: span(m(0, 11, 50), m(0, 11, 55)), Batch: 2, Step: "Skim"},
				{Span: span(m(1, 8, 30), m(1, 15, 0)), Batch: 1, Step: "Reduction"},
			}, Down: []board.Down{{Span: board.Span{Start: m(2, 11, 0)}, Reason: "lid"}}},
			{Name: "At a table", Blocks: []board.Block{{Span: span(m(1, 15, 0), m(1, 15, 40)), Batch: 1, Step: "Strain"}}},
		},
		Limits: "Cooling must have ended by the last limit of the profile.",
		Notes:  []string{"Computed times support and do not replace the validated HACCP plan, the local code and the qualified person."},
	}
	for day := range 3 {
		b.Staffed = append(b.Staffed, span(m(day, 6, 0), m(day, 22, 0)))
	}
	return b
}

func text(t *testing.T, b board.Board, width int) string {
	t.Helper()
	var out bytes.Buffer
	if err := board.Text(&out, b, width); err != nil {
		t.Fatal(err)
	}
	return out.String()
}

func svg(t *testing.T, b board.Board) string {
	t.Helper()
	var out bytes.Buffer
	if err := board.SVG(&out, b); err != nil {
		t.Fatal(err)
	}
	return out.String()
}

func golden(t *testing.T, name, got string) {
	t.Helper()
	path := filepath.Join("testdata", name)
	if *update {
		if err := os.WriteFile(path, []byte(got), 0o644); err != nil {
			t.Fatal(err)
		}
	}
	want, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	if got != string(want) {
		t.Errorf("%s differs; look at it and rewrite it with -update\n%s", path, got)
	}
}

func TestGolden(t *testing.T) {
	t.Parallel()
	b := kitchen(t)
	golden(t, "narrow.txt", text(t, b, 20))
	golden(t, "wide.txt", text(t, b, 140))
	golden(t, "kitchen.svg", svg(t, b))
}

func TestDrawingTwiceGivesTheSameBytes(t *testing.T) {
	t.Parallel()
	picture, words := svg(t, kitchen(t)), text(t, kitchen(t), 100)
	for range 5 {
		if svg(t, kitchen(t)) != picture || text(t, kitchen(t), 100) != words {
			t.Error("differs")
		}
	}
}

func TestNoLineOfTheTextIsWiderThanAsked(t *testing.T) {
	t.Parallel()
	for _, width := range []int{80, 97, 120, 200} {
		for i, line := range strings.Split(text(t, kitchen(t), width), "\n") {
			if n := len([]rune(line)); n > width {
				t.Errorf("at %d: line %d has %d: %s", width, i+1, n, line)
			}
		}
	}
}

func TestTheTextShowsEveryKindOfTime(t *testing.T) {
	t.Parallel()
	out := text(t, kitchen(t), 140)
	for _, words := range []string{
		"Harbour Kitchen, plan w13, s1 (draft)", "Gap to the proved bound: 12.5 %", "Mon 22 Mar", "B1!!!", "A1????", "---", "~", "xxxx", "....",
		"B1 Demi-glace <dark> & \"thick\", 12 kg is late by 3 h: due Tue 23 Mar 15:00, done Tue 23 Mar 18:00", "Its longest step is Reduction",
		"Kettle 1 is out of service from Tue 23 Mar 08:00 until Tue 23 Mar 18:00: burner <2>", "Wide pan is out of service from Wed 24 Mar 11:00 until further notice: lid", "HACCP",
	} {
		if !strings.Contains(out, words) {
			t.Errorf("does not show %q", words)
		}
	}
	// Steps too short to be told apart share a sign; the lanes of a shared vessel lie below each other.
	if !strings.Contains(out, "+") || strings.Count(out, "Blast chiller") != 1 {
		t.Error(out)
	}
}

func TestThePictureIsWellFormedAndSaysItInWords(t *testing.T) {
	t.Parallel()
	b := kitchen(t)
	b.Plan, b.Site = "<script>alert(1)</script>\x00\x1b", `Harbour "&" Kitchen`
	d := xml.NewDecoder(strings.NewReader(svg(t, b)))
	d.Strict = true
	var said strings.Builder
	ids, used := map[string]bool{}, map[string]bool{}
	for {
		token, err := d.Token()
		if errors.Is(err, io.EOF) {
			break
		}
		if err != nil {
			t.Fatal(err)
		}
		switch x := token.(type) {
		case xml.CharData:
			said.Write(x)
		case xml.StartElement:
			switch x.Name.Local {
			case "svg", "title", "desc", "defs", "pattern", "rect", "path", "circle", "g", "line", "text":
			default:
				t.Errorf("element %s", x.Name.Local)
			}
			for _, a := range x.Attr {
				if a.Name.Local == "id" {
					ids[a.Value] = true
				}
				if id, found := strings.CutPrefix(a.Value, "url(#"); found {
					used[strings.TrimSuffix(id, ")")] = true
				}
				if strings.Contains(a.Value, "NaN") || strings.Contains(a.Value, "Inf") || strings.HasPrefix(a.Name.Local, "on") || strings.Contains(a.Value, "%!") {
					t.Errorf("%s has %s=%q", x.Name.Local, a.Name.Local, a.Value)
				}
				if v, err := strconv.ParseFloat(a.Value, 64); err == nil && (a.Name.Local == "width" || a.Name.Local == "height") && v < 0 {
					t.Errorf("%s has %s=%q", x.Name.Local, a.Name.Local, a.Value)
				}
			}
		}
	}
	for id := range used {
		if !ids[id] {
			t.Errorf("pattern %s is used and not there", id)
		}
	}
	for _, words := range []string{
		`Harbour "&" Kitchen, plan <script>alert(1)</script>`, "Gap to the proved bound: 12.5 %", "Monday 22 March 2027", "Hours in Europe/Lisbon", "Blast chiller", "kettle",
		"A1 Simmer", "B1 late, Reduction", "late batch", "holds material until the next step takes it", "cleaning", "out of service", "nobody on shift", "cooling must have ended",
		"LATE: Demi-glace <dark> & \"thick\"", "is late by 3 h: due Tue 23 Mar 15:00", "burner <2>", "held until Tue 23 Mar 04:00", "cooling limit Tue 23 Mar 10:00",
		"Cooling must have ended by the last limit", "HACCP",
	} {
		if !strings.Contains(said.String(), words) {
			t.Errorf("does not say %q", words)
		}
	}
}

func TestABoardThatCannotBeDrawnSaysWhy(t *testing.T) {
	t.Parallel()
	for name, c := range map[string]struct {
		spoil func(*board.Board)
		says  string
	}{
		"no time":             {func(b *board.Board) { b.End = b.Start }, "must end after its start"},
		"a year":              {func(b *board.Board) { b.End = b.Start.AddDate(1, 0, 0) }, "at most 60 days"},
		"no vessel":           {func(b *board.Board) { b.Rows = nil }, "at least one vessel"},
		"an unknown batch":    {func(b *board.Board) { b.Rows[0].Blocks[0].Batch = 4 }, "belongs to batch 4"},
		"a step backwards":    {func(b *board.Board) { b.Rows[0].Blocks[0].End = b.Start }, "ends before it starts"},
		"a batch below zero":  {func(b *board.Board) { b.Rows[0].Blocks[0].Batch = -1 }, "belongs to batch -1"},
		"an end before start": {func(b *board.Board) { b.Start, b.End = b.End, b.Start }, "must end after its start"},
	} {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			b := kitchen(t)
			c.spoil(&b)
			for _, err := range []error{board.Text(io.Discard, b, 80), board.SVG(io.Discard, b)} {
				if err == nil || !strings.Contains(err.Error(), c.says) {
					t.Errorf("said %v, want %q", err, c.says)
				}
			}
		})
	}
}

func TestTheClockChangeLeavesOutTheHourThatIsNotThere(t *testing.T) {
	t.Parallel()
	b := kitchen(t)
	b.Start, b.End = at(t, 6, 0, 0), at(t, 6, 12, 0) // Sunday, 28 March 2027: 01:00 is 02:00 (EU directive 2000/84/EC)
	out := text(t, b, 80)
	_, hours, _ := strings.Cut(out, "\nWET")
	hours, _, _ = strings.Cut(hours, "\n")
	if !strings.Contains(hours, "00") || strings.Contains(hours, "01") || !strings.Contains(hours, "02") {
		t.Errorf("hours: %s", hours)
	}
	if said := svg(t, b); strings.Contains(said, ">01<") || !strings.Contains(said, ">02<") {
		t.Error("the picture shows 01:00")
	}
}

func TestCodesAreLettersOfFamiliesWithNumbers(t *testing.T) {
	t.Parallel()
	var b board.Board
	for i := range 60 {
		b.Batches = append(b.Batches, board.Batch{Family: fmt.Sprint("f", i%30)})
	}
	codes := b.Codes()
	for i, want := range map[int]string{0: "A1", 25: "Z1", 26: "AA1", 29: "AD1", 30: "A2", 59: "AD2"} {
		if codes[i] != want {
			t.Errorf("code %d is %s, want %s", i, codes[i], want)
		}
	}
}

// failing is a writer that is full.
type failing struct{}

func (failing) Write([]byte) (int, error) { return 0, errors.New("disk full") }

func TestAWriterThatFailsIsReported(t *testing.T) {
	t.Parallel()
	for _, err := range []error{board.Text(failing{}, kitchen(t), 80), board.SVG(failing{}, kitchen(t))} {
		if err == nil || err.Error() != "disk full" {
			t.Errorf("said %v", err)
		}
	}
}
