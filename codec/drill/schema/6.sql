-- Whether drills are handed over to a journal on a server, as was settled here: nothing goes where nobody said so.
CREATE TABLE handing (
    place  TEXT PRIMARY KEY NOT NULL,
    agreed INTEGER NOT NULL
) WITHOUT ROWID;
