package inventory

import (
	"strings"
	"time"

	"rondeau.internal/pkg/gs1"
)

// Label is what stands on a container, as texts ready to print.
type Label struct {
	Title     string
	LotCode   string
	Serial    string
	PackDate  string
	UseBy     string
	NetMass   string
	Storage   string
	Allergens string
	// The GS1 identification; empty without a GTIN.
	Elements string // bracketed
	Encoded  string // as printers and readers take it
	Link     string // GS1 Digital Link
}

// identification is the GS1 message of a container: GTIN (01), lot (10), packing date (13), last day of use (15), net
// mass (310n), serial (21). The last day is the quality day "best before" (15) for frozen goods and the safety day "use by"
// (17) for others.
func identification(item *Item, l *Lot, serial, packDate string) (gs1.Message, error) {
	m := gs1.Message{{AI: "01", Value: item.GTIN}}
	day, err := gs1Day(packDate)
	if err != nil {
		return nil, err
	}
	m = append(m, gs1.Element{AI: "13", Value: day})
	if l.UseBy != "" {
		if day, err = gs1Day(l.UseBy); err != nil {
			return nil, err
		}
		ai := "17"
		if item.Storage == Frozen {
			ai = "15"
		}
		m = append(m, gs1.Element{AI: ai, Value: day})
	}
	if weight, err := gs1.NetWeight(int64(item.NetMass)); err == nil { // a net mass finer than the standard can carry stays in the text alone
		m = append(m, weight)
	}
	return append(m, gs1.Element{AI: "10", Value: l.Code}, gs1.Element{AI: "21", Value: serial}), nil
}

func gs1Day(day string) (string, error) {
	t, err := time.Parse(time.DateOnly, day)
	if err != nil {
		return "", err
	}
	return gs1.FormatDate(gs1.Date{Year: t.Year(), Month: int(t.Month()), Day: t.Day()})
}

// label writes the label of a container.
func label(item *Item, l *Lot, serial, packDate, stem string) (Label, error) {
	out := Label{
		Title: item.DisplayName, LotCode: l.Code, Serial: serial, PackDate: packDate, UseBy: l.UseBy, NetMass: kg(item.NetMass),
		Storage: storageText(item.Storage), Allergens: allergenText(item.Allergens),
	}
	if item.GTIN == "" {
		return out, nil
	}
	m, err := identification(item, l, serial, packDate)
	if err != nil {
		return out, err
	}
	if err := m.Check(); err != nil {
		return out, err
	}
	out.Elements = m.String()
	if out.Encoded, err = m.Encode(); err != nil {
		return out, err
	}
	out.Link, err = m.DigitalLink(stem)
	return out, err
}

func storageText(s Storage) string {
	switch s {
	case Frozen:
		return "Keep frozen. Do not refreeze once thawed."
	case Chilled:
		return "Keep chilled."
	}
	return "Keep cool and dry."
}

func allergenText(all []Allergen) string {
	if len(all) == 0 {
		return ""
	}
	var words []string
	for _, a := range all {
		w := strings.ToLower(a.Allergen)
		if a.Species != "" {
			w += " (" + a.Species + ")"
		}
		words = append(words, w)
	}
	return "Contains: " + strings.Join(words, ", ") + "."
}

// codeOK says whether a lot code can stand in application identifier 10. Empty passes.
func codeOK(code string) bool {
	return code == "" || gs1.Element{AI: "10", Value: code}.Check() == nil
}

// SGTIN is the serialized GTIN as the path of a GS1 Digital Link, or empty without a GTIN.
func (c *Container) SGTIN() string {
	if c.GTIN == "" {
		return ""
	}
	return "/01/" + c.GTIN + "/21/" + c.Serial
}
