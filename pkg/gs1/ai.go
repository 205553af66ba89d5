package gs1

import (
	"fmt"
	"slices"
	"strconv"
	"strings"
)

// rule is a check of a component beyond its characters and length.
type rule uint8

const (
	anything rule = iota
	csum          // ends in a check digit
	dateDay0      // YYMMDD, DD may be 00
	dateFull      // YYMMDD
	hourMin       // HHMM
	hour          // HH
	minute        // MM or SS
	minus         // a minus sign
)

// component is a piece of an element's value.
type component struct {
	digits   bool // digits only; otherwise the 82-character set
	min, max int
	optional bool
	rule     rule
}

// Use is the part that an AI plays in a Digital Link URI.
type Use uint8

// The uses.
const (
	NotInLink Use = iota
	PrimaryKey
	Qualifier
	Attribute
)

// AI describes one application identifier.
type AI struct {
	Code  string // two to four digits
	Title string
	// Separated: a separator follows unless the element is the last.
	Separated bool
	// Link is its part in a Digital Link URI.
	Link Use

	parts []component
	// needs lists alternatives; each names AIs that must all be there.
	needs [][]string
	// not lists AIs that must not be there, "31" standing for all that begin so.
	not []string
	// qualifiers lists the permitted sequences of qualifiers of a key.
	qualifiers [][]string
}

// Needs of groups of AIs.
var (
	tradeItem  = [][]string{{"01"}, {"02"}, {"03"}, {"8006"}, {"8026"}}
	unit       = [][]string{{"01"}, {"03"}, {"8006"}}
	item       = [][]string{{"01"}, {"02"}}
	itemMade   = [][]string{{"01"}, {"02"}, {"03"}}
	shipment   = [][]string{{"00"}}
	origin     = [][]string{{"01"}, {"02"}, {"03"}, {"8006"}, {"8026"}}
	logistic   = [][]string{{"00"}, {"01"}}
	expiryItem = append(slices.Clone(tradeItem), []string{"255"})
)

var (
	key14  = []component{{digits: true, min: 14, max: 14, rule: csum}}
	key13  = []component{{digits: true, min: 13, max: 13, rule: csum}}
	date0  = []component{{digits: true, min: 6, max: 6, rule: dateDay0}}
	date   = component{digits: true, min: 6, max: 6, rule: dateFull}
	six    = []component{{digits: true, min: 6, max: 6}}
	nation = component{digits: true, min: 3, max: 3}
)

func text(limit int) []component { return []component{{min: 1, max: limit}} }

func number(limit int) []component { return []component{{digits: true, min: 1, max: limit}} }

func option(c component) component {
	c.optional = true
	return c
}

func nations(limit int) []component {
	out := []component{nation}
	for range limit - 1 {
		out = append(out, option(nation))
	}
	return out
}

// table holds the AIs by code. Formats and associations: GS1 Barcode Syntax Dictionary, 2026-07-27,
// except those marked "from memory".
var table = buildTable()

