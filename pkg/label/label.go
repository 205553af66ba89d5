// Package label makes the label of a sealed container: text for a terminal or receipt printer and a GS1
// DataMatrix symbol as PNG or SVG.
//
// A label repeats what the kitchen's records say. It supports and does not replace the validated HACCP
// plan, the local labelling law and the qualified person who answers for dates and allergens.
package label

import (
	"errors"
	"fmt"
	"strings"
	"unicode"

	"rondeau.internal/pkg/gs1"
	"rondeau.internal/pkg/units"
)

// Label is what a container's label says. The zero value of a field that is optional leaves its line out.
type Label struct {
	Product string // name of the food; required
	GTIN    string // 8, 12, 13 or 14 digits; required
	Lot     string // required, up to 20 characters of the GS1 set
	Serial  string // of the container, optional
	Packed  gs1.Date
	// UseBy is for food that becomes unsafe, BestBefore for food that only
	// loses quality. Give one of them.
	UseBy, BestBefore gs1.Date
	// Net weight; optional. It must be a whole number of the last digit that (310n) can hold.
	Net units.Milligrams
	// Allergens that the food contains. Nil means that nobody has said and is an error; empty means that there are none
	// to declare.
	Allergens []string
	Storage   string // storage instruction, e.g. "Keep frozen at -18 °C"; required
	// Stem of the Digital Link; empty means gs1.CanonicalStem.
	Stem string
}

// Check returns nil when the label can be printed, otherwise all its faults joined.
func (l *Label) Check() error {
	var errs []error
	say := func(format string, args ...any) { errs = append(errs, fmt.Errorf(format, args...)) }
	for _, f := range []struct{ name, value string }{{"product", l.Product}, {"lot", l.Lot}, {"storage instruction", l.Storage}} {
		if strings.TrimSpace(f.value) == "" {
			say("the label has no %s; give it", f.name)
		}
	}
	texts := append([]string{l.Product, l.Storage}, l.Allergens...)
	for _, s := range texts {
		if at := strings.IndexFunc(s, func(r rune) bool { return !unicode.IsPrint(r) }); at >= 0 {
			say("%q has a character that cannot be printed at place %d; take it out", s, at+1)
		}
	}
	if l.Allergens == nil {
		say("the allergens are not stated; give them, or an empty list when there are none")
	}
	for i, a := range l.Allergens {
		if strings.TrimSpace(a) == "" {
			say("allergen %d has no name; give it or take it out", i+1)
		}
	}
	last := l.UseBy
	switch {
	case l.UseBy == gs1.Date{} && l.BestBefore == gs1.Date{}:
		say("the label has neither a use-by nor a best-before date; give one")
	case l.UseBy != gs1.Date{} && l.BestBefore != gs1.Date{}:
		say("the label has a use-by and a best-before date; keep the one that applies")
	case l.UseBy == gs1.Date{}:
		last = l.BestBefore
	}
	if l.Packed != (gs1.Date{}) && last != (gs1.Date{}) && ordinal(last) < ordinal(l.Packed) {
		say("the date %s is before the packing date %s; correct one of them", iso(last), iso(l.Packed))
	}
	if l.Net < 0 {
		say("the net weight is negative; give it, or 0 to leave it out")
	}
	if _, err := l.elements(); err != nil {
		errs = append(errs, err)
	}
	return errors.Join(errs...)
}

func ordinal(d gs1.Date) int { return (d.Year*100+d.Month)*100 + d.Day }

func iso(d gs1.Date) string {
	if d.NoDay {
		return fmt.Sprintf("%04d-%02d", d.Year, d.Month)
	}
	return fmt.Sprintf("%04d-%02d-%02d", d.Year, d.Month, d.Day)
}

// Message returns the elements of the symbol: those of fixed length first, so that the
// symbol needs the fewest separators. The label is checked.
func (l *Label) Message() (gs1.Message, error) {
	if err := l.Check(); err != nil {
		return nil, err
	}
	return l.elements()
}

