-- Each delivery with when its notice was decided and how often it was tried, also once it is over; `channel` may be
-- webhook and command, too. `attempts` of what was over before is NULL: it wasn't counted.
DROP VIEW delivery_v;
CREATE VIEW delivery_v AS
SELECT d.notice, d.contact, d.channel, d.state, d.attempts,
       strftime('%Y-%m-%dT%H:%M:%SZ', n.at / 1000.0, 'unixepoch') AS decided,
       strftime('%Y-%m-%dT%H:%M:%SZ', d.at / 1000.0, 'unixepoch') AS at, d.error, d.times
FROM delivery d LEFT JOIN notice n ON n.number = d.notice;
