-- name: InsertOutlet :exec
INSERT INTO outlets (name, uid, version, create_us, update_us, site, display_name, active, doc)
VALUES ($1, $2, $3, $4, $5, $6, $7, $8, $9);

-- name: UpdateOutlet :execrows
UPDATE outlets SET version = version + 1, update_us = $3, display_name = $4, active = $5, doc = $6
WHERE name = $1 AND version = $2;

-- name: GetOutlet :one
SELECT name, uid, version, create_us, update_us, doc FROM outlets WHERE name = $1;

-- name: SiteOutlets :many
SELECT name, uid, version, create_us, update_us, doc FROM outlets WHERE site = $1 ORDER BY name;
