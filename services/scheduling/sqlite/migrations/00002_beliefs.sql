-- +goose Up

-- What the runs of a vessel have shown about it, as JSON; empty before the first one.
ALTER TABLE vessels ADD COLUMN belief text NOT NULL DEFAULT '';
