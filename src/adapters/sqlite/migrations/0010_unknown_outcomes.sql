-- How often nobody could tell whether the relay had taken a letter: each time it may have gone twice.
ALTER TABLE outbox ADD COLUMN unknown_times INTEGER NOT NULL DEFAULT 0;
