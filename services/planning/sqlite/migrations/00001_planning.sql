-- +goose Up
-- Resources of planning. Columns hold what is searched, ordered and constrained; doc holds the whole resource as JSON.

CREATE TABLE sites (
    name text PRIMARY KEY,
    uid text NOT NULL,
    version bigint NOT NULL CHECK (version > 0),
    create_us bigint NOT NULL,
    update_us bigint NOT NULL,
    display_name text NOT NULL,
    doc text NOT NULL
);

CREATE TABLE outlets (
    name text PRIMARY KEY,
    uid text NOT NULL,
    version bigint NOT NULL CHECK (version > 0),
    create_us bigint NOT NULL,
    update_us bigint NOT NULL,
    site text NOT NULL REFERENCES sites (name),
    display_name text NOT NULL,
    active boolean NOT NULL,
    doc text NOT NULL
);
CREATE INDEX outlets_by_site ON outlets (site, name);

CREATE TABLE products (
    name text PRIMARY KEY,
    uid text NOT NULL,
    version bigint NOT NULL CHECK (version > 0),
    create_us bigint NOT NULL,
    update_us bigint NOT NULL,
    site text NOT NULL REFERENCES sites (name),
    display_name text NOT NULL,
    item text NOT NULL CONSTRAINT products_item_once UNIQUE,
    source_item text NOT NULL,
    active boolean NOT NULL,
    doc text NOT NULL
);
CREATE INDEX products_by_site ON products (site, name);

CREATE TABLE formulas (
    name text PRIMARY KEY,
    uid text NOT NULL,
    version bigint NOT NULL CHECK (version > 0),
    create_us bigint NOT NULL,
    update_us bigint NOT NULL,
    site text NOT NULL REFERENCES sites (name),
    display_name text NOT NULL,
    state text NOT NULL CHECK (state IN ('DRAFT', 'APPROVED', 'RETIRED')),
    output_item text NOT NULL,
    doc text NOT NULL
);
CREATE INDEX formulas_by_site ON formulas (site, name);
-- One approved formula makes an item.
CREATE UNIQUE INDEX formulas_one_approved ON formulas (output_item) WHERE state = 'APPROVED';

CREATE TABLE formula_versions (
    name text PRIMARY KEY,
    uid text NOT NULL,
    version bigint NOT NULL CHECK (version > 0),
    create_us bigint NOT NULL,
    update_us bigint NOT NULL,
    site text NOT NULL REFERENCES sites (name),
    formula text NOT NULL REFERENCES formulas (name),
    number bigint NOT NULL CHECK (number > 0),
    state text NOT NULL CHECK (state IN ('DRAFT', 'APPROVED', 'RETIRED')),
    doc text NOT NULL,
    CONSTRAINT formula_versions_number_once UNIQUE (formula, number)
);
CREATE INDEX formula_versions_by_site ON formula_versions (site, formula, number);
CREATE UNIQUE INDEX formula_versions_one_approved ON formula_versions (formula) WHERE state = 'APPROVED';

CREATE TABLE pars (
    name text PRIMARY KEY,
    uid text NOT NULL,
    version bigint NOT NULL CHECK (version > 0),
    create_us bigint NOT NULL,
    update_us bigint NOT NULL,
    site text NOT NULL REFERENCES sites (name),
    outlet text NOT NULL,
    product text NOT NULL REFERENCES products (name),
    doc text NOT NULL,
    -- An empty outlet stands for the freezer of the kitchen.
    CONSTRAINT pars_once UNIQUE (site, outlet, product)
);

CREATE TABLE orders (
    name text PRIMARY KEY,
    uid text NOT NULL,
    version bigint NOT NULL CHECK (version > 0),
    create_us bigint NOT NULL,
    update_us bigint NOT NULL,
    site text NOT NULL REFERENCES sites (name),
    outlet text NOT NULL REFERENCES outlets (name),
    dispatch_date text NOT NULL,
    state text NOT NULL CHECK (state IN ('PLACED', 'SHIPPED', 'CANCELLED')),
    cut_off_us bigint NOT NULL,
    open_count bigint NOT NULL CHECK (open_count >= 0),
    doc text NOT NULL
);
CREATE INDEX orders_by_day ON orders (site, dispatch_date, name);
CREATE INDEX orders_by_outlet ON orders (outlet, dispatch_date, name);

CREATE TABLE plans (
    name text PRIMARY KEY,
    uid text NOT NULL,
    version bigint NOT NULL CHECK (version > 0),
    create_us bigint NOT NULL,
    update_us bigint NOT NULL,
    site text NOT NULL REFERENCES sites (name),
    state text NOT NULL CHECK (state IN ('DRAFT', 'RELEASED', 'SUPERSEDED')),
    start_date text NOT NULL,
    end_date text NOT NULL CHECK (end_date > start_date),
    doc text NOT NULL
);
CREATE INDEX plans_by_site ON plans (site, create_us, name);
-- One plan of a site is in force.
CREATE UNIQUE INDEX plans_one_released ON plans (site) WHERE state = 'RELEASED';

CREATE TABLE batches (
    name text PRIMARY KEY,
    uid text NOT NULL,
    version bigint NOT NULL CHECK (version > 0),
    create_us bigint NOT NULL,
    update_us bigint NOT NULL,
    site text NOT NULL REFERENCES sites (name),
    plan text NOT NULL REFERENCES plans (name),
    state text NOT NULL CHECK (state IN ('PLANNED', 'RELEASED', 'IN_PROGRESS', 'DONE', 'CANCELLED')),
    output_item text NOT NULL,
    product text NOT NULL,
    formula_version text NOT NULL,
    nominal_mg bigint NOT NULL CHECK (nominal_mg > 0),
    planned_mg bigint NOT NULL CHECK (planned_mg >= 0),
    due_us bigint NOT NULL,
    earliest_start_us bigint NOT NULL,
    doc text NOT NULL
);
CREATE INDEX batches_by_due ON batches (site, due_us, name);
CREATE INDEX batches_by_plan ON batches (plan, due_us, name);
