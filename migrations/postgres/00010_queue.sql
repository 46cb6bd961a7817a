-- +goose Up

-- Chunks are claimed in their own table: nobody takes one before it is due, and a claim moves that
-- time to the end of its lease. The number of claims tells the newest one from those before.
ALTER TABLE work_chunk
    ADD COLUMN due_at timestamptz NOT NULL DEFAULT '1970-01-01 00:00:00+00',
    ADD COLUMN claims integer NOT NULL DEFAULT 0;

-- Deliveries are claimed for one webhook at a time.
DROP INDEX webhook_delivery_due;
CREATE INDEX webhook_delivery_due ON webhook_delivery (organisation, webhook, due_at, n) WHERE state = 'due';

-- Tables of the queue that chunks had before. What they said stands in the chunks.
DROP TABLE IF EXISTS river_notification, river_client_queue, river_client, river_job, river_leader, river_queue, river_migration;
DROP FUNCTION IF EXISTS river_job_state_in_bitmask(bit, river_job_state);
DROP FUNCTION IF EXISTS river_job_notify();
DROP TYPE IF EXISTS river_job_state;
