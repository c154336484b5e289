-- What was measured of each channel (formats/levels), the blocks of channels, and what comparing
-- the samples of two recordings said.

ALTER TABLE reading ADD COLUMN coding TEXT;
ALTER TABLE reading ADD COLUMN levels BLOB NOT NULL DEFAULT x'';

-- `blocks` are those of one channel after the other, as many bytes each.
CREATE TABLE channel_blocks (
    recording    INTEGER PRIMARY KEY REFERENCES recording (id),
    first_sample INTEGER NOT NULL,
    channels     INTEGER NOT NULL,
    blocks       BLOB NOT NULL
) STRICT;

CREATE TABLE comparison (
    id    INTEGER PRIMARY KEY,
    sides TEXT NOT NULL UNIQUE,
    said  TEXT NOT NULL
) STRICT;
