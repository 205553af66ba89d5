-- name: GetLimits :one
SELECT name, site, uid, version, create_us, update_us, doc FROM kitchen_limits WHERE name = $1;

-- name: InsertLimits :exec
INSERT INTO kitchen_limits (name, site, uid, version, create_us, update_us, doc) VALUES ($1, $2, $3, $4, $5, $6, $7);

-- name: UpdateLimits :execrows
UPDATE kitchen_limits SET version = $2, update_us = $3, doc = $4 WHERE name = $1 AND version = $2 - 1;
