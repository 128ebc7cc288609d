-- What became of the last back-up that is good, the last that failed, and the restoring that this file came from. Outside the
-- book, and not in a back-up: it is about files elsewhere.
CREATE TABLE backup_told (
    what    TEXT PRIMARY KEY CHECK (what IN ('good', 'failed', 'restored')),
    at      INTEGER NOT NULL,
    took_ms INTEGER NOT NULL,
    file    TEXT NOT NULL,
    bytes   INTEGER NOT NULL,
    size    INTEGER NOT NULL,
    root    TEXT NOT NULL,
    says    TEXT NOT NULL
) STRICT, WITHOUT ROWID;
