-- What a token is for, who made it, until when it is good, and when it was last used (to the hour).
ALTER TABLE token ADD COLUMN words TEXT NOT NULL DEFAULT '';
ALTER TABLE token ADD COLUMN made_by TEXT;
ALTER TABLE token ADD COLUMN until INTEGER;
ALTER TABLE token ADD COLUMN used_at INTEGER;
