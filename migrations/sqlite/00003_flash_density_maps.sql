-- +goose Up

-- One row per flash-density map, kept narrow. The description is bytes,
-- because it comes back as it was given.
CREATE TABLE flash_density_map (
    organisation TEXT NOT NULL REFERENCES organisation (id),
    id           TEXT NOT NULL,
    created_at   INTEGER NOT NULL,
    name         TEXT NOT NULL,
    description  BLOB NOT NULL,
    size         INTEGER NOT NULL, -- bytes of all chunks
    PRIMARY KEY (organisation, id)
) STRICT;
CREATE INDEX flash_density_map_by_age ON flash_density_map (organisation, created_at DESC, id DESC);

-- The content of the maps, in pieces.
CREATE TABLE flash_density_map_chunk (
    organisation TEXT NOT NULL,
    map          TEXT NOT NULL,
    number       INTEGER NOT NULL CHECK (number >= 0),
    data         BLOB NOT NULL,
    PRIMARY KEY (organisation, map, number),
    FOREIGN KEY (organisation, map) REFERENCES flash_density_map (organisation, id) ON DELETE CASCADE
) STRICT;
