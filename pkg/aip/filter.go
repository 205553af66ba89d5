package aip

import (
	"fmt"
	"math"
	"slices"
	"strconv"
	"strings"
	"time"

	"rondeau.internal/pkg/apierr"
)

// Type is the type of a filterable field.
type Type uint8

// The types of filterable fields, and what their columns hold.
const (
	String    Type = iota + 1 // text; = and != also accept a prefix, "abc*"
	Int                       // bigint
	Number                    // double precision; NaN and infinities are refused
	Bool                      // boolean; = and != only
	Timestamp                 // bigint, unix microseconds; written as RFC 3339
	Date                      // text YYYY-MM-DD
	Enum                      // see Field.Values; = and != only
)

// Field is one field that a filter may use. Columns must be NOT NULL, otherwise NOT and != would miss rows.
type Field struct {
	Column string // SQL expression; never client input
	Type   Type
	// Values maps the enum value names that clients write to what the column holds. Nil means that the column holds the
	// name itself.
	Values map[string]any
}

// Fields are the declared fields by the path that clients write, for example "state" or "order.outlet".
type Fields map[string]Field

const (
	maxFilterLength = 2000
	maxFilterDepth  = 20
	maxFilterTerms  = 100
)

// Filter is a checked filter. The zero value lets everything pass.
type Filter struct {
	root *node
}

// node is a comparison, or an operator over children.
type node struct {
	op       string // "AND", "OR", "NOT", or a comparison
	children []*node
	column   string
	prefix   bool // compare only the first characters, as many as the value has
	value    any
}

// ParseFilter reads a filter: comparisons of a declared field with a value (= != < <= > >=), joined by AND, OR, NOT
// (also written -) and parentheses. As in AIP-160, OR binds tighter than AND. Values are words, numbers or quoted
// strings.
func ParseFilter(expr string, fields Fields) (Filter, error) {
	if strings.TrimSpace(expr) == "" {
		return Filter{}, nil
	}
	p := &filterParser{src: expr, fields: fields}
	if len(expr) > maxFilterLength {
		return Filter{}, p.fail("is longer than %d bytes", maxFilterLength)
	}
	root, err := p.expression(0)
	if err != nil {
		return Filter{}, err
	}
	if p.skipSpace(); p.pos < len(p.src) {
		return Filter{}, p.fail("has %q after its end; join comparisons with AND or OR", p.rest())
	}
	return Filter{root: root}, nil
}

// SQL is the condition with placeholders from $firstArg on, and their values. It is valid in both dialects and for
// an empty filter always true.
func (f Filter) SQL(firstArg int) (where string, args []any) {
	if f.root == nil {
		return "1=1", nil
	}
	var b strings.Builder
	f.root.write(&b, firstArg, &args)
	return b.String(), args
}

func (n *node) write(b *strings.Builder, first int, args *[]any) {
	switch n.op {
	case "AND", "OR":
		b.WriteByte('(')
		for i, c := range n.children {
			if i > 0 {
				b.WriteString(" " + n.op + " ")
			}
			c.write(b, first, args)
		}
		b.WriteByte(')')
	case "NOT":
		b.WriteString("NOT (")
		n.children[0].write(b, first, args)
		b.WriteByte(')')
	default:
		op := n.op
		if op == "!=" {
			op = "<>"
		}
		column := n.column
		if s, ok := n.value.(string); ok && n.prefix {
			column = "substr(" + column + ", 1, " + strconv.Itoa(len([]rune(s))) + ")"
		}
		fmt.Fprintf(b, "%s %s $%d", column, op, first+len(*args))
		*args = append(*args, n.value)
	}
}

type filterParser struct {
	src    string
	pos    int
	terms  int
	fields Fields
}

func (p *filterParser) fail(format string, args ...any) error {
	what := fmt.Sprintf(format, args...)
	return apierr.InvalidArgument(FilterInvalid, "the filter %s (at character %d); fields are %s", what, p.pos+1, p.known()).
		With("detail", what).With("position", strconv.Itoa(p.pos+1)).WithViolation("filter", "%s", what)
}

