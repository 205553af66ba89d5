// Package sqlstore implements the Store of scheduling over package sqldb, with one set of queries for both databases.
// What is queried, constrained or joined stands in columns of its own; the nested rest of a resource is one JSON document.
package sqlstore

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"strconv"
	"strings"
	"time"

	"rondeau.internal/pkg/sqldb"
	"rondeau.internal/services/scheduling"
	"rondeau.internal/services/scheduling/sqlstore/internal/db"
)

// openUntil stands for the end of a stay that goes on: the end of the year 9999 in microseconds. The migrations name the
// same number.
const openUntil = int64(253402300799000000)

// Store implements scheduling.Store.
type Store struct {
	db *sqldb.DB
}

var _ scheduling.Store = (*Store)(nil)

// New returns a Store over a migrated database.
func New(database *sqldb.DB) *Store { return &Store{db: database} }

// InTx implements scheduling.Store.
func (s *Store) InTx(ctx context.Context, fn func(ctx context.Context) error) error {
	return s.db.InTx(ctx, fn)
}

// InReadTx implements scheduling.Store.
func (s *Store) InReadTx(ctx context.Context, fn func(ctx context.Context) error) error {
	return s.db.InReadTx(ctx, fn)
}

func (s *Store) q(ctx context.Context) *db.Queries { return db.New(s.db.Conn(ctx)) }

// siteOf is the site part of a name.
func siteOf(name string) string {
	parts := strings.SplitN(name, "/", 3)
	if len(parts) < 2 {
		return name
	}
	return parts[0] + "/" + parts[1]
}

// said turns what the database answered into the errors of the port.
func said(what, name string, err error) error {
	if err == nil {
		return nil
	}
	err = sqldb.Translate(err)
	var kind error
	switch {
	case errors.Is(err, sqldb.ErrNoRows):
		kind = scheduling.ErrNotFound
	case errors.Is(err, sqldb.ErrUnique) && strings.Contains(sqldb.ConstraintName(err), "one_published"),
		errors.Is(err, sqldb.ErrUnique) && sqldb.ConstraintName(err) == "schedules.site":
		kind = scheduling.ErrAnotherPublished
	case errors.Is(err, sqldb.ErrExclusion),
		errors.Is(err, sqldb.ErrUnique) && strings.Contains(sqldb.ConstraintName(err), "occupancies"):
		kind = scheduling.ErrOccupied
	case errors.Is(err, sqldb.ErrUnique):
		kind = scheduling.ErrExists
	default:
		return fmt.Errorf("%s %s: %w", what, name, err)
	}
	return fmt.Errorf("%s %s: %w: %w", what, name, kind, err)
}

// updated turns the number of rows that an update found into the errors of the port.
func updated(what, name string, rows int64, err error) error {
	if err == nil && rows == 0 {
		return fmt.Errorf("%s %s: %w", what, name, scheduling.ErrStale)
	}
	return said(what, name, err)
}

func encode(what, name string, value any) (string, error) {
	text, err := json.Marshal(value)
	if err != nil {
		return "", fmt.Errorf("write the document of %s %s: %w", what, name, err)
	}
	return string(text), nil
}

func decode(what, name, text string, into any) error {
	if err := json.Unmarshal([]byte(text), into); err != nil {
		return fmt.Errorf("read the document of %s %s: %w", what, name, err)
	}
	return nil
}

func meta(uid string, version, createUs, updateUs int64) scheduling.Meta {
	return scheduling.Meta{UID: uid, Version: version, CreateTime: sqldb.FromMicros(createUs), UpdateTime: sqldb.FromMicros(updateUs)}
}

// listing is one paged query.
type listing struct {
	columns, table string
	where          string // with $1 as its argument
	argument       string
	order          []string // columns; the last one is unique
	descending     bool
	numbers        int // how many of the order columns, from the first on, are numbers
}

// query reads one page and hands each row to scan.
func (s *Store) query(ctx context.Context, l listing, q scheduling.ListQuery, scan func(func(...any) error) error) error {
	args := []any{l.argument}
	where := l.where
	if q.Condition != nil {
		condition, more := q.Condition.SQL(len(args) + 1)
		where += " AND (" + condition + ")"
		args = append(args, more...)
	}
	if len(q.After) > 0 {
		if len(q.After) != len(l.order) {
			return fmt.Errorf("list %s: a position has %d parts instead of %d", l.table, len(q.After), len(l.order))
		}
		marks := make([]string, len(q.After))
		for i, value := range q.After {
			args = append(args, value)
			if i < l.numbers {
				number, err := strconv.ParseInt(value, 10, 64)
				if err != nil {
					return fmt.Errorf("list %s: position: %w", l.table, err)
				}
				args[len(args)-1] = number
			}
			marks[i] = "$" + strconv.Itoa(len(args))
		}
		sign := ">"
		if l.descending {
			sign = "<"
		}
		where += " AND (" + strings.Join(l.order, ", ") + ") " + sign + " (" + strings.Join(marks, ", ") + ")"
	}
	direction := ""
	if l.descending {
		direction = " DESC"
	}
	args = append(args, q.Limit)
	text := "SELECT " + l.columns + " FROM " + l.table + " WHERE " + where +
		" ORDER BY " + strings.Join(l.order, direction+", ") + direction + " LIMIT $" + strconv.Itoa(len(args))
	rows, err := s.db.Conn(ctx).QueryContext(ctx, text, args...)
	if err != nil {
		return fmt.Errorf("list %s: %w", l.table, sqldb.Translate(err))
	}
	defer func() { _ = rows.Close() }() // the error of reading is that of rows.Err
	for rows.Next() {
		if err := scan(rows.Scan); err != nil {
			return fmt.Errorf("list %s: %w", l.table, err)
		}
	}
	if err := rows.Err(); err != nil {
		return fmt.Errorf("list %s: %w", l.table, sqldb.Translate(err))
	}
	return nil
}

// untilMicros is t in microseconds, or the end of time for the zero time.
func untilMicros(t time.Time) int64 {
	if t.IsZero() {
		return openUntil
	}
	return sqldb.Micros(t)
}
