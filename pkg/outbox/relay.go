package outbox

import (
	"context"
	"database/sql"
	"database/sql/driver"
	"errors"
	"fmt"
	"log/slog"
	"math/rand/v2"
	"strconv"
	"strings"
	"sync"
	"time"

	"rondeau.internal/pkg/fault"
	"rondeau.internal/pkg/sqldb"
)

// Publisher brings one event to the broker. Publish returns nil only after the broker's acknowledgement.
type Publisher interface {
	Publish(ctx context.Context, e Event) error
}

const (
	batchSize      = 64                    // events per round; all are marked sent in one transaction
	pollInterval   = time.Second           // for events of other processes
	publishTimeout = 3 * time.Second       // per try; the broker knows a repetition by its id
	minBackoff     = 50 * time.Millisecond // after the first failure, doubled each time
	maxBackoff     = 5 * time.Second       // ceiling of the wait
	lockNumber     = 0x726f6e64_6f757462   // "rondoutb": PostgreSQL advisory lock of the relay, per database
	markTimeout    = 5 * time.Second       // to mark sent events when the relay is told to stop
)

// Relay brings the events of one database to a broker.
type Relay struct {
	db     *sqldb.DB
	pub    Publisher
	logger *slog.Logger
	wake   chan struct{}
}

// NewRelay makes a relay; Run starts it.
func NewRelay(db *sqldb.DB, pub Publisher, logger *slog.Logger) *Relay {
	return &Relay{db: db, pub: pub, logger: logger, wake: make(chan struct{}, 1)}
}

// relays are the running relays of this process, so that Append can wake the right one.
var relays = struct {
	sync.Mutex
	by map[*sqldb.DB]map[*Relay]struct{}
}{by: map[*sqldb.DB]map[*Relay]struct{}{}}

func (r *Relay) register() {
	relays.Lock()
	defer relays.Unlock()
	if relays.by[r.db] == nil {
		relays.by[r.db] = map[*Relay]struct{}{}
	}
	relays.by[r.db][r] = struct{}{}
}

func (r *Relay) unregister() {
	relays.Lock()
	defer relays.Unlock()
	delete(relays.by[r.db], r)
	if len(relays.by[r.db]) == 0 {
		delete(relays.by, r.db)
	}
}

func wake(db *sqldb.DB) {
	relays.Lock()
	defer relays.Unlock()
	for r := range relays.by[db] {
		r.Wake()
	}
}

// Wake makes the relay look for events now. It never blocks.
func (r *Relay) Wake() {
	select {
	case r.wake <- struct{}{}:
	default:
	}
}

// Run sends events until ctx is done, and then returns nil. On PostgreSQL one relay per database is active at a time,
// over all processes; the others wait. A failure is logged once, retried for ever, and logged again when it ends.
func (r *Relay) Run(ctx context.Context) error {
	r.register()
	defer r.unregister()
	failures := 0
	for ctx.Err() == nil {
		var n int
		err := r.session(ctx, func(q sqldb.DBTX, mark markFunc) error {
			for {
				var err error
				if n, err = r.round(ctx, q, mark); err != nil {
					return err
				}
				if failures > 0 {
					r.logger.InfoContext(ctx, "outbox relay works again", slog.Int("failures", failures))
					failures = 0
				}
				if n == batchSize {
					continue
				}
				if !r.pause(ctx, pollInterval) {
					return nil
				}
			}
		})
		switch {
		case ctx.Err() != nil:
			return nil
		case errors.Is(err, errNotLeader):
			r.pause(ctx, pollInterval)
		case err != nil:
			if failures == 0 {
				r.logger.WarnContext(ctx, "outbox relay is held up", slog.Any("error", err))
			}
			failures++
			r.sleep(ctx, backoff(failures))
		}
	}
	return nil
}

var errNotLeader = errors.New("another relay is active")

// markFunc marks the rows with these sequence numbers as sent.
type markFunc func(ctx context.Context, seqs []int64) error

// session gives fn the connection on which this relay may work. On PostgreSQL it is one session that holds the
// advisory lock; when it breaks, the lock is gone and marking fails, so that two relays never both believe that they lead.
// It reads outside of the serializable transactions of the service: a relay must not make business transactions fail.
func (r *Relay) session(ctx context.Context, fn func(q sqldb.DBTX, mark markFunc) error) error {
	if r.db.Dialect() == sqldb.SQLite {
		return fn(r.db.Conn(ctx), func(ctx context.Context, seqs []int64) error {
			return r.db.InTx(ctx, func(ctx context.Context) error { return markSent(ctx, r.db.Conn(ctx), seqs) })
		})
	}
	conn, err := r.db.Writer().Conn(ctx)
	if err != nil {
		return fmt.Errorf("relay connection: %w", err)
	}
	defer func() { _ = conn.Close() }()
	var leads bool
	if err := conn.QueryRowContext(ctx, `SELECT pg_try_advisory_lock($1)`, int64(lockNumber)).Scan(&leads); err != nil {
		return fmt.Errorf("relay lock: %w", err)
	}
	if !leads {
		return errNotLeader
	}
	defer unlock(ctx, conn)
	return fn(conn, func(ctx context.Context, seqs []int64) error { return markSent(ctx, conn, seqs) })
}

