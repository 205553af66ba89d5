package aip

import (
	"fmt"
	"slices"
	"strings"

	"rondeau.internal/pkg/apierr"
)

// OrderTerm is one column of an order.
type OrderTerm struct {
	Field  string // as the client writes it; for a tie-break the column
	Column string
	Desc   bool
}

// OrderBy is a checked order that ends with a unique column.
type OrderBy struct {
	Terms []OrderTerm
}

// ParseOrderBy reads "finish_time desc, name" (AIP-132). allowed maps field paths to columns. tieBreak is a column,
// unique per row, that ends every order unless it is in it already; "x desc" makes it descending. An empty expr means tieBreak
// alone.
func ParseOrderBy(expr string, allowed map[string]string, tieBreak string) (OrderBy, error) {
	var o OrderBy
	if strings.TrimSpace(expr) != "" {
		for part := range strings.SplitSeq(expr, ",") {
			t, err := parseOrderTerm(part, allowed)
			if err != nil {
				return OrderBy{}, err
			}
			if slices.ContainsFunc(o.Terms, func(x OrderTerm) bool { return x.Column == t.Column }) {
				return OrderBy{}, orderError(allowed, "order_by names %q twice", t.Field)
			}
			o.Terms = append(o.Terms, t)
		}
	}
	column, desc := strings.CutSuffix(tieBreak, " desc")
	if !slices.ContainsFunc(o.Terms, func(x OrderTerm) bool { return x.Column == column }) {
		o.Terms = append(o.Terms, OrderTerm{Field: column, Column: column, Desc: desc})
	}
	return o, nil
}

func parseOrderTerm(part string, allowed map[string]string) (OrderTerm, error) {
	words := strings.Fields(part)
	if len(words) == 0 || len(words) > 2 {
		return OrderTerm{}, orderError(allowed, "order_by has %q between its commas; write a field and, if you want, desc", clip(part))
	}
	t := OrderTerm{Field: words[0]}
	var ok bool
	if t.Column, ok = allowed[t.Field]; !ok {
		return OrderTerm{}, orderError(allowed, "order_by names %q", clip(t.Field))
	}
	if len(words) == 2 {
		switch words[1] {
		case "desc":
			t.Desc = true
		case "asc":
		default:
			return OrderTerm{}, orderError(allowed, "order_by has %q after %s; only asc and desc are possible", clip(words[1]), t.Field)
		}
	}
	return t, nil
}

func orderError(allowed map[string]string, format string, args ...any) error {
	names := make([]string, 0, len(allowed))
	for n := range allowed {
		names = append(names, n)
	}
	slices.Sort(names)
	what := fmt.Sprintf(format, args...)
	return apierr.InvalidArgument(OrderByInvalid, "%s; fields are %s", what, strings.Join(names, ", ")).
		With("detail", what).WithViolation("order_by", "%s", what)
}

// SQL is the list after ORDER BY.
func (o OrderBy) SQL() string {
	parts := make([]string, len(o.Terms))
	for i, t := range o.Terms {
		parts[i] = t.Column
		if t.Desc {
			parts[i] += " DESC"
		}
	}
	return strings.Join(parts, ", ")
}

// After is the condition for rows behind the one with the given key values, one per term in its column's type, with
// placeholders from $firstArg on. Without values it is always true.
func (o OrderBy) After(firstArg int, values ...any) (where string, args []any) {
	if len(values) == 0 {
		return "1=1", nil
	}
	if len(values) != len(o.Terms) {
		panic(fmt.Sprintf("aip: %d key values for an order of %d columns", len(values), len(o.Terms)))
	}
	// (a > $1) OR (a = $1 AND b < $2) OR ...: row comparison cannot mix directions.
	alternatives := make([]string, len(o.Terms))
	for i, t := range o.Terms {
		var b strings.Builder
		for j, before := range o.Terms[:i] {
			fmt.Fprintf(&b, "%s = $%d AND ", before.Column, firstArg+j)
		}
		op := ">"
		if t.Desc {
			op = "<"
		}
		fmt.Fprintf(&b, "%s %s $%d", t.Column, op, firstArg+i)
		alternatives[i] = "(" + b.String() + ")"
	}
	return "(" + strings.Join(alternatives, " OR ") + ")", values
}
