-- Copies without a promised flush: on which appearance of its volume each was written, and whether it
-- was read again after the volume came back. What was salvaged of unreadable recordings.

ALTER TABLE copy ADD COLUMN written_on TEXT NOT NULL DEFAULT '';
ALTER TABLE copy ADD COLUMN remounted INTEGER NOT NULL DEFAULT 0 CHECK (remounted IN (0, 1));

CREATE TABLE salvaged (
    id         INTEGER PRIMARY KEY,
    recording  INTEGER NOT NULL REFERENCES recording (id),
    appearance TEXT NOT NULL,
    missing    TEXT NOT NULL,
    kept       TEXT NOT NULL,
    at         INTEGER NOT NULL
) STRICT;

CREATE INDEX salvaged_of ON salvaged (recording);
