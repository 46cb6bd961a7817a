-- +goose Up

-- Tables of reviews: what a reader of the printed standards says of table values and formulas. They stay,
-- because results name the one they were computed with by its hash.
CREATE TABLE reviews (
    organisation TEXT NOT NULL REFERENCES organisation (id),
    hash         TEXT NOT NULL,
    stored_at    INTEGER NOT NULL, -- the last time it was put into use
    document     BLOB NOT NULL,
    PRIMARY KEY (organisation, hash)
) STRICT;

-- The one in use; no row: none.
CREATE TABLE reviews_in_use (
    organisation TEXT PRIMARY KEY,
    hash         TEXT NOT NULL,
    FOREIGN KEY (organisation, hash) REFERENCES reviews (organisation, hash)
) STRICT;
