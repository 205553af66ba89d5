package predict

import (
	"bytes"
	"encoding/csv"
	"errors"
	"fmt"
	"io"
	"math"
	"strconv"
	"strings"
	"time"

	"rondeau.internal/pkg/chill"
	"rondeau.internal/pkg/microbe"
	"rondeau.internal/pkg/units"
)

// zero is the moment from which histories in minutes count; only differences matter.
var zero = time.Date(2000, 1, 1, 0, 0, 0, 0, time.UTC)

// longestRows bounds a history.
const longestRows = 200_000

// history is a course of temperatures of food.
type history struct {
	readings []microbe.Reading
	// exact: straight lines that somebody planned, not readings of a probe.
	exact bool
	name  string
}

const scheduleShape = "give points TEMPERATURE@TIME in order, such as 57C@0,21C@2h,5C@6h, or the name of a schedule: food-code, fsis, uk, fsanz, fsis-2, fsis-cured"

// schedule reads --schedule: points, or the slowest cooling that a rule allows.
func (r *reader) schedule(text string) history {
	var points []microbe.Reading
	t := strings.ToLower(strings.TrimSpace(text))
	for _, p := range profiles {
		if p.word == t {
			points = slowest(p.of())
		}
	}
	for _, one := range microbe.Stabilizations() {
		if one.ID == t && len(one.Points) > 1 {
			for _, p := range one.Points {
				points = append(points, microbe.Reading{At: zero.Add(p.Within), Temperature: p.At.Celsius()})
			}
		}
	}
	if len(points) > 0 {
		return history{readings: straight(points), exact: true, name: "the slowest cooling that " + t + " allows"}
	}
	for _, word := range strings.Split(text, ",") {
		what, when, found := strings.Cut(word, "@")
		temperature, err := units.ParseTemperature(strings.TrimSpace(what))
		if !found || err != nil {
			r.fault("--schedule", text, "%q is not understood; %s", strings.TrimSpace(word), scheduleShape)
			return history{}
		}
		after := time.Duration(0)
		if w := strings.TrimSpace(when); w != "0" {
			after, err = units.ParseDuration(w)
			if err != nil || after > 31*24*time.Hour {
				r.fault("--schedule", text, "%q has no time that is understood (up to 31 days); %s", strings.TrimSpace(word), scheduleShape)
				return history{}
			}
		}
		c := temperature.Celsius()
		if c < -40 || c > 130 {
			r.fault("--schedule", text, "%q is out of range; give temperatures from -40 C to 130 C; %s", strings.TrimSpace(word), scheduleShape)
			return history{}
		}
		if n := len(points); n > 0 && !points[n-1].At.Before(zero.Add(after)) {
			r.fault("--schedule", text, "%q is not later than the point before it; %s", strings.TrimSpace(word), scheduleShape)
			return history{}
		}
		u, _ := units.BySymbol(temperature.Scale.String())
		r.style.saw(u)
		points = append(points, microbe.Reading{At: zero.Add(after), Temperature: c})
	}
	if len(points) < 2 {
		r.fault("--schedule", text, "has only one point; %s", scheduleShape)
		return history{}
	}
	return history{readings: straight(points), exact: true, name: "the schedule given"}
}

// slowest is the course that just keeps limits: each limit reached at the last moment, straight between them.
func slowest(l chill.Limits) []microbe.Reading {
	out := []microbe.Reading{{At: zero, Temperature: l.Stages[0].From.Celsius()}}
	last := time.Duration(0)
	for i, st := range l.Stages {
		due := st.Within
		if i > 0 && st.From.Celsius() < l.Stages[0].From.Celsius() {
			due += last
		}
		last = due
		out = append(out, microbe.Reading{At: zero.Add(due), Temperature: st.To.Celsius()})
	}
	return out
}

// straight puts points a minute apart (or a thousandth of the whole) between the corners of a course.
func straight(corners []microbe.Reading) []microbe.Reading {
	every := max(time.Minute, corners[len(corners)-1].At.Sub(corners[0].At)/2000)
	out := []microbe.Reading{corners[0]}
	for i, b := range corners[1:] {
		a := corners[i]
		whole := b.At.Sub(a.At)
		for at := every; at < whole; at += every {
			share := float64(at) / float64(whole)
			out = append(out, microbe.Reading{At: a.At.Add(at), Temperature: a.Temperature + units.Celsius(share)*(b.Temperature-a.Temperature)})
		}
		out = append(out, b)
	}
	return out
}

// clock is how the times of a history are written.
type clock uint8

const (
	moments clock = iota
	inMinutes
	inHours
)

