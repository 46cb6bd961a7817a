-- +goose Up

-- Whose records they are. One local organisation for now.
CREATE TABLE organisation (
    id         uuid PRIMARY KEY,
    name       text NOT NULL
);
INSERT INTO organisation (id, name) VALUES ('00000000-0000-7000-8000-000000000001', 'local');

-- One row per assessment: what lists are ordered and filtered by, kept narrow.
-- The folded texts and the place are those of the newest revision.
CREATE TABLE assessment (
    organisation     uuid NOT NULL REFERENCES organisation (id),
    id               uuid NOT NULL,
    created_at       timestamptz NOT NULL, -- of the first revision; never changes
    newest           integer NOT NULL CHECK (newest >= 1),
    name_folded      text NOT NULL,
    reference_folded text NOT NULL,
    latitude         double precision NOT NULL CHECK (latitude BETWEEN -90 AND 90),
    longitude        double precision NOT NULL CHECK (longitude BETWEEN -180 AND 180),
    review_due       date NOT NULL,
    idempotency_key  text, -- of the request that created it
    body_hash        text,
    PRIMARY KEY (organisation, id),
    CHECK ((idempotency_key IS NULL) = (body_hash IS NULL))
);
CREATE INDEX assessment_by_age ON assessment (organisation, created_at DESC, id DESC);
CREATE UNIQUE INDEX assessment_by_key ON assessment (organisation, idempotency_key)
    WHERE idempotency_key IS NOT NULL;

-- One row per revision. Documents are bytes, because they come back as they were given.
CREATE TABLE revision (
    organisation     uuid NOT NULL,
    assessment       uuid NOT NULL,
    revision         integer NOT NULL CHECK (revision >= 1),
    created_at       timestamptz NOT NULL,
    name             text NOT NULL,
    reference        text NOT NULL,
    latitude         double precision NOT NULL,
    longitude        double precision NOT NULL,
    edition          text NOT NULL,
    engine           text NOT NULL,
    input_hash       text NOT NULL,
    definitions_hash text NOT NULL,
    review_due       date NOT NULL,
    input            bytea NOT NULL,
    result           bytea NOT NULL,
    worksheet        bytea NOT NULL,
    PRIMARY KEY (organisation, assessment, revision),
    FOREIGN KEY (organisation, assessment) REFERENCES assessment (organisation, id) ON DELETE CASCADE
);

-- +goose StatementBegin
CREATE FUNCTION refuse_update() RETURNS trigger LANGUAGE plpgsql AS $$
BEGIN
    RAISE EXCEPTION 'a stored revision never changes';
END
$$;
-- +goose StatementEnd
CREATE TRIGGER revision_never_changes BEFORE UPDATE ON revision
    FOR EACH ROW EXECUTE FUNCTION refuse_update();

-- lz4 costs a fraction of the default compression, where the server was built with it.
-- +goose StatementBegin
DO $$
BEGIN
    ALTER TABLE revision
        ALTER COLUMN input SET COMPRESSION lz4,
        ALTER COLUMN result SET COMPRESSION lz4,
        ALTER COLUMN worksheet SET COMPRESSION lz4;
EXCEPTION WHEN feature_not_supported THEN
    NULL;
END
$$;
-- +goose StatementEnd

-- The quantities (symbol, unit, clause, formula) that worksheets refer to by hash.
CREATE TABLE definitions (
    organisation uuid NOT NULL REFERENCES organisation (id),
    hash         text NOT NULL,
    document     bytea NOT NULL,
    PRIMARY KEY (organisation, hash)
);
