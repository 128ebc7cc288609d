-- What signing in needs beside a password, and what is known of a session. All of it outside the book.
ALTER TABLE session ADD COLUMN agent TEXT NOT NULL DEFAULT '';
ALTER TABLE session ADD COLUMN address TEXT NOT NULL DEFAULT '';

-- Whether supervisors and administrators must have one-time codes before they sign anything. No row: not asked for.
CREATE TABLE codes_asked (
    one   INTEGER PRIMARY KEY CHECK (one = 1),
    since INTEGER NOT NULL
) STRICT;

-- Seeds of one-time codes. They are needed as they are to check a code, so whoever reads this file has them; the password
-- they do not have. `shown` is one that was shown for setting up and not confirmed yet.
CREATE TABLE code_seed (
    sign_in   TEXT PRIMARY KEY,
    seed      BLOB CHECK (seed IS NULL OR length(seed) = 20),
    set_at    INTEGER,
    last_step INTEGER NOT NULL DEFAULT 0,
    shown     BLOB CHECK (shown IS NULL OR length(shown) = 20),
    shown_at  INTEGER
) STRICT, WITHOUT ROWID;

-- For whoever lost what shows the codes: each good once, 120 random bits, kept as SHA-256.
CREATE TABLE recovery_code (
    sign_in TEXT NOT NULL,
    hash    BLOB NOT NULL CHECK (length(hash) = 32),
    used_at INTEGER,
    PRIMARY KEY (sign_in, hash)
) STRICT, WITHOUT ROWID;

-- The password was right, and the code is asked for.
CREATE TABLE sign_in_step (
    token_hash BLOB PRIMARY KEY,
    sign_in    TEXT NOT NULL,
    made_at    INTEGER NOT NULL
) STRICT, WITHOUT ROWID;

-- Browsers in which somebody signed in before: wrong tries from elsewhere do not keep their owner out of these.
CREATE TABLE known_browser (
    token_hash BLOB NOT NULL,
    sign_in    TEXT NOT NULL,
    seen_at    INTEGER NOT NULL,
    PRIMARY KEY (token_hash, sign_in)
) STRICT, WITHOUT ROWID;

-- Tries that failed, counted by the hour; of names that nobody has under the empty name, so that nothing typed is kept.
CREATE TABLE tries_told (
    sign_in TEXT NOT NULL,
    hour    INTEGER NOT NULL,
    wrong   INTEGER NOT NULL,
    slowed  INTEGER NOT NULL,
    last_at INTEGER NOT NULL,
    PRIMARY KEY (sign_in, hour)
) STRICT, WITHOUT ROWID;
