-- The yard as last imported: one JSON document per row, with the key beside it.
CREATE TABLE site (id TEXT PRIMARY KEY NOT NULL, document TEXT NOT NULL);
CREATE TABLE person (id TEXT PRIMARY KEY NOT NULL, document TEXT NOT NULL);
CREATE TABLE boat (id TEXT PRIMARY KEY NOT NULL, site TEXT NOT NULL, document TEXT NOT NULL);

-- The lay-up log: append-only. `document` is the event without its free texts; `text_hashes` maps the name of each
-- free text to SHA-256 over its salt and itself; `hash` covers the row and the hash of the row before.
CREATE TABLE log (
    seq INTEGER PRIMARY KEY NOT NULL,
    event_id TEXT NOT NULL UNIQUE,
    boat TEXT,
    site TEXT,
    happened_ms BIGINT NOT NULL,
    recorded_ms BIGINT NOT NULL,
    entered_ms BIGINT NOT NULL,
    document TEXT NOT NULL,
    text_hashes TEXT NOT NULL,
    hash TEXT NOT NULL
);
CREATE INDEX log_by_boat ON log (boat, seq);
CREATE INDEX log_by_site ON log (site, seq) WHERE boat IS NULL;
CREATE TRIGGER log_never_changes BEFORE UPDATE ON log
BEGIN SELECT RAISE(ABORT, 'the lay-up log is append-only: record a correction instead'); END;
CREATE TRIGGER log_never_forgets BEFORE DELETE ON log
BEGIN SELECT RAISE(ABORT, 'the lay-up log is append-only: nothing is deleted from it'); END;

-- The free texts stand apart, so that one can be erased and the chain still holds.
CREATE TABLE log_text (
    seq BIGINT NOT NULL REFERENCES log (seq),
    field TEXT NOT NULL,
    salt TEXT,
    text TEXT,
    erased_ms BIGINT,
    PRIMARY KEY (seq, field)
) WITHOUT ROWID;
CREATE TRIGGER log_text_is_only_erased BEFORE UPDATE ON log_text
WHEN NEW.text IS NOT NULL OR NEW.salt IS NOT NULL OR NEW.erased_ms IS NULL
    OR NEW.seq <> OLD.seq OR NEW.field <> OLD.field
BEGIN SELECT RAISE(ABORT, 'a text of the lay-up log can be erased, not changed'); END;
CREATE TRIGGER log_text_never_forgets BEFORE DELETE ON log_text
BEGIN SELECT RAISE(ABORT, 'a text of the lay-up log can be erased, not deleted'); END;
