-- +goose Up

-- Master data. Columns are what lists filter and rules need; doc holds the nested rest as JSON.
CREATE TABLE items (
    name text PRIMARY KEY,
    site text NOT NULL,
    uid text NOT NULL,
    display_name text NOT NULL,
    kind text NOT NULL CHECK (kind IN ('PURCHASED', 'MADE', 'PACK', 'UTILITY')),
    storage text NOT NULL,
    active boolean NOT NULL,
    gtin text NOT NULL,
    supplier text NOT NULL,
    net_mass_mg bigint NOT NULL CHECK (net_mass_mg >= 0),
    doc text NOT NULL,
    version bigint NOT NULL,
    create_us bigint NOT NULL,
    update_us bigint NOT NULL,
    CHECK (kind <> 'PACK' OR net_mass_mg > 0)
);
CREATE INDEX items_site ON items (site, name);

CREATE TABLE suppliers (
    name text PRIMARY KEY,
    site text NOT NULL,
    uid text NOT NULL,
    display_name text NOT NULL,
    gln text NOT NULL,
    address text NOT NULL,
    contact text NOT NULL,
    active boolean NOT NULL,
    version bigint NOT NULL,
    create_us bigint NOT NULL,
    update_us bigint NOT NULL
);
CREATE INDEX suppliers_site ON suppliers (site, name);

CREATE TABLE locations (
    name text PRIMARY KEY,
    site text NOT NULL,
    uid text NOT NULL,
    display_name text NOT NULL,
    kind text NOT NULL,
    active boolean NOT NULL,
    version bigint NOT NULL,
    create_us bigint NOT NULL,
    update_us bigint NOT NULL
);
CREATE INDEX locations_site ON locations (site, name);

CREATE TABLE policies (
    name text PRIMARY KEY,
    site text NOT NULL UNIQUE,
    uid text NOT NULL,
    doc text NOT NULL,
    version bigint NOT NULL,
    create_us bigint NOT NULL,
    update_us bigint NOT NULL
);

CREATE TABLE deliveries (
    name text PRIMARY KEY,
    site text NOT NULL,
    uid text NOT NULL,
    supplier text NOT NULL,
    expected_date text NOT NULL,
    state text NOT NULL CHECK (state IN ('EXPECTED', 'RECEIVED', 'CANCELLED')),
    document_number text NOT NULL,
    doc text NOT NULL,
    version bigint NOT NULL,
    create_us bigint NOT NULL,
    update_us bigint NOT NULL
);
CREATE INDEX deliveries_site ON deliveries (site, expected_date, name);
CREATE INDEX deliveries_supplier ON deliveries (supplier);

-- A proposed purchase is booked as expected once.
CREATE TABLE purchases (
    name text PRIMARY KEY,
    delivery text NOT NULL REFERENCES deliveries (name)
);

-- use_by is 9999-12-31 where no last day is set, so that such lots come last.
CREATE TABLE lots (
    name text PRIMARY KEY,
    site text NOT NULL,
    uid text NOT NULL,
    item text NOT NULL REFERENCES items (name),
    code text NOT NULL,
    delivery text NOT NULL,
    delivery_line text NOT NULL,
    supplier text NOT NULL,
    batch text NOT NULL,
    run text NOT NULL,
    origin_move text NOT NULL,
    packed boolean NOT NULL,
    by_product boolean NOT NULL,
    produce_us bigint NOT NULL,
    use_by text NOT NULL,
    initial_mg bigint NOT NULL CHECK (initial_mg > 0),
    on_hand_mg bigint NOT NULL CHECK (on_hand_mg >= 0),
    reserved_mg bigint NOT NULL CHECK (reserved_mg >= 0),
    container_count bigint NOT NULL CHECK (container_count >= 0),
    state text NOT NULL CHECK (state IN ('OPEN', 'DEPLETED')),
    held boolean NOT NULL,
    released boolean NOT NULL,
    release_us bigint NOT NULL,
    release_required boolean NOT NULL,
    version bigint NOT NULL,
    create_us bigint NOT NULL,
    update_us bigint NOT NULL,
    CONSTRAINT lots_promise_what_is_there CHECK (reserved_mg <= on_hand_mg)
);
CREATE INDEX lots_site ON lots (site, use_by, name);
CREATE INDEX lots_item ON lots (item, state, use_by);
CREATE INDEX lots_batch ON lots (batch);
CREATE INDEX lots_held ON lots (site) WHERE held;
CREATE INDEX lots_delivery ON lots (delivery);

-- The books: moves in double entry, only appended, and the balances that follow from them.
CREATE TABLE moves (
    name text PRIMARY KEY,
    site text NOT NULL,
    uid text NOT NULL,
    kind text NOT NULL,
    batch text NOT NULL,
    run text NOT NULL,
    document text NOT NULL,
    reason text NOT NULL,
    move_us bigint NOT NULL,
    create_us bigint NOT NULL,
    actor text NOT NULL
);
CREATE INDEX moves_site ON moves (site, name);
CREATE INDEX moves_batch ON moves (batch);

CREATE TABLE entries (
    move text NOT NULL REFERENCES moves (name),
    line bigint NOT NULL,
    site text NOT NULL,
    account text NOT NULL CHECK (account IN ('LOCATION', 'PROCESS', 'SUPPLIER', 'MAINS', 'LOSS', 'OUTLET', 'ADJUSTMENT', 'DISCARDED')),
    reference text NOT NULL,
    item text NOT NULL,
    lot text NOT NULL,
    mass_mg bigint NOT NULL CHECK (mass_mg <> 0),
    PRIMARY KEY (move, line)
);
CREATE INDEX entries_lot ON entries (lot);
CREATE INDEX entries_account ON entries (account, reference);

