package gs1

import (
	"errors"
	"fmt"
	"strings"
)

// GS is the separator (ASCII group separator) that a reader sends for FNC1 inside the data.
const GS = '\x1d'

// Element is an application identifier with its value.
type Element struct{ AI, Value string }

// Check checks the form of the element: known AI, length, characters, check digit, date.
func (e Element) Check() error {
	ai, ok := table[e.AI]
	if !ok {
		return fmt.Errorf("(%s) is not an application identifier in use here", clip(e.AI))
	}
	if e.Value == "" {
		return fmt.Errorf("(%s) %s has no value", ai.Code, ai.Title)
	}
	return ai.check(e.Value)
}

// Message is a list of elements in order.
type Message []Element

// Get returns the value of the first element with this AI.
func (m Message) Get(ai string) (string, bool) {
	for _, e := range m {
		if e.AI == ai {
			return e.Value, true
		}
	}
	return "", false
}

// Forms checks every element by itself, see Element.Check. An empty message is an error.
func (m Message) Forms() error {
	if len(m) == 0 {
		return errors.New("no elements; give at least one application identifier with its value")
	}
	var errs []error
	for _, e := range m {
		errs = append(errs, e.Check())
	}
	return errors.Join(errs...)
}

// Check checks every element and then all of them together: what an element needs is there, what
// it excludes is not, and one that stands twice has the same value. All faults are joined.
func (m Message) Check() error {
	if err := m.Forms(); err != nil {
		return err
	}
	values := make(map[string]string, len(m))
	var errs []error
	for _, e := range m {
		if v, ok := values[e.AI]; ok && v != e.Value {
			errs = append(errs, fmt.Errorf("(%s) stands twice, with %q and %q; keep one", e.AI, v, e.Value))
			continue
		} else if ok {
			continue
		}
		values[e.AI] = e.Value
	}
	seen := make(map[string]bool, len(m))
	for _, e := range m {
		if seen[e.AI] {
			continue
		}
		seen[e.AI] = true
		ai := table[e.AI]
		if !ai.satisfied(values) {
			errs = append(errs, fmt.Errorf("(%s) %s needs %s; add it or take (%s) out", ai.Code, ai.Title, ai.wanted(), ai.Code))
		}
		for _, other := range m {
			if ai.excludes(other.AI) {
				errs = append(errs, fmt.Errorf("(%s) %s and (%s) exclude each other; keep one", ai.Code, ai.Title, other.AI))
			}
		}
	}
	return errors.Join(errs...)
}

func (ai *AI) satisfied(values map[string]string) bool {
	if len(ai.needs) == 0 {
		return true
	}
next:
	for _, group := range ai.needs {
		for _, code := range group {
			if _, ok := values[code]; !ok {
				continue next
			}
		}
		return true
	}
	return false
}

func (ai *AI) wanted() string {
	var groups []string
	for _, g := range ai.needs {
		groups = append(groups, "("+strings.Join(g, ") with (")+")")
	}
	return strings.Join(groups, " or ")
}

func (ai *AI) excludes(code string) bool {
	if code == ai.Code {
		return false
	}
	for _, p := range ai.not {
		if code == p || (len(p) == 3 && len(code) == 4 && strings.HasPrefix(code, p)) {
			return true
		}
	}
	return false
}

// Encode returns the element string for a symbol: without the FNC1 that stands first, with GS where a separator
// is needed. The elements are checked by form.
func (m Message) Encode() (string, error) {
	if err := m.Forms(); err != nil {
		return "", err
	}
	var b strings.Builder
	for i, e := range m {
		b.WriteString(e.AI)
		b.WriteString(e.Value)
		if i < len(m)-1 && table[e.AI].Separated {
			b.WriteByte(GS)
		}
	}
	return b.String(), nil
}

// Parse reads an element string as a reader sends it, without symbology identifier. A GS at the
// very start stands for the leading FNC1. A superfluous GS after an element is tolerated. The
// message is checked by form; see Message.Check for more.
func Parse(data string) (Message, error) {
	rest := strings.TrimPrefix(data, string(GS))
	if rest == "" {
		return nil, errors.New("the element string is empty; scan again")
	}
	var m Message
	for rest != "" {
		ai, err := prefixAI(rest)
		if err != nil {
			return nil, err
		}
		rest = rest[len(ai.Code):]
		end := strings.IndexByte(rest, GS)
		if end < 0 {
			end = len(rest)
		}
		if !ai.Separated {
			length := 0
			for _, c := range ai.parts {
				length += c.max
			}
			end = min(end, length)
		}
		e := Element{ai.Code, rest[:end]}
		if err := e.Check(); err != nil {
			return nil, err
		}
		m = append(m, e)
		rest = strings.TrimPrefix(rest[end:], string(GS))
	}
	return m, nil
}

// String returns the message with AIs in brackets, as printed under a symbol. An opening bracket in a value
// is written \( so that ParseBracketed can read it back.
func (m Message) String() string {
	var b strings.Builder
	for _, e := range m {
		b.WriteString("(" + e.AI + ")")
		b.WriteString(strings.ReplaceAll(e.Value, "(", `\(`))
	}
	return b.String()
}

// ParseBracketed reads what String writes, checked by form.
func ParseBracketed(s string) (Message, error) {
	if s == "" {
		return nil, errors.New("no elements; write them like (01)09520123456788(10)ABC")
	}
	var m Message
	for rest := s; rest != ""; {
		if rest[0] != '(' {
			return nil, fmt.Errorf("%q does not begin with an application identifier in brackets like (01)", clip(rest))
		}
		end := strings.IndexByte(rest, ')')
		if end < 0 {
			return nil, fmt.Errorf("%q has an opening bracket and no closing one", clip(rest))
		}
		e := Element{AI: rest[1:end]}
		rest = rest[end+1:]
		stop := 0
		for stop < len(rest) && rest[stop] != '(' {
			if strings.HasPrefix(rest[stop:], `\(`) {
				stop++
			}
			stop++
		}
		e.Value = strings.ReplaceAll(rest[:stop], `\(`, "(")
		rest = rest[stop:]
		if err := e.Check(); err != nil {
			return nil, err
		}
		m = append(m, e)
	}
	return m, nil
}
