-- +goose Up

CREATE EXTENSION IF NOT EXISTS btree_gist;

-- Kettles, pans, ovens, chillers and work places. The nested rest stands in doc as JSON.
CREATE TABLE vessels (
    name text PRIMARY KEY,
    site text NOT NULL,
    uid text NOT NULL,
    version bigint NOT NULL CHECK (version > 0),
    create_us bigint NOT NULL,
    update_us bigint NOT NULL,
    display_name text NOT NULL,
    vessel_class text NOT NULL,
    active boolean NOT NULL,
    material_state text NOT NULL,
    doc text NOT NULL
);
CREATE INDEX vessels_site ON vessels (site, name);

CREATE TABLE calendars (
    name text PRIMARY KEY,
    site text NOT NULL,
    uid text NOT NULL,
    version bigint NOT NULL CHECK (version > 0),
    create_us bigint NOT NULL,
    update_us bigint NOT NULL,
    display_name text NOT NULL,
    time_zone text NOT NULL,
    doc text NOT NULL
);
CREATE INDEX calendars_site ON calendars (site, name);

CREATE TABLE crews (
    name text PRIMARY KEY,
    site text NOT NULL,
    uid text NOT NULL,
    version bigint NOT NULL CHECK (version > 0),
    create_us bigint NOT NULL,
    update_us bigint NOT NULL,
    display_name text NOT NULL,
    calendar text NOT NULL REFERENCES calendars (name),
    headcount bigint NOT NULL CHECK (headcount > 0),
    active boolean NOT NULL,
    doc text NOT NULL
);
CREATE INDEX crews_site ON crews (site, name);

CREATE TABLE kitchen_limits (
    name text PRIMARY KEY,
    site text NOT NULL UNIQUE,
    uid text NOT NULL,
    version bigint NOT NULL CHECK (version > 0),
    create_us bigint NOT NULL,
    update_us bigint NOT NULL,
    doc text NOT NULL
);

-- Copies of planning's batches. A cancelled one stays cancelled, also when the news came before the batch.
CREATE TABLE batches (
    name text PRIMARY KEY,
    site text NOT NULL,
    plan text NOT NULL,
    state text NOT NULL CHECK (state IN ('PLANNED', 'RELEASED', 'IN_PROGRESS', 'DONE', 'CANCELLED')),
    doc text NOT NULL
);
CREATE INDEX batches_site_state ON batches (site, state);

CREATE TABLE schedules (
    name text PRIMARY KEY,
    site text NOT NULL,
    uid text NOT NULL,
    version bigint NOT NULL CHECK (version > 0),
    create_us bigint NOT NULL,
    update_us bigint NOT NULL,
    plan text NOT NULL,
    state text NOT NULL CHECK (state IN ('DRAFT', 'PUBLISHED', 'SUPERSEDED')),
    publish_us bigint NOT NULL,
    head text NOT NULL,
    assignments text NOT NULL,
    problem text NOT NULL
);
CREATE INDEX schedules_site ON schedules (site, create_us, name);
-- People follow one schedule.
CREATE UNIQUE INDEX schedules_one_published ON schedules (site) WHERE state = 'PUBLISHED';

CREATE TABLE runs (
    name text PRIMARY KEY,
    site text NOT NULL,
    uid text NOT NULL,
    version bigint NOT NULL CHECK (version > 0),
    create_us bigint NOT NULL,
    update_us bigint NOT NULL,
    batch text NOT NULL,
    step_id text NOT NULL,
    kind text NOT NULL,
    state text NOT NULL CHECK (state IN ('PLANNED', 'RUNNING', 'FINISHED', 'ABORTED', 'CANCELLED')),
    vessel text NOT NULL,
    crew text NOT NULL,
    schedule text NOT NULL,
    planned_start_us bigint NOT NULL,
    planned_end_us bigint NOT NULL,
    start_us bigint NOT NULL,
    finish_us bigint NOT NULL,
    doc text NOT NULL,
    CHECK (state NOT IN ('RUNNING', 'FINISHED', 'ABORTED') OR start_us > 0),
    CHECK (state NOT IN ('FINISHED', 'ABORTED') OR finish_us >= start_us)
);
CREATE INDEX runs_site_planned ON runs (site, planned_start_us, name);
CREATE INDEX runs_batch ON runs (batch, create_us, name);
CREATE INDEX runs_running ON runs (name) WHERE state = 'RUNNING';
-- A step has one run that is planned or running.
CREATE UNIQUE INDEX runs_one_open ON runs (batch, step_id) WHERE state IN ('PLANNED', 'RUNNING');

-- Stays of runs in vessels. until_us is 253402300799000000 (the end of the year 9999) while the run goes on.
CREATE TABLE occupancies (
    run text NOT NULL REFERENCES runs (name),
    vessel text NOT NULL REFERENCES vessels (name),
    exclusive boolean NOT NULL,
    start_us bigint NOT NULL,
    until_us bigint NOT NULL,
    PRIMARY KEY (run, vessel),
    CHECK (until_us >= start_us),
    -- Also in hindsight: stays in a vessel that takes one load do not overlap.
    CONSTRAINT occupancies_no_overlap EXCLUDE USING gist (
        vessel WITH =, int8range(start_us, until_us) WITH &&
    ) WHERE (exclusive)
);
CREATE INDEX occupancies_vessel ON occupancies (vessel, start_us);
-- One run at a time in a vessel that takes one load.
CREATE UNIQUE INDEX occupancies_one_open ON occupancies (vessel) WHERE exclusive AND until_us = 253402300799000000;

CREATE TABLE measurements (
    name text PRIMARY KEY,
    run text NOT NULL REFERENCES runs (name),
    uid text NOT NULL,
    create_us bigint NOT NULL,
    kind text NOT NULL,
    value double precision NOT NULL,
    check_name text NOT NULL,
    passed boolean NOT NULL,
    observe_us bigint NOT NULL,
    record_us bigint NOT NULL,
    operator text NOT NULL,
    recorder text NOT NULL,
    note text NOT NULL
);
CREATE INDEX measurements_run ON measurements (run, observe_us, name);

CREATE TABLE operations (
    name text PRIMARY KEY,
    site text NOT NULL,
    uid text NOT NULL,
    version bigint NOT NULL CHECK (version > 0),
    create_us bigint NOT NULL,
    update_us bigint NOT NULL,
    stage text NOT NULL CHECK (stage IN ('WAITING', 'SOLVING', 'FINISHED', 'CANCELLED', 'FAILED')),
    cancel_requested boolean NOT NULL,
    lease_owner text NOT NULL,
    lease_us bigint NOT NULL,
    doc text NOT NULL,
    problem text NOT NULL
);
CREATE INDEX operations_site ON operations (site, create_us, name);
CREATE INDEX operations_stage ON operations (stage, lease_us);

-- Measurements are only added.
-- +goose StatementBegin
CREATE FUNCTION measurements_are_kept() RETURNS trigger LANGUAGE plpgsql AS $$
BEGIN
    RAISE EXCEPTION 'measurements are only added' USING ERRCODE = 'check_violation', CONSTRAINT = 'measurements_kept';
END $$;
-- +goose StatementEnd
CREATE TRIGGER measurements_kept BEFORE UPDATE OR DELETE ON measurements FOR EACH ROW EXECUTE FUNCTION measurements_are_kept();
