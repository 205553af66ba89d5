-- name: InsertSite :exec
INSERT INTO sites (name, uid, version, create_us, update_us, display_name, doc)
VALUES ($1, $2, $3, $4, $5, $6, $7);

-- name: UpdateSite :execrows
UPDATE sites SET version = version + 1, update_us = $3, display_name = $4, doc = $5
WHERE name = $1 AND version = $2;

-- name: GetSite :one
SELECT name, uid, version, create_us, update_us, doc FROM sites WHERE name = $1;
