-- When a letter was first tried: by this we see which ones have waited too long.
ALTER TABLE outbox ADD COLUMN first_attempt_ms BIGINT;
CREATE INDEX outbox_sent ON outbox (done_ms) WHERE state = 'sent';
