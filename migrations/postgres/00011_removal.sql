-- +goose Up

-- When somebody may go on with the removal of a portfolio; NULL: it is not being removed. Its name is free from then on.
ALTER TABLE portfolio ADD COLUMN removal_due timestamptz;
ALTER TABLE portfolio DROP CONSTRAINT portfolio_organisation_name_key;
CREATE UNIQUE INDEX portfolio_name ON portfolio (organisation, name) WHERE removal_due IS NULL;

-- Those whose removal goes on are asked for twice a second.
CREATE INDEX portfolio_removal ON portfolio (organisation, removal_due) WHERE removal_due IS NOT NULL;