func (p *filterParser) known() string {
	names := make([]string, 0, len(p.fields))
	for n := range p.fields {
		names = append(names, n)
	}
	slices.Sort(names)
	return strings.Join(names, ", ")
}

func (p *filterParser) rest() string { return clip(p.src[p.pos:min(len(p.src), p.pos+40)]) }

func (p *filterParser) skipSpace() {
	for p.pos < len(p.src) && strings.IndexByte(" \t\r\n", p.src[p.pos]) >= 0 {
		p.pos++
	}
}

// word takes the keyword w if it comes next as a whole word.
func (p *filterParser) word(w string) bool {
	p.skipSpace()
	if !strings.HasPrefix(p.src[p.pos:], w) {
		return false
	}
	if end := p.pos + len(w); end < len(p.src) && isWord(p.src[end]) {
		return false
	}
	p.pos += len(w)
	return true
}

func isWord(c byte) bool {
	return c == '_' || c == '.' || c == '-' || (c >= '0' && c <= '9') || (c >= 'a' && c <= 'z') || (c >= 'A' && c <= 'Z')
}

func (p *filterParser) expression(depth int) (*node, error) {
	return p.chain("AND", func() (*node, error) {
		return p.chain("OR", func() (*node, error) { return p.term(depth) })
	})
}

// chain reads operands joined by the keyword op.
func (p *filterParser) chain(op string, operand func() (*node, error)) (*node, error) {
	first, err := operand()
	if err != nil {
		return nil, err
	}
	all := []*node{first}
	for p.word(op) {
		next, err := operand()
		if err != nil {
			return nil, err
		}
		all = append(all, next)
	}
	if len(all) == 1 {
		return first, nil
	}
	return &node{op: op, children: all}, nil
}

func (p *filterParser) term(depth int) (*node, error) {
	if depth > maxFilterDepth {
		return nil, p.fail("is nested deeper than %d levels", maxFilterDepth)
	}
	negate := p.word("NOT")
	p.skipSpace()
	if !negate && p.pos < len(p.src) && p.src[p.pos] == '-' {
		negate = true
		p.pos++
	}
	n, err := p.simple(depth)
	if err != nil || !negate {
		return n, err
	}
	return &node{op: "NOT", children: []*node{n}}, nil
}

func (p *filterParser) simple(depth int) (*node, error) {
	p.skipSpace()
	if p.pos < len(p.src) && p.src[p.pos] == '(' {
		p.pos++
		n, err := p.expression(depth + 1)
		if err != nil {
			return nil, err
		}
		p.skipSpace()
		if p.pos >= len(p.src) || p.src[p.pos] != ')' {
			return nil, p.fail("lacks a closing parenthesis")
		}
		p.pos++
		return n, nil
	}
	return p.comparison()
}

func (p *filterParser) comparison() (*node, error) {
	if p.terms++; p.terms > maxFilterTerms {
		return nil, p.fail("has more than %d comparisons", maxFilterTerms)
	}
	start := p.pos
	for p.pos < len(p.src) && isWord(p.src[p.pos]) {
		p.pos++
	}
	name := p.src[start:p.pos]
	field, ok := p.fields[name]
	if !ok {
		p.pos = start
		if name == "" {
			return nil, p.fail("needs a field name here, not %q", p.rest())
		}
		return nil, p.fail("uses %q, which is not a field that can be filtered", clip(name))
	}
	op := p.operator()
	if op == "" {
		return nil, p.fail("needs one of = != < <= > >= after %s", name)
	}
	if (field.Type == Bool || field.Type == Enum) && op != "=" && op != "!=" {
		return nil, p.fail("compares %s with %s; only = and != are possible", name, op)
	}
	text, quoted, err := p.value()
	if err != nil {
		return nil, err
	}
	n := &node{op: op, column: field.Column}
	if field.Type == String && strings.Contains(text, "*") {
		if op != "=" && op != "!=" || strings.Index(text, "*") != len(text)-1 {
			return nil, p.fail("uses * in the value of %s; it is possible only with = or != and as the last character", name)
		}
		text, n.prefix = strings.TrimSuffix(text, "*"), true
	}
	if n.value, err = p.convert(name, field, text, quoted); err != nil {
		return nil, err
	}
	return n, nil
}

