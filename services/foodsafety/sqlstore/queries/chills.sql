-- name: InsertChill :exec
INSERT INTO chills (name, site, batch, run, vessel, state, at_risk, start_us, finish_us, deviation, doc, version, create_us, update_us)
VALUES ($1, $2, $3, $4, $5, $6, $7, $8, $9, $10, $11, $12, $13, $14);

-- name: UpdateChill :execrows
UPDATE chills SET vessel = $2, state = $3, at_risk = $4, start_us = $5, finish_us = $6, deviation = $7, doc = $8, version = $9, update_us = $10
WHERE name = $1 AND version = $11;

-- name: GetChill :one
SELECT doc FROM chills WHERE name = $1;

-- name: ChillsInProgress :many
SELECT doc FROM chills WHERE state = 'IN_PROGRESS' ORDER BY name;

-- name: ChillsOfBatch :many
SELECT doc FROM chills WHERE batch = $1 ORDER BY start_us, name;

-- name: ChillsOfRun :many
SELECT doc FROM chills WHERE run = $1 ORDER BY start_us, name;

-- name: PutChillProbe :exec
INSERT INTO chill_probes (chill, probe, active) VALUES ($1, $2, $3)
ON CONFLICT (chill, probe) DO UPDATE SET active = excluded.active;

-- name: RetireChillProbes :exec
UPDATE chill_probes SET active = false WHERE chill = $1 AND active;

-- name: ChillAtProbe :one
SELECT c.name FROM chill_probes p JOIN chills c ON c.name = p.chill
WHERE p.probe = $1 AND c.state <> 'ABANDONED' AND c.start_us <= $2 AND (c.finish_us = 0 OR c.finish_us >= $3)
ORDER BY c.start_us DESC, c.name DESC LIMIT 1;

-- name: ChillWatchedBy :one
SELECT chill FROM chill_probes WHERE probe = $1 AND active;

-- name: GetReading :one
SELECT * FROM readings WHERE chill = $1 AND probe = $2 AND observe_us = $3;

-- name: Readings :many
SELECT * FROM readings WHERE chill = $1 ORDER BY observe_us, probe;

-- name: ReadingsAfter :many
SELECT * FROM readings WHERE chill = $1 AND (observe_us > $2 OR (observe_us = $2 AND probe > $3)) ORDER BY observe_us, probe LIMIT $4;
