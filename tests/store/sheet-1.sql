PRAGMA application_id = 1312378450;
PRAGMA user_version = 1;
BEGIN TRANSACTION;
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
INSERT INTO "entries" VALUES(1,'a1','2026-05-02T12:00:00.000Z','ana','car','7',NULL,'',NULL,'','','Ilse Marrow','','',NULL,'',NULL,NULL,'','0190e15d2b87fde1');
INSERT INTO "entries" VALUES(2,'b1','2026-05-02T12:00:01.000Z','ana','report','7',1,'order',80000,'car','seven one six four six','lap','71646','{"lap":"7","energy":"-0.4","battery":"46"}',NULL,'',1.0,NULL,'','f229eb41feb4aaaa');
INSERT INTO "entries" VALUES(3,'b2','2026-05-02T12:00:02.000Z','ana','report','7',2,'order',160000,'car','seven one six four six','lap','71646','{"lap":"7","energy":"-0.4","battery":"46"}',NULL,'',0.97,NULL,'','10e187bead68d226');
INSERT INTO "entries" VALUES(4,'c','2026-05-02T12:00:03.000Z','ana','event','',NULL,'',NULL,'','','added','','','2.5','',NULL,NULL,'','ea390557c53dbad8');
INSERT INTO "entries" VALUES(5,'d','2026-05-02T12:00:04.000Z','ana','withdrawal','',NULL,'',NULL,'','','','','',NULL,'',NULL,4,'Željka said „no“','c55e5374b691a2db');
INSERT INTO "entries" VALUES(6,'e','2026-05-02T12:00:05.000Z','ana','report','7',3,'',NULL,'','xxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxx six','','','',NULL,'unknown-word',NULL,NULL,'','49e01ab407d2488a');
CREATE TABLE facts (
    name TEXT PRIMARY KEY NOT NULL,
    text TEXT NOT NULL
) WITHOUT ROWID;
INSERT INTO "facts" VALUES('book','# A first code book: three fields, one message. The driver of the invented team Corvane reads it once a lap:
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
INSERT INTO "facts" VALUES('digest','7018b269b457baf2a4dba8098f2c95ffefbcd6845c57740d709b93509a3ab998');
INSERT INTO "facts" VALUES('name','starter');
CREATE TRIGGER entries_stay BEFORE UPDATE ON entries BEGIN SELECT RAISE(ABORT, 'entries are never changed'); END;
CREATE TRIGGER entries_last BEFORE DELETE ON entries BEGIN SELECT RAISE(ABORT, 'entries are never deleted'); END;
CREATE TRIGGER facts_stay BEFORE UPDATE ON facts BEGIN SELECT RAISE(ABORT, 'facts are never changed'); END;
CREATE TRIGGER facts_last BEFORE DELETE ON facts BEGIN SELECT RAISE(ABORT, 'facts are never deleted'); END;
DELETE FROM "sqlite_sequence";
INSERT INTO "sqlite_sequence" VALUES('entries',6);
COMMIT;
