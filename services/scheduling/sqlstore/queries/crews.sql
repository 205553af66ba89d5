-- name: GetCrew :one
SELECT name, site, uid, version, create_us, update_us, display_name, calendar, headcount, active, doc FROM crews WHERE name = $1;

-- name: InsertCrew :exec
INSERT INTO crews (name, site, uid, version, create_us, update_us, display_name, calendar, headcount, active, doc) VALUES ($1, $2, $3, $4, $5, $6, $7, $8, $9, $10, $11);

-- name: UpdateCrew :execrows
UPDATE crews SET version = $2, update_us = $3, display_name = $4, calendar = $5, headcount = $6, active = $7, doc = $8 WHERE name = $1 AND version = $2 - 1;
