-- name: InsertOrder :exec
INSERT INTO orders (name, uid, version, create_us, update_us, site, outlet, dispatch_date, state, cut_off_us, open_count, doc)
VALUES ($1, $2, $3, $4, $5, $6, $7, $8, $9, $10, $11, $12);

-- name: UpdateOrder :execrows
UPDATE orders SET version = version + 1, update_us = $3, dispatch_date = $4, state = $5, cut_off_us = $6, open_count = $7, doc = $8
WHERE name = $1 AND version = $2;

-- name: GetOrder :one
SELECT name, uid, version, create_us, update_us, doc FROM orders WHERE name = $1;

-- name: OpenOrders :many
SELECT name, uid, version, create_us, update_us, doc FROM orders
WHERE site = $1 AND state = 'PLACED' AND open_count > 0 AND dispatch_date >= $2 AND dispatch_date < $3
ORDER BY dispatch_date, name;
