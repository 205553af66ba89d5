// Package sqlstore keeps the records of the food-safety service in a SQL database. One set of queries serves SQLite and
// PostgreSQL; what differs, the schemas with their triggers, is in the packages sqlite and postgres.
//
// Values that are searched, constrained or joined are columns. The whole of a resource is a JSON document beside them,
// written from the fields of the domain type; readings, corrective actions and the audit trail are columns only.
package sqlstore

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"strconv"
	"strings"
	"time"

	"rondeau.internal/pkg/aip"
	"rondeau.internal/pkg/apierr"
	"rondeau.internal/pkg/sqldb"
	"rondeau.internal/services/foodsafety"
	"rondeau.internal/services/foodsafety/sqlstore/internal/db"
)

// Store implements foodsafety.Store.
type Store struct {
	db *sqldb.DB
}

var _ foodsafety.Store = (*Store)(nil)

// New returns a store over a migrated database.
func New(db *sqldb.DB) *Store { return &Store{db: db} }

// DB is the database of the store.
func (s *Store) DB() *sqldb.DB { return s.db }

// InTx runs fn in one write transaction.
func (s *Store) InTx(ctx context.Context, fn func(ctx context.Context) error) error {
	return s.db.InTx(ctx, fn)
}

// InReadTx runs fn on one consistent snapshot.
func (s *Store) InReadTx(ctx context.Context, fn func(ctx context.Context) error) error {
	return s.db.InReadTx(ctx, fn)
}

func (s *Store) q(ctx context.Context) *db.Queries { return db.New(s.db.Conn(ctx)) }

// insertError turns a taken key into ALREADY_EXISTS.
func insertError(err error, reason, name string) error {
	err = sqldb.Translate(err)
	if errors.Is(err, sqldb.ErrUnique) {
		return apierr.AlreadyExists(reason, name).Wrap(err)
	}
	if err != nil {
		return fmt.Errorf("insert %s: %w", name, err)
	}
	return nil
}

// getError turns a missing row into NOT_FOUND.
func getError(err error, reason, name string) error {
	err = sqldb.Translate(err)
	if errors.Is(err, sqldb.ErrNoRows) {
		return apierr.NotFound(reason, name).Wrap(err)
	}
	if err != nil {
		return fmt.Errorf("read %s: %w", name, err)
	}
	return nil
}

// updateError turns an update that met no row into ABORTED.
func updateError(rows int64, err error, name string) error {
	if err != nil {
		return fmt.Errorf("update %s: %w", name, sqldb.Translate(err))
	}
	if rows == 0 {
		return apierr.Aborted(foodsafety.EtagMismatch, "%s was changed by somebody else meanwhile; read it again and repeat", name).
			With("resource", name).WithResource(name)
	}
	return nil
}

func encode(v any) (string, error) {
	b, err := json.Marshal(v)
	if err != nil {
		return "", fmt.Errorf("encode %T: %w", v, err)
	}
	return string(b), nil
}

func decode[T any](doc string) (*T, error) {
	v := new(T)
	if err := json.Unmarshal([]byte(doc), v); err != nil {
		return nil, fmt.Errorf("decode %T: %w", v, err)
	}
	return v, nil
}

func decodeAll[T any](docs []string) ([]T, error) {
	list := make([]T, 0, len(docs))
	for _, doc := range docs {
		v, err := decode[T](doc)
		if err != nil {
			return nil, err
		}
		list = append(list, *v)
	}
	return list, nil
}

// key is a column of the order of a list.
type key struct {
	column string
	number bool // bigint, else text
}

// listQuery builds the statement of one page: columns of a table for a site, filtered, behind the cursor, in order.
func listQuery(columns, table string, keys []key, page foodsafety.Page) (string, []any, error) {
	var b strings.Builder
	args := []any{page.Site}
	fmt.Fprintf(&b, "SELECT %s FROM %s WHERE site = $1", columns, table)
	if page.Filter != nil {
		where, more := page.Filter.SQL(len(args) + 1)
		if where != "" {
			b.WriteString(" AND (" + where + ")")
			args = append(args, more...)
		}
	}
	var order aip.OrderBy
	for _, k := range keys {
		order.Terms = append(order.Terms, aip.OrderTerm{Field: k.column, Column: k.column, Desc: page.Descending})
	}
	cursor, err := cursorValues(keys, page.Cursor)
	if err != nil {
		return "", nil, err
	}
	after, more := order.After(len(args)+1, cursor...)
	args = append(args, more...)
	args = append(args, int64(page.Limit))
	fmt.Fprintf(&b, " AND %s ORDER BY %s LIMIT $%d", after, order.SQL(), len(args))
	return b.String(), args, nil
}

func cursorValues(keys []key, cursor []string) ([]any, error) {
	if len(cursor) == 0 {
		return nil, nil
	}
	if len(cursor) != len(keys) {
		return nil, badCursor()
	}
	values := make([]any, len(keys))
	for i, k := range keys {
		values[i] = cursor[i]
		if k.number {
			n, err := strconv.ParseInt(cursor[i], 10, 64)
			if err != nil {
				return nil, badCursor()
			}
			values[i] = n
		}
	}
	return values, nil
}

func badCursor() error {
	return apierr.InvalidArgument(foodsafety.FieldInvalid, "the page token does not belong to this list; start again without it").
		With("field", "page_token").WithViolation("page_token", "not a token of this list")
}

// listDocs reads one page of documents.
func listDocs[T any](ctx context.Context, s *Store, table string, keys []key, page foodsafety.Page) ([]T, error) {
	query, args, err := listQuery("doc", table, keys, page)
	if err != nil {
		return nil, err
	}
	rows, err := s.db.Conn(ctx).QueryContext(ctx, query, args...)
	if err != nil {
		return nil, fmt.Errorf("list %s: %w", table, sqldb.Translate(err))
	}
	defer rows.Close()
	list := []T{}
	for rows.Next() {
		var doc string
		if err := rows.Scan(&doc); err != nil {
			return nil, fmt.Errorf("list %s: %w", table, err)
		}
		v, err := decode[T](doc)
		if err != nil {
			return nil, err
		}
		list = append(list, *v)
	}
	if err := rows.Err(); err != nil {
		return nil, fmt.Errorf("list %s: %w", table, sqldb.Translate(err))
	}
	return list, nil
}

var byName = []key{{column: "name"}}

func us(t time.Time) int64 { return sqldb.Micros(t) }
