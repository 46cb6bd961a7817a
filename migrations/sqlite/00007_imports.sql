-- +goose Up

-- What rows were taken in a way the user should know of: in how many, and what.
ALTER TABLE work ADD COLUMN noted INTEGER NOT NULL DEFAULT 0;
ALTER TABLE work ADD COLUMN notes BLOB NOT NULL DEFAULT x''; -- JSON, or empty

-- Of the request that began it.
ALTER TABLE work ADD COLUMN idempotency_key TEXT;
ALTER TABLE work ADD COLUMN body_hash TEXT CHECK ((idempotency_key IS NULL) = (body_hash IS NULL));
CREATE UNIQUE INDEX work_by_key ON work (organisation, idempotency_key) WHERE idempotency_key IS NOT NULL;
