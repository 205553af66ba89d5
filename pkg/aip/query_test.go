package aip_test

import (
	"context"
	"errors"
	"fmt"
	"slices"
	"strings"
	"testing"

	"rondeau.internal/pkg/aip"
	"rondeau.internal/pkg/apierr"
	"rondeau.internal/pkg/sqldb"
	"rondeau.internal/pkg/sqldb/sqldbtest"
)

var fields = aip.Fields{
	"name":        {Column: "name", Type: aip.String},
	"mass_mg":     {Column: "mass_mg", Type: aip.Int},
	"celsius":     {Column: "celsius", Type: aip.Number},
	"held":        {Column: "held", Type: aip.Bool},
	"create_time": {Column: "create_us", Type: aip.Timestamp},
	"use_by_date": {Column: "use_by", Type: aip.Date},
	"state":       {Column: "state", Type: aip.Enum, Values: map[string]any{"OPEN": 1, "CLOSED": 2}},
	"lot.kind":    {Column: "kind", Type: aip.Enum},
}

const lotTable = `CREATE TABLE lots (name TEXT PRIMARY KEY, mass_mg BIGINT NOT NULL, celsius DOUBLE PRECISION NOT NULL, held BOOLEAN NOT NULL,
	create_us BIGINT NOT NULL, use_by TEXT NOT NULL, state BIGINT NOT NULL, kind TEXT NOT NULL)`

// a: brown stock, b: held demi, B: closed, o'x: odd characters.
var lotRows = [][]any{
	{"a", 1000, 2.5, false, 1_900_000_000_000_000, "2030-05-01", 1, "STOCK"},
	{"b", 2000, -18.0, true, 1_900_000_001_000_000, "2030-06-01", 1, "DEMI"},
	{"B", 3000, 63.0, false, 1_900_000_002_000_000, "2030-07-01", 2, "STOCK"},
	{`o'x "q" ü*`, 4000, 0.0, true, 1_900_000_003_000_000, "2030-08-01", 2, "FAT"},
}

func fill(t *testing.T, db *sqldb.DB) {
	t.Helper()
	err := db.InTx(t.Context(), func(ctx context.Context) error {
		if _, err := db.Conn(ctx).ExecContext(ctx, lotTable); err != nil {
			return err
		}
		for _, r := range lotRows {
			if _, err := db.Conn(ctx).ExecContext(ctx, `INSERT INTO lots VALUES ($1, $2, $3, $4, $5, $6, $7, $8)`, r...); err != nil {
				return err
			}
		}
		return nil
	})
	if err != nil {
		t.Fatal(err)
	}
}

func TestFiltersSelectTheSameRowsInBothDatabases(t *testing.T) {
	tests := []struct{ filter, want string }{
		{"", "B a b o"},
		{`name = a`, "a"},
		{`name = "a"`, "a"},
		{`name = 'B'`, "B"},
		{`name != a`, "B b o"},
		{`name = "o'x \"q\" ü*"`, "o"},
		{`name = "o'*"`, "o"},
		{`name = "o'x \"q\" ü*" OR name = a`, "a o"},
		{`name != "o*"`, "B a b"},
		{`name = *`, "B a b o"},
		{`name < b`, "B a"}, // bytes: B < a < b
		{`mass_mg >= 2000`, "B b o"},
		{`mass_mg > 1000 AND mass_mg < 4000`, "B b"},
		{`celsius < 0`, "b"},
		{`celsius <= 2.5`, "a b o"},
		{`celsius = -1.8e1`, "b"},
		{`held = true`, "b o"},
		{`held != TRUE`, "B a"},
		{`NOT held = true`, "B a"},
		{`-held = true AND state = OPEN`, "a"},
		{`create_time >= "2030-03-17T17:46:41Z"`, "B b o"},
		{`create_time < 2030-03-17T18:46:41+01:00`, "a"},
		{`use_by_date <= 2030-06-01`, "a b"},
		{`state = OPEN`, "a b"},
		{`state != OPEN`, "B o"},
		{`lot.kind = STOCK AND state = CLOSED`, "B"},
		// AIP-160: "a AND b OR c" means a AND (b OR c).
		{`held = true AND state = OPEN OR state = CLOSED`, "b o"},
		{`(held = true AND state = OPEN) OR state = CLOSED`, "B b o"},
		{`NOT (state = OPEN OR held = true)`, "B"},
		{"\n( ( name = a ) )\t", "a"},
	}
	sqldbtest.Each(t, func(t *testing.T, db *sqldb.DB) {
		fill(t, db)
		for _, tt := range tests {
			f, err := aip.ParseFilter(tt.filter, fields)
			if err != nil {
				t.Errorf("%s: %v", tt.filter, err)
				continue
			}
			where, args := f.SQL(2)
			got := query(t, db, `SELECT name FROM lots WHERE mass_mg > $1 AND `+where+` ORDER BY name`, append([]any{0}, args...)...)
			for i := range got {
				got[i] = got[i][:1]
			}
			if strings.Join(got, " ") != tt.want {
				t.Errorf("%s: got %v, want %s\n%s %v", tt.filter, got, tt.want, where, args)
			}
		}
	})
}