CREATE TABLE balances (
    account text NOT NULL,
    reference text NOT NULL,
    item text NOT NULL,
    lot text NOT NULL,
    site text NOT NULL,
    mass_mg bigint NOT NULL,
    PRIMARY KEY (account, reference, item, lot),
    CONSTRAINT balances_no_place_below_nothing CHECK (account <> 'LOCATION' OR mass_mg >= 0)
);
CREATE INDEX balances_lot ON balances (lot);

CREATE TABLE batches (
    name text PRIMARY KEY,
    site text NOT NULL,
    closed boolean NOT NULL,
    input_mg bigint NOT NULL CHECK (input_mg >= 0),
    output_mg bigint NOT NULL CHECK (output_mg >= 0),
    loss_mg bigint NOT NULL CHECK (loss_mg >= 0),
    unexplained_mg bigint NOT NULL,
    close_us bigint NOT NULL,
    version bigint NOT NULL,
    CONSTRAINT batches_closed_at_zero CHECK (NOT closed OR input_mg = output_mg + loss_mg + unexplained_mg)
);
CREATE INDEX batches_site ON batches (site);

CREATE TABLE reservations (
    name text PRIMARY KEY,
    site text NOT NULL,
    uid text NOT NULL,
    batch text NOT NULL,
    state text NOT NULL CHECK (state IN ('ACTIVE', 'USED', 'RELEASED')),
    version bigint NOT NULL,
    create_us bigint NOT NULL,
    update_us bigint NOT NULL
);
CREATE INDEX reservations_site ON reservations (site, name);
CREATE INDEX reservations_batch ON reservations (batch, state);

CREATE TABLE reservation_lines (
    reservation text NOT NULL REFERENCES reservations (name),
    line bigint NOT NULL,
    item text NOT NULL,
    lot text NOT NULL REFERENCES lots (name),
    mass_mg bigint NOT NULL CHECK (mass_mg > 0),
    remaining_mg bigint NOT NULL CHECK (remaining_mg >= 0 AND remaining_mg <= mass_mg),
    PRIMARY KEY (reservation, line)
);
CREATE INDEX reservation_lines_lot ON reservation_lines (lot);

CREATE TABLE containers (
    name text PRIMARY KEY,
    site text NOT NULL,
    uid text NOT NULL,
    lot text NOT NULL REFERENCES lots (name),
    item text NOT NULL REFERENCES items (name),
    product text NOT NULL,
    serial text NOT NULL,
    gtin text NOT NULL,
    net_mass_mg bigint NOT NULL CHECK (net_mass_mg > 0),
    state text NOT NULL CHECK (state IN ('PACKED', 'SHIPPED', 'RECEIVED', 'DESTROYED', 'USED', 'MISSING')),
    location text NOT NULL,
    shipment text NOT NULL,
    outlet text NOT NULL,
    doc text NOT NULL,
    version bigint NOT NULL,
    create_us bigint NOT NULL,
    update_us bigint NOT NULL,
    UNIQUE (site, serial),
    CHECK (state <> 'PACKED' OR location <> '')
);
CREATE INDEX containers_site ON containers (site, name);
CREATE INDEX containers_lot ON containers (lot, serial);
CREATE INDEX containers_shipment ON containers (shipment);

CREATE TABLE shipments (
    name text PRIMARY KEY,
    site text NOT NULL,
    uid text NOT NULL,
    outlet text NOT NULL,
    order_name text NOT NULL,
    state text NOT NULL CHECK (state IN ('DRAFT', 'DISPATCHED', 'RECEIVED', 'CANCELLED')),
    sscc text NOT NULL,
    dispatch_us bigint NOT NULL,
    doc text NOT NULL,
    version bigint NOT NULL,
    create_us bigint NOT NULL,
    update_us bigint NOT NULL
);
CREATE INDEX shipments_site ON shipments (site, create_us, name);
CREATE INDEX shipments_sscc ON shipments (sscc);

-- What was heard of holds.
CREATE TABLE holds (
    name text PRIMARY KEY,
    subject text NOT NULL,
    place_us bigint NOT NULL,
    lifted boolean NOT NULL
);
CREATE INDEX holds_subject ON holds (subject);

CREATE TABLE counters (
    site text NOT NULL,
    counter text NOT NULL,
    value bigint NOT NULL,
    PRIMARY KEY (site, counter)
);

-- Moves and entries are never changed and never deleted; the lot of a container is for life.
-- +goose StatementBegin
CREATE TRIGGER moves_no_update BEFORE UPDATE ON moves BEGIN SELECT RAISE(ABORT, 'check: moves is only appended to'); END;
-- +goose StatementEnd
-- +goose StatementBegin
CREATE TRIGGER moves_no_delete BEFORE DELETE ON moves BEGIN SELECT RAISE(ABORT, 'check: moves is only appended to'); END;
-- +goose StatementEnd
-- +goose StatementBegin
CREATE TRIGGER entries_no_update BEFORE UPDATE ON entries BEGIN SELECT RAISE(ABORT, 'check: entries is only appended to'); END;
-- +goose StatementEnd
-- +goose StatementBegin
CREATE TRIGGER entries_no_delete BEFORE DELETE ON entries BEGIN SELECT RAISE(ABORT, 'check: entries is only appended to'); END;
-- +goose StatementEnd
-- +goose StatementBegin
CREATE TRIGGER containers_keep_lot BEFORE UPDATE ON containers WHEN NEW.lot <> OLD.lot BEGIN SELECT RAISE(ABORT, 'check: a container belongs to one lot'); END;
-- +goose StatementEnd
