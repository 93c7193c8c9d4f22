-- Programmes: what somebody wants to reach, from which day, in how many weeks, by how many sessions a week. The last one counts.
CREATE TABLE programmes (
    number   INTEGER PRIMARY KEY,
    person   INTEGER NOT NULL REFERENCES people (number) ON DELETE CASCADE,
    begins   TEXT NOT NULL,
    weeks    INTEGER NOT NULL,
    sessions INTEGER NOT NULL,
    share    REAL NOT NULL,
    exposure REAL NOT NULL,
    seconds  REAL NOT NULL
);