func query(t *testing.T, db *sqldb.DB, q string, args ...any) []string {
	t.Helper()
	rows, err := db.Conn(t.Context()).QueryContext(t.Context(), q, args...)
	if err != nil {
		t.Fatalf("%s %v: %v", q, args, err)
	}
	defer func() { _ = rows.Close() }()
	var got []string
	for rows.Next() {
		var s string
		if err := rows.Scan(&s); err != nil {
			t.Fatal(err)
		}
		got = append(got, s)
	}
	if err := rows.Err(); err != nil {
		t.Fatal(err)
	}
	return got
}

func TestBadFiltersSayWhatIsWrongAndWhatIsPossible(t *testing.T) {
	t.Parallel()
	tests := []struct{ filter, mentions string }{
		{`colour = red`, `"colour"`},
		{`name`, "needs one of"},
		{`name =`, "value is expected"},
		{`name = "a`, "quotation mark"},
		{`name = a b`, "after its end"},
		{`(name = a`, "parenthesis"},
		{`name = a)`, "after its end"},
		{`mass_mg = 1.5`, "whole number"},
		{`mass_mg = 99999999999999999999`, "whole number"},
		{`celsius = NaN`, "a number"},
		{`celsius = 1e999`, "a number"},
		{`held > true`, "only = and !="},
		{`held = yes`, "true or false"},
		{`create_time > yesterday`, "2030-05-01T06:30:00Z"},
		{`use_by_date = 2030-02-30`, "a day such as"},
		{`state = open`, "value names"},
		{`name = "a*b"`, "last character"},
		{`name < "a*"`, "only with ="},
		{"name = \"a\x00\"", "not text"},
		{"name = \"\xff\"", "not text"},
		{`AND`, `"AND"`},
		{`name = a AND`, "needs a field name"},
		{`NOT`, "needs a field name"},
		{`name : a`, "needs one of"},
		{strings.Repeat("(", 50) + "name = a" + strings.Repeat(")", 50), "nested deeper"},
		{strings.Repeat("name=a OR ", 150) + "name=a", "more than 100"},
		{strings.Repeat(" ", 3000) + "name = a", "longer than"},
		{`name = a; DROP TABLE lots`, "after its end"},
	}
	for _, tt := range tests {
		_, err := aip.ParseFilter(tt.filter, fields)
		if !errors.Is(err, apierr.Reason(aip.FilterInvalid)) {
			t.Errorf("%.60s: %v", tt.filter, err)
			continue
		}
		if !strings.Contains(err.Error(), tt.mentions) || !strings.Contains(err.Error(), "use_by_date") {
			t.Errorf("%.60s: %q does not mention %q and the fields", tt.filter, err, tt.mentions)
		}
	}
}

func FuzzFilter(f *testing.F) {
	for _, s := range []string{
		`name = a`, `NOT (state = OPEN OR -held = true) AND celsius <= -1.5e3`, `name = "x\"y*" OR name != 'z'`, `create_time > "2030-01-01T00:00:00Z"`, `((`, `name = "`, `$1`, `name = $1; --`,
	} {
		f.Add(s)
	}
	f.Fuzz(func(t *testing.T, s string) {
		flt, err := aip.ParseFilter(s, fields)
		if err != nil {
			if !errors.Is(err, apierr.Reason(aip.FilterInvalid)) {
				t.Errorf("%v", err)
			}
			return
		}
		where, args := flt.SQL(1)
		// Client text never reaches the statement: what is left without columns and operators is punctuation.
		if strings.ContainsAny(where, `"'*;\`) || strings.Count(where, "$") != len(args) {
			t.Errorf("%q became %s", s, where)
		}
	})
}

func TestOrderAndKeysetPagesVisitEveryRowOnce(t *testing.T) {
	allowed := map[string]string{"state": "state", "mass_mg": "mass_mg", "name": "name", "celsius": "celsius"}
	sqldbtest.Each(t, func(t *testing.T, db *sqldb.DB) {
		fill(t, db)
		for _, tt := range []struct{ order, want string }{
			{"", "B a b o"},
			{"name desc", "o b a B"},
			{"state desc", "B o a b"},
			{"state desc, mass_mg desc", "o B b a"},
			{"state, mass_mg asc", "a b B o"},
		} {
			o, err := aip.ParseOrderBy(tt.order, allowed, "name")
			if err != nil {
				t.Fatal(err)
			}
			var got []string
			var last []any
			for range 10 {
				where, args := o.After(1, last...)
				page := query(t, db, fmt.Sprintf(`SELECT name FROM lots WHERE %s ORDER BY %s LIMIT 1`, where, o.SQL()), args...)
				if len(page) == 0 {
					break
				}
				got = append(got, page[0][:1])
				row := lotRows[slices.IndexFunc(lotRows, func(r []any) bool { return r[0] == page[0] })]
				last = nil
				for _, term := range o.Terms {
					last = append(last, map[string]any{"name": row[0], "mass_mg": row[1], "state": row[6]}[term.Column])
				}
			}
			if strings.Join(got, " ") != tt.want {
				t.Errorf("order_by %q: %v, want %s", tt.order, got, tt.want)
			}
		}
	})
	for _, bad := range []string{"colour", "name up", "name,", ",", "name desc desc", "name, name desc", "name; DROP"} {
		if _, err := aip.ParseOrderBy(bad, allowed, "name"); !errors.Is(err, apierr.Reason(aip.OrderByInvalid)) {
			t.Errorf("%q: %v", bad, err)
		}
	}
}
