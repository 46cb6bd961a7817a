-- +goose Up

-- Addresses that are told when an assessment changes.
CREATE TABLE webhook (
    organisation TEXT NOT NULL REFERENCES organisation (id),
    id           TEXT NOT NULL,
    created_at   INTEGER NOT NULL,
    url          TEXT NOT NULL,
    events       TEXT NOT NULL, -- names, each between spaces
    secret       TEXT NOT NULL, -- what requests are signed with
    PRIMARY KEY (organisation, id)
) STRICT;

-- What has to be told, and what came of it. A row is written together with the change it tells of.
CREATE TABLE webhook_delivery (
    n            INTEGER PRIMARY KEY AUTOINCREMENT,
    organisation TEXT NOT NULL,
    webhook      TEXT NOT NULL,
    event        TEXT NOT NULL,
    assessment   TEXT NOT NULL,
    revision     INTEGER NOT NULL,
    reference    TEXT NOT NULL,
    happened_at  INTEGER NOT NULL,
    state        TEXT NOT NULL DEFAULT 'due' CHECK (state IN ('due', 'delivered', 'failed')),
    due_at       INTEGER NOT NULL,
    attempts     INTEGER NOT NULL DEFAULT 0,
    attempted_at INTEGER, -- the newest attempt and what came of it
    duration_ms  INTEGER NOT NULL DEFAULT 0,
    status       INTEGER NOT NULL DEFAULT 0, -- of the answer; 0: there was none
    response     TEXT NOT NULL DEFAULT '',
    error        TEXT NOT NULL DEFAULT '',
    FOREIGN KEY (organisation, webhook) REFERENCES webhook (organisation, id) ON DELETE CASCADE
) STRICT;
CREATE INDEX webhook_delivery_log ON webhook_delivery (organisation, webhook, n);
CREATE INDEX webhook_delivery_due ON webhook_delivery (organisation, due_at, n) WHERE state = 'due';
CREATE INDEX webhook_delivery_settled ON webhook_delivery (organisation, attempted_at) WHERE state <> 'due';
