-- The journal of one event. Entries are only ever added: the triggers refuse anything else, whoever asks.
-- `digest` covers all other columns of its row, so that a damaged row is told from a sound one, wherever it is found.
CREATE TABLE facts (
    name TEXT PRIMARY KEY NOT NULL,
    text TEXT NOT NULL
) WITHOUT ROWID;

CREATE TABLE entries (
    seq       INTEGER PRIMARY KEY AUTOINCREMENT,
    uid       TEXT NOT NULL UNIQUE,
    logged    TEXT NOT NULL,
    writer    TEXT NOT NULL,
    kind      TEXT NOT NULL,
    car       TEXT NOT NULL,
    lap       INTEGER,
    lap_by    TEXT NOT NULL,
    at        INTEGER,
    speaker   TEXT NOT NULL,
    heard     TEXT NOT NULL,
    message   TEXT NOT NULL,
    string    TEXT NOT NULL,
    "values"  TEXT NOT NULL,
    amount    TEXT,
    refusal   TEXT NOT NULL,
    certainty REAL,
    about     INTEGER REFERENCES entries (seq),
    note      TEXT NOT NULL,
    digest    TEXT NOT NULL
);

CREATE TRIGGER entries_stay BEFORE UPDATE ON entries BEGIN SELECT RAISE(ABORT, 'entries are never changed'); END;
CREATE TRIGGER entries_last BEFORE DELETE ON entries BEGIN SELECT RAISE(ABORT, 'entries are never deleted'); END;
CREATE TRIGGER facts_stay BEFORE UPDATE ON facts BEGIN SELECT RAISE(ABORT, 'facts are never changed'); END;
CREATE TRIGGER facts_last BEFORE DELETE ON facts BEGIN SELECT RAISE(ABORT, 'facts are never deleted'); END;
