-- name: InsertProduct :exec
INSERT INTO products (name, uid, version, create_us, update_us, site, display_name, item, source_item, active, doc)
VALUES ($1, $2, $3, $4, $5, $6, $7, $8, $9, $10, $11);

-- name: UpdateProduct :execrows
UPDATE products SET version = version + 1, update_us = $3, display_name = $4, item = $5, source_item = $6, active = $7, doc = $8
WHERE name = $1 AND version = $2;

-- name: GetProduct :one
SELECT name, uid, version, create_us, update_us, doc FROM products WHERE name = $1;

-- name: SiteProducts :many
SELECT name, uid, version, create_us, update_us, doc FROM products WHERE site = $1 ORDER BY name;
