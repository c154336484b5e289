-- Days that were looked at again, and whose newest manifest still said what was known: a recheck
-- proves copies anew, and changes nothing that the manifest tells. `times` is the sum of the times of
-- all that was known of the day.

CREATE TABLE weighed (
    day   TEXT PRIMARY KEY,
    times INTEGER NOT NULL
) STRICT;
