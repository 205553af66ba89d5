package outbox

import (
	"context"
	"embed"
	"encoding/json"
	"errors"
	"fmt"
	"maps"
	"strings"
	"time"
	"unicode"

	"github.com/google/uuid"
	"go.opentelemetry.io/otel/propagation"

	"rondeau.internal/pkg/fault"
	"rondeau.internal/pkg/sqldb"
)

//go:embed migrations
var migrations embed.FS

// VersionTable keeps the schema version of this package's tables.
const VersionTable = "outbox_version"

// MaxPayload is the largest payload in bytes. It leaves room for headers below the broker's usual limit of 1 MiB.
const MaxPayload = 900 << 10

// Event is a fact that was stated by a service.
type Event struct {
	ID       string            // UUID version 7; filled by Append when empty
	Subject  string            // rondeau.<service>.v1.<resource>.<past-tense-verb>
	Resource string            // name of the aggregate that the fact is about
	Time     time.Time         // when it happened, by the domain's clock; kept to the microsecond
	Payload  []byte            // serialized proto message
	Headers  map[string]string // extra headers; traceparent is added by Append
}

// Migrate creates or updates this package's tables in db.
func Migrate(ctx context.Context, db *sqldb.DB) error {
	return db.Migrate(ctx, migrations, VersionTable)
}

// Append adds events to the write transaction that ctx carries; without one it fails. The relay of this process is
// woken after the commit.
func Append(ctx context.Context, db *sqldb.DB, events ...Event) error {
	if len(events) == 0 {
		return nil
	}
	if !db.InWriteTx(ctx) {
		return errors.New("outbox: Append needs the write transaction that makes the event true")
	}
	for _, e := range events {
		if err := appendOne(ctx, db, e); err != nil {
			return fmt.Errorf("append event %s: %w", e.Subject, err)
		}
	}
	fault.Point("outbox.after_append")
	return db.AfterCommit(ctx, func() { wake(db) })
}

func appendOne(ctx context.Context, db *sqldb.DB, e Event) error {
	if err := checkEvent(&e); err != nil {
		return err
	}
	e.Headers = maps.Clone(e.Headers)
	if e.Headers == nil {
		e.Headers = map[string]string{}
	}
	propagation.TraceContext{}.Inject(ctx, propagation.MapCarrier(e.Headers))
	headers, err := json.Marshal(e.Headers)
	if err != nil {
		return err
	}
	_, err = db.Conn(ctx).ExecContext(ctx,
		`INSERT INTO outbox (id, subject, resource, time_us, payload, headers, created_us) VALUES ($1, $2, $3, $4, $5, $6, $7)`,
		e.ID, e.Subject, e.Resource, sqldb.Micros(e.Time), e.Payload, string(headers), sqldb.Micros(time.Now()))
	return sqldb.Translate(err)
}

// checkEvent fills what may be empty and refuses what the broker would refuse, because a relay cannot skip an event.
func checkEvent(e *Event) error {
	if e.ID == "" {
		id, err := uuid.NewV7()
		if err != nil {
			return err
		}
		e.ID = id.String()
	}
	if len(e.ID) > 255 || strings.ContainsAny(e.ID, " \t\r\n") {
		return fmt.Errorf("id %q is longer than 255 bytes or contains white space", e.ID)
	}
	if e.Time.IsZero() {
		return errors.New("the time of the fact is missing")
	}
	if len(e.Payload) > MaxPayload {
		return fmt.Errorf("payload of %d bytes, the limit is %d", len(e.Payload), MaxPayload)
	}
	if e.Payload == nil {
		e.Payload = []byte{}
	}
	if len(e.Subject) > 255 {
		return fmt.Errorf("subject of %d bytes, the limit is 255", len(e.Subject))
	}
	for token := range strings.SplitSeq(e.Subject, ".") {
		if token == "" || strings.ContainsAny(token, " \t\r\n*>") {
			return fmt.Errorf("subject %q needs words without white space, * and > between its dots", e.Subject)
		}
	}
	if strings.ContainsFunc(e.Resource, unicode.IsControl) {
		return fmt.Errorf("resource %q contains a control character", e.Resource)
	}
	for k, v := range e.Headers {
		if strings.ContainsAny(k, ":\r\n ") || k == "" || strings.ContainsAny(v, "\r\n") {
			return fmt.Errorf("header %q has a colon, white space or line break", k)
		}
	}
	return nil
}

// eventColumns are read by scanEvent, in this order.
const eventColumns = `subject, resource, time_us, payload, headers`

type scanner interface{ Scan(dest ...any) error }

// scanEvent reads leading columns into first, then the eventColumns, then trailing ones into last.
func scanEvent(row scanner, e *Event, first []any, last ...any) error {
	var us int64
	var headers string
	dest := append(first, &e.Subject, &e.Resource, &us, &e.Payload, &headers)
	if err := row.Scan(append(dest, last...)...); err != nil {
		return err
	}
	e.Time = sqldb.FromMicros(us)
	if err := json.Unmarshal([]byte(headers), &e.Headers); err != nil {
		return fmt.Errorf("headers of event %s: %w", e.ID, err)
	}
	return nil
}

// Lag says how many events wait for the broker and how long the oldest has waited.
func Lag(ctx context.Context, db *sqldb.DB) (count int, oldest time.Duration, err error) {
	var us int64
	err = db.Conn(ctx).QueryRowContext(ctx, `SELECT COUNT(*), COALESCE(MIN(created_us), 0) FROM outbox WHERE sent_us = 0`).Scan(&count, &us)
	if err != nil {
		return 0, 0, fmt.Errorf("outbox lag: %w", err)
	}
	if count > 0 {
		oldest = max(0, time.Since(sqldb.FromMicros(us)))
	}
	return count, oldest, nil
}

// Republish marks events unsent, so that the relay sends them again under their old ids: the given ids, or, without
// ids, all that were appended at or after since (wall time). It returns how many. Consumers that have applied an
// event already ignore the repetition; so does the broker, as long as it remembers the id.
func Republish(ctx context.Context, db *sqldb.DB, since time.Time, ids ...string) (int, error) {
	total := 0
	err := db.InTx(ctx, func(ctx context.Context) error {
		total = 0
		mark := func(where string, arg any) error {
			res, err := db.Conn(ctx).ExecContext(ctx, `UPDATE outbox SET sent_us = 0 WHERE sent_us <> 0 AND `+where, arg)
			if err != nil {
				return err
			}
			n, err := res.RowsAffected()
			total += int(n)
			return err
		}
		if len(ids) == 0 {
			if err := mark("created_us >= $1", sqldb.Micros(since)); err != nil {
				return err
			}
		}
		for _, id := range ids {
			if err := mark("id = $1", id); err != nil {
				return err
			}
		}
		return db.AfterCommit(ctx, func() { wake(db) })
	})
	if err != nil {
		return 0, fmt.Errorf("republish: %w", err)
	}
	return total, nil
}