func (p *filterParser) operator() string {
	p.skipSpace()
	for _, op := range []string{"!=", "<=", ">=", "=", "<", ">"} {
		if strings.HasPrefix(p.src[p.pos:], op) {
			p.pos += len(op)
			return op
		}
	}
	return ""
}

// value reads a quoted string, or everything up to white space or a closing parenthesis.
func (p *filterParser) value() (text string, quoted bool, err error) {
	p.skipSpace()
	if p.pos >= len(p.src) {
		return "", false, p.fail("ends where a value is expected")
	}
	if q := p.src[p.pos]; q == '"' || q == '\'' {
		text, err = p.quoted(q)
		return text, true, err
	}
	start := p.pos
	for p.pos < len(p.src) && strings.IndexByte(" \t\r\n()\"'", p.src[p.pos]) < 0 {
		p.pos++
	}
	text = p.src[start:p.pos]
	if text == "" {
		return "", false, p.fail("needs a value here, not %q", p.rest())
	}
	return text, false, p.checkText(text)
}

func (p *filterParser) quoted(q byte) (string, error) {
	var b strings.Builder
	for i := p.pos + 1; i < len(p.src); i++ {
		switch c := p.src[i]; {
		case c == q:
			p.pos = i + 1
			return b.String(), p.checkText(b.String())
		case c == '\\' && i+1 < len(p.src):
			i++
			b.WriteByte(p.src[i])
		default:
			b.WriteByte(c)
		}
	}
	return "", p.fail("lacks the closing quotation mark %c", q)
}

// checkText refuses what PostgreSQL cannot take as text.
func (p *filterParser) checkText(s string) error {
	if strings.ToValidUTF8(s, "") != s || strings.IndexByte(s, 0) >= 0 {
		return p.fail("has a value that is not text")
	}
	return nil
}

func (p *filterParser) convert(name string, f Field, text string, quoted bool) (any, error) {
	switch f.Type {
	case String:
		return text, nil
	case Int:
		if v, err := strconv.ParseInt(text, 10, 64); err == nil {
			return v, nil
		}
		return nil, p.fail("compares %s with %q; use a whole number", name, clip(text))
	case Number:
		if v, err := strconv.ParseInt(text, 10, 64); err == nil {
			return v, nil
		}
		if v, err := strconv.ParseFloat(text, 64); err == nil && !math.IsInf(v, 0) && !math.IsNaN(v) {
			return v, nil
		}
		return nil, p.fail("compares %s with %q; use a number", name, clip(text))
	case Bool:
		switch strings.ToLower(text) {
		case "true":
			return true, nil
		case "false":
			return false, nil
		}
		return nil, p.fail("compares %s with %q; use true or false", name, clip(text))
	case Timestamp:
		t, err := time.Parse(time.RFC3339Nano, text)
		if err != nil {
			return nil, p.fail("compares %s with %q; use a time such as %s", name, clip(text), `"2030-05-01T06:30:00Z"`)
		}
		return t.UnixMicro(), nil
	case Date:
		if _, err := time.Parse(time.DateOnly, text); err != nil {
			return nil, p.fail("compares %s with %q; use a day such as %s", name, clip(text), `"2030-05-01"`)
		}
		return text, nil
	case Enum:
		if f.Values == nil && !quoted {
			return text, nil
		}
		if v, ok := f.Values[text]; ok {
			return v, nil
		}
		return nil, p.fail("compares %s with %q; use one of its value names, without quotation marks", name, clip(text))
	}
	return nil, fmt.Errorf("aip: field %s has no type", name)
}
