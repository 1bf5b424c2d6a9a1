-- Times are whole milliseconds since 1970-01-01 UTC; the views ending in _v show them as ISO 8601 in UTC.
-- Values are in base units: mm, L, L/min, kg, g/L, °C, mg/L, %, hPa, NTU or FNU.
-- Flags are QARTOD's: 1 pass, 2 not evaluated, 3 suspect, 4 fail, 9 missing.

CREATE TABLE site (
    version INTEGER PRIMARY KEY,  -- counts up from 1; the highest is in force
    json    TEXT NOT NULL         -- the site as it was checked, addresses and passwords left out
) STRICT;

CREATE TABLE sensor (
    key       INTEGER PRIMARY KEY,        -- what reading.sensor and rollup.sensor hold
    id        TEXT    NOT NULL,           -- id in the site file
    name      TEXT    NOT NULL,           -- for people, as it last was
    place     TEXT    NOT NULL,           -- drum:a, tank:t1, pump:p1, head, room
    quantity  TEXT    NOT NULL,           -- level, turbidity, …
    unit      TEXT    NOT NULL,           -- base unit of its readings
    every_ms  INTEGER NOT NULL,           -- how often it should speak
    in_site   INTEGER NOT NULL,           -- 1: in the site file now; 0: an old one, kept for its readings
    UNIQUE (id, place, quantity, unit)    -- a sensor that moves or changes its unit gets a new key
) STRICT;

CREATE TABLE reading (
    at     INTEGER NOT NULL,  -- when it was measured
    sensor INTEGER NOT NULL,  -- sensor.key
    value  REAL    NOT NULL,  -- base unit of the sensor
    flag   INTEGER NOT NULL,  -- aggregate flag
    tests  INTEGER NOT NULL,  -- 4 bits a test: gap, syntax, gross range, spike, rate, flat line; bit 24: next to a spike, bit 25: time didn't go forward
    lag    INTEGER NOT NULL,  -- arrival minus at, ms; negative when the sensor's clock is ahead
    PRIMARY KEY (at, sensor)
) STRICT, WITHOUT ROWID;

CREATE TABLE rollup (
    hour          INTEGER NOT NULL,  -- whole hours since 1970-01-01 UTC
    sensor        INTEGER NOT NULL,  -- sensor.key
    passed        INTEGER NOT NULL,  -- readings with flag 1
    not_evaluated INTEGER NOT NULL,  -- flag 2
    suspect       INTEGER NOT NULL,  -- flag 3
    failed        INTEGER NOT NULL,  -- flag 4
    missing       INTEGER NOT NULL,  -- flag 9
    least         REAL,              -- of the usable values (flags 1, 2, 3); NULL when there is none
    most          REAL,              -- likewise
    total         REAL    NOT NULL,  -- sum of the usable values: mean = total / (passed + not_evaluated + suspect)
    low           REAL,              -- the site's lower limit when the hour began to fill; NULL: no limit
    high          REAL,              -- upper limit, likewise
    below         INTEGER NOT NULL,  -- usable values below low
    above         INTEGER NOT NULL,  -- usable values above high
    longest_lag   INTEGER NOT NULL,  -- the longest lag, ms
    PRIMARY KEY (hour, sensor)
) STRICT, WITHOUT ROWID;

CREATE TABLE quarantine (
    number         INTEGER PRIMARY KEY,  -- counts up; only the newest are kept, all are counted
    received       INTEGER NOT NULL,
    topic          TEXT    NOT NULL,
    sensor         TEXT,                 -- id, where it is known
    reason         TEXT    NOT NULL,
    detail         TEXT    NOT NULL,     -- what was found and what was expected
    payload        BLOB    NOT NULL,     -- the first 64 KiB
    payload_length INTEGER NOT NULL      -- in full, bytes
) STRICT;

CREATE TABLE quarantine_count (
    hour   INTEGER NOT NULL,  -- of arrival, whole hours since 1970-01-01 UTC
    reason TEXT    NOT NULL,
    count  INTEGER NOT NULL,
    PRIMARY KEY (hour, reason)
) STRICT, WITHOUT ROWID;

CREATE TABLE field_log (  -- append-only: a correction is a new row that names the one it replaces
    entry_key   TEXT    PRIMARY KEY,
    at          INTEGER NOT NULL,  -- when it was done
    received    INTEGER NOT NULL,
    written_by  TEXT,
    replaces    TEXT,              -- entry_key of another row
    kind        TEXT    NOT NULL,
    deed        TEXT    NOT NULL   -- JSON: the kind and its figures
) STRICT, WITHOUT ROWID;
CREATE INDEX field_log_at ON field_log (at);

CREATE TABLE answer (
    notice INTEGER NOT NULL,  -- notice.number
    at     INTEGER NOT NULL,
    answered_by TEXT NOT NULL,  -- empty: nobody gave a name
    PRIMARY KEY (notice, at, answered_by)
) STRICT, WITHOUT ROWID;

