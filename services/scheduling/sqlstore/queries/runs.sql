-- name: GetRun :one
SELECT name, site, uid, version, create_us, update_us, batch, step_id, kind, state, vessel, crew, schedule, planned_start_us, planned_end_us, start_us, finish_us, doc FROM runs WHERE name = $1;

-- name: InsertRun :exec
INSERT INTO runs (name, site, uid, version, create_us, update_us, batch, step_id, kind, state, vessel, crew, schedule, planned_start_us, planned_end_us, start_us, finish_us, doc) VALUES ($1, $2, $3, $4, $5, $6, $7, $8, $9, $10, $11, $12, $13, $14, $15, $16, $17, $18);

-- name: UpdateRun :execrows
UPDATE runs SET version = $2, update_us = $3, batch = $4, step_id = $5, kind = $6, state = $7, vessel = $8, crew = $9, schedule = $10, planned_start_us = $11, planned_end_us = $12, start_us = $13, finish_us = $14, doc = $15 WHERE name = $1 AND version = $2 - 1;

-- name: RunsOfBatch :many
SELECT name, site, uid, version, create_us, update_us, batch, step_id, kind, state, vessel, crew, schedule, planned_start_us, planned_end_us, start_us, finish_us, doc FROM runs WHERE batch = $1 ORDER BY create_us, name;

-- name: RunsInState :many
SELECT name, site, uid, version, create_us, update_us, batch, step_id, kind, state, vessel, crew, schedule, planned_start_us, planned_end_us, start_us, finish_us, doc FROM runs WHERE site = $1 AND state = $2 ORDER BY planned_start_us, name;

-- name: DeleteOccupancies :exec
DELETE FROM occupancies WHERE run = $1;

-- name: InsertOccupancy :exec
INSERT INTO occupancies (run, vessel, exclusive, start_us, until_us) VALUES ($1, $2, $3, $4, $5);

-- name: Occupants :many
SELECT run, start_us, until_us FROM occupancies
WHERE vessel = sqlc.arg(vessel) AND start_us < sqlc.arg(before) AND until_us > sqlc.arg(after) ORDER BY start_us, run;

-- name: RunningRuns :many
SELECT name, site, uid, version, create_us, update_us, batch, step_id, kind, state, vessel, crew, schedule, planned_start_us, planned_end_us, start_us, finish_us, doc FROM runs WHERE state = 'RUNNING' ORDER BY name;
