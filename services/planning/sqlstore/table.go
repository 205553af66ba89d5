package sqlstore

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"strings"

	"rondeau.internal/pkg/aip"
	"rondeau.internal/pkg/apierr"
	"rondeau.internal/pkg/sqldb"
	"rondeau.internal/services/planning"
	"rondeau.internal/services/planning/sqlstore/internal/db"
)

// row is what every query for a resource returns; the generated row types convert to it.
type row struct {
	Name     string
	Uid      string
	Version  int64
	CreateUs int64
	UpdateUs int64
	Doc      string
}

// head is what every insert begins with.
type head struct {
	name, uid          string
	version            int64
	createUs, updateUs int64
	site, doc          string
}

// table implements planning.Table for one kind of resource.
type table[T any] struct {
	db      *sqldb.DB
	name    string // of the SQL table
	missing string // reason when a resource does not exist
	meta    func(*T) *planning.Meta
	insert  func(ctx context.Context, q *db.Queries, h head, value *T) error
	update  func(ctx context.Context, q *db.Queries, h head, value *T) (int64, error)
	get     func(ctx context.Context, q *db.Queries, name string) (row, error)
	// taken turns the name of a broken unique constraint into an error; nil result: the name itself is taken.
	taken func(constraint string, value *T) error
	list  listing[T]
}

// listing says how a kind is listed.
type listing[T any] struct {
	parent  map[string]string // last collection of the parent -> column; "" for a list of everything
	fields  func(q planning.Query) aip.Fields
	order   []string // columns of the key, the last one unique
	descend bool
	cursor  func(after []string) ([]any, error) // nil: one text
}

func (t *table[T]) queries(ctx context.Context) *db.Queries { return db.New(t.db.Conn(ctx)) }

func (t *table[T]) head(value *T) (head, error) {
	m := t.meta(value)
	doc, err := json.Marshal(value)
	if err != nil {
		return head{}, fmt.Errorf("write %s: %w", m.Name, err)
	}
	return head{
		name: m.Name, uid: m.UID, version: m.Version, createUs: sqldb.Micros(m.CreateTime), updateUs: sqldb.Micros(m.UpdateTime),
		site: planning.SiteOf(m.Name), doc: string(doc),
	}, nil
}

// Insert adds a resource.
func (t *table[T]) Insert(ctx context.Context, value *T) error {
	h, err := t.head(value)
	if err != nil {
		return err
	}
	return t.db.InTx(ctx, func(ctx context.Context) error {
		return t.refused(t.insert(ctx, t.queries(ctx), h, value), h, value)
	})
}

// Update writes a resource whose version has not changed since it was read.
func (t *table[T]) Update(ctx context.Context, value *T) error {
	h, err := t.head(value)
	if err != nil {
		return err
	}
	return t.db.InTx(ctx, func(ctx context.Context) error {
		n, err := t.update(ctx, t.queries(ctx), h, value)
		if err != nil {
			return t.refused(err, h, value)
		}
		if n == 0 {
			return apierr.Aborted(planning.EtagMismatch, "%s was changed in the meantime: read it again and repeat your change", h.name).With("resource", h.name)
		}
		t.meta(value).Version++
		return nil
	})
}

func (t *table[T]) refused(err error, h head, value *T) error {
	err = sqldb.Translate(err)
	if !errors.Is(err, sqldb.ErrUnique) {
		if err != nil {
			return fmt.Errorf("write %s: %w", h.name, err)
		}
		return nil
	}
	if t.taken != nil {
		if own := t.taken(sqldb.ConstraintName(err), value); own != nil {
			return own
		}
	}
	return apierr.AlreadyExists(planning.NameTaken, h.name).Wrap(err)
}

// Get returns a resource by name.
func (t *table[T]) Get(ctx context.Context, name string) (*T, error) {
	r, err := t.get(ctx, t.queries(ctx), name)
	if errors.Is(err, sqldb.ErrNoRows) {
		return nil, apierr.NotFound(t.missing, name)
	}
	if err != nil {
		return nil, fmt.Errorf("read %s: %w", name, sqldb.Translate(err))
	}
	return t.value(r)
}

