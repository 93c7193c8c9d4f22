-- What a server has beneath the tables of journals. Run by whoever sets it up, in one transaction; on a server that has it, it changes
-- nothing. Tables with the rows of all journals stand in the schema niner. In niner_open each shows the one journal that a session has
-- open, whose number is its setting niner.journal: the same queries are asked there as of a file.
CREATE SCHEMA IF NOT EXISTS niner;
CREATE SCHEMA IF NOT EXISTS niner_open;

-- Up to which step the tables of a kind of journal are made.
CREATE TABLE IF NOT EXISTS niner.versions (
    word    text COLLATE "C" PRIMARY KEY,
    version integer NOT NULL
);

-- Every journal; `last` and `digest` are the number and the digest of its last row.
CREATE TABLE IF NOT EXISTS niner.journals (
    number integer GENERATED ALWAYS AS IDENTITY PRIMARY KEY,
    word   text COLLATE "C" NOT NULL REFERENCES niner.versions (word),
    name   text COLLATE "C" NOT NULL,
    made   timestamptz NOT NULL DEFAULT now(),
    maker  text COLLATE "C" NOT NULL DEFAULT session_user,
    last   bigint NOT NULL DEFAULT 0,
    digest text COLLATE "C",
    UNIQUE (word, name)
);

-- What each role sees and makes is said beside its rights (setting_up.py); the owner sees all.
ALTER TABLE niner.journals ENABLE ROW LEVEL SECURITY;

CREATE OR REPLACE FUNCTION niner.refuse() RETURNS trigger LANGUAGE plpgsql SET search_path = pg_catalog AS $$
BEGIN
    RAISE EXCEPTION USING MESSAGE = TG_ARGV[0], ERRCODE = 'integrity_constraint_violation';
END
$$;

-- Rows are added behind the last one, numbered without gaps, each with the digest of the one before; then everybody is told. It runs with
-- the rights of its owner: nobody else can change what is known of the last row.
CREATE OR REPLACE FUNCTION niner.follow() RETURNS trigger LANGUAGE plpgsql SECURITY DEFINER SET search_path = pg_catalog AS $$
DECLARE
    new record;
    was record;
BEGIN
    SELECT count(*) AS rows, min(journal) AS journal, max(journal) AS other, min(seq) AS first, max(seq) AS last INTO new FROM added;
    IF new.rows = 0 THEN
        RETURN NULL;
    END IF;
    SELECT last, digest INTO was FROM niner.journals WHERE number = new.journal FOR UPDATE;
    IF new.journal <> new.other OR new.first <> was.last + 1 OR new.last - new.first + 1 <> new.rows OR EXISTS (
        SELECT FROM (SELECT seq, before, lag(digest, 1, was.digest) OVER (ORDER BY seq) AS covered FROM added) AS pair
        WHERE covered IS DISTINCT FROM before AND (seq > 1 OR before IS NULL)
    ) THEN
        RAISE EXCEPTION 'rows do not follow the last one' USING ERRCODE = 'integrity_constraint_violation';
    END IF;
    UPDATE niner.journals SET last = new.last, digest = (SELECT digest FROM added WHERE seq = new.last) WHERE number = new.journal;
    PERFORM pg_notify('niner', new.journal::text);
    RETURN NULL;
END
$$;
