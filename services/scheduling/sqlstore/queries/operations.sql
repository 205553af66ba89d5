-- name: GetOperation :one
SELECT name, site, uid, version, create_us, update_us, stage, cancel_requested, lease_owner, lease_us, doc FROM operations WHERE name = $1;

-- name: InsertOperation :exec
INSERT INTO operations (name, site, uid, version, create_us, update_us, stage, cancel_requested, lease_owner, lease_us, doc, problem) VALUES ($1, $2, $3, $4, $5, $6, $7, $8, $9, $10, $11, $12);

-- name: UpdateOperation :execrows
UPDATE operations SET version = $2, update_us = $3, stage = $4, cancel_requested = $5, lease_owner = $6, lease_us = $7, doc = $8
WHERE name = $1 AND version = $2 - 1;

-- name: OperationProblem :one
SELECT problem FROM operations WHERE name = $1;

-- name: ClaimableOperations :many
SELECT name, site, uid, version, create_us, update_us, stage, cancel_requested, lease_owner, lease_us, doc FROM operations
WHERE stage IN ('WAITING', 'SOLVING') AND lease_us < $1 ORDER BY create_us, name;