func buildTable() map[string]*AI {
	m := map[string]*AI{}
	add := func(code, title string, link Use, parts []component, needs [][]string, not ...string) *AI {
		ai := &AI{Code: code, Title: title, Link: link, parts: parts, needs: needs, not: not, Separated: !predefined(code)}
		m[code] = ai
		return ai
	}
	add("00", "SSCC", PrimaryKey, []component{{digits: true, min: 18, max: 18, rule: csum}}, nil)
	add("01", "GTIN", PrimaryKey, key14, nil, "255", "37").qualifiers = [][]string{{"22", "10", "21"}, {"235"}}
	add("02", "GTIN of contents", Attribute, key14, [][]string{{"37"}}, "01", "03")
	add("03", "GTIN of a made-to-order item", Attribute, key14, nil, "01", "02", "37") // from memory
	add("10", "batch or lot", Qualifier, text(20), tradeItem)
	add("11", "production date", Attribute, date0, tradeItem)
	add("13", "packing date", Attribute, date0, tradeItem)
	add("15", "best before", Attribute, date0, tradeItem)
	add("16", "sell by", Attribute, date0, tradeItem)
	add("17", "use by", Attribute, date0, expiryItem)
	add("20", "variant", Attribute, []component{{digits: true, min: 2, max: 2}}, tradeItem)
	add("21", "serial", Qualifier, text(20), unit, "235")
	add("22", "consumer product variant", Qualifier, text(20), [][]string{{"01"}}) // from memory
	add("235", "third-party serial", Qualifier, text(28), [][]string{{"01"}})      // from memory
	add("240", "additional item identification", Attribute, text(30), tradeItem)
	add("241", "customer part number", Attribute, text(30), tradeItem)
	add("251", "reference to source entity", Attribute, text(30), unit)
	add("254", "extension of a location", Qualifier, text(20), [][]string{{"414"}}) // from memory
	add("255", "coupon number", PrimaryKey, append(slices.Clone(key13), component{digits: true, min: 0, max: 12, optional: true}), nil, "01", "02")
	add("30", "count of items", Attribute, number(8), item)
	for n := range 6 {
		d := strconv.Itoa(n)
		add("310"+d, "net weight, kg", Attribute, six, item, "310")
		add("315"+d, "net volume, L", Attribute, six, item, "315")
		add("320"+d, "net weight, lb", Attribute, six, item, "320")
		add("330"+d, "gross weight, kg", Attribute, six, logistic, "330")
	}
	add("37", "count of contained items", Attribute, number(8), [][]string{{"00", "02"}, {"00", "8026"}}, "01")
	for n := range 4 {
		add("392"+strconv.Itoa(n), "price of variable measure item", Attribute, number(15), [][]string{{"01"}}, "392") // from memory
	}
	addLogistics(add)
	addFood(add)
	for n := 90; n <= 99; n++ {
		limit := 90
		if n == 90 {
			limit = 30
		}
		add(strconv.Itoa(n), "agreed within the company", Attribute, text(limit), nil)
	}
	return m
}

type adder func(code, title string, link Use, parts []component, needs [][]string, not ...string) *AI

func addLogistics(add adder) {
	add("400", "customer order number", Attribute, text(30), nil)
	add("403", "routing code", Attribute, text(30), shipment)
	add("410", "ship to", Attribute, key13, nil)
	add("411", "bill to", Attribute, key13, nil)
	add("412", "purchased from", Attribute, key13, nil)
	add("413", "ship for", Attribute, key13, nil)
	add("414", "physical location", PrimaryKey, key13, nil).qualifiers = [][]string{{"254"}, {"7040"}}
	add("416", "production or service location", Attribute, key13, nil)
	add("417", "party", PrimaryKey, key13, nil).qualifiers = [][]string{{"7040"}}
	add("422", "country of origin", Attribute, nations(1), origin, "426")
	add("423", "countries of initial processing", Attribute, nations(5), itemMade, "426")
	add("424", "country of processing", Attribute, nations(1), itemMade, "426")
	add("425", "countries of disassembly", Attribute, nations(6), itemMade, "426")
	add("426", "country of full processing", Attribute, nations(1), itemMade, "422", "423", "424", "425")
	degrees := append(slices.Clone(six), component{min: 1, max: 1, optional: true, rule: minus})
	add("4330", "maximum transport temperature, F", Attribute, degrees, shipment, "4331")
	add("4331", "maximum transport temperature, C", Attribute, degrees, shipment, "4330")
	add("4332", "minimum transport temperature, F", Attribute, degrees, shipment, "4333")
	add("4333", "minimum transport temperature, C", Attribute, degrees, shipment, "4332")
	one := component{min: 1, max: 1}
	add("7040", "unique id with extension", Qualifier, []component{{digits: true, min: 1, max: 1}, one, one, one}, // from memory
		[][]string{{"414"}, {"417"}})
}

func addFood(add adder) {
	two := func(r rule) component { return component{digits: true, min: 2, max: 2, rule: r} }
	add("7002", "meat cut", Attribute, text(30), item)
	add("7003", "expiration date and time", Attribute, []component{date, {digits: true, min: 4, max: 4, rule: hourMin}}, itemMade)
	add("7006", "first freeze date", Attribute, []component{date}, item)
	add("7007", "harvest date or range", Attribute, []component{date, option(date)}, item)
	for n := range 10 {
		add("703"+strconv.Itoa(n), "processor with approval number", Attribute, []component{nation, {min: 1, max: 27}}, item)
	}
	add("8006", "component of a trade item", Attribute, append(slices.Clone(key14), two(anything), two(anything)), nil, "01", "37") // from memory
	add("8008", "production date and time", Attribute,
		[]component{date, two(hour), option(two(minute)), option(two(minute))}, itemMade)
	add("8026", "components contained in a logistic unit", Attribute, append(slices.Clone(key14), two(anything), two(anything)), // from memory
		[][]string{{"37"}}, "02", "8006")
}

