-- name: GetMeasurement :one
SELECT name, run, uid, create_us, kind, value, check_name, passed, observe_us, record_us, operator, recorder, note FROM measurements WHERE name = $1;

-- name: InsertMeasurement :exec
INSERT INTO measurements (name, run, uid, create_us, kind, value, check_name, passed, observe_us, record_us, operator, recorder, note) VALUES ($1, $2, $3, $4, $5, $6, $7, $8, $9, $10, $11, $12, $13);
