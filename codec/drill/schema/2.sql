-- Glances: how long a string was flashed, whether it was drawn to measure that, at what speed, by how much the times may be off for
-- being those of two clocks. Corrections: an answer in place of another, which stays as it was and no longer counts.
ALTER TABLE answers ADD COLUMN exposure REAL;
ALTER TABLE answers ADD COLUMN measured INTEGER NOT NULL DEFAULT 0;
ALTER TABLE answers ADD COLUMN speed REAL;
ALTER TABLE answers ADD COLUMN clock_error REAL;
ALTER TABLE answers ADD COLUMN note TEXT NOT NULL DEFAULT '';
ALTER TABLE answers ADD COLUMN instead_of INTEGER NOT NULL DEFAULT 0;

CREATE TABLE withdrawals (
    answer INTEGER PRIMARY KEY REFERENCES answers (seq) ON DELETE CASCADE,
    at     TEXT NOT NULL
);
