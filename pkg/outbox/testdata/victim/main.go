// Command victim appends events until there are twenty lots, relays them into a file with one line per event, and
// applies each line once. A test kills it at the points of package fault and starts it again.
package main

import (
	"bufio"
	"context"
	"fmt"
	"log/slog"
	"os"
	"strings"
	"time"

	"rondeau.internal/pkg/outbox"
	"rondeau.internal/pkg/sqldb"
)

type file struct{ f *os.File }

func (p file) Publish(_ context.Context, e outbox.Event) error {
	_, err := fmt.Fprintf(p.f, "%s %s\n", e.ID, e.Resource)
	return err
}

func must(err error) {
	if err != nil {
		fmt.Fprintln(os.Stderr, err)
		os.Exit(1)
	}
}

func main() {
	ctx, cancel := context.WithCancel(context.Background())
	defer cancel()
	db, err := sqldb.OpenSQLite(ctx, os.Args[1])
	must(err)
	must(outbox.Migrate(ctx, db))
	must(db.InTx(ctx, func(ctx context.Context) error {
		for _, s := range []string{"CREATE TABLE IF NOT EXISTS lots (name TEXT PRIMARY KEY)", "CREATE TABLE IF NOT EXISTS effects (event_id TEXT NOT NULL)"} {
			if _, err := db.Conn(ctx).ExecContext(ctx, s); err != nil {
				return err
			}
		}
		return nil
	}))
	for {
		n := 0
		must(db.InTx(ctx, func(ctx context.Context) error {
			must(db.Conn(ctx).QueryRowContext(ctx, "SELECT COUNT(*) FROM lots").Scan(&n))
			if n == 20 {
				return nil
			}
			name := fmt.Sprintf("lots/%04d", n)
			if _, err := db.Conn(ctx).ExecContext(ctx, "INSERT INTO lots VALUES ($1)", name); err != nil {
				return err
			}
			return outbox.Append(ctx, db, outbox.Event{Subject: "a.b", Resource: name, Time: time.Unix(1, 0)})
		}))
		if n == 20 {
			break
		}
	}
	f, err := os.OpenFile(os.Args[2], os.O_CREATE|os.O_APPEND|os.O_WRONLY, 0o600)
	must(err)
	done := make(chan error, 1)
	go func() { done <- outbox.NewRelay(db, file{f}, slog.Default()).Run(ctx) }()
	for {
		n, _, err := outbox.Lag(ctx, db)
		must(err)
		if n == 0 {
			break
		}
		time.Sleep(time.Millisecond)
	}
	b, err := os.ReadFile(os.Args[2])
	must(err)
	s := bufio.NewScanner(strings.NewReader(string(b)))
	for s.Scan() {
		id, _, _ := strings.Cut(s.Text(), " ")
		_, err := outbox.Once(ctx, db, "c", id, func(ctx context.Context) error {
			_, err := db.Conn(ctx).ExecContext(ctx, "INSERT INTO effects VALUES ($1)", id)
			return err
		})
		must(err)
	}
	cancel()
	must(<-done)
	must(db.Close())
}