func (l *Label) elements() (gs1.Message, error) {
	gtin, err := gs1.PadGTIN(l.GTIN)
	if err != nil {
		return nil, err
	}
	m := gs1.Message{{AI: "01", Value: gtin}}
	for _, d := range []struct {
		ai   string
		date gs1.Date
	}{{"13", l.Packed}, {"15", l.BestBefore}, {"17", l.UseBy}} {
		if d.date == (gs1.Date{}) {
			continue
		}
		v, err := gs1.FormatDate(d.date)
		if err != nil {
			return nil, fmt.Errorf("date (%s): %w", d.ai, err)
		}
		m = append(m, gs1.Element{AI: d.ai, Value: v})
	}
	if l.Net > 0 {
		e, err := gs1.NetWeight(int64(l.Net))
		if err != nil {
			return nil, err
		}
		m = append(m, e)
	}
	if l.Lot != "" {
		m = append(m, gs1.Element{AI: "10", Value: l.Lot})
	}
	if l.Serial != "" {
		m = append(m, gs1.Element{AI: "21", Value: l.Serial})
	}
	return m, m.Check()
}

// DigitalLink returns the URI of the container. The label is checked.
func (l *Label) DigitalLink() (string, error) {
	m, err := l.Message()
	if err != nil {
		return "", err
	}
	stem := l.Stem
	if stem == "" {
		stem = gs1.CanonicalStem
	}
	return m.DigitalLink(stem)
}

// MinWidth is the narrowest text that Text makes, in characters.
const MinWidth = 24

// Text returns the label as lines of at most width characters, each ended by a newline. Allergens stand in
// capitals between asterisks, as the mark for bold that a printer without fonts can show.
func (l *Label) Text(width int) (string, error) {
	if width < MinWidth {
		return "", fmt.Errorf("a width of %d characters; give at least %d", width, MinWidth)
	}
	m, err := l.Message()
	if err != nil {
		return "", err
	}
	uri, err := l.DigitalLink()
	if err != nil {
		return "", err
	}
	var b strings.Builder
	line := func(name, value string) {
		if value != "" {
			fold(&b, name, value, width)
		}
	}
	line("", strings.ToUpper(l.Product))
	line("Lot", l.Lot)
	line("Serial", l.Serial)
	for _, d := range []struct {
		name string
		date gs1.Date
	}{{"Packed", l.Packed}, {"Use by", l.UseBy}, {"Best before", l.BestBefore}} {
		if d.date != (gs1.Date{}) {
			line(d.name, iso(d.date))
		}
	}
	if l.Net > 0 {
		line("Net", kilograms(l.Net)+" kg")
	}
	marked := make([]string, len(l.Allergens))
	for i, a := range l.Allergens {
		marked[i] = "*" + strings.ToUpper(strings.TrimSpace(a)) + "*"
	}
	if len(marked) == 0 {
		marked = []string{"none declared"}
	}
	line("Contains", strings.Join(marked, ", "))
	line("", l.Storage)
	packed := ""
	for _, e := range m { // lines break between elements where they can
		next := gs1.Message{e}.String()
		if packed != "" && len(packed)+len(next) > width {
			line("", packed)
			packed = ""
		}
		packed += next
	}
	line("", packed)
	line("", uri)
	return b.String(), nil
}

// kilograms writes an exact mass with three decimals, or more where it needs them.
func kilograms(mg units.Milligrams) string {
	s := fmt.Sprintf("%d.%06d", mg/1_000_000, mg%1_000_000)
	for strings.HasSuffix(s, "0") && len(s)-strings.IndexByte(s, '.') > 4 {
		s = s[:len(s)-1]
	}
	return s
}

// fold writes a value after its name, broken at spaces, and inside words longer than a line. Following
// lines are indented when there is a name.
func fold(b *strings.Builder, name, value string, width int) {
	indent := ""
	cur := ""
	if name != "" {
		indent, cur = "  ", name+":"
	}
	flush := func() {
		b.WriteString(cur)
		b.WriteByte('\n')
		cur = indent
	}
	for _, word := range strings.Fields(value) {
		w := []rune(word)
		switch {
		case cur == "" || cur == indent:
		case len([]rune(cur))+1+len(w) <= width:
			cur += " "
		default:
			flush()
		}
		for len([]rune(cur))+len(w) > width {
			room := width - len([]rune(cur))
			cur += string(w[:room])
			w = w[room:]
			flush()
		}
		cur += string(w)
	}
	b.WriteString(cur)
	b.WriteByte('\n')
}
