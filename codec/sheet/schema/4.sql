-- The stretch of a recording that an entry was heard in.
ALTER TABLE entries ADD COLUMN sound TEXT;
