-- What was written or rewritten and hasn't reached InfluxDB yet: names only, so that a row costs a few bytes.
-- Filled only while [influx] is set; a row goes when what it names has been forwarded.
CREATE TABLE journal (
    number INTEGER NOT NULL,  -- of the commit, counting up
    what   TEXT    NOT NULL,  -- table: reading, forecast, field_log, happening, notice, answer, quarantine_count
    newest INTEGER NOT NULL,  -- newest time of arrival, or of making, among what is named; ms
    names  BLOB    NOT NULL,  -- pairs (time, sensor.key or 0), each as difference to the one before, as varints
    PRIMARY KEY (number, what)
) STRICT, WITHOUT ROWID;

CREATE TABLE rejected (  -- points that InfluxDB refuses, or that can't be written for it; only the newest are kept
    number   INTEGER PRIMARY KEY,
    rejected INTEGER NOT NULL,  -- when
    point    TEXT    NOT NULL,  -- line protocol with times in ms, or what it is about
    reason   TEXT    NOT NULL
) STRICT;

CREATE VIEW rejected_v AS
SELECT strftime('%Y-%m-%dT%H:%M:%SZ', rejected / 1000.0, 'unixepoch') AS rejected, reason, point FROM rejected;