// predefined reports whether elements with this AI have a predefined length and need no separator: those
// whose AI begins with one of these. GS1 General Specifications, "Predefined length element strings".
func predefined(code string) bool {
	switch code[:2] {
	case "00", "01", "02", "03", "11", "12", "13", "14", "15", "16", "17", "18", "19", "20",
		"31", "32", "33", "34", "35", "36", "41":
		return true
	}
	return false
}

// Lookup returns the description of an AI, and false when the table does not have it.
func Lookup(code string) (AI, bool) {
	ai, ok := table[code]
	if !ok {
		return AI{}, false
	}
	return *ai, true
}

// Codes returns all AIs of the table in ascending order.
func Codes() []string {
	out := make([]string, 0, len(table))
	for c := range table {
		out = append(out, c)
	}
	slices.Sort(out)
	return out
}

// prefixAI returns the AI with which data begins.
func prefixAI(data string) (*AI, error) {
	for n := 2; n <= min(4, len(data)); n++ {
		if ai, ok := table[data[:n]]; ok {
			return ai, nil
		}
	}
	return nil, fmt.Errorf("no known application identifier at %q; the data is cut off or not from a GS1 symbol", clip(data))
}

func clip(s string) string {
	if len(s) > 24 {
		return s[:24] + "…"
	}
	return s
}

// special are the characters of the 82-character set that are no letters or digits; General Specifications, figure
// "GS1 AI encodable character set 82".
const special = `!"%&'()*+,-./:;<=>?_`

// inSet reports whether c is in the 82-character set.
func inSet(c byte) bool {
	return c >= '0' && c <= '9' || c >= 'A' && c <= 'Z' || c >= 'a' && c <= 'z' || strings.IndexByte(special, c) >= 0
}

// check checks the form of a value.
func (ai *AI) check(value string) error {
	rest := value
	for i, c := range ai.parts {
		if c.optional && rest == "" {
			return nil
		}
		n := min(len(rest), c.max)
		part := rest[:n]
		if n < c.min {
			return fmt.Errorf("(%s) %s: %q is too short; %s", ai.Code, ai.Title, value, ai.form())
		}
		if err := c.checkPart(part); err != nil {
			return fmt.Errorf("(%s) %s: %w", ai.Code, ai.Title, err)
		}
		rest = rest[n:]
		if i == len(ai.parts)-1 && rest != "" {
			return fmt.Errorf("(%s) %s: %q is too long; %s", ai.Code, ai.Title, value, ai.form())
		}
	}
	return nil
}

func (c *component) checkPart(part string) error {
	for i := range len(part) {
		if c.digits && (part[i] < '0' || part[i] > '9') {
			return fmt.Errorf("%q has %q where only digits may stand", part, part[i])
		}
		if !inSet(part[i]) {
			return fmt.Errorf("%q has %q, which GS1 symbols cannot carry", part, part[i])
		}
	}
	switch c.rule {
	case csum:
		return checksum(part)
	case dateDay0, dateFull:
		return checkDate(part, c.rule == dateDay0)
	case hourMin:
		if part[:2] > "23" || part[2:] > "59" {
			return fmt.Errorf("%q is no time; give HHMM from 0000 to 2359", part)
		}
	case hour:
		if part > "23" {
			return fmt.Errorf("%q is no hour; give 00 to 23", part)
		}
	case minute:
		if part > "59" {
			return fmt.Errorf("%q is no minute or second; give 00 to 59", part)
		}
	case minus:
		if part != "-" {
			return fmt.Errorf("%q follows the digits; only a minus sign may", part)
		}
	}
	return nil
}

// form says in words what a value looks like.
func (ai *AI) form() string {
	var b strings.Builder
	b.WriteString("it takes ")
	for i, c := range ai.parts {
		if i > 0 {
			b.WriteString(", then ")
		}
		if c.optional {
			b.WriteString("if wanted ")
		}
		what := "characters"
		if c.digits {
			what = "digits"
		}
		if c.min == c.max {
			fmt.Fprintf(&b, "%d %s", c.max, what)
		} else {
			fmt.Fprintf(&b, "%d to %d %s", c.min, c.max, what)
		}
	}
	return b.String()
}
