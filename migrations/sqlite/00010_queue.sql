-- +goose Up

-- Chunks are claimed in their own table: nobody takes one before it is due, and a claim moves that
-- time to the end of its lease. The number of claims tells the newest one from those before.
ALTER TABLE work_chunk ADD COLUMN due_at INTEGER NOT NULL DEFAULT 0;
ALTER TABLE work_chunk ADD COLUMN claims INTEGER NOT NULL DEFAULT 0;

-- Deliveries are claimed for one webhook at a time.
DROP INDEX webhook_delivery_due;
CREATE INDEX webhook_delivery_due ON webhook_delivery (organisation, webhook, due_at, n) WHERE state = 'due';

-- When somebody may go on with the removal of a portfolio; NULL: it is not being removed.
ALTER TABLE portfolio ADD COLUMN removal_due INTEGER;
UPDATE portfolio SET removal_due = 0 WHERE name < char(1);

-- Tables of the queue that chunks had before. What they said stands in the chunks.
DROP TABLE IF EXISTS river_notification;
DROP TABLE IF EXISTS river_client_queue;
DROP TABLE IF EXISTS river_client;
DROP TABLE IF EXISTS river_job;
DROP TABLE IF EXISTS river_leader;
DROP TABLE IF EXISTS river_queue;
DROP TABLE IF EXISTS river_migration;
