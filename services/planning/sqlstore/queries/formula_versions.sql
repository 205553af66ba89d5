-- name: InsertFormulaVersion :exec
INSERT INTO formula_versions (name, uid, version, create_us, update_us, site, formula, number, state, doc)
VALUES ($1, $2, $3, $4, $5, $6, $7, $8, $9, $10);

-- name: UpdateFormulaVersion :execrows
UPDATE formula_versions SET version = version + 1, update_us = $3, state = $4, doc = $5
WHERE name = $1 AND version = $2;

-- name: GetFormulaVersion :one
SELECT name, uid, version, create_us, update_us, doc FROM formula_versions WHERE name = $1;

-- name: ApprovedVersions :many
SELECT name, uid, version, create_us, update_us, doc FROM formula_versions WHERE site = $1 AND state = 'APPROVED' ORDER BY formula, number;
