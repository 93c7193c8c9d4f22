PRAGMA application_id = 1312375890;
PRAGMA user_version = 1;
BEGIN TRANSACTION;
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
INSERT INTO "answers" VALUES(1,1,'7018b269b457baf2a4dba8098f2c95ffefbcd6845c57740d709b93509a3ab998','2026-05-02T12:00:06.000Z','s','read','symbol','','5','','','right','',0.5,1.0,2.0,0,'',NULL,0,0,NULL);
INSERT INTO "answers" VALUES(2,2,'7018b269b457baf2a4dba8098f2c95ffefbcd6845c57740d709b93509a3ab998','2026-05-02T12:00:07.000Z','s','read','symbol','','5','','','right','',0.5,1.0,2.0,0,'',NULL,0,0,NULL);
CREATE TABLE books (
    digest TEXT PRIMARY KEY NOT NULL,
    name   TEXT NOT NULL,
    text   TEXT NOT NULL
) WITHOUT ROWID;
INSERT INTO "books" VALUES('7018b269b457baf2a4dba8098f2c95ffefbcd6845c57740d709b93509a3ab998','starter','# A first code book: three fields, one message. The driver of the invented team Corvane reads it once a lap:
#   lap 7, energy 0.4 kWh under plan, battery 46 °C   →   7 16 46   →   "seven one six four six"
# Check it with:   niner book check examples/starter/starter.toml

title = "Starter book"

[fields.lap]
kind = "wrapped"          # only the last figure is said: lap 7, 17 and 27 are all "seven"
modulus = 10

[fields.energy]
label = "energy against plan"
kind = "quantity"
unit = "kWh"
low = -2.0
high = 2.0
step = 0.1
open = "both"             # the ends mean "or beyond"
limits = [{ below = -1.0, say = "energy well under plan" }]

[fields.battery]
kind = "quantity"
unit = "°C"
low = 20
high = 64
step = 1
limits = [{ above = 58, say = "battery hot" }]

[tables.lap]
kind = "digits"           # one digit

[tables.energy]
kind = "digits"           # two digits: 00 is -2.0 or less, 20 is on plan, 40 is +2.0 or more

[tables.battery]
kind = "digits"
count = "value"           # two digits: the temperature itself

[messages.lap]
label = "lap report"
layout = "lap energy battery"
');
CREATE TABLE people (
    number INTEGER PRIMARY KEY,
    name   TEXT NOT NULL UNIQUE
);
INSERT INTO "people" VALUES(1,'Ana');
INSERT INTO "people" VALUES(2,'Željka Ćosić');
CREATE INDEX answers_of ON answers (person, seq);
CREATE TRIGGER answers_stay BEFORE UPDATE ON answers BEGIN SELECT RAISE(ABORT, 'answers are never changed'); END;
COMMIT;
