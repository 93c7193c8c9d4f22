-- The journal of drills. Answers are added and never changed; a person may be taken out with all that is theirs.
CREATE TABLE books (
    digest TEXT PRIMARY KEY NOT NULL,
    name   TEXT NOT NULL,
    text   TEXT NOT NULL
) WITHOUT ROWID;

CREATE TABLE people (
    number INTEGER PRIMARY KEY,
    name   TEXT NOT NULL UNIQUE
);

CREATE TABLE answers (
    seq      INTEGER PRIMARY KEY,
    person   INTEGER NOT NULL REFERENCES people (number) ON DELETE CASCADE,
    book     TEXT NOT NULL REFERENCES books (digest),
    at       TEXT NOT NULL,
    session  TEXT NOT NULL,
    drill    TEXT NOT NULL,
    kind     TEXT NOT NULL,
    part_of  TEXT NOT NULL,
    shown    TEXT NOT NULL,
    answer   TEXT NOT NULL,
    said     TEXT NOT NULL,
    outcome  TEXT NOT NULL,
    refusal  TEXT NOT NULL,
    first    REAL,
    last     REAL,
    done     REAL,
    repeats  INTEGER NOT NULL,
    noise    TEXT NOT NULL,
    pace     REAL,
    marks    INTEGER NOT NULL,
    missed   INTEGER NOT NULL,
    reaction REAL
);

CREATE INDEX answers_of ON answers (person, seq);
CREATE TRIGGER answers_stay BEFORE UPDATE ON answers BEGIN SELECT RAISE(ABORT, 'answers are never changed'); END;