// ParseHistory reads a history of temperatures: CSV with a header, two columns used. The first column whose name speaks of
// time holds RFC 3339 moments, or minutes or hours when its name says so; the first that speaks of temperature holds degrees
// in the scale that its name says (C or F), or with the scale behind each number. Errors name the line.
func ParseHistory(text []byte) ([]microbe.Reading, error) {
	text = bytes.TrimPrefix(text, []byte("\xef\xbb\xbf"))
	first, _, _ := bytes.Cut(text, []byte("\n"))
	rows := csv.NewReader(bytes.NewReader(text))
	rows.FieldsPerRecord, rows.TrimLeadingSpace, rows.Comment = -1, true, '#'
	for _, comma := range []rune{';', '\t'} {
		if bytes.ContainsRune(first, comma) {
			rows.Comma = comma
			break
		}
	}
	header, err := rows.Read()
	if err != nil {
		return nil, errors.New("the file is empty: give a header such as minutes,temperature_c and a reading in each line")
	}
	at, degrees, how, scale, err := columns(header)
	if err != nil {
		return nil, err
	}
	var out []microbe.Reading
	for {
		row, err := rows.Read()
		if errors.Is(err, io.EOF) {
			break
		}
		if err != nil {
			return nil, fmt.Errorf("the file is not CSV: %w", err)
		}
		line, _ := rows.FieldPos(0)
		if len(row) == 1 && strings.TrimSpace(row[0]) == "" {
			continue
		}
		if len(row) <= max(at, degrees) {
			return nil, fmt.Errorf("line %d has %d columns, the header %d", line, len(row), len(header))
		}
		reading, err := parseReading(row[at], row[degrees], how, scale)
		if err != nil {
			return nil, fmt.Errorf("line %d: %w", line, err)
		}
		if n := len(out); n > 0 && !reading.At.After(out[n-1].At) {
			return nil, fmt.Errorf("line %d: its time %q is not later than the line before; put readings in order of time and keep one for each moment", line, row[at])
		}
		if len(out) == longestRows {
			return nil, fmt.Errorf("the file has more than %d readings; thin it out", longestRows)
		}
		out = append(out, reading)
	}
	if len(out) < 2 {
		return nil, fmt.Errorf("the file has %d readings, at least two are needed below the header", len(out))
	}
	return out, nil
}

// columns finds what a header says.
func columns(header []string) (at, degrees int, how clock, scale string, err error) {
	at, degrees = -1, -1
	for i, name := range header {
		n := strings.ToLower(strings.TrimSpace(name))
		switch {
		case at < 0 && (strings.Contains(n, "time") || strings.Contains(n, "minute") || strings.Contains(n, "hour") || n == "min" || n == "h" || n == "date"):
			at = i
			switch {
			case strings.Contains(n, "min"):
				how = inMinutes
			case strings.Contains(n, "hour") || n == "h":
				how = inHours
			}
		case degrees < 0 && (strings.Contains(n, "temp") || strings.Contains(n, "degree") || strings.Contains(n, "core") || n == "c" || n == "f" || n == "°c" || n == "°f"):
			degrees, scale = i, scaleOf(n)
		}
	}
	if at < 0 || degrees < 0 {
		return 0, 0, 0, "", fmt.Errorf("the header %q names no column for %s; write a header such as minutes,temperature_c or time,temperature_f", strings.Join(header, ","), missingColumn(at, degrees))
	}
	return at, degrees, how, scale, nil
}

func missingColumn(at, degrees int) string {
	switch {
	case at < 0 && degrees < 0:
		return "time and none for temperature"
	case at < 0:
		return "time"
	default:
		return "temperature"
	}
}

// scaleOf finds C or F in the name of a column.
func scaleOf(name string) string {
	words := strings.FieldsFunc(name, func(r rune) bool { return strings.ContainsRune(" _-()[]°,.", r) })
	for _, w := range words {
		switch w {
		case "c", "celsius", "degc":
			return "C"
		case "f", "fahrenheit", "degf":
			return "F"
		}
	}
	return ""
}

func parseReading(when, what string, how clock, scale string) (microbe.Reading, error) {
	when, what = strings.TrimSpace(when), strings.TrimSpace(what)
	at, err := parseMoment(when, how)
	if err != nil {
		return microbe.Reading{}, err
	}
	if v, err := strconv.ParseFloat(what, 64); err == nil {
		if scale == "" {
			return microbe.Reading{}, fmt.Errorf("the temperature %q has no scale; name the column temperature_c or temperature_f", what)
		}
		t := units.Temperature{Degrees: v}
		if scale == "F" {
			t.Scale = units.ScaleFahrenheit
		}
		return checkReading(microbe.Reading{At: at, Temperature: t.Celsius()}, what)
	}
	t, err := units.ParseTemperature(what)
	if err != nil {
		return microbe.Reading{}, fmt.Errorf("the temperature %q is not a number; write 57.2 (with the scale in the header) or 57.2 C, and leave out lines without a reading", what)
	}
	return checkReading(microbe.Reading{At: at, Temperature: t.Celsius()}, what)
}

func checkReading(r microbe.Reading, what string) (microbe.Reading, error) {
	c := float64(r.Temperature)
	if math.IsNaN(c) || c < -60 || c > 150 {
		return r, fmt.Errorf("the temperature %q is not one of food; it must be from -60 C to 150 C: is the scale in the header right?", what)
	}
	return r, nil
}

func parseMoment(when string, how clock) (time.Time, error) {
	if how != moments {
		v, err := strconv.ParseFloat(when, 64)
		unit := time.Minute
		if how == inHours {
			unit = time.Hour
		}
		if err == nil && v >= 0 && v*float64(unit) < float64(366*24*time.Hour) {
			return zero.Add(time.Duration(v * float64(unit))), nil
		}
		return time.Time{}, fmt.Errorf("the time %q is not a number from 0 to a year, as the header says", when)
	}
	for _, layout := range []string{time.RFC3339, "2006-01-02T15:04:05", "2006-01-02T15:04", "2006-01-02 15:04:05", "2006-01-02 15:04"} {
		if t, err := time.Parse(layout, when); err == nil {
			return t, nil
		}
	}
	if d, err := units.ParseDuration(when); err == nil && d < 366*24*time.Hour {
		return zero.Add(d), nil
	}
	return time.Time{}, fmt.Errorf("the time %q is not understood; write 2027-03-01T14:30:00Z, or name the column minutes and count from 0", when)
}
