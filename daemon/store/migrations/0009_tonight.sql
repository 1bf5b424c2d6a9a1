-- Who had the night when a notice was decided; before, only calls carried it, in `calling`.
ALTER TABLE notice ADD COLUMN tonight TEXT;  -- JSON: the person, and when they confirmed it; NULL: the site doesn't ask