func markSent(ctx context.Context, q sqldb.DBTX, seqs []int64) error {
	var list strings.Builder
	for i, s := range seqs {
		if i > 0 {
			list.WriteByte(',')
		}
		list.WriteString(strconv.FormatInt(s, 10))
	}
	_, err := q.ExecContext(ctx, `UPDATE outbox SET sent_us = $1 WHERE seq IN (`+list.String()+`)`, sqldb.Micros(time.Now()))
	if err != nil {
		return fmt.Errorf("mark events sent: %w", err)
	}
	return nil
}

// round sends one batch and marks what the broker acknowledged, also when a later event failed.
func (r *Relay) round(ctx context.Context, q sqldb.DBTX, mark markFunc) (sent int, err error) {
	batch, err := unsent(ctx, q)
	if err != nil {
		return 0, err
	}
	seqs := make([]int64, 0, len(batch))
	for _, row := range batch {
		fault.Point("outbox.before_publish")
		if err = r.publish(ctx, row.event); err != nil {
			err = fmt.Errorf("publish event %s (%s): %w", row.event.ID, row.event.Subject, err)
			break
		}
		fault.Point("outbox.after_publish")
		seqs = append(seqs, row.seq)
	}
	if len(seqs) > 0 {
		mctx, cancel := context.WithTimeout(context.WithoutCancel(ctx), markTimeout)
		defer cancel()
		if merr := mark(mctx, seqs); merr != nil {
			return 0, errors.Join(err, merr)
		}
	}
	return len(seqs), err
}

func (r *Relay) publish(ctx context.Context, e Event) error {
	ctx, cancel := context.WithTimeout(ctx, publishTimeout)
	defer cancel()
	return r.pub.Publish(ctx, e)
}

type row struct {
	seq   int64
	event Event
}

// unsent reads by sent_us = 0, never by "seq > last seen": a slow transaction appears behind a cursor.
func unsent(ctx context.Context, q sqldb.DBTX) ([]row, error) {
	rows, err := q.QueryContext(ctx, `SELECT seq, id, `+eventColumns+` FROM outbox WHERE sent_us = 0 ORDER BY seq LIMIT $1`, batchSize)
	if err != nil {
		return nil, fmt.Errorf("read outbox: %w", err)
	}
	defer func() { _ = rows.Close() }()
	var batch []row
	for rows.Next() {
		var b row
		if err := scanEvent(rows, &b.event, []any{&b.seq, &b.event.ID}); err != nil {
			return nil, fmt.Errorf("read outbox: %w", err)
		}
		batch = append(batch, b)
	}
	if err := rows.Err(); err != nil {
		return nil, fmt.Errorf("read outbox: %w", err)
	}
	return batch, nil
}

// pause waits for a wake-up or d; false means that ctx is done.
func (r *Relay) pause(ctx context.Context, d time.Duration) bool {
	t := time.NewTimer(d)
	defer t.Stop()
	select {
	case <-ctx.Done():
		return false
	case <-r.wake:
	case <-t.C:
	}
	return true
}

// sleep waits d; wake-ups do not shorten it, because it follows a failure.
func (r *Relay) sleep(ctx context.Context, d time.Duration) {
	t := time.NewTimer(d)
	defer t.Stop()
	select {
	case <-ctx.Done():
	case <-t.C:
	}
}

func backoff(failures int) time.Duration {
	d := maxBackoff
	if failures < 8 {
		d = min(maxBackoff, minBackoff<<(failures-1))
	}
	return d/2 + rand.N(d/2)
}

func unlock(ctx context.Context, conn *sql.Conn) {
	ctx, cancel := context.WithTimeout(context.WithoutCancel(ctx), markTimeout)
	defer cancel()
	if _, err := conn.ExecContext(ctx, `SELECT pg_advisory_unlock($1)`, int64(lockNumber)); err != nil {
		// The session still holds the lock or is broken: do not give it back to the pool.
		_ = conn.Raw(func(any) error { return driver.ErrBadConn })
	}
}
