-- name: InsertPlan :exec
INSERT INTO plans (name, uid, version, create_us, update_us, site, state, start_date, end_date, doc)
VALUES ($1, $2, $3, $4, $5, $6, $7, $8, $9, $10);

-- name: UpdatePlan :execrows
UPDATE plans SET version = version + 1, update_us = $3, state = $4, doc = $5
WHERE name = $1 AND version = $2;

-- name: GetPlan :one
SELECT name, uid, version, create_us, update_us, doc FROM plans WHERE name = $1;

-- name: ReleasedPlan :one
SELECT name, uid, version, create_us, update_us, doc FROM plans WHERE site = $1 AND state = 'RELEASED';

-- name: DeletePlan :execrows
DELETE FROM plans WHERE name = $1;
