-- +goose Up

-- A named list of sites.
CREATE TABLE portfolio (
    organisation TEXT NOT NULL REFERENCES organisation (id),
    id           TEXT NOT NULL,
    created_at   INTEGER NOT NULL,
    name         TEXT NOT NULL,
    description  TEXT NOT NULL,
    PRIMARY KEY (organisation, id),
    UNIQUE (organisation, name)
) STRICT;
CREATE INDEX portfolio_by_age ON portfolio (organisation, created_at DESC, id DESC);

-- Structures and lines that rows of a file refer to by name.
CREATE TABLE preset (
    organisation TEXT NOT NULL REFERENCES organisation (id),
    kind         TEXT NOT NULL CHECK (kind IN ('structure', 'line')),
    name         TEXT NOT NULL,
    version      INTEGER NOT NULL CHECK (version >= 1),
    document     BLOB NOT NULL,
    PRIMARY KEY (organisation, kind, name)
) STRICT;

-- One row per site: what a portfolio lists, ranks and maps, kept narrow. It
-- always tells of the newest revision of the assessment.
CREATE TABLE portfolio_site (
    organisation       TEXT NOT NULL,
    portfolio          TEXT NOT NULL,
    assessment         TEXT NOT NULL,
    reference          TEXT NOT NULL,
    name               TEXT NOT NULL,
    reference_folded   TEXT NOT NULL,
    name_folded        TEXT NOT NULL,
    latitude           REAL NOT NULL,
    longitude          REAL NOT NULL,
    revision           INTEGER NOT NULL,
    ground_flashes     REAL NOT NULL, -- per km2 and year
    density_origin     TEXT NOT NULL,
    density_map        TEXT NOT NULL,
    worst_ratio        REAL NOT NULL, -- largest R / R_T
    loss_of_human_life REAL NOT NULL, -- largest R_1 per year
    excess             REAL NOT NULL, -- largest R - R_T per year, 0 if none
    persons_at_risk    REAL NOT NULL,
    acceptable         INTEGER NOT NULL,
    needed_protection  TEXT NOT NULL,
    required_devices   INTEGER NOT NULL,
    review_due         TEXT NOT NULL,
    engine             TEXT NOT NULL,
    input_hash         TEXT NOT NULL,
    created_at         INTEGER NOT NULL,
    updated_at         INTEGER NOT NULL,
    changed_by         TEXT, -- the work that wrote the newest revision
    before             BLOB, -- JSON: this row as it was until then
    PRIMARY KEY (organisation, assessment),
    FOREIGN KEY (organisation, assessment) REFERENCES assessment (organisation, id) ON DELETE CASCADE,
    FOREIGN KEY (organisation, portfolio) REFERENCES portfolio (organisation, id) ON DELETE CASCADE
) STRICT;
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
    organisation     TEXT NOT NULL,
    id               TEXT NOT NULL,
    portfolio        TEXT NOT NULL,
    kind             TEXT NOT NULL CHECK (kind IN ('import', 'assess')),
    mode             TEXT NOT NULL CHECK (mode IN ('all_or_nothing', 'good_rows_only')),
    state            TEXT NOT NULL CHECK (state IN ('reading', 'queued', 'running', 'done', 'refused', 'cancelled')),
    options          BLOB NOT NULL, -- JSON
    chunks           INTEGER NOT NULL DEFAULT 0,
    total            INTEGER NOT NULL DEFAULT 0, -- rows
    done             INTEGER NOT NULL DEFAULT 0,
    failed           INTEGER NOT NULL DEFAULT 0,
    unchanged        INTEGER NOT NULL DEFAULT 0,
    created_at       INTEGER NOT NULL,
    touched_at       INTEGER NOT NULL, -- rows were last added
    started_at       INTEGER,
    finished_at      INTEGER,
    cancel_requested INTEGER NOT NULL DEFAULT 0,
    PRIMARY KEY (organisation, id),
    FOREIGN KEY (organisation, portfolio) REFERENCES portfolio (organisation, id) ON DELETE CASCADE,
    CHECK (done + failed + unchanged <= total)
) STRICT;
CREATE INDEX work_of_portfolio ON work (organisation, portfolio, created_at DESC, id DESC);
CREATE INDEX work_unfinished ON work (organisation, id) WHERE state IN ('reading', 'queued', 'running');

-- Rows that are computed and stored together. A change of a chunk counts its steps.
CREATE TABLE work_chunk (
    organisation TEXT NOT NULL,
    work         TEXT NOT NULL,
    n            INTEGER NOT NULL CHECK (n >= 0),
    state        TEXT NOT NULL CHECK (state IN ('queued', 'done', 'cancelled')),
    step         INTEGER NOT NULL DEFAULT 0,
    rows         BLOB NOT NULL, -- JSON lines still to be done
    failed       BLOB NOT NULL, -- JSON lines that failed and can be tried again
    PRIMARY KEY (organisation, work, n),
    FOREIGN KEY (organisation, work) REFERENCES work (organisation, id) ON DELETE CASCADE
) STRICT;
CREATE INDEX work_chunk_queued ON work_chunk (organisation, work, n) WHERE state = 'queued';

CREATE TABLE work_fault (
    organisation TEXT NOT NULL,
    work         TEXT NOT NULL,
    row_number   INTEGER NOT NULL,
    n            INTEGER NOT NULL, -- within the row
    column_name  TEXT NOT NULL,
    value        TEXT NOT NULL,
    reason       TEXT NOT NULL,
    PRIMARY KEY (organisation, work, row_number, n),
    FOREIGN KEY (organisation, work) REFERENCES work (organisation, id) ON DELETE CASCADE
) STRICT;
