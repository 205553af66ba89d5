package outbox

import (
	"context"
	"errors"
	"fmt"
	"time"

	"rondeau.internal/pkg/sqldb"
)

// RequestKey identifies one idempotent call: who, which method, which client-chosen id.
type RequestKey struct {
	Subject   string
	Method    string
	RequestID string
}

// Reservation is the state of a key in the request log.
type Reservation struct {
	First    bool   // this call is the first and must run; finish it with SaveResponse in the same transaction
	Hash     []byte // hash of the first request, when First is false
	Response []byte // its stored response, when First is false
}

// ReserveRequest notes, in the write transaction of ctx, that a call runs. A concurrent call with the same key waits
// for this transaction and then sees its response; when this transaction is undone, so is the note.
func ReserveRequest(ctx context.Context, db *sqldb.DB, key RequestKey, hash []byte) (Reservation, error) {
	if !db.InWriteTx(ctx) {
		return Reservation{}, errors.New("outbox: ReserveRequest needs a write transaction")
	}
	res, err := db.Conn(ctx).ExecContext(ctx, `INSERT INTO request_log (subject, method, request_id, request_hash, created_us)
		VALUES ($1, $2, $3, $4, $5) ON CONFLICT DO NOTHING`, key.Subject, key.Method, key.RequestID, hash, sqldb.Micros(time.Now()))
	if err != nil {
		return Reservation{}, fmt.Errorf("request log: %w", err)
	}
	n, err := res.RowsAffected()
	if err != nil {
		return Reservation{}, fmt.Errorf("request log: %w", err)
	}
	if n == 1 {
		return Reservation{First: true}, nil
	}
	var r Reservation
	err = db.Conn(ctx).QueryRowContext(ctx, `SELECT request_hash, response FROM request_log
		WHERE subject = $1 AND method = $2 AND request_id = $3`, key.Subject, key.Method, key.RequestID).Scan(&r.Hash, &r.Response)
	if err != nil {
		return Reservation{}, fmt.Errorf("request log: %w", err)
	}
	return r, nil
}

// SaveResponse stores the response of a call that ReserveRequest noted, in the same transaction.
func SaveResponse(ctx context.Context, db *sqldb.DB, key RequestKey, response []byte) error {
	if response == nil {
		response = []byte{}
	}
	_, err := db.Conn(ctx).ExecContext(ctx, `UPDATE request_log SET response = $4
		WHERE subject = $1 AND method = $2 AND request_id = $3`, key.Subject, key.Method, key.RequestID, response)
	if err != nil {
		return fmt.Errorf("request log: %w", err)
	}
	return nil
}

// PruneRequests forgets responses stored before the given wall time and returns how many. Keep at least a week: a
// client may come back with its request id after a long outage.
func PruneRequests(ctx context.Context, db *sqldb.DB, before time.Time) (int, error) {
	var n int64
	err := db.InTx(ctx, func(ctx context.Context) error {
		res, err := db.Conn(ctx).ExecContext(ctx, `DELETE FROM request_log WHERE created_us < $1`, sqldb.Micros(before))
		if err != nil {
			return err
		}
		n, err = res.RowsAffected()
		return err
	})
	if err != nil {
		return 0, fmt.Errorf("prune request log: %w", err)
	}
	return int(n), nil
}
