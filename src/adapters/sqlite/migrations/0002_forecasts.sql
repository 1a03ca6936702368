-- Forecasts as they stood: every issue once, with the time of its first fetch.
CREATE TABLE forecast (
    id INTEGER PRIMARY KEY NOT NULL,
    site TEXT NOT NULL,
    service TEXT NOT NULL,
    issued_ms BIGINT NOT NULL,
    fetched_ms BIGINT NOT NULL,
    content_hash TEXT NOT NULL,
    content TEXT NOT NULL,
    UNIQUE (site, service, issued_ms, content_hash)
);
CREATE INDEX forecast_by_issue ON forecast (site, issued_ms, fetched_ms);
CREATE TRIGGER forecast_never_changes BEFORE UPDATE ON forecast
BEGIN SELECT RAISE(ABORT, 'a forecast is kept as it stood'); END;

-- What the next fetch needs to know: validators, expiry, failures; a document of the fetcher's own.
CREATE TABLE fetch_state (
    service TEXT NOT NULL,
    site TEXT NOT NULL,
    last_answer_ms BIGINT,
    document TEXT NOT NULL,
    PRIMARY KEY (service, site)
);
