-- +goose Up

-- Events in the order of insertion. A row is never deleted by the relay: sent rows are the source of a replay.
CREATE TABLE outbox (
    seq         INTEGER PRIMARY KEY AUTOINCREMENT,
    id          TEXT   NOT NULL UNIQUE,
    subject     TEXT   NOT NULL,
    resource    TEXT   NOT NULL,
    time_us     BIGINT NOT NULL,
    payload     BLOB   NOT NULL,
    headers     TEXT   NOT NULL,
    created_us  BIGINT NOT NULL,
    sent_us     BIGINT NOT NULL DEFAULT 0 -- 0 = not yet acknowledged by the broker
);
CREATE INDEX outbox_unsent ON outbox (seq) WHERE sent_us = 0;
CREATE INDEX outbox_created ON outbox (created_us);

-- Events whose effect a consumer has committed.
CREATE TABLE inbox (
    consumer    TEXT   NOT NULL,
    event_id    TEXT   NOT NULL,
    applied_us  BIGINT NOT NULL,
    PRIMARY KEY (consumer, event_id)
) WITHOUT ROWID;

-- Events that a consumer could not handle, kept for a person.
CREATE TABLE parked_messages (
    consumer    TEXT   NOT NULL,
    event_id    TEXT   NOT NULL,
    subject     TEXT   NOT NULL,
    resource    TEXT   NOT NULL,
    time_us     BIGINT NOT NULL,
    payload     BLOB   NOT NULL,
    headers     TEXT   NOT NULL,
    cause       TEXT   NOT NULL,
    parked_us   BIGINT NOT NULL,
    PRIMARY KEY (consumer, event_id)
);

-- Responses of mutations that carried a request_id.
CREATE TABLE request_log (
    subject      TEXT   NOT NULL,
    method       TEXT   NOT NULL,
    request_id   TEXT   NOT NULL,
    request_hash BLOB   NOT NULL,
    response     BLOB, -- NULL while the first call runs
    created_us   BIGINT NOT NULL,
    PRIMARY KEY (subject, method, request_id)
);
CREATE INDEX request_log_created ON request_log (created_us);
