-- +goose Up

-- noted, notes: what rows were taken in a way the user should know of, in how many, and what (JSON, or empty).
-- idempotency_key, body_hash: of the request that began it.
ALTER TABLE work
    ADD COLUMN noted           bigint NOT NULL DEFAULT 0,
    ADD COLUMN notes           bytea NOT NULL DEFAULT '',
    ADD COLUMN idempotency_key text,
    ADD COLUMN body_hash       text,
    ADD CHECK ((idempotency_key IS NULL) = (body_hash IS NULL));
CREATE UNIQUE INDEX work_by_key ON work (organisation, idempotency_key) WHERE idempotency_key IS NOT NULL;
