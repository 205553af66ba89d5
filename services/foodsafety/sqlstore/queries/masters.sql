-- name: InsertProfile :exec
INSERT INTO limits_profiles (name, site, doc, version, create_us, update_us) VALUES ($1, $2, $3, $4, $5, $6);

-- name: InsertMissingProfile :execrows
INSERT INTO limits_profiles (name, site, doc, version, create_us, update_us) VALUES ($1, $2, $3, $4, $5, $6)
ON CONFLICT (name) DO NOTHING;

-- name: UpdateProfile :execrows
UPDATE limits_profiles SET doc = $2, version = $3, update_us = $4 WHERE name = $1 AND version = $5;

-- name: GetProfile :one
SELECT doc FROM limits_profiles WHERE name = $1;

-- name: InsertProbe :exec
INSERT INTO probes (name, site, vessel, device_id, disabled, doc, version, create_us, update_us) VALUES ($1, $2, $3, $4, $5, $6, $7, $8, $9);

-- name: UpdateProbe :execrows
UPDATE probes SET vessel = $2, device_id = $3, disabled = $4, doc = $5, version = $6, update_us = $7 WHERE name = $1 AND version = $8;

-- name: GetProbe :one
SELECT doc FROM probes WHERE name = $1;

-- name: ProbesOfVessel :many
SELECT doc FROM probes WHERE vessel = $1 AND NOT disabled ORDER BY name;
