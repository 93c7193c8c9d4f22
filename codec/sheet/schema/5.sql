-- A sheet that several desks keep in step: where an entry was made, as which number there, and what it was made over.
ALTER TABLE entries ADD COLUMN desk TEXT;
ALTER TABLE entries ADD COLUMN made INTEGER;
ALTER TABLE entries ADD COLUMN "over" TEXT;

-- The desks that have a sheet of their own of this one; `own` marks the one whose sheet this is, none where it is the one they share.
CREATE TABLE desks (
    name TEXT PRIMARY KEY NOT NULL,
    own  INTEGER NOT NULL
) WITHOUT ROWID;

CREATE TRIGGER desks_stay BEFORE UPDATE ON desks BEGIN SELECT RAISE(ABORT, 'desks are never changed'); END;
CREATE TRIGGER desks_last BEFORE DELETE ON desks BEGIN SELECT RAISE(ABORT, 'desks are never deleted'); END;