CREATE TABLE forecast (
    at      INTEGER NOT NULL,  -- only what had arrived by then was used
    about   TEXT    NOT NULL,  -- 'drum', or 'supply': all drums of a pump
    id      TEXT    NOT NULL,  -- of the drum or the pump
    in_use  INTEGER NOT NULL,
    basis   TEXT,              -- 'level' or 'pump'; NULL: nothing could be said, and why says why
    volume  REAL,              -- L, heel included
    draw    REAL,              -- L/h
    p05     INTEGER,           -- empty at: 5 % chance before then; NULL with a basis: later than 72 h
    p25     INTEGER,
    p50     INTEGER,
    p75     INTEGER,
    p95     INTEGER,
    why     TEXT,
    PRIMARY KEY (at, about, id)
) STRICT, WITHOUT ROWID;

CREATE TABLE happening (
    at     INTEGER NOT NULL,  -- when it happened, not when it was noticed
    drum   TEXT    NOT NULL,
    kind   TEXT    NOT NULL,  -- refilled, draw-changed, ran-empty, level-doubted, level-believed
    what   TEXT    NOT NULL,  -- JSON: the kind and its figures
    PRIMARY KEY (at, drum, kind)
) STRICT, WITHOUT ROWID;

CREATE TABLE notice (
    number   INTEGER PRIMARY KEY,  -- the same number is the same notice
    at       INTEGER NOT NULL,
    kind     TEXT    NOT NULL,
    cause    TEXT    NOT NULL,
    drum     TEXT,
    priority TEXT    NOT NULL,     -- now, soon, morning
    replaces INTEGER,              -- number of another notice
    audience TEXT,                 -- contact id; NULL: everyone
    facts    TEXT    NOT NULL,     -- JSON: what the sentences were made from
    subject  TEXT    NOT NULL,
    text     TEXT    NOT NULL
) STRICT;
CREATE INDEX notice_at ON notice (at);

CREATE TABLE delivery (
    notice     INTEGER NOT NULL,  -- notice.number
    contact    TEXT    NOT NULL,
    channel    TEXT    NOT NULL,  -- email, mqtt
    state      TEXT    NOT NULL,  -- pending, sent, given-up
    attempts   INTEGER,           -- of a pending one
    at         INTEGER NOT NULL,  -- pending: next try; else when it was sent or given up
    error      TEXT,              -- what the last attempt said, or why it was given up
    PRIMARY KEY (notice, contact, channel)
) STRICT, WITHOUT ROWID;
CREATE INDEX delivery_pending ON delivery (state) WHERE state = 'pending';

CREATE TABLE session (
    only INTEGER PRIMARY KEY CHECK (only = 1),
    seen INTEGER NOT NULL  -- the last time that the broker session is known to have stood
) STRICT;

CREATE VIEW reading_v AS
SELECT strftime('%Y-%m-%dT%H:%M:%fZ', r.at / 1000.0, 'unixepoch') AS at,
       s.id AS sensor, s.place, s.quantity, r.value, s.unit, r.flag, r.lag / 1000.0 AS lag_s
FROM reading r JOIN sensor s ON s.key = r.sensor;

CREATE VIEW rollup_v AS
SELECT strftime('%Y-%m-%dT%H:00Z', r.hour * 3600, 'unixepoch') AS hour,
       s.id AS sensor, s.place, s.quantity, s.unit,
       r.passed + r.not_evaluated + r.suspect AS usable, r.failed, r.missing,
       r.least, r.total / nullif(r.passed + r.not_evaluated + r.suspect, 0) AS mean, r.most,
       r.low, r.high, r.below, r.above
FROM rollup r JOIN sensor s ON s.key = r.sensor;

CREATE VIEW quarantine_v AS
SELECT strftime('%Y-%m-%dT%H:%M:%fZ', received / 1000.0, 'unixepoch') AS received,
       topic, sensor, reason, detail, payload_length
FROM quarantine;

CREATE VIEW field_log_v AS
SELECT strftime('%Y-%m-%dT%H:%M:%fZ', at / 1000.0, 'unixepoch') AS at, written_by, kind, deed, entry_key, replaces
FROM field_log;

CREATE VIEW forecast_v AS
SELECT strftime('%Y-%m-%dT%H:%M:%SZ', at / 1000.0, 'unixepoch') AS at, about, id, in_use,
       coalesce(basis, 'none') AS basis, round(volume, 1) AS volume_l, round(draw, 2) AS draw_l_per_h,
       strftime('%Y-%m-%dT%H:%M:%SZ', p05 / 1000.0, 'unixepoch') AS earliest,
       strftime('%Y-%m-%dT%H:%M:%SZ', p50 / 1000.0, 'unixepoch') AS likely,
       strftime('%Y-%m-%dT%H:%M:%SZ', p95 / 1000.0, 'unixepoch') AS latest,
       why
FROM forecast;

CREATE VIEW happening_v AS
SELECT strftime('%Y-%m-%dT%H:%M:%SZ', at / 1000.0, 'unixepoch') AS at, drum, kind, what FROM happening;

CREATE VIEW notice_v AS
SELECT number, strftime('%Y-%m-%dT%H:%M:%SZ', at / 1000.0, 'unixepoch') AS at, kind, priority, drum, subject
FROM notice;

CREATE VIEW delivery_v AS
SELECT notice, contact, channel, state, attempts,
       strftime('%Y-%m-%dT%H:%M:%SZ', at / 1000.0, 'unixepoch') AS at, error
FROM delivery;
