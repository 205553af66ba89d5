-- +goose Up
CREATE TABLE limits_profiles (
    name text NOT NULL PRIMARY KEY,
    site text NOT NULL,
    doc text NOT NULL,
    version bigint NOT NULL CHECK (version > 0),
    create_us bigint NOT NULL,
    update_us bigint NOT NULL
);
CREATE INDEX limits_profiles_by_site ON limits_profiles (site, name);

CREATE TABLE probes (
    name text NOT NULL PRIMARY KEY,
    site text NOT NULL,
    vessel text NOT NULL,
    device_id text NOT NULL,
    disabled boolean NOT NULL,
    doc text NOT NULL,
    version bigint NOT NULL CHECK (version > 0),
    create_us bigint NOT NULL,
    update_us bigint NOT NULL
);
CREATE INDEX probes_by_site ON probes (site, name);
CREATE INDEX probes_by_vessel ON probes (vessel, name);

CREATE TABLE chills (
    name text NOT NULL PRIMARY KEY,
    site text NOT NULL,
    batch text NOT NULL,
    run text NOT NULL,
    vessel text NOT NULL,
    state text NOT NULL CHECK (state IN ('IN_PROGRESS', 'PASSED', 'FAILED', 'ABANDONED')),
    at_risk boolean NOT NULL,
    start_us bigint NOT NULL,
    finish_us bigint NOT NULL,
    deviation text NOT NULL,
    doc text NOT NULL,
    version bigint NOT NULL CHECK (version > 0),
    create_us bigint NOT NULL,
    update_us bigint NOT NULL,
    -- A chill that failed has its deviation, always.
    CHECK (state <> 'FAILED' OR deviation <> '')
);
CREATE INDEX chills_by_site ON chills (site, start_us, name);
CREATE INDEX chills_by_batch ON chills (batch);
CREATE INDEX chills_by_run ON chills (run);
CREATE INDEX chills_in_progress ON chills (name) WHERE state = 'IN_PROGRESS';

-- Which probe watches which chill; active while the chill takes readings by the name of the probe alone.
CREATE TABLE chill_probes (
    chill text NOT NULL REFERENCES chills (name),
    probe text NOT NULL,
    active boolean NOT NULL,
    PRIMARY KEY (chill, probe)
);
CREATE INDEX chill_probes_by_probe ON chill_probes (probe);
CREATE UNIQUE INDEX chill_probes_one_active ON chill_probes (probe) WHERE active;

CREATE TABLE readings (
    chill text NOT NULL REFERENCES chills (name),
    probe text NOT NULL,
    observe_us bigint NOT NULL,
    record_us bigint NOT NULL,
    measured_celsius double precision NOT NULL CHECK (measured_celsius BETWEEN -60 AND 150),
    judged_celsius double precision NOT NULL CHECK (judged_celsius BETWEEN -65 AND 155),
    recorder text NOT NULL,
    late boolean NOT NULL,
    note text NOT NULL,
    PRIMARY KEY (chill, probe, observe_us)
);
CREATE INDEX readings_by_time ON readings (chill, observe_us, probe);

CREATE TABLE deviations (
    name text NOT NULL PRIMARY KEY,
    site text NOT NULL,
    kind text NOT NULL CHECK (kind IN ('CHILL_LIMIT', 'RECEIVING_TEMPERATURE', 'MANUAL')),
    state text NOT NULL CHECK (state IN ('OPEN', 'ACTION_TAKEN', 'CLOSED')),
    chill text NOT NULL,
    open_us bigint NOT NULL,
    doc text NOT NULL,
    version bigint NOT NULL CHECK (version > 0),
    create_us bigint NOT NULL,
    update_us bigint NOT NULL
);
CREATE INDEX deviations_by_site ON deviations (site, open_us, name);

CREATE TABLE deviation_subjects (
    deviation text NOT NULL REFERENCES deviations (name),
    subject text NOT NULL,
    PRIMARY KEY (deviation, subject)
);
CREATE INDEX deviation_subjects_by_subject ON deviation_subjects (subject);

CREATE TABLE corrective_actions (
    deviation text NOT NULL REFERENCES deviations (name),
    position bigint NOT NULL,
    decision text NOT NULL,
    actor text NOT NULL,
    record_us bigint NOT NULL,
    action_text text NOT NULL,
    PRIMARY KEY (deviation, position)
);

CREATE TABLE holds (
    name text NOT NULL PRIMARY KEY,
    site text NOT NULL,
    subject text NOT NULL,
    deviation text NOT NULL,
    state text NOT NULL CHECK (state IN ('PLACED', 'LIFTED')),
    place_us bigint NOT NULL,
    sequence bigint NOT NULL,
    placer text NOT NULL,
    lifter text NOT NULL,
    doc text NOT NULL,
    version bigint NOT NULL CHECK (version > 0),
    create_us bigint NOT NULL,
    update_us bigint NOT NULL,
    -- Two persons.
    CHECK (state = 'PLACED' OR (lifter <> '' AND lifter <> placer))
);
CREATE INDEX holds_by_site ON holds (site, place_us, name);
CREATE INDEX holds_by_subject ON holds (subject);

CREATE TABLE releases (
    name text NOT NULL PRIMARY KEY,
    site text NOT NULL,
    lot text NOT NULL,
    batch text NOT NULL,
    signer text NOT NULL CHECK (signer <> ''),
    sign_us bigint NOT NULL,
    sequence bigint NOT NULL,
    doc text NOT NULL
);
CREATE INDEX releases_by_site ON releases (site, sign_us, name);
CREATE INDEX releases_by_lot ON releases (lot, sequence);

