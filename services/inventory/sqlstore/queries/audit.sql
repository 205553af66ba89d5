-- name: UnbalancedMoves :many
SELECT move, item, lot, CAST(SUM(mass_mg) AS bigint) AS mass_mg FROM entries
WHERE site = $1 GROUP BY move, item, lot HAVING SUM(mass_mg) <> 0 ORDER BY move, item, lot;

-- name: EntrySums :many
SELECT account, reference, item, lot, CAST(SUM(mass_mg) AS bigint) AS mass_mg FROM entries
WHERE site = $1 GROUP BY account, reference, item, lot ORDER BY account, reference, item, lot;

-- name: Balances :many
SELECT * FROM balances WHERE site = $1 ORDER BY account, reference, item, lot;

-- name: AuditLots :many
SELECT l.name, l.packed, l.on_hand_mg, l.reserved_mg, l.container_count, l.initial_mg,
    CAST(COALESCE((SELECT SUM(b.mass_mg) FROM balances b WHERE b.lot = l.name AND b.account = 'LOCATION'), 0) AS bigint) AS placed_mg,
    CAST(COALESCE((SELECT SUM(r.remaining_mg) FROM reservation_lines r WHERE r.lot = l.name), 0) AS bigint) AS promised_mg,
    CAST(COALESCE((SELECT SUM(c.net_mass_mg) FROM containers c WHERE c.lot = l.name AND c.state = 'PACKED' AND c.shipment <> ''), 0) AS bigint) AS picked_mg,
    CAST(COALESCE((SELECT SUM(c.net_mass_mg) FROM containers c WHERE c.lot = l.name AND c.state = 'PACKED'), 0) AS bigint) AS packed_mg,
    CAST((SELECT COUNT(*) FROM containers c WHERE c.lot = l.name AND c.state = 'PACKED') AS bigint) AS packed_count,
    CAST(COALESCE((SELECT SUM(e.mass_mg) FROM entries e WHERE e.move = l.origin_move AND e.lot = l.name AND e.account = 'LOCATION'), 0) AS bigint) AS made_mg
FROM lots l WHERE l.site = $1 ORDER BY l.name;

-- name: AuditBatches :many
SELECT a.name, a.closed, a.input_mg, a.output_mg, a.loss_mg, a.unexplained_mg,
    CAST(COALESCE((SELECT SUM(e.mass_mg) FROM entries e WHERE e.account = 'PROCESS' AND e.reference = a.name AND e.item <> '' AND e.mass_mg > 0), 0) AS bigint) AS in_mg,
    CAST(COALESCE((SELECT SUM(e.mass_mg) FROM entries e WHERE e.account = 'PROCESS' AND e.reference = a.name AND e.item <> '' AND e.mass_mg < 0), 0) AS bigint) AS out_mg,
    CAST(COALESCE((SELECT SUM(e.mass_mg) FROM entries e WHERE e.account = 'PROCESS' AND e.reference = a.name AND e.item = ''), 0) AS bigint) AS lost_mg
FROM batches a WHERE a.site = $1 ORDER BY a.name;

-- name: AuditContainerPlaces :many
SELECT c.lot, c.location, CAST(SUM(c.net_mass_mg) AS bigint) AS mass_mg FROM containers c
WHERE c.site = $1 AND c.state = 'PACKED' GROUP BY c.lot, c.location ORDER BY c.lot, c.location;
