-- +goose Up

-- How sure schedules are. What happens raises wanted; an outlook that was made for a lower number is outdated.
CREATE TABLE outlooks (
    schedule text PRIMARY KEY REFERENCES schedules (name),
    site text NOT NULL,
    wanted bigint NOT NULL CHECK (wanted > 0),
    made bigint NOT NULL CHECK (made >= 0 AND made <= wanted),
    assess_us bigint NOT NULL,
    doc text NOT NULL
);
CREATE INDEX outlooks_wanted ON outlooks (schedule) WHERE wanted > made;

-- What finished runs have shown of each kind of step in each class of vessel: number, mean and sum of squared deviations
-- of ln(real time / planned time).
CREATE TABLE paces (
    site text NOT NULL,
    kind text NOT NULL,
    vessel_class text NOT NULL,
    run_count bigint NOT NULL CHECK (run_count > 0),
    mean_log double precision NOT NULL,
    square_sum double precision NOT NULL CHECK (square_sum >= 0),
    PRIMARY KEY (site, kind, vessel_class)
);
