-- name: GetVessel :one
SELECT name, site, uid, version, create_us, update_us, display_name, vessel_class, active, doc, material_state, belief FROM vessels WHERE name = $1;

-- name: InsertVessel :exec
INSERT INTO vessels (name, site, uid, version, create_us, update_us, display_name, vessel_class, active, doc, material_state)
VALUES ($1, $2, $3, $4, $5, $6, $7, $8, $9, $10, '');

-- name: UpdateVessel :execrows
UPDATE vessels SET version = $2, update_us = $3, display_name = $4, vessel_class = $5, active = $6, doc = $7 WHERE name = $1 AND version = $2 - 1;

-- name: SetVesselMaterial :exec
UPDATE vessels SET material_state = $2 WHERE name = $1;

-- name: SetVesselBelief :exec
UPDATE vessels SET belief = $2 WHERE name = $1;

-- name: OpenOccupants :many
SELECT run, vessel FROM occupancies WHERE until_us = 253402300799000000 AND vessel >= sqlc.arg(first) AND vessel <= sqlc.arg(last)
ORDER BY vessel, start_us, run;
