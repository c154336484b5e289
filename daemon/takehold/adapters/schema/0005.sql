-- Since which day what is not known yet of a listing was seen, by marks of its entries.

ALTER TABLE listing ADD COLUMN since TEXT NOT NULL DEFAULT '[]';
