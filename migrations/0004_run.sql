-- The run somebody is on: which units, where from and where to. One to a person; its entries lie in the drafts of its units.
CREATE TABLE run (
    sign_in  TEXT PRIMARY KEY,
    body     TEXT NOT NULL,
    version  INTEGER NOT NULL,
    saved_at INTEGER NOT NULL
) STRICT, WITHOUT ROWID;
