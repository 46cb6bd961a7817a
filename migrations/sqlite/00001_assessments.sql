-- +goose Up

-- Times are microseconds since 1970 (UTC), dates are days written as
-- YYYY-MM-DD, ids are UUIDs in lower case.

-- Whose records they are. One local organisation for now.
CREATE TABLE organisation (
    id   TEXT NOT NULL PRIMARY KEY,
    name TEXT NOT NULL
) STRICT, WITHOUT ROWID;
INSERT INTO organisation (id, name) VALUES ('00000000-0000-7000-8000-000000000001', 'local');

-- One row per assessment: what lists are ordered and filtered by, kept narrow.
-- The folded texts and the place are those of the newest revision.
CREATE TABLE assessment (
    organisation     TEXT NOT NULL REFERENCES organisation (id),
    id               TEXT NOT NULL,
    created_at       INTEGER NOT NULL, -- of the first revision; never changes
    newest           INTEGER NOT NULL CHECK (newest >= 1),
    name_folded      TEXT NOT NULL,
    reference_folded TEXT NOT NULL,
    latitude         REAL NOT NULL CHECK (latitude BETWEEN -90 AND 90),
    longitude        REAL NOT NULL CHECK (longitude BETWEEN -180 AND 180),
    review_due       TEXT NOT NULL,
    idempotency_key  TEXT, -- of the request that created it
    body_hash        TEXT,
    PRIMARY KEY (organisation, id),
    CHECK ((idempotency_key IS NULL) = (body_hash IS NULL))
) STRICT, WITHOUT ROWID;
CREATE INDEX assessment_by_age ON assessment (organisation, created_at DESC, id DESC);
CREATE UNIQUE INDEX assessment_by_key ON assessment (organisation, idempotency_key)
    WHERE idempotency_key IS NOT NULL;

-- One row per revision. Documents are bytes, because they come back as they were given.
-- The worksheet stands last, so that the other columns are read without it.
CREATE TABLE revision (
    organisation     TEXT NOT NULL,
    assessment       TEXT NOT NULL,
    revision         INTEGER NOT NULL CHECK (revision >= 1),
    created_at       INTEGER NOT NULL,
    name             TEXT NOT NULL,
    reference        TEXT NOT NULL,
    latitude         REAL NOT NULL,
    longitude        REAL NOT NULL,
    edition          TEXT NOT NULL,
    engine           TEXT NOT NULL,
    input_hash       TEXT NOT NULL,
    definitions_hash TEXT NOT NULL,
    review_due       TEXT NOT NULL,
    input            BLOB NOT NULL,
    result           BLOB NOT NULL,
    worksheet        BLOB NOT NULL,
    PRIMARY KEY (organisation, assessment, revision),
    FOREIGN KEY (organisation, assessment) REFERENCES assessment (organisation, id) ON DELETE CASCADE
) STRICT;

-- +goose StatementBegin
CREATE TRIGGER revision_never_changes BEFORE UPDATE ON revision
BEGIN
    SELECT RAISE(ABORT, 'a stored revision never changes');
END;
-- +goose StatementEnd

-- The quantities (symbol, unit, clause, formula) that worksheets refer to by hash.
CREATE TABLE definitions (
    organisation TEXT NOT NULL REFERENCES organisation (id),
    hash         TEXT NOT NULL,
    document     BLOB NOT NULL,
    PRIMARY KEY (organisation, hash)
) STRICT;
