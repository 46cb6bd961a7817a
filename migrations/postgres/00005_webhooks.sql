-- +goose Up

-- Addresses that are told when an assessment changes.
CREATE TABLE webhook (
    organisation uuid NOT NULL REFERENCES organisation (id),
    id           uuid NOT NULL,
    created_at   timestamptz NOT NULL,
    url          text NOT NULL,
    events       text NOT NULL, -- names, each between spaces
    secret       text NOT NULL, -- what requests are signed with
    PRIMARY KEY (organisation, id)
);

-- What has to be told, and what came of it. A row is written together with the change it tells of.
CREATE TABLE webhook_delivery (
    organisation uuid NOT NULL,
    webhook      uuid NOT NULL,
    n            bigint GENERATED ALWAYS AS IDENTITY,
    event        text NOT NULL,
    assessment   uuid NOT NULL,
    revision     integer NOT NULL,
    reference    text NOT NULL,
    happened_at  timestamptz NOT NULL,
    state        text NOT NULL DEFAULT 'due' CHECK (state IN ('due', 'delivered', 'failed')),
    due_at       timestamptz NOT NULL,
    attempts     integer NOT NULL DEFAULT 0,
    attempted_at timestamptz, -- the newest attempt and what came of it
    duration_ms  bigint NOT NULL DEFAULT 0,
    status       integer NOT NULL DEFAULT 0, -- of the answer; 0: there was none
    response     text NOT NULL DEFAULT '',
    error        text NOT NULL DEFAULT '',
    PRIMARY KEY (organisation, webhook, n),
    FOREIGN KEY (organisation, webhook) REFERENCES webhook (organisation, id) ON DELETE CASCADE
);
CREATE INDEX webhook_delivery_due ON webhook_delivery (organisation, due_at, n) WHERE state = 'due';
CREATE INDEX webhook_delivery_settled ON webhook_delivery (organisation, attempted_at) WHERE state <> 'due';
