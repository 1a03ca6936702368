-- The newest answer of each service for each place that was refused because it cannot be true, with the reason: for whoever
-- asks why a forecast is missing. It never counts as a forecast. The body is gzipped, and cut where it is long.
CREATE TABLE refused (
    site TEXT NOT NULL,
    service TEXT NOT NULL,
    at_ms BIGINT NOT NULL,
    why TEXT NOT NULL,
    body BLOB NOT NULL,
    PRIMARY KEY (site, service)
);
