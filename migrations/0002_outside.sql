-- What must not be in the book: secrets, names that can be erased, and what is not signed yet.
CREATE TABLE person_name (
    sign_in TEXT PRIMARY KEY,
    name    TEXT NOT NULL,
    craft   TEXT NOT NULL,
    salt    BLOB NOT NULL
) STRICT, WITHOUT ROWID;

CREATE TABLE password (
    sign_in  TEXT PRIMARY KEY,
    hash     TEXT NOT NULL,
    set_at   INTEGER NOT NULL,
    one_time INTEGER NOT NULL CHECK (one_time IN (0, 1))
) STRICT, WITHOUT ROWID;

-- Tokens are kept as SHA-256; whoever reads this file cannot sign in with what is here.
CREATE TABLE session (
    token_hash BLOB PRIMARY KEY,
    sign_in    TEXT NOT NULL,
    created_at INTEGER NOT NULL,
    seen_at    INTEGER NOT NULL,
    ended_at   INTEGER
) STRICT, WITHOUT ROWID;

CREATE TABLE token (
    token_hash BLOB PRIMARY KEY,
    sign_in    TEXT NOT NULL,
    created_at INTEGER NOT NULL,
    revoked_at INTEGER
) STRICT, WITHOUT ROWID;

-- Failed sign-ins in a row, by the name that was typed.
CREATE TABLE attempt (
    sign_in  TEXT PRIMARY KEY,
    failures INTEGER NOT NULL,
    last_at  INTEGER NOT NULL
) STRICT, WITHOUT ROWID;

-- A form that was sent after its session had ended, kept 24 h for the same person.
CREATE TABLE parked_form (
    id       TEXT PRIMARY KEY,
    sign_in  TEXT NOT NULL,
    path     TEXT NOT NULL,
    fields   TEXT NOT NULL,
    parked_at INTEGER NOT NULL
) STRICT, WITHOUT ROWID;

-- A report that its author has not signed yet; id is the report's.
CREATE TABLE draft (
    id       TEXT PRIMARY KEY,
    sign_in  TEXT NOT NULL,
    unit     TEXT NOT NULL,
    body     TEXT NOT NULL,
    version  INTEGER NOT NULL,
    saved_at INTEGER NOT NULL
) STRICT, WITHOUT ROWID;
