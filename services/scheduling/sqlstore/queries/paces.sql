-- name: GetPace :one
SELECT site, kind, vessel_class, run_count, mean_log, square_sum FROM paces WHERE site = $1 AND kind = $2 AND vessel_class = $3;

-- name: ListPaces :many
SELECT site, kind, vessel_class, run_count, mean_log, square_sum FROM paces WHERE site = $1 ORDER BY kind, vessel_class;

-- name: PutPace :exec
INSERT INTO paces (site, kind, vessel_class, run_count, mean_log, square_sum) VALUES ($1, $2, $3, $4, $5, $6)
ON CONFLICT (site, kind, vessel_class) DO UPDATE SET run_count = excluded.run_count, mean_log = excluded.mean_log, square_sum = excluded.square_sum;
