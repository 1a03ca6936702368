-- Exposure memory: spells in which a circuit stood past its own limit, one row a spell. `instance` is empty where there
-- is one circuit of the kind. Whoever judged the cold (a forecast or a thermometer) is part of the document.
CREATE TABLE exposure (
    boat TEXT NOT NULL,
    circuit TEXT NOT NULL,
    instance TEXT NOT NULL,
    from_ms BIGINT NOT NULL,
    to_ms BIGINT NOT NULL,
    document TEXT NOT NULL,
    PRIMARY KEY (boat, circuit, instance, from_ms)
);
