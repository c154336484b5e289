-- Manifests that stand on a drive and that nobody knew here.

CREATE TABLE met (
    id          INTEGER PRIMARY KEY,
    day         TEXT NOT NULL,
    number      INTEGER NOT NULL,
    sha256      TEXT NOT NULL,
    destination TEXT NOT NULL,
    root        TEXT NOT NULL,
    at          INTEGER NOT NULL,
    ours        INTEGER NOT NULL CHECK (ours IN (0, 1)),
    loose       INTEGER NOT NULL CHECK (loose IN (0, 1)),
    UNIQUE (day, number, root)
) STRICT;
