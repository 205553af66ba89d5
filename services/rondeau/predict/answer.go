package predict

import (
	"bytes"
	"encoding/csv"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"math"
	"strconv"
	"strings"
	"time"
)

// Answer to a question. Its JSON form is stable: fields are added, never renamed; units stand in the names.
type Answer struct {
	// Question is the name of the command: reduce, heat, chill, thaw, freeze, growth.
	Question string `json:"question"`
	// Sentence answers in one plain sentence.
	Sentence string `json:"answer"`
	// Figures of the answer, one struct type per question.
	Figures any `json:"figures"`
	// Assumptions that mattered: every default that was used, and the rules behind it.
	Assumptions []Assumption `json:"assumptions"`
	// Cautions to be read with the answer.
	Cautions []string `json:"cautions"`
	// Series of the likely course.
	Series []Point `json:"series"`

	Table Table `json:"-"`
	// Notes stand below the table as name and text; their content is in the figures.
	Notes   [][2]string `json:"-"`
	Picture *Picture    `json:"-"`
}

// Assumption is one thing that the person did not say.
type Assumption struct {
	Name  string `json:"name"`
	Value string `json:"value"`
	// Flags that change it; empty when none does.
	Flags string `json:"flags"`
	// Source of the value, or "common practice, no source".
	Source string `json:"source"`
}

// Point of a series; columns that a question does not have are left out.
type Point struct {
	ElapsedMinutes          float64  `json:"elapsed_minutes"`
	TemperatureCelsius      *float64 `json:"temperature_celsius,omitempty"`
	EarlyTemperatureCelsius *float64 `json:"early_temperature_celsius,omitempty"`
	LateTemperatureCelsius  *float64 `json:"late_temperature_celsius,omitempty"`
	SurfaceCelsius          *float64 `json:"surface_celsius,omitempty"`
	VolumeLitres            *float64 `json:"volume_litres,omitempty"`
	SolidsPercent           *float64 `json:"solids_percent,omitempty"`
	LikelyGrowthLog10       *float64 `json:"likely_growth_log10,omitempty"`
	CautiousGrowthLog10     *float64 `json:"cautious_growth_log10,omitempty"`
}

// Minutes is a range of times in minutes. A side that lies beyond the horizon is null.
type Minutes struct {
	Early  *float64 `json:"early"`
	Likely *float64 `json:"likely"`
	Late   *float64 `json:"late"`
}

// Table is ready text; it has the fields of the table that the command line prints.
type Table struct {
	Header []string
	Right  []bool
	Lines  [][]string
}

func (t *Table) add(cells ...string) { t.Lines = append(t.Lines, cells) }

// Fault is one mistake in what a person wrote.
type Fault struct {
	// Flag as written, with its hyphens.
	Flag, Value, Problem string
}

// Error names the flag, the value, what is wrong, and what a right one looks like.
func (f *Fault) Error() string {
	if f.Value == "" {
		return f.Flag + ": " + f.Problem
	}
	return fmt.Sprintf("%s %s: %s", f.Flag, f.Value, f.Problem)
}

// Faults are all mistakes of a question.
type Faults []*Fault

// Error joins the faults by lines.
func (f Faults) Error() string {
	lines := make([]string, len(f))
	for i, one := range f {
		lines[i] = one.Error()
	}
	return strings.Join(lines, "\n")
}

// Unwrap gives the single faults.
func (f Faults) Unwrap() []error {
	all := make([]error, len(f))
	for i, one := range f {
		all[i] = one
	}
	return all
}

// JSON writes the answer. It is an error when a figure is not finite.
func (a *Answer) JSON(w io.Writer) error {
	text, err := json.MarshalIndent(a, "", "  ")
	if err != nil {
		return fmt.Errorf("write the answer as JSON: %w", err)
	}
	_, err = fmt.Fprintf(w, "%s\n", text)
	return err
}

// CSV returns the series with a header; columns without any value are left out.
func (a *Answer) CSV() ([]byte, error) {
	if len(a.Series) == 0 {
		return nil, errors.New("this answer has no series")
	}
	type column struct {
		name string
		of   func(Point) *float64
	}
	columns := []column{
		{"elapsed_minutes", func(p Point) *float64 { return &p.ElapsedMinutes }},
		{"temperature_celsius", func(p Point) *float64 { return p.TemperatureCelsius }},
		{"early_temperature_celsius", func(p Point) *float64 { return p.EarlyTemperatureCelsius }},
		{"late_temperature_celsius", func(p Point) *float64 { return p.LateTemperatureCelsius }},
		{"surface_celsius", func(p Point) *float64 { return p.SurfaceCelsius }},
		{"volume_litres", func(p Point) *float64 { return p.VolumeLitres }},
		{"solids_percent", func(p Point) *float64 { return p.SolidsPercent }},
		{"likely_growth_log10", func(p Point) *float64 { return p.LikelyGrowthLog10 }},
		{"cautious_growth_log10", func(p Point) *float64 { return p.CautiousGrowthLog10 }},
	}
	var used []column
	var header []string
	for _, c := range columns {
		for _, p := range a.Series {
			if c.of(p) != nil {
				used, header = append(used, c), append(header, c.name)
				break
			}
		}
	}
	var b bytes.Buffer
	w := csv.NewWriter(&b)
	lines := [][]string{header}
	for _, p := range a.Series {
		line := make([]string, len(used))
		for i, c := range used {
			if v := c.of(p); v != nil {
				line[i] = strconv.FormatFloat(*v, 'f', -1, 64)
			}
		}
		lines = append(lines, line)
	}
	err := w.WriteAll(lines)
	if err != nil {
		return nil, fmt.Errorf("write the series as CSV: %w", err)
	}
	return b.Bytes(), nil
}

// rounded keeps the digits that a forecast can carry; nil when not finite.
func rounded(v float64, digits int) *float64 {
	if math.IsNaN(v) || math.IsInf(v, 0) {
		return nil
	}
	p := math.Pow(10, float64(digits))
	r := math.Round(v*p) / p
	if r == 0 {
		r = 0 // no negative zero
	}
	return &r
}

func minutesOf(d time.Duration) *float64 { return rounded(d.Minutes(), 1) }

func minutesIf(ok bool, d time.Duration) *float64 {
	if !ok {
		return nil
	}
	return minutesOf(d)
}

// Drawn gives the picture of the answer as "svg" or "png".
func (a *Answer) Drawn(format string) ([]byte, error) {
	if a.Picture == nil {
		return nil, errors.New("there is nothing to draw for this answer")
	}
	if format == "svg" {
		return a.Picture.SVG()
	}
	return a.Picture.PNG()
}
