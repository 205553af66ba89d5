package sqlstore

import (
	"context"
	"errors"
	"fmt"
	"strconv"
	"strings"

	"rondeau.internal/pkg/aip"
	"rondeau.internal/pkg/apierr"
	"rondeau.internal/pkg/sqldb"
	"rondeau.internal/services/inventory"
)

// scanner is a row.
type scanner interface{ Scan(dest ...any) error }

// table stores resources of one sort. The columns are those of the SQL table; the first is name, and version is one of them. values and
// scan speak of them in that order.
type table[T any] struct {
	db      *sqldb.DB
	name    string
	columns []string
	values  func(*T) ([]any, error)
	scan    func(scanner) (*T, error)
	named   func(*T) string
	version func(*T) int64
	fields  aip.Fields
	order   aip.OrderBy
	numbers []bool // terms of the order that are numbers
	cursor  func(*T) []string
	missing string // reasons
	exists  string
}

// orderBy reads an order of the program itself.
func orderBy(expr, tieBreak string, columns ...string) aip.OrderBy {
	allowed := map[string]string{}
	for _, c := range columns {
		allowed[c] = c
	}
	o, err := aip.ParseOrderBy(expr, allowed, tieBreak)
	if err != nil {
		panic(err) // a constant of the program
	}
	return o
}

func (t *table[T]) selects() string {
	return "SELECT " + strings.Join(t.columns, ", ") + " FROM " + t.name
}

// Get reads by name.
func (t *table[T]) Get(ctx context.Context, name string) (*T, error) {
	row, err := t.scan(t.db.Conn(ctx).QueryRowContext(ctx, t.selects()+" WHERE name = $1", name))
	if errors.Is(err, sqldb.ErrNoRows) {
		return nil, apierr.NotFound(t.missing, name)
	}
	return row, wrap("read "+name, err)
}

// Insert adds a row.
func (t *table[T]) Insert(ctx context.Context, row *T) error {
	values, err := t.values(row)
	if err != nil {
		return err
	}
	marks := make([]string, len(values))
	for i := range marks {
		marks[i] = "$" + strconv.Itoa(i+1)
	}
	_, err = t.db.Conn(ctx).ExecContext(ctx, "INSERT INTO "+t.name+" ("+strings.Join(t.columns, ", ")+") VALUES ("+strings.Join(marks, ", ")+")", values...)
	if err = sqldb.Translate(err); errors.Is(err, sqldb.ErrUnique) {
		return apierr.AlreadyExists(t.exists, t.named(row)).Wrap(err)
	}
	return wrap("insert "+t.named(row), err)
}

// Update replaces the row whose version is one below.
func (t *table[T]) Update(ctx context.Context, row *T) error {
	values, err := t.values(row)
	if err != nil {
		return err
	}
	sets := make([]string, 0, len(values))
	for i, c := range t.columns[1:] {
		sets = append(sets, c+" = $"+strconv.Itoa(i+2))
	}
	query := fmt.Sprintf("UPDATE %s SET %s WHERE name = $1 AND version = $%d", t.name, strings.Join(sets, ", "), len(values)+1)
	done, err := t.db.Conn(ctx).ExecContext(ctx, query, append(values, t.version(row)-1)...)
	if err != nil {
		return refusal(t.named(row), err)
	}
	n, err := done.RowsAffected()
	if err == nil && n == 0 {
		return apierr.Aborted(inventory.EtagMismatch, "%s was changed in the meantime; read it again and repeat the change", t.named(row)).With("resource", t.named(row))
	}
	return wrap("update "+t.named(row), err)
}

// List reads a page.
func (t *table[T]) List(ctx context.Context, q inventory.ListQuery) ([]*T, error) {
	return t.list(ctx, q, "")
}

// list reads a page of rows that also meet a condition, whose arguments are $2 and up.
func (t *table[T]) list(ctx context.Context, q inventory.ListQuery, condition string, args ...any) ([]*T, error) {
	filter, err := aip.ParseFilter(q.Filter, t.fields)
	if err != nil {
		return nil, err
	}
	where := "site = $1"
	values := append([]any{q.Site}, args...)
	if condition != "" {
		where += " AND " + condition
	}
	filtered, more := filter.SQL(len(values) + 1)
	where += " AND (" + filtered + ")"
	values = append(values, more...)
	key, err := t.key(q.Cursor)
	if err != nil {
		return nil, err
	}
	after, more := t.order.After(len(values)+1, key...)
	where += " AND (" + after + ")"
	values = append(values, more...)
	return t.where(ctx, where, t.order.SQL()+" LIMIT "+strconv.Itoa(max(1, q.Limit)), values...)
}

// key turns a cursor into values of the order's columns.
func (t *table[T]) key(cursor []string) ([]any, error) {
	if len(cursor) == 0 {
		return nil, nil
	}
	bad := apierr.InvalidArgument(inventory.PageTokenInvalid, "the page token belongs to another list; begin with an empty one").
		WithViolation("page_token", "belongs to another list")
	if len(cursor) != len(t.order.Terms) {
		return nil, bad
	}
	key := make([]any, len(cursor))
	for i, c := range cursor {
		key[i] = c
		if i < len(t.numbers) && t.numbers[i] {
			n, err := strconv.ParseInt(c, 10, 64)
			if err != nil {
				return nil, bad
			}
			key[i] = n
		}
	}
	return key, nil
}

// Cursor is the place of a row in the order.
func (t *table[T]) Cursor(row *T) []string { return t.cursor(row) }

// where reads all rows that meet a condition.
func (t *table[T]) where(ctx context.Context, condition, order string, args ...any) ([]*T, error) {
	rows, err := t.db.Conn(ctx).QueryContext(ctx, t.selects()+" WHERE "+condition+" ORDER BY "+order, args...)
	if err != nil {
		return nil, wrap("list "+t.name, err)
	}
	defer rows.Close()
	var out []*T
	for rows.Next() {
		row, err := t.scan(rows)
		if err != nil {
			return nil, wrap("read "+t.name, err)
		}
		out = append(out, row)
	}
	return out, wrap("list "+t.name, rows.Err())
}

// refusal turns a broken rule of the database into an error that people understand. The domain checks first, so that this is the
// second lock on the same door.
func refusal(name string, err error) error {
	err = sqldb.Translate(err)
	if errors.Is(err, sqldb.ErrCheck) {
		return apierr.FailedPrecondition(inventory.StockShort, "the books of %s would show less than nothing; read the stock again", name).
			With("resource", name).WithViolation(name, "less than nothing would be left").Wrap(err)
	}
	return wrap("write "+name, err)
}
