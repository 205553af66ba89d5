-- name: InsertFormula :exec
INSERT INTO formulas (name, uid, version, create_us, update_us, site, display_name, state, output_item, doc)
VALUES ($1, $2, $3, $4, $5, $6, $7, $8, $9, $10);

-- name: UpdateFormula :execrows
UPDATE formulas SET version = version + 1, update_us = $3, display_name = $4, state = $5, doc = $6
WHERE name = $1 AND version = $2;

-- name: GetFormula :one
SELECT name, uid, version, create_us, update_us, doc FROM formulas WHERE name = $1;
