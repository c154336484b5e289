-- A row that could not be read. Not all of them are read at a start: who finds one notes it, and the
-- next start takes the catalogue for damaged.

CREATE TABLE damage (
    found TEXT NOT NULL
) STRICT;
