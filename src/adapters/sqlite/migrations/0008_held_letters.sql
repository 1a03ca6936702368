-- A letter to an owner that waits for the yard: until when, until when at most, when it could have gone without that, who
-- said what about it, and what it was written from, so that the yard can add a word.
ALTER TABLE outbox ADD COLUMN held_until_ms BIGINT;
ALTER TABLE outbox ADD COLUMN held_most_ms BIGINT;
ALTER TABLE outbox ADD COLUMN held_free_ms BIGINT;
ALTER TABLE outbox ADD COLUMN held_by TEXT;
ALTER TABLE outbox ADD COLUMN held_why TEXT;
ALTER TABLE outbox ADD COLUMN held_draft TEXT;
