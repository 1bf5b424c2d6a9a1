-- How a notice calls people, and by when whoever answers will be there. `audience` may name several contacts.
ALTER TABLE notice ADD COLUMN calling TEXT;      -- JSON: why now, how pressing, who is called next; NULL: nobody is called
ALTER TABLE answer ADD COLUMN there_by INTEGER;  -- NULL: no time was given
DROP VIEW notice_v;
CREATE VIEW notice_v AS
SELECT number, strftime('%Y-%m-%dT%H:%M:%SZ', at / 1000.0, 'unixepoch') AS at, kind, priority, drum,
       ifnull(audience, 'everyone') AS audience, calling ->> 'call' AS called, subject
FROM notice;
