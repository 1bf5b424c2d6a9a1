-- When a drum was to come down to a mark, and when it did: the forecasts are scored by it.
CREATE TABLE mark_forecast (
    made  INTEGER NOT NULL,  -- when it was said
    drum  TEXT    NOT NULL,
    mark  REAL    NOT NULL,  -- L, heel included
    lead  TEXT    NOT NULL,  -- how far ahead the likely time was: 0-3h, 3-6h, 6-12h, 12-24h
    p05   INTEGER,           -- at the mark: 5 % chance before then; NULL: later than 72 h
    p25   INTEGER,
    p50   INTEGER,
    p75   INTEGER,
    p95   INTEGER,
    fate  TEXT    NOT NULL,  -- open; came; dropped: a refill, a change or a doubt came first
    came  INTEGER,           -- when the volume came down to the mark
    PRIMARY KEY (made, drum, mark)
) STRICT, WITHOUT ROWID;

CREATE VIEW mark_forecast_v AS
SELECT strftime('%Y-%m-%dT%H:%M:%SZ', made / 1000.0, 'unixepoch') AS made, drum, mark AS mark_l, lead, fate,
       strftime('%Y-%m-%dT%H:%M:%SZ', p05 / 1000.0, 'unixepoch') AS earliest,
       strftime('%Y-%m-%dT%H:%M:%SZ', p50 / 1000.0, 'unixepoch') AS likely,
       strftime('%Y-%m-%dT%H:%M:%SZ', p95 / 1000.0, 'unixepoch') AS latest,
       strftime('%Y-%m-%dT%H:%M:%SZ', came / 1000.0, 'unixepoch') AS came
FROM mark_forecast;
