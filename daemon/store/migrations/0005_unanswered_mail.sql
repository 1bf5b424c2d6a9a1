-- A mail server that took the data and never answered: the state 'unanswered', and how often that was.
ALTER TABLE delivery ADD COLUMN times INTEGER;  -- of an unanswered one
DROP INDEX delivery_pending;
CREATE INDEX delivery_pending ON delivery (state) WHERE state IN ('pending', 'unanswered');
DROP VIEW delivery_v;
CREATE VIEW delivery_v AS
SELECT notice, contact, channel, state, attempts,
       strftime('%Y-%m-%dT%H:%M:%SZ', at / 1000.0, 'unixepoch') AS at, error, times
FROM delivery;
