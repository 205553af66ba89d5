-- name: InsertPar :exec
INSERT INTO pars (name, uid, version, create_us, update_us, site, outlet, product, doc)
VALUES ($1, $2, $3, $4, $5, $6, $7, $8, $9);

-- name: UpdatePar :execrows
UPDATE pars SET version = version + 1, update_us = $3, doc = $4
WHERE name = $1 AND version = $2;

-- name: GetPar :one
SELECT name, uid, version, create_us, update_us, doc FROM pars WHERE name = $1;

-- name: SitePars :many
SELECT name, uid, version, create_us, update_us, doc FROM pars WHERE site = $1 ORDER BY name;
