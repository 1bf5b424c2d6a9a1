-- How cloudy the clay makes the water, as the readings told: once a day, and when it moved by more than its doubt.
CREATE TABLE clay_yield (
    at           INTEGER PRIMARY KEY,  -- when it was reckoned
    ntu_per_mg_l REAL    NOT NULL,     -- x mg/L of clay give ntu_per_mg_l * x^exponent NTU above the background
    sd           REAL    NOT NULL,     -- its standard deviation, in the same unit
    exponent     REAL    NOT NULL,     -- 1 unless the readings ask for another
    since        INTEGER               -- since when it holds
) STRICT;

CREATE VIEW clay_yield_v AS
SELECT strftime('%Y-%m-%dT%H:%M:%SZ', at / 1000.0, 'unixepoch') AS at, round(ntu_per_mg_l, 3) AS ntu_per_mg_l,
       round(sd, 3) AS sd, round(exponent, 3) AS exponent,
       strftime('%Y-%m-%dT%H:%M:%SZ', since / 1000.0, 'unixepoch') AS since
FROM clay_yield;
