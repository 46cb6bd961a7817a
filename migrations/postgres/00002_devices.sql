-- +goose Up

-- One row per organisation that has devices. The version counts the changes of
-- its library; every change takes the row first, so that changes follow each other.
CREATE TABLE device_library (
    organisation uuid PRIMARY KEY REFERENCES organisation (id),
    version      bigint NOT NULL
);

-- One row per device. The document is bytes, because it comes back as it was given.
CREATE TABLE device (
    organisation     uuid NOT NULL REFERENCES device_library (organisation),
    id               uuid NOT NULL,
    version          integer NOT NULL CHECK (version >= 1),
    reference        text NOT NULL, -- the maker's
    name             text NOT NULL,
    reference_folded text NOT NULL,
    name_folded      text NOT NULL,
    document         bytea NOT NULL,
    updated_at       timestamptz NOT NULL,
    withdrawn_at     timestamptz,
    changed_in       bigint NOT NULL, -- version of the library that this row came with
    PRIMARY KEY (organisation, id)
);
CREATE UNIQUE INDEX device_in_use ON device (organisation, reference) WHERE withdrawn_at IS NULL;
