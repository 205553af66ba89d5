package outbox

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"time"

	"rondeau.internal/pkg/apierr"
	"rondeau.internal/pkg/fault"
	"rondeau.internal/pkg/sqldb"
)

// NotParked is the reason of the error for a message that is not, or no longer, parked.
const NotParked = "MESSAGE_NOT_PARKED"

// Once applies the effect of an event at most once per consumer. The note that it was applied and everything that fn
// writes through db are one transaction. applied is false, without an error, when it had been applied before.
//
// When fn succeeds for an event that had been parked, the parked copy is removed in the same transaction.
func Once(ctx context.Context, db *sqldb.DB, consumer, eventID string, fn func(ctx context.Context) error) (applied bool, err error) {
	if consumer == "" || eventID == "" {
		return false, errors.New("outbox: Once needs a consumer and an event id")
	}
	err = db.InTx(ctx, func(ctx context.Context) error {
		applied = false
		res, err := db.Conn(ctx).ExecContext(ctx,
			`INSERT INTO inbox (consumer, event_id, applied_us) VALUES ($1, $2, $3) ON CONFLICT DO NOTHING`,
			consumer, eventID, sqldb.Micros(time.Now()))
		if err != nil {
			return fmt.Errorf("inbox: %w", err)
		}
		n, err := res.RowsAffected()
		if err != nil || n == 0 {
			return err
		}
		if err := fn(ctx); err != nil {
			return err
		}
		_, err = db.Conn(ctx).ExecContext(ctx, `DELETE FROM parked_messages WHERE consumer = $1 AND event_id = $2`, consumer, eventID)
		if err != nil {
			return fmt.Errorf("inbox: %w", err)
		}
		applied = true
		fault.Point("inbox.before_commit")
		return nil
	})
	if err != nil {
		return false, err
	}
	if applied {
		fault.Point("inbox.after_commit")
	}
	return applied, nil
}

// Parked is an event that a consumer could not handle.
type Parked struct {
	Consumer string
	Event    Event
	Cause    string
	Time     time.Time // when it was parked, wall time
}

// Park keeps an event that consumer could not handle. Parking the same event again replaces the cause.
func Park(ctx context.Context, db *sqldb.DB, consumer string, e Event, cause error) error {
	text := "unknown"
	if cause != nil {
		text = cause.Error()
	}
	headers, err := json.Marshal(e.Headers)
	if err != nil {
		return fmt.Errorf("park event %s: %w", e.ID, err)
	}
	if e.Payload == nil {
		e.Payload = []byte{}
	}
	err = db.InTx(ctx, func(ctx context.Context) error {
		_, err := db.Conn(ctx).ExecContext(ctx,
			`INSERT INTO parked_messages (consumer, event_id, subject, resource, time_us, payload, headers, cause, parked_us)
			 VALUES ($1, $2, $3, $4, $5, $6, $7, $8, $9)
			 ON CONFLICT (consumer, event_id) DO UPDATE SET cause = excluded.cause, parked_us = excluded.parked_us`,
			consumer, e.ID, e.Subject, e.Resource, sqldb.Micros(e.Time), e.Payload, string(headers), text, sqldb.Micros(time.Now()))
		return err
	})
	if err != nil {
		return fmt.Errorf("park event %s: %w", e.ID, err)
	}
	return nil
}

const parkedColumns = `consumer, event_id, ` + eventColumns + `, cause, parked_us`

func scanParked(row scanner) (Parked, error) {
	var p Parked
	var us int64
	err := scanEvent(row, &p.Event, []any{&p.Consumer, &p.Event.ID}, &p.Cause, &us)
	p.Time = sqldb.FromMicros(us)
	return p, err
}

// ListParked lists at most limit parked events, oldest first: those of one consumer, or of all when consumer is "".
func ListParked(ctx context.Context, db *sqldb.DB, consumer string, limit int) ([]Parked, error) {
	rows, err := db.Conn(ctx).QueryContext(ctx, `SELECT `+parkedColumns+` FROM parked_messages
		WHERE $1 = '' OR consumer = $1 ORDER BY parked_us, consumer, event_id LIMIT $2`, consumer, limit)
	if err != nil {
		return nil, fmt.Errorf("list parked events: %w", err)
	}
	defer func() { _ = rows.Close() }()
	var out []Parked
	for rows.Next() {
		p, err := scanParked(rows)
		if err != nil {
			return nil, fmt.Errorf("list parked events: %w", err)
		}
		out = append(out, p)
	}
	if err := rows.Err(); err != nil {
		return nil, fmt.Errorf("list parked events: %w", err)
	}
	return out, nil
}

// Unpark applies a parked event with fn and removes it from the parked ones, in one transaction. When fn fails, it
// stays parked. An event that was applied in the meantime is only removed.
func Unpark(ctx context.Context, db *sqldb.DB, consumer, eventID string, fn func(ctx context.Context, e Event) error) error {
	err := db.InTx(ctx, func(ctx context.Context) error {
		p, err := scanParked(db.Conn(ctx).QueryRowContext(ctx,
			`SELECT `+parkedColumns+` FROM parked_messages WHERE consumer = $1 AND event_id = $2`, consumer, eventID))
		if errors.Is(err, sqldb.ErrNoRows) {
			return apierr.New(apierr.KindNotFound, NotParked, "event %s is not parked for %s", eventID, consumer).
				With("event_id", eventID).With("consumer", consumer)
		}
		if err != nil {
			return err
		}
		if _, err := Once(ctx, db, consumer, eventID, func(ctx context.Context) error { return fn(ctx, p.Event) }); err != nil {
			return err
		}
		_, err = db.Conn(ctx).ExecContext(ctx, `DELETE FROM parked_messages WHERE consumer = $1 AND event_id = $2`, consumer, eventID)
		return err
	})
	if err != nil {
		return fmt.Errorf("unpark event %s: %w", eventID, err)
	}
	return nil
}
