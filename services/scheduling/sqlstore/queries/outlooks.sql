-- name: RequestOutlook :exec
INSERT INTO outlooks (schedule, site, wanted, made, assess_us, doc) VALUES ($1, $2, 1, 0, 0, '')
ON CONFLICT (schedule) DO UPDATE SET wanted = outlooks.wanted + 1;

-- name: PublishedName :one
SELECT name FROM schedules WHERE site = $1 AND state = 'PUBLISHED';

-- name: GetOutlook :one
SELECT schedule, site, wanted, made, assess_us, doc FROM outlooks WHERE schedule = $1;

-- name: PutOutlook :execrows
UPDATE outlooks SET made = $2, assess_us = $3, doc = $4 WHERE schedule = $1 AND made <= $2;

-- name: WantedOutlooks :many
SELECT o.schedule, o.wanted FROM outlooks o JOIN schedules s ON s.name = o.schedule
WHERE o.wanted > o.made AND s.state <> 'SUPERSEDED'
ORDER BY CASE WHEN s.state = 'PUBLISHED' THEN 0 ELSE 1 END, s.create_us DESC, o.schedule LIMIT 20;

-- name: RequestOldOutlooks :execrows
UPDATE outlooks SET wanted = wanted + 1
WHERE wanted = made AND assess_us < $1 AND schedule IN (SELECT name FROM schedules WHERE state = 'PUBLISHED');
