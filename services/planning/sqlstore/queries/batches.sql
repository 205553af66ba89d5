-- name: InsertBatch :exec
INSERT INTO batches (name, uid, version, create_us, update_us, site, plan, state, output_item, product, formula_version, nominal_mg, planned_mg, due_us, earliest_start_us, doc)
VALUES ($1, $2, $3, $4, $5, $6, $7, $8, $9, $10, $11, $12, $13, $14, $15, $16);

-- name: UpdateBatch :execrows
UPDATE batches SET version = version + 1, update_us = $3, state = $4, due_us = $5, earliest_start_us = $6, doc = $7
WHERE name = $1 AND version = $2;

-- name: GetBatch :one
SELECT name, uid, version, create_us, update_us, doc FROM batches WHERE name = $1;

-- name: PlanBatches :many
SELECT name, uid, version, create_us, update_us, doc FROM batches WHERE plan = $1 ORDER BY due_us, name;

-- name: BatchesInProgress :many
SELECT name, uid, version, create_us, update_us, doc FROM batches WHERE site = $1 AND state = 'IN_PROGRESS' ORDER BY name;

-- name: DeletePlanBatches :exec
DELETE FROM batches WHERE plan = $1;
