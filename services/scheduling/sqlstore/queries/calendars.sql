-- name: GetCalendar :one
SELECT name, site, uid, version, create_us, update_us, display_name, time_zone, doc FROM calendars WHERE name = $1;

-- name: InsertCalendar :exec
INSERT INTO calendars (name, site, uid, version, create_us, update_us, display_name, time_zone, doc) VALUES ($1, $2, $3, $4, $5, $6, $7, $8, $9);

-- name: UpdateCalendar :execrows
UPDATE calendars SET version = $2, update_us = $3, display_name = $4, time_zone = $5, doc = $6 WHERE name = $1 AND version = $2 - 1;