func (t *table[T]) value(r row) (*T, error) {
	value := new(T)
	if err := json.Unmarshal([]byte(r.Doc), value); err != nil {
		return nil, fmt.Errorf("read %s: %w", r.Name, err)
	}
	*t.meta(value) = planning.Meta{
		Name: r.Name, UID: r.Uid, Version: r.Version, CreateTime: sqldb.FromMicros(r.CreateUs), UpdateTime: sqldb.FromMicros(r.UpdateUs),
	}
	return value, nil
}

// rows converts what a query for many returned.
func rows[T, R any](t *table[T], found []R, err error, convert func(R) row) ([]*T, error) {
	if err != nil {
		return nil, fmt.Errorf("read %s: %w", t.name, sqldb.Translate(err))
	}
	out := make([]*T, len(found))
	for i, f := range found {
		if out[i], err = t.value(convert(f)); err != nil {
			return nil, err
		}
	}
	return out, nil
}

// List returns a page.
func (t *table[T]) List(ctx context.Context, q planning.Query) ([]*T, error) {
	statement, args, err := t.listSQL(q)
	if err != nil {
		return nil, err
	}
	found, err := t.db.Conn(ctx).QueryContext(ctx, statement, args...)
	if err != nil {
		return nil, fmt.Errorf("list %s: %w", t.name, sqldb.Translate(err))
	}
	defer func() { _ = found.Close() }()
	var out []*T
	for found.Next() {
		var r row
		if err := found.Scan(&r.Name, &r.Uid, &r.Version, &r.CreateUs, &r.UpdateUs, &r.Doc); err != nil {
			return nil, fmt.Errorf("list %s: %w", t.name, err)
		}
		value, err := t.value(r)
		if err != nil {
			return nil, err
		}
		out = append(out, value)
	}
	if err := found.Err(); err != nil {
		return nil, fmt.Errorf("list %s: %w", t.name, sqldb.Translate(err))
	}
	return out, nil
}

// listSQL builds the statement of a list: parent, filter, keyset, order, limit.
func (t *table[T]) listSQL(q planning.Query) (string, []any, error) {
	var where []string
	var args []any
	add := func(condition string, values ...any) {
		for _, v := range values {
			args = append(args, v)
			condition = strings.Replace(condition, "?", fmt.Sprintf("$%d", len(args)), 1)
		}
		where = append(where, condition)
	}
	column, value := t.parentColumn(q.Parent)
	if column != "" {
		add(column+" = ?", value)
	}
	if t.list.fields != nil {
		filter, err := aip.ParseFilter(q.Filter, t.list.fields(q))
		if err != nil {
			return "", nil, err
		}
		condition, values := filter.SQL(len(args) + 1)
		where, args = append(where, condition), append(args, values...)
	}
	if len(q.After) > 0 {
		key, err := t.key(q.After)
		if err != nil {
			return "", nil, err
		}
		comparison := ">"
		if t.list.descend {
			comparison = "<"
		}
		marks := strings.TrimSuffix(strings.Repeat("?, ", len(key)), ", ")
		add(fmt.Sprintf("(%s) %s (%s)", strings.Join(t.list.order, ", "), comparison, marks), key...)
	}
	if len(where) == 0 {
		where = []string{"1=1"}
	}
	direction := ""
	if t.list.descend {
		direction = " DESC"
	}
	args = append(args, q.Limit)
	return fmt.Sprintf("SELECT name, uid, version, create_us, update_us, doc FROM %s WHERE %s ORDER BY %s%s LIMIT $%d", t.name,
		strings.Join(where, " AND "), strings.Join(t.list.order, direction+", "), direction, len(args)), args, nil
}

// parentColumn finds the column that a parent limits; the wildcard limits to the site only.
func (t *table[T]) parentColumn(parent string) (column, value string) {
	if parent == "" {
		return "", ""
	}
	parts := strings.Split(parent, "/")
	if parts[len(parts)-1] == "-" {
		return "site", planning.SiteOf(parent)
	}
	return t.list.parent[parts[len(parts)-2]], parent
}

func (t *table[T]) key(after []string) ([]any, error) {
	if len(after) != len(t.list.order) {
		return nil, badCursor()
	}
	if t.list.cursor == nil {
		return []any{after[0]}, nil
	}
	key, err := t.list.cursor(after)
	if err != nil {
		return nil, badCursor()
	}
	return key, nil
}

func badCursor() error {
	return apierr.InvalidArgument(planning.FieldInvalid, "the page token does not belong to this list: start again without it").
		WithViolation("page_token", "does not belong to this list")
}
