-- +goose Up

-- One row per organisation that has devices. The version counts the changes of
-- its library.
CREATE TABLE device_library (
    organisation TEXT NOT NULL PRIMARY KEY REFERENCES organisation (id),
    version      INTEGER NOT NULL
) STRICT, WITHOUT ROWID;

-- One row per device. The document is bytes, because it comes back as it was given.
CREATE TABLE device (
    organisation     TEXT NOT NULL REFERENCES device_library (organisation),
    id               TEXT NOT NULL,
    version          INTEGER NOT NULL CHECK (version >= 1),
    reference        TEXT NOT NULL, -- the maker's
    name             TEXT NOT NULL,
    reference_folded TEXT NOT NULL,
    name_folded      TEXT NOT NULL,
    document         BLOB NOT NULL,
    updated_at       INTEGER NOT NULL,
    withdrawn_at     INTEGER,
    changed_in       INTEGER NOT NULL, -- version of the library that this row came with
    PRIMARY KEY (organisation, id)
) STRICT;
CREATE UNIQUE INDEX device_in_use ON device (organisation, reference) WHERE withdrawn_at IS NULL;
