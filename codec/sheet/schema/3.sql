-- How sure the lap of an entry is.
ALTER TABLE entries ADD COLUMN lap_certainty REAL;
