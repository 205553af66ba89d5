-- name: InsertDeviation :exec
INSERT INTO deviations (name, site, kind, state, chill, open_us, doc, version, create_us, update_us)
VALUES ($1, $2, $3, $4, $5, $6, $7, $8, $9, $10);

-- name: UpdateDeviation :execrows
UPDATE deviations SET state = $2, doc = $3, version = $4, update_us = $5 WHERE name = $1 AND version = $6;

-- name: GetDeviation :one
SELECT doc FROM deviations WHERE name = $1;

-- name: InsertDeviationSubject :exec
INSERT INTO deviation_subjects (deviation, subject) VALUES ($1, $2);

-- name: DeviationsOf :many
SELECT d.doc FROM deviation_subjects s JOIN deviations d ON d.name = s.deviation WHERE s.subject = $1 ORDER BY d.name;

-- name: InsertCorrectiveAction :exec
INSERT INTO corrective_actions (deviation, position, decision, actor, record_us, action_text) VALUES ($1, $2, $3, $4, $5, $6);

-- name: CorrectiveActions :many
SELECT * FROM corrective_actions WHERE deviation = $1 ORDER BY position;

-- name: InsertHold :exec
INSERT INTO holds (name, site, subject, deviation, state, place_us, sequence, placer, lifter, doc, version, create_us, update_us)
VALUES ($1, $2, $3, $4, $5, $6, $7, $8, $9, $10, $11, $12, $13);

-- name: UpdateHold :execrows
UPDATE holds SET state = $2, lifter = $3, doc = $4, version = $5, update_us = $6 WHERE name = $1 AND version = $7;

-- name: GetHold :one
SELECT doc FROM holds WHERE name = $1;

-- name: HoldsOn :many
SELECT doc FROM holds WHERE subject = $1 ORDER BY name;

-- name: InsertRelease :exec
INSERT INTO releases (name, site, lot, batch, signer, sign_us, sequence, doc) VALUES ($1, $2, $3, $4, $5, $6, $7, $8);

-- name: GetRelease :one
SELECT doc FROM releases WHERE name = $1;

-- name: LatestRelease :one
SELECT doc FROM releases WHERE lot = $1 ORDER BY sequence DESC LIMIT 1;

-- name: AppendRecord :one
INSERT INTO safety_records (site, resource, action, actor, actor_role, record_us, old_value, new_value, reason)
VALUES ($1, $2, $3, $4, $5, $6, $7, $8, $9) RETURNING sequence;
