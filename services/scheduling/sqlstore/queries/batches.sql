-- name: GetBatch :one
SELECT name, site, plan, state, doc FROM batches WHERE name = $1;

-- name: PutBatch :exec
INSERT INTO batches (name, site, plan, state, doc) VALUES ($1, $2, $3, $4, $5)
ON CONFLICT (name) DO UPDATE SET plan = excluded.plan, doc = excluded.doc,
    state = CASE WHEN batches.state = 'CANCELLED' THEN batches.state ELSE excluded.state END;

-- name: OpenBatches :many
SELECT batches.name, batches.site, batches.plan, batches.state, batches.doc FROM batches
WHERE batches.site = $1 AND batches.state NOT IN ('DONE', 'CANCELLED')
  AND EXISTS (SELECT 1 FROM runs WHERE runs.batch = batches.name AND runs.state IN ('RUNNING', 'FINISHED', 'ABORTED'))
ORDER BY batches.name;
