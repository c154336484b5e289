-- What the catalogue keeps: one table for each kind of fact, each row as it stands now.
-- `id` and every other reference are the model's own numbers. `at` columns are seconds since 1970,
-- UTC. Paths are BLOBs: they come from cards and need not be UTF-8. JSON columns hold nested values.

CREATE TABLE load (
    id       INTEGER PRIMARY KEY,
    source   TEXT NOT NULL,
    role     TEXT NOT NULL,
    identity TEXT NOT NULL,
    label    TEXT NOT NULL,
    folder   BLOB NOT NULL,
    disks    TEXT NOT NULL,
    seen_at  INTEGER NOT NULL,
    day      TEXT NOT NULL
) STRICT;

CREATE TABLE listing (
    load    INTEGER PRIMARY KEY REFERENCES load (id),
    at      INTEGER NOT NULL,
    files   INTEGER NOT NULL,
    untaken INTEGER NOT NULL,
    litter  TEXT NOT NULL,
    skipped TEXT NOT NULL
) STRICT;

-- `stamp` is JSON because a time in ns beyond the year 2262 does not fit 64 bits.
-- `gone` marks the one recording that is no more and had the highest id, so that it is not reused.
CREATE TABLE recording (
    id          INTEGER PRIMARY KEY,
    load        INTEGER NOT NULL REFERENCES load (id),
    path        BLOB NOT NULL,
    stamp       TEXT NOT NULL,
    seen_at     INTEGER NOT NULL,
    day         TEXT NOT NULL,
    place       BLOB NOT NULL,
    version     INTEGER NOT NULL,
    description TEXT NOT NULL,
    gone        INTEGER NOT NULL DEFAULT 0 CHECK (gone IN (0, 1))
) STRICT;

CREATE INDEX the_gone ON recording (id) WHERE gone;

CREATE TABLE reading (
    id           INTEGER PRIMARY KEY,
    recording    INTEGER NOT NULL REFERENCES recording (id),
    xxh64        TEXT NOT NULL,
    sha256       TEXT NOT NULL,
    at           INTEGER NOT NULL,
    seen         TEXT NOT NULL,
    frames       INTEGER,
    digest       TEXT,
    blocks       BLOB,
    block_frames INTEGER
) STRICT;

CREATE INDEX reading_of ON reading (recording);

CREATE TRIGGER only_the_unread_can_be_gone BEFORE UPDATE OF gone ON recording
WHEN new.gone AND EXISTS (SELECT 1 FROM reading WHERE recording = new.id)
BEGIN
    SELECT raise(ABORT, 'a recording that was read cannot be gone');
END;

CREATE TABLE copy (
    id          INTEGER PRIMARY KEY,
    recording   INTEGER NOT NULL REFERENCES recording (id),
    destination TEXT NOT NULL,
    root        TEXT NOT NULL,
    disks       TEXT NOT NULL,
    path        BLOB NOT NULL,
    at          INTEGER NOT NULL,
    seen        TEXT NOT NULL,
    durable     INTEGER NOT NULL CHECK (durable IN (0, 1)),
    mtime       TEXT NOT NULL,
    UNIQUE (recording, root, path)
) STRICT;

CREATE TABLE broken (
    id          INTEGER PRIMARY KEY,
    recording   INTEGER NOT NULL REFERENCES recording (id),
    destination TEXT NOT NULL,
    root        TEXT NOT NULL,
    path        BLOB NOT NULL,
    why         TEXT NOT NULL,
    at          INTEGER NOT NULL
) STRICT;

CREATE INDEX broken_of ON broken (recording);

CREATE TABLE revision (
    id      INTEGER PRIMARY KEY,
    day     TEXT NOT NULL,
    number  INTEGER NOT NULL,
    name    TEXT NOT NULL,
    sha256  TEXT NOT NULL,
    at      INTEGER NOT NULL,
    verdict TEXT NOT NULL,
    basis   TEXT NOT NULL,
    UNIQUE (day, number)
) STRICT;

CREATE TABLE published (
    id          INTEGER PRIMARY KEY,
    day         TEXT NOT NULL,
    number      INTEGER NOT NULL,
    destination TEXT NOT NULL,
    root        TEXT NOT NULL,
    at          INTEGER NOT NULL,
    UNIQUE (day, number, root)
) STRICT;

CREATE TABLE trouble (
    id       INTEGER PRIMARY KEY,
    key      TEXT NOT NULL UNIQUE,
    code     TEXT NOT NULL,
    says     TEXT NOT NULL,
    do       TEXT NOT NULL,
    since    INTEGER NOT NULL,
    tries    INTEGER NOT NULL,
    retry_at INTEGER NOT NULL
) STRICT;

CREATE TABLE ack (
    id      INTEGER PRIMARY KEY,
    finding TEXT NOT NULL UNIQUE,
    note    TEXT NOT NULL,
    at      INTEGER NOT NULL
) STRICT;

CREATE TABLE receipt (
    id              INTEGER PRIMARY KEY,
    manifest_sha256 TEXT NOT NULL,
    day             TEXT NOT NULL,
    number          INTEGER NOT NULL,
    at              INTEGER NOT NULL,
    received_by     TEXT NOT NULL,
    signer          TEXT NOT NULL,
    intact          INTEGER NOT NULL,
    altered         TEXT NOT NULL,
    missing         TEXT NOT NULL,
    unknown         TEXT NOT NULL,
    confirmed       INTEGER NOT NULL
) STRICT;

-- AUTOINCREMENT: the number of a request is never given twice.
CREATE TABLE request (
    id    INTEGER PRIMARY KEY AUTOINCREMENT,
    kind  TEXT NOT NULL,
    about TEXT NOT NULL,
    at    INTEGER NOT NULL
) STRICT;

CREATE TABLE answer (
    id     INTEGER PRIMARY KEY REFERENCES request (id),
    answer TEXT NOT NULL,
    at     INTEGER NOT NULL
) STRICT;

CREATE TABLE folder (
    destination TEXT PRIMARY KEY,
    identity    TEXT NOT NULL
) STRICT;
