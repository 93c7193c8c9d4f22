-- Every entry covers the digest of the one before; the sheet has a name of its own, and what it tells of its book stands in it twice.
ALTER TABLE entries ADD COLUMN "before" TEXT;

CREATE TABLE copies (
    number INTEGER PRIMARY KEY,
    name   TEXT NOT NULL,
    text   TEXT NOT NULL
);

CREATE TRIGGER facts_copied AFTER INSERT ON facts BEGIN INSERT INTO copies (name, text) VALUES (NEW.name, NEW.text); END;
CREATE TRIGGER copies_stay BEFORE UPDATE ON copies BEGIN SELECT RAISE(ABORT, 'facts are never changed'); END;
CREATE TRIGGER copies_last BEFORE DELETE ON copies BEGIN SELECT RAISE(ABORT, 'facts are never deleted'); END;
-- A program of an earlier version that still has the sheet open writes nothing more.
CREATE TRIGGER entries_follow BEFORE INSERT ON entries WHEN NEW."before" IS NULL BEGIN SELECT RAISE(ABORT, 'the sheet was taken on by a later version'); END;

INSERT INTO copies (name, text) SELECT name, text FROM facts;
-- A new sheet has its name already.
INSERT OR IGNORE INTO facts VALUES ('sheet', lower(hex(randomblob(16))));
