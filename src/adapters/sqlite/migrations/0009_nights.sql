-- What the places' own thermometers showed, a night at a time. A night that is read again with another value is a new row:
-- what was known before can still be asked for.
CREATE TABLE night (
    site TEXT NOT NULL,
    morning TEXT NOT NULL,
    entered_ms BIGINT NOT NULL,
    low_c DOUBLE PRECISION NOT NULL,
    high_c DOUBLE PRECISION,
    PRIMARY KEY (site, morning, entered_ms)
);
CREATE TRIGGER night_never_changes BEFORE UPDATE ON night
BEGIN SELECT RAISE(ABORT, 'a reading is kept as it was'); END;
