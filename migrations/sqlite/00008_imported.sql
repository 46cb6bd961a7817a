-- +goose Up

-- What the last import said of a site, and when that import was begun: its row decides alone
-- whether a file changes the site, and rows of an older import no longer do.
ALTER TABLE portfolio_site ADD COLUMN imported_hash TEXT NOT NULL DEFAULT '';
ALTER TABLE portfolio_site ADD COLUMN imported_at INTEGER NOT NULL DEFAULT 0;

-- Rows of a re-assessment are sites.
ALTER TABLE work_fault ADD COLUMN assessment TEXT NOT NULL DEFAULT '';
ALTER TABLE work_fault ADD COLUMN reference TEXT NOT NULL DEFAULT '';
