-- Alerts as they stand now.
CREATE TABLE alert (
    id TEXT PRIMARY KEY NOT NULL,
    kind TEXT NOT NULL,
    boat TEXT,
    site TEXT NOT NULL,
    open BOOLEAN NOT NULL,
    revision BIGINT NOT NULL,
    raised_ms BIGINT NOT NULL,
    closed_ms BIGINT,
    document TEXT NOT NULL
);
CREATE INDEX alert_open ON alert (open, raised_ms);
CREATE INDEX alert_by_boat ON alert (boat, raised_ms);

-- Every transition with what it was decided on: append-only.
CREATE TABLE alert_log (
    seq INTEGER PRIMARY KEY NOT NULL,
    alert_id TEXT NOT NULL REFERENCES alert (id),
    revision BIGINT NOT NULL,
    at_ms BIGINT NOT NULL,
    change TEXT NOT NULL,
    decided_on TEXT NOT NULL
);
CREATE INDEX alert_log_by_alert ON alert_log (alert_id, seq);
CREATE TRIGGER alert_log_never_changes BEFORE UPDATE ON alert_log
BEGIN SELECT RAISE(ABORT, 'the log of alerts is append-only'); END;
CREATE TRIGGER alert_log_never_forgets BEFORE DELETE ON alert_log
BEGIN SELECT RAISE(ABORT, 'the log of alerts is append-only'); END;

-- Letters on their way out.
CREATE TABLE outbox (
    id INTEGER PRIMARY KEY NOT NULL,
    alert_id TEXT NOT NULL,
    revision BIGINT NOT NULL,
    recipient TEXT NOT NULL,
    channel TEXT NOT NULL,
    step BIGINT NOT NULL,
    kind TEXT NOT NULL,
    closing BOOLEAN NOT NULL,
    urgent BOOLEAN NOT NULL,
    thread TEXT NOT NULL,
    message_id TEXT NOT NULL,
    address TEXT NOT NULL,
    return_path TEXT NOT NULL,
    subject TEXT NOT NULL,
    bytes BLOB NOT NULL,
    queued_ms BIGINT NOT NULL,
    due_ms BIGINT NOT NULL,
    expires_ms BIGINT NOT NULL,
    state TEXT NOT NULL DEFAULT 'queued'
        CHECK (state IN ('queued', 'leased', 'sent', 'deferred', 'failed', 'expired', 'superseded')),
    attempts BIGINT NOT NULL DEFAULT 0,
    lease_until_ms BIGINT,
    last_attempt_ms BIGINT,
    done_ms BIGINT,
    fault TEXT,
    answer TEXT,
    UNIQUE (alert_id, revision, recipient, channel, step)
);
CREATE INDEX outbox_due ON outbox (channel, due_ms) WHERE state IN ('queued', 'leased', 'deferred');
CREATE INDEX outbox_by_thread ON outbox (thread, recipient, channel, revision);
CREATE INDEX outbox_by_recipient ON outbox (recipient, address, done_ms);

-- One row per background loop, and the last run of each thing that goes by the clock.
CREATE TABLE loop_status (
    name TEXT PRIMARY KEY NOT NULL,
    ok BOOLEAN NOT NULL,
    at_ms BIGINT NOT NULL,
    last_ok_ms BIGINT,
    text TEXT NOT NULL
);
CREATE TABLE last_run (name TEXT PRIMARY KEY NOT NULL, at_ms BIGINT NOT NULL);

-- How many rounds have been committed: two rounds decided on the same state cannot both land.
CREATE TABLE generation (one BIGINT PRIMARY KEY NOT NULL CHECK (one = 1), number BIGINT NOT NULL);
INSERT INTO generation (one, number) VALUES (1, 0);
