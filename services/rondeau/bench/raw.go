package bench

import (
	"context"
	"fmt"

	"rondeau.internal/pkg/sqldb"
)

// RawInsert makes a table beside the suite's own and gives a write that inserts one row of about the size of an order in
// its own durable transaction: the floor that an acknowledged write of the suite stands on.
func RawInsert(ctx context.Context, db *sqldb.DB) (write func(ctx context.Context, client, i int) error, drop func() error, err error) {
	const body = "0123456789abcdef0123456789abcdef0123456789abcdef0123456789abcdef0123456789abcdef0123456789abcdef0123456789abcdef0123456789abcdef"
	err = db.InTx(ctx, func(ctx context.Context) error {
		_, err := db.Conn(ctx).ExecContext(ctx, "CREATE TABLE IF NOT EXISTS bench_raw (id text PRIMARY KEY, body text NOT NULL)")
		return err
	})
	if err != nil {
		return nil, nil, fmt.Errorf("make table: %w", err)
	}
	write = func(ctx context.Context, client, i int) error {
		return db.InTx(ctx, func(ctx context.Context) error {
			_, err := db.Conn(ctx).ExecContext(ctx, "INSERT INTO bench_raw (id, body) VALUES ($1, $2)", fmt.Sprintf("%d-%d", client, i), body)
			return err
		})
	}
	drop = func() error {
		return db.InTx(context.WithoutCancel(ctx), func(ctx context.Context) error {
			_, err := db.Conn(ctx).ExecContext(ctx, "DROP TABLE bench_raw")
			return err
		})
	}
	return write, drop, nil
}
