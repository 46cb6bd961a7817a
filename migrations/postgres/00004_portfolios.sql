-- +goose Up

-- A named list of sites.
CREATE TABLE portfolio (
    organisation uuid NOT NULL REFERENCES organisation (id),
    id           uuid NOT NULL,
    created_at   timestamptz NOT NULL,
    name         text NOT NULL,
    description  text NOT NULL,
    PRIMARY KEY (organisation, id),
    UNIQUE (organisation, name)
);
CREATE INDEX portfolio_by_age ON portfolio (organisation, created_at DESC, id DESC);

-- Structures and lines that rows of a file refer to by name.
CREATE TABLE preset (
    organisation uuid NOT NULL REFERENCES organisation (id),
    kind         text NOT NULL CHECK (kind IN ('structure', 'line')),
    name         text NOT NULL,
    version      integer NOT NULL CHECK (version >= 1),
    document     bytea NOT NULL,
    PRIMARY KEY (organisation, kind, name)
);

-- One row per site: what a portfolio lists, ranks and maps, kept narrow. It
-- always tells of the newest revision of the assessment.
CREATE TABLE portfolio_site (
    organisation       uuid NOT NULL,
    portfolio          uuid NOT NULL,
    assessment         uuid NOT NULL,
    reference          text NOT NULL,
    name               text NOT NULL,
    reference_folded   text NOT NULL,
    name_folded        text COLLATE "C" NOT NULL,
    latitude           double precision NOT NULL,
    longitude          double precision NOT NULL,
    revision           integer NOT NULL,
    ground_flashes     double precision NOT NULL, -- per km2 and year
    density_origin     text NOT NULL,
    density_map        text NOT NULL,
    worst_ratio        double precision NOT NULL, -- largest R / R_T
    loss_of_human_life double precision NOT NULL, -- largest R_1 per year
    excess             double precision NOT NULL, -- largest R - R_T per year, 0 if none
    persons_at_risk    double precision NOT NULL,
    acceptable         boolean NOT NULL,
    needed_protection  text NOT NULL,
    required_devices   integer NOT NULL,
    review_due         date NOT NULL,
    engine             text NOT NULL,
    input_hash         text NOT NULL,
    created_at         timestamptz NOT NULL,
    updated_at         timestamptz NOT NULL,
    changed_by         uuid,  -- the work that wrote the newest revision
    before             bytea, -- JSON: this row as it was until then
    PRIMARY KEY (organisation, assessment),
    FOREIGN KEY (organisation, assessment) REFERENCES assessment (organisation, id) ON DELETE CASCADE,
    FOREIGN KEY (organisation, portfolio) REFERENCES portfolio (organisation, id) ON DELETE CASCADE
);
CREATE UNIQUE INDEX portfolio_site_reference ON portfolio_site (organisation, portfolio, reference) WHERE reference <> '';
CREATE INDEX portfolio_site_ratio ON portfolio_site (organisation, portfolio, worst_ratio DESC, assessment DESC);
CREATE INDEX portfolio_site_excess ON portfolio_site (organisation, portfolio, excess DESC, assessment DESC);
CREATE INDEX portfolio_site_persons ON portfolio_site (organisation, portfolio, persons_at_risk DESC, assessment DESC);
CREATE INDEX portfolio_site_name ON portfolio_site (organisation, portfolio, name_folded, assessment);
CREATE INDEX portfolio_site_place ON portfolio_site (organisation, portfolio, latitude, longitude);
CREATE INDEX portfolio_site_due ON portfolio_site (organisation, portfolio, review_due);
CREATE INDEX portfolio_site_changed ON portfolio_site (organisation, portfolio, changed_by, assessment) WHERE before IS NOT NULL;

-- Imports and re-assessments.
CREATE TABLE work (
    organisation     uuid NOT NULL,
    id               uuid NOT NULL,
    portfolio        uuid NOT NULL,
    kind             text NOT NULL CHECK (kind IN ('import', 'assess')),
    mode             text NOT NULL CHECK (mode IN ('all_or_nothing', 'good_rows_only')),
    state            text NOT NULL CHECK (state IN ('reading', 'queued', 'running', 'done', 'refused', 'cancelled')),
    options          bytea NOT NULL, -- JSON
    chunks           integer NOT NULL DEFAULT 0,
    total            bigint NOT NULL DEFAULT 0, -- rows
    done             bigint NOT NULL DEFAULT 0,
    failed           bigint NOT NULL DEFAULT 0,
    unchanged        bigint NOT NULL DEFAULT 0,
    created_at       timestamptz NOT NULL,
    touched_at       timestamptz NOT NULL, -- rows were last added
    started_at       timestamptz,
    finished_at      timestamptz,
    cancel_requested boolean NOT NULL DEFAULT false,
    PRIMARY KEY (organisation, id),
    FOREIGN KEY (organisation, portfolio) REFERENCES portfolio (organisation, id) ON DELETE CASCADE,
    CHECK (done + failed + unchanged <= total)
);
CREATE INDEX work_of_portfolio ON work (organisation, portfolio, created_at DESC, id DESC);
CREATE INDEX work_unfinished ON work (organisation, id) WHERE state IN ('reading', 'queued', 'running');

-- Rows that are computed and stored together. A change of a chunk counts its steps.
CREATE TABLE work_chunk (
    organisation uuid NOT NULL,
    work         uuid NOT NULL,
    n            integer NOT NULL CHECK (n >= 0),
    state        text NOT NULL CHECK (state IN ('queued', 'done', 'cancelled')),
    step         integer NOT NULL DEFAULT 0,
    rows         bytea NOT NULL, -- JSON lines still to be done
    failed       bytea NOT NULL, -- JSON lines that failed and can be tried again
    PRIMARY KEY (organisation, work, n),
    FOREIGN KEY (organisation, work) REFERENCES work (organisation, id) ON DELETE CASCADE
);
CREATE INDEX work_chunk_queued ON work_chunk (organisation, work, n) WHERE state = 'queued';
-- +goose StatementBegin
DO $$
BEGIN
    ALTER TABLE work_chunk ALTER COLUMN rows SET COMPRESSION lz4, ALTER COLUMN failed SET COMPRESSION lz4;
EXCEPTION WHEN feature_not_supported THEN
    NULL;
END
$$;
-- +goose StatementEnd

CREATE TABLE work_fault (
    organisation uuid NOT NULL,
    work         uuid NOT NULL,
    row_number   bigint NOT NULL,
    n            integer NOT NULL, -- within the row
    column_name  text NOT NULL,
    value        text NOT NULL,
    reason       text NOT NULL,
    PRIMARY KEY (organisation, work, row_number, n),
    FOREIGN KEY (organisation, work) REFERENCES work (organisation, id) ON DELETE CASCADE
);
