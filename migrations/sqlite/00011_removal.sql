-- +goose Up

-- Those whose removal goes on are asked for twice a second.
CREATE INDEX portfolio_removal ON portfolio (organisation, removal_due) WHERE removal_due IS NOT NULL;
