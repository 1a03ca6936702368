-- What stations near a place measured, each reading once, with the time at which we first had it.
CREATE TABLE observation (
    site TEXT NOT NULL,
    station TEXT NOT NULL,
    at_ms BIGINT NOT NULL,
    fetched_ms BIGINT NOT NULL,
    document TEXT NOT NULL,
    PRIMARY KEY (site, station, at_ms)
);
CREATE INDEX observation_by_time ON observation (site, at_ms);
CREATE TRIGGER observation_never_changes BEFORE UPDATE ON observation
BEGIN SELECT RAISE(ABORT, 'a reading is kept as it was'); END;