-- Facts of other services.
CREATE TABLE lots (
    name text NOT NULL PRIMARY KEY,
    site text NOT NULL,
    item text NOT NULL,
    batch text NOT NULL,
    create_us bigint NOT NULL
);
CREATE TABLE lot_inputs (
    lot text NOT NULL,
    input text NOT NULL,
    PRIMARY KEY (lot, input)
);
CREATE TABLE batch_inputs (
    batch text NOT NULL,
    lot text NOT NULL,
    PRIMARY KEY (batch, lot)
);
CREATE TABLE batch_people (
    batch text NOT NULL,
    person text NOT NULL,
    PRIMARY KEY (batch, person)
);

CREATE TABLE safety_records (
    sequence bigint GENERATED ALWAYS AS IDENTITY PRIMARY KEY,
    site text NOT NULL,
    resource text NOT NULL,
    action text NOT NULL,
    actor text NOT NULL CHECK (actor <> ''),
    actor_role text NOT NULL,
    record_us bigint NOT NULL,
    old_value text NOT NULL,
    new_value text NOT NULL,
    reason text NOT NULL
);
CREATE INDEX safety_records_by_site ON safety_records (site, sequence);
CREATE INDEX safety_records_by_resource ON safety_records (resource, sequence);

-- Records are only appended.
-- +goose StatementBegin
CREATE FUNCTION foodsafety_refuse_change() RETURNS trigger LANGUAGE plpgsql AS $$
BEGIN
    RAISE EXCEPTION 'safety records of % are only appended', TG_TABLE_NAME USING ERRCODE = 'check_violation';
END
$$;
-- +goose StatementEnd
-- +goose StatementBegin
CREATE FUNCTION foodsafety_refuse_return() RETURNS trigger LANGUAGE plpgsql AS $$
BEGIN
    RAISE EXCEPTION '% % is final', TG_TABLE_NAME, OLD.state USING ERRCODE = 'check_violation';
END
$$;
-- +goose StatementEnd
CREATE TRIGGER safety_records_append_only BEFORE UPDATE OR DELETE ON safety_records FOR EACH ROW EXECUTE FUNCTION foodsafety_refuse_change();
CREATE TRIGGER safety_records_no_truncate BEFORE TRUNCATE ON safety_records FOR EACH STATEMENT EXECUTE FUNCTION foodsafety_refuse_change();
CREATE TRIGGER readings_append_only BEFORE UPDATE OR DELETE ON readings FOR EACH ROW EXECUTE FUNCTION foodsafety_refuse_change();
CREATE TRIGGER readings_no_truncate BEFORE TRUNCATE ON readings FOR EACH STATEMENT EXECUTE FUNCTION foodsafety_refuse_change();
CREATE TRIGGER corrective_actions_append_only BEFORE UPDATE OR DELETE ON corrective_actions FOR EACH ROW EXECUTE FUNCTION foodsafety_refuse_change();
CREATE TRIGGER corrective_actions_no_truncate BEFORE TRUNCATE ON corrective_actions FOR EACH STATEMENT EXECUTE FUNCTION foodsafety_refuse_change();
CREATE TRIGGER releases_append_only BEFORE UPDATE OR DELETE ON releases FOR EACH ROW EXECUTE FUNCTION foodsafety_refuse_change();
CREATE TRIGGER releases_no_truncate BEFORE TRUNCATE ON releases FOR EACH STATEMENT EXECUTE FUNCTION foodsafety_refuse_change();
CREATE TRIGGER deviation_subjects_append_only BEFORE UPDATE OR DELETE ON deviation_subjects FOR EACH ROW EXECUTE FUNCTION foodsafety_refuse_change();
CREATE TRIGGER deviation_subjects_no_truncate BEFORE TRUNCATE ON deviation_subjects FOR EACH STATEMENT EXECUTE FUNCTION foodsafety_refuse_change();
CREATE TRIGGER chills_no_delete BEFORE DELETE ON chills FOR EACH ROW EXECUTE FUNCTION foodsafety_refuse_change();
CREATE TRIGGER chills_no_truncate BEFORE TRUNCATE ON chills FOR EACH STATEMENT EXECUTE FUNCTION foodsafety_refuse_change();
CREATE TRIGGER deviations_no_delete BEFORE DELETE ON deviations FOR EACH ROW EXECUTE FUNCTION foodsafety_refuse_change();
CREATE TRIGGER deviations_no_truncate BEFORE TRUNCATE ON deviations FOR EACH STATEMENT EXECUTE FUNCTION foodsafety_refuse_change();
CREATE TRIGGER holds_no_delete BEFORE DELETE ON holds FOR EACH ROW EXECUTE FUNCTION foodsafety_refuse_change();
CREATE TRIGGER holds_no_truncate BEFORE TRUNCATE ON holds FOR EACH STATEMENT EXECUTE FUNCTION foodsafety_refuse_change();
CREATE TRIGGER chills_final BEFORE UPDATE ON chills FOR EACH ROW WHEN (OLD.state IN ('FAILED', 'ABANDONED') AND NEW.state <> OLD.state) EXECUTE FUNCTION foodsafety_refuse_return();
CREATE TRIGGER deviations_final BEFORE UPDATE ON deviations FOR EACH ROW WHEN (OLD.state IN ('CLOSED') AND NEW.state <> OLD.state) EXECUTE FUNCTION foodsafety_refuse_return();
CREATE TRIGGER holds_final BEFORE UPDATE ON holds FOR EACH ROW WHEN (OLD.state IN ('LIFTED') AND NEW.state <> OLD.state) EXECUTE FUNCTION foodsafety_refuse_return();
