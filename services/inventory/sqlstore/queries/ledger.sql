-- name: InsertMove :exec
INSERT INTO moves (name, site, uid, kind, batch, run, document, reason, move_us, create_us, actor)
VALUES ($1, $2, $3, $4, $5, $6, $7, $8, $9, $10, $11);

-- name: InsertEntry :exec
INSERT INTO entries (move, line, site, account, reference, item, lot, mass_mg)
VALUES ($1, $2, $3, $4, $5, $6, $7, $8);

-- name: AddToBalance :execrows
UPDATE balances SET mass_mg = mass_mg + sqlc.arg(delta)
WHERE account = $1 AND reference = $2 AND item = $3 AND lot = $4;

-- name: InsertBalance :execrows
INSERT INTO balances (account, reference, item, lot, site, mass_mg)
VALUES ($1, $2, $3, $4, $5, $6) ON CONFLICT DO NOTHING;

-- name: Entries :many
SELECT * FROM entries WHERE move = $1 ORDER BY line;

-- name: LotPlaces :many
SELECT reference, mass_mg FROM balances
WHERE lot = $1 AND account = 'LOCATION' AND mass_mg > 0 ORDER BY reference;

-- name: LotAccounts :many
SELECT account, reference, item, lot, mass_mg FROM balances
WHERE lot = $1 ORDER BY account, reference;

-- name: BatchEntries :many
SELECT e.move, m.kind, e.reference AS batch, m.move_us, e.item, e.lot, e.mass_mg
FROM entries e JOIN moves m ON m.name = e.move
WHERE e.account = 'PROCESS' AND e.reference = $1 ORDER BY e.move, e.line;

-- name: LotUses :many
SELECT e.move, m.kind, e.reference AS batch, m.move_us, e.item, e.lot, e.mass_mg
FROM entries e JOIN moves m ON m.name = e.move
WHERE e.lot = $1 AND e.account = 'PROCESS' AND e.mass_mg > 0 ORDER BY e.move, e.line;

-- name: MoveProcessEntries :many
SELECT e.move, m.kind, e.reference AS batch, m.move_us, e.item, e.lot, e.mass_mg
FROM entries e JOIN moves m ON m.name = e.move
WHERE e.move = $1 AND e.account = 'PROCESS' ORDER BY e.line;

-- name: BatchLosses :many
SELECT e.reference, CAST(SUM(e.mass_mg) AS bigint) AS mass_mg
FROM entries e JOIN moves m ON m.name = e.move
WHERE m.batch = $1 AND e.account = 'LOSS' GROUP BY e.reference ORDER BY e.reference;

-- name: InProcess :many
SELECT b.item, CAST(SUM(b.mass_mg) AS bigint) AS mass_mg
FROM balances b JOIN batches a ON a.name = b.reference
WHERE b.site = $1 AND b.account = 'PROCESS' AND b.item <> '' AND b.mass_mg > 0 AND NOT a.closed
GROUP BY b.item ORDER BY b.item;

-- name: Account :one
SELECT * FROM batches WHERE name = $1;

-- name: InsertAccount :execrows
INSERT INTO batches (name, site, closed, input_mg, output_mg, loss_mg, unexplained_mg, close_us, version)
VALUES ($1, $2, $3, $4, $5, $6, $7, $8, $9) ON CONFLICT DO NOTHING;

-- name: UpdateAccount :execrows
UPDATE batches SET closed = $2, input_mg = $3, output_mg = $4, loss_mg = $5, unexplained_mg = $6, close_us = $7, version = $8
WHERE name = $1 AND version = sqlc.arg(before);
