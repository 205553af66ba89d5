-- name: PutLot :exec
INSERT INTO lots (name, site, item, batch, create_us) VALUES ($1, $2, $3, $4, $5) ON CONFLICT DO NOTHING;

-- name: PutLotInput :exec
INSERT INTO lot_inputs (lot, input) VALUES ($1, $2) ON CONFLICT DO NOTHING;

-- name: GetLot :one
SELECT * FROM lots WHERE name = $1;

-- name: LotInputs :many
SELECT input FROM lot_inputs WHERE lot = $1 ORDER BY input;

-- name: AddBatchInput :exec
INSERT INTO batch_inputs (batch, lot) VALUES ($1, $2) ON CONFLICT DO NOTHING;

-- name: BatchInputs :many
SELECT lot FROM batch_inputs WHERE batch = $1 ORDER BY lot;

-- name: AddBatchPerson :exec
INSERT INTO batch_people (batch, person) VALUES ($1, $2) ON CONFLICT DO NOTHING;

-- name: BatchPeople :many
SELECT person FROM batch_people WHERE batch = $1 ORDER BY person;
