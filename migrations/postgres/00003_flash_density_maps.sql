-- +goose Up

-- One row per flash-density map, kept narrow. The description is bytes,
-- because it comes back as it was given.
CREATE TABLE flash_density_map (
    organisation uuid NOT NULL REFERENCES organisation (id),
    id           uuid NOT NULL,
    created_at   timestamptz NOT NULL,
    name         text NOT NULL,
    description  bytea NOT NULL,
    size         bigint NOT NULL, -- bytes of all chunks
    PRIMARY KEY (organisation, id)
);
CREATE INDEX flash_density_map_by_age ON flash_density_map (organisation, created_at DESC, id DESC);

-- The content of the maps, in pieces.
CREATE TABLE flash_density_map_chunk (
    organisation uuid NOT NULL,
    map          uuid NOT NULL,
    number       integer NOT NULL CHECK (number >= 0),
    data         bytea NOT NULL,
    PRIMARY KEY (organisation, map, number),
    FOREIGN KEY (organisation, map) REFERENCES flash_density_map (organisation, id) ON DELETE CASCADE
);
-- The content is compressed before it comes here.
ALTER TABLE flash_density_map_chunk ALTER COLUMN data SET STORAGE EXTERNAL;
