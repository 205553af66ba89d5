-- name: CountLots :one
SELECT COUNT(*) FROM lots WHERE item = $1;

-- name: CountHeldLots :one
SELECT COUNT(*) FROM lots WHERE site = $1 AND held;

-- name: PurchaseDelivery :one
SELECT delivery FROM purchases WHERE name = $1;

-- name: InsertPurchase :exec
INSERT INTO purchases (name, delivery) VALUES ($1, $2);

-- name: ReservationLines :many
SELECT * FROM reservation_lines WHERE reservation = $1 ORDER BY line;

-- name: InsertReservationLine :exec
INSERT INTO reservation_lines (reservation, line, item, lot, mass_mg, remaining_mg)
VALUES ($1, $2, $3, $4, $5, $6);

-- name: UpdateReservationLine :exec
UPDATE reservation_lines SET remaining_mg = $3 WHERE reservation = $1 AND line = $2;

-- name: HoldsOn :many
SELECT * FROM holds WHERE subject = $1 ORDER BY name;

-- name: UpdateHold :execrows
UPDATE holds SET subject = $2, place_us = $3, lifted = $4 WHERE name = $1;

-- name: InsertHold :execrows
INSERT INTO holds (name, subject, place_us, lifted) VALUES ($1, $2, $3, $4) ON CONFLICT DO NOTHING;

-- name: AddToCounter :execrows
UPDATE counters SET value = value + sqlc.arg(n) WHERE site = $1 AND counter = $2;

-- name: InsertCounter :execrows
INSERT INTO counters (site, counter, value) VALUES ($1, $2, $3) ON CONFLICT DO NOTHING;

-- name: Counter :one
SELECT value FROM counters WHERE site = $1 AND counter = $2;
