-- Answers have names, so that a journal which hands its answers over brings each of them once; older ones are named by what they say.
-- What was handed over goes with what it is of, so that a number that is given again is not taken for it.
ALTER TABLE answers ADD COLUMN uid TEXT NOT NULL DEFAULT '';
CREATE INDEX answers_named ON answers (uid);

CREATE TABLE handed_answers (
    what   TEXT NOT NULL,
    answer INTEGER NOT NULL REFERENCES answers (seq) ON DELETE CASCADE,
    PRIMARY KEY (what, answer)
) WITHOUT ROWID;

CREATE TABLE handed_programmes (
    programme INTEGER PRIMARY KEY REFERENCES programmes (number) ON DELETE CASCADE
);
