-- +goose Up

-- Tables of reviews: what a reader of the printed standards says of table values and formulas. They stay,
-- because results name the one they were computed with by its hash.
CREATE TABLE reviews (
    organisation uuid NOT NULL REFERENCES organisation (id),
    hash         text NOT NULL,
    stored_at    timestamptz NOT NULL, -- the last time it was put into use
    document     bytea NOT NULL,
    PRIMARY KEY (organisation, hash)
);

-- The one in use; no row: none.
CREATE TABLE reviews_in_use (
    organisation uuid PRIMARY KEY,
    hash         text NOT NULL,
    FOREIGN KEY (organisation, hash) REFERENCES reviews (organisation, hash)
);
