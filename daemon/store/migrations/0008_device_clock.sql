-- By how much the clock of a reading's device was ahead. `at` stays what the device said, and the key; the reading was
-- measured at `at - ahead`. Rows of before are of clocks that were taken to be right.
ALTER TABLE reading ADD COLUMN ahead INTEGER NOT NULL DEFAULT 0;  -- ms; negative where the clock was behind
CREATE INDEX reading_ahead ON reading (at - ahead, sensor, at) WHERE ahead <> 0;

DROP VIEW reading_v;
CREATE VIEW reading_v AS
SELECT strftime('%Y-%m-%dT%H:%M:%fZ', (r.at - r.ahead) / 1000.0, 'unixepoch') AS at,
       s.id AS sensor, s.place, s.quantity, r.value, s.unit, r.flag, (r.lag + r.ahead) / 1000.0 AS lag_s,
       r.ahead / 1000.0 AS ahead_s
FROM reading r JOIN sensor s ON s.key = r.sensor;
