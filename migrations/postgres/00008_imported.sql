-- +goose Up

-- What the last import said of a site, and when that import was begun: its row decides alone
-- whether a file changes the site, and rows of an older import no longer do.
ALTER TABLE portfolio_site ADD COLUMN imported_hash text NOT NULL DEFAULT '',
    ADD COLUMN imported_at timestamptz NOT NULL DEFAULT 'epoch';

-- Rows of a re-assessment are sites.
ALTER TABLE work_fault ADD COLUMN assessment text NOT NULL DEFAULT '', ADD COLUMN reference text NOT NULL DEFAULT '';
