package sqldb_test

import (
	"context"
	"testing"

	"rondeau.internal/pkg/sqldb"
	"rondeau.internal/pkg/sqldb/sqldbtest"
)

// BenchmarkAckedWrite measures acknowledged single-row writes with every commit on the disk: through InTx, and as a
// bare statement on the same pool.
func BenchmarkAckedWrite(b *testing.B) {
	sqldbtest.EachBench(b, func(b *testing.B, db *sqldb.DB) {
		d, err := db.Durability(b.Context())
		if err != nil || !d.Safe {
			b.Fatal(d, err)
		}
		exec(b, db, `CREATE TABLE readings (id BIGINT PRIMARY KEY, celsius DOUBLE PRECISION NOT NULL)`)
		const query = `INSERT INTO readings (id, celsius) VALUES ($1, $2)`
		id := 0
		b.Run("InTx", func(b *testing.B) {
			for b.Loop() {
				id++
				err := db.InTx(b.Context(), func(ctx context.Context) error {
					_, err := db.Conn(ctx).ExecContext(ctx, query, id, 3.5)
					return err
				})
				if err != nil {
					b.Fatal(err)
				}
			}
			b.ReportMetric(float64(b.N)/b.Elapsed().Seconds(), "writes/s")
		})
		b.Run("raw", func(b *testing.B) {
			for b.Loop() {
				id++
				if _, err := db.Writer().ExecContext(b.Context(), query, id, 3.5); err != nil {
					b.Fatal(err)
				}
			}
			b.ReportMetric(float64(b.N)/b.Elapsed().Seconds(), "writes/s")
		})
	})
}
