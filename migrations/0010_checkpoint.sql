-- Signed checkpoints of the book, and the public keys that they can be checked with. Outside the book: a checkpoint proves
-- something only where it is kept elsewhere, and the secret half of a key is never in this file.
CREATE TABLE checkpoint_key (
    vkey    TEXT PRIMARY KEY,
    made_at INTEGER NOT NULL
) STRICT, WITHOUT ROWID;
-- The same tree signed with the same key is the same note: whoever asks twice gets the first one.
CREATE TABLE checkpoint (
    size    INTEGER NOT NULL,
    note    TEXT NOT NULL,
    made_at INTEGER NOT NULL,
    by      TEXT,
    PRIMARY KEY (size, note)
) STRICT, WITHOUT ROWID;
-- What the last verifying found that was asked for on the book's page.
CREATE TABLE book_check (
    one      INTEGER PRIMARY KEY CHECK (one = 1),
    asked_at INTEGER NOT NULL,
    asked_by TEXT NOT NULL,
    ended_at INTEGER NOT NULL,
    clean    INTEGER NOT NULL CHECK (clean IN (0, 1)),
    says     TEXT NOT NULL
) STRICT;
