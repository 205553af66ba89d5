-- name: GetSchedule :one
SELECT name, site, uid, version, create_us, update_us, plan, state, publish_us, head, assignments FROM schedules WHERE name = $1;

-- name: PublishedSchedule :one
SELECT name, site, uid, version, create_us, update_us, plan, state, publish_us, head, assignments FROM schedules
WHERE site = $1 AND state = 'PUBLISHED';

-- name: InsertSchedule :exec
INSERT INTO schedules (name, site, uid, version, create_us, update_us, plan, state, publish_us, head, assignments, problem)
VALUES ($1, $2, $3, $4, $5, $6, $7, $8, $9, $10, $11, $12);

-- name: UpdateSchedule :execrows
UPDATE schedules SET version = $2, update_us = $3, state = $4, publish_us = $5, head = $6, assignments = $7
WHERE name = $1 AND version = $2 - 1;

-- name: ScheduleProblem :one
SELECT problem FROM schedules WHERE name = $1;
