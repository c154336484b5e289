-- A day and a card are read without all the others.

CREATE INDEX recording_of_day ON recording (day);
CREATE INDEX recording_of_load ON recording (load);
