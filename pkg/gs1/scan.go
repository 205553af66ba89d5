package gs1

import (
	"fmt"
	"strings"
)

// Symbology is an AIM symbology identifier as GS1 uses it.
type Symbology string

// The symbology identifiers that ParseScan understands (ISO/IEC 15424; GS1 General Specifications).
const (
	GS1128      Symbology = "]C1"
	GS1Matrix   Symbology = "]d2"
	GS1QR       Symbology = "]Q3"
	DataBar     Symbology = "]e0" // and composite components
	EAN13       Symbology = "]E0" // and UPC-A, UPC-E, sent as 13 digits
	EAN8        Symbology = "]E4"
	ITF14       Symbology = "]I1"
	PlainMatrix Symbology = "]d1" // may carry a Digital Link URI
	PlainQR     Symbology = "]Q1" // may carry a Digital Link URI
)

// ParseScan reads what a reader sends: a symbology identifier and data. Element strings, single GTINs and Digital
// Link URIs all become a Message. Data without an identifier is refused: the reader has to be set to send it.
func ParseScan(raw string) (Symbology, Message, error) {
	if len(raw) < 3 || raw[0] != ']' {
		return "", nil, fmt.Errorf("scan %q has no symbology identifier such as ]d2; set the reader to send it", clip(raw))
	}
	sym, data := Symbology(raw[:3]), raw[3:]
	var m Message
	var err error
	switch sym {
	case GS1128, GS1Matrix, GS1QR, DataBar:
		m, err = Parse(data)
	case EAN13, EAN8, ITF14:
		want := map[Symbology]Key{EAN13: GTIN13, EAN8: GTIN8, ITF14: GTIN14}[sym]
		if err = want.Check(data); err == nil {
			m = Message{{"01", strings.Repeat("0", 14-len(data)) + data}}
		}
	case PlainMatrix, PlainQR:
		if !isLink(data) {
			return sym, nil, fmt.Errorf("scan %q is plain data, not GS1 data and not a web address; scan the GS1 symbol", clip(data))
		}
		m, err = ParseDigitalLink(data)
	default:
		return sym, nil, fmt.Errorf("symbol %s carries no GS1 data; scan the GS1 symbol", clip(string(sym)))
	}
	if err != nil {
		return sym, nil, fmt.Errorf("scan %s: %w", sym, err)
	}
	return sym, m, nil
}

func isLink(data string) bool {
	lower := strings.ToLower(data[:min(len(data), 8)])
	return strings.HasPrefix(lower, "http://") || strings.HasPrefix(lower, "https://")
}
