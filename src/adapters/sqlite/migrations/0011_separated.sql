-- Blends that have been slush since they were filled in: ice floats, so that they have a weak layer from then on, longer than
-- the weather of the past is kept. `instance` is empty where there is one circuit of the kind; `since_ms` is when the blend
-- was filled in.
CREATE TABLE separated (
    boat TEXT NOT NULL,
    circuit TEXT NOT NULL,
    instance TEXT NOT NULL,
    since_ms BIGINT NOT NULL,
    seen_ms BIGINT NOT NULL,
    PRIMARY KEY (boat, circuit, instance, since_ms)
);
