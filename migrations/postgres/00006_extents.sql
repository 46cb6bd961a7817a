-- +goose Up

-- The extent of a portfolio: its westernmost and easternmost site, its oldest and its newest revision.
-- The second one also finds the sites that were assessed in a span of time.
CREATE INDEX portfolio_site_longitude ON portfolio_site (organisation, portfolio, longitude);
CREATE INDEX portfolio_site_updated ON portfolio_site (organisation, portfolio, updated_at);
