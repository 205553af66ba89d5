package predict

import (
	"fmt"
	"slices"
	"strconv"
	"strings"
	"time"

	"rondeau.internal/pkg/units"
)

// reader turns the texts of flags into quantities. It keeps the units the person wrote, every fault, and every default
// that was used.
type reader struct {
	style   Style
	faults  Faults
	assumed []assumption
}

// assumption is told at the end, when the person's units are known.
type assumption struct {
	name         string
	value        func(*Style) string
	note, source string
}

// bound of a quantity in the words of its flag, with an example of a right one.
type bound struct {
	low, high  float64 // SI, temperatures in Celsius
	from, to   string  // as people say them
	kind       string  // "a volume"
	suchAs     string
	dimension  units.Dimension
	otherwise  string // default as a person would write it; "" means none
	note       string // source of the default
	required   bool
	assumeName string // name under which the default is told
}

func (r *reader) fault(flag, value, format string, args ...any) {
	r.faults = append(r.faults, &Fault{Flag: flag, Value: quoted(value), Problem: fmt.Sprintf(format, args...)})
}

func quoted(value string) string {
	if value == "" {
		return ""
	}
	return strconv.Quote(value)
}

// assume notes a default. The note names the flags that change it, then where it comes from.
func (r *reader) assume(name, value, note string) {
	r.assumeIn(name, func(*Style) string { return value }, note)
}

func (r *reader) assumeIn(name string, value func(*Style) string, note string) {
	note, source, _ := strings.Cut(note, "; ")
	r.assumed = append(r.assumed, assumption{name, value, note, source})
}

// told are the assumptions in the person's units.
func (r *reader) told(s *Style) []Assumption {
	out := []Assumption{}
	for _, one := range r.assumed {
		out = append(out, Assumption{Name: one.name, Value: one.value(s), Flags: one.note, Source: one.source})
	}
	return out
}

func (r *reader) err() error {
	if len(r.faults) == 0 {
		return nil
	}
	return r.faults
}

func (b bound) wanted() string {
	return fmt.Sprintf("give %s from %s to %s, such as %s", b.kind, b.from, b.to, b.suchAs)
}

// quantity reads one value in SI (temperatures in Celsius). given tells that the person wrote it.
func (r *reader) quantity(flag, text string, b bound) (value float64, given bool) {
	if strings.TrimSpace(text) == "" {
		if b.required {
			r.fault(flag, "", "is missing; %s", b.wanted())
			return 0, false
		}
		if b.otherwise == "" {
			return 0, false
		}
		q, _ := units.ParseQuantity(b.otherwise) // defaults of this package, under test
		if b.assumeName != "" {
			r.assumeIn(b.assumeName, func(s *Style) string {
				if b.dimension == units.DimensionTemperature {
					return s.Temperature(units.Celsius(toSI(q)))
				}
				return b.otherwise
			}, b.note)
		}
		return toSI(q), false
	}
	q, err := units.ParseQuantity(text)
	if err != nil {
		r.fault(flag, text, "%s; %s", trimmedCause(err, text), b.wanted())
		return 0, true
	}
	if q.Unit.Dimension != b.dimension {
		r.fault(flag, text, "this is a %v, %s is wanted; %s", q.Unit.Dimension, b.kind, b.wanted())
		return 0, true
	}
	v := toSI(q)
	if v < b.low || v > b.high {
		r.fault(flag, text, "is out of range; %s", b.wanted())
		return 0, true
	}
	r.style.saw(q.Unit)
	return v, true
}

func toSI(q units.Quantity) float64 {
	if q.Unit.Dimension == units.DimensionTemperature {
		t, scale := q.Value(), units.ScaleCelsius
		switch q.Unit.Symbol {
		case "F":
			scale = units.ScaleFahrenheit
		case "K":
			scale = units.ScaleKelvin
		}
		return float64(units.Temperature{Degrees: t, Scale: scale}.Celsius())
	}
	return q.Value() * q.Unit.Factor()
}

// trimmedCause leaves out what the fault says anyway: the text itself and the list of all units.
func trimmedCause(err error, text string) string {
	cause := strings.TrimPrefix(err.Error(), fmt.Sprintf("quantity %q: ", text))
	cause = strings.TrimPrefix(cause, fmt.Sprintf("duration %q: ", text))
	cause = strings.TrimPrefix(cause, fmt.Sprintf("quantity %q ", text))
	cause = strings.TrimPrefix(cause, fmt.Sprintf("quantity %q: ", text))
	cause, _, _ = strings.Cut(cause, ": use kg")
	cause, _, _ = strings.Cut(cause, ": write for example")
	return cause
}

// duration reads a time such as 2h30min; zero when absent.
func (r *reader) duration(flag, text string, low, high time.Duration, suchAs string) (time.Duration, bool) {
	if strings.TrimSpace(text) == "" {
		return 0, false
	}
	d, err := units.ParseDuration(text)
	wanted := fmt.Sprintf("give a time from %s to %s, such as %s", span(low), span(high), suchAs)
	if err != nil {
		r.fault(flag, text, "%s; %s", trimmedCause(err, text), wanted)
		return 0, true
	}
	if d < low || d > high {
		r.fault(flag, text, "is out of range; %s", wanted)
		return 0, true
	}
	return d, true
}

// number reads a plain number whose unit stands in the help of the flag.
func (r *reader) number(flag, text string, low, high, otherwise float64, what, suchAs string) (float64, bool) {
	if strings.TrimSpace(text) == "" {
		return otherwise, false
	}
	v, err := strconv.ParseFloat(strings.TrimSpace(text), 64)
	if err != nil || v < low || v > high || v != v {
		r.fault(flag, text, "give %s from %s to %s as a plain number, such as %s", what, trimmed(low), trimmed(high), suchAs)
		return otherwise, true
	}
	return v, true
}

// share reads a percentage ("12%", "12 %") and with brix also "12 Brix"; a fraction of 1 comes back.
func (r *reader) share(flag, text string, low, high float64, what, suchAs string) (value float64, given bool) {
	if strings.TrimSpace(text) == "" {
		return 0, false
	}
	v, ok := percentage(text)
	if !ok || v < low || v > high {
		r.fault(flag, text, "give %s from %s to %s, such as %s", what, percent(low), percent(high), suchAs)
		return 0, true
	}
	return v, true
}

// percentage reads "12 %", "12 Brix", "12°Bx"; a plain number is none.
func percentage(text string) (float64, bool) {
	t := strings.ToLower(strings.TrimSpace(text))
	for _, ending := range []string{"%", "percent", "° brix", "°brix", "brix", "°bx", "bx"} {
		if rest, found := strings.CutSuffix(t, ending); found {
			v, err := strconv.ParseFloat(strings.TrimSpace(rest), 64)
			return v / 100, err == nil && v == v
		}
	}
	return 0, false
}

// choice reads one word of a list.
func (r *reader) choice(flag, text, otherwise string, words ...string) string {
	t := strings.ToLower(strings.TrimSpace(text))
	if t == "" {
		return otherwise
	}
	if slices.Contains(words, t) {
		return t
	}
	r.fault(flag, text, "give one of %s%s", strings.Join(words, ", "), nearest(t, words))
	return otherwise
}

// nearest proposes the word that shares the longest beginning or contains the text.
func nearest(text string, words []string) string {
	for _, word := range words {
		if len(text) >= 3 && (strings.Contains(word, text) || strings.Contains(text, word) || strings.HasPrefix(word, text[:3])) {
			return " (" + word + "?)"
		}
	}
	return ""
}
