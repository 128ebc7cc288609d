-- Who is told of what, and what became of it. Outside the book: it changes nothing in it, and a rebuild must not send
-- anything again. No note, no name and no secret stands in a notice; a webhook's secret is nowhere in this file.

-- A matter that was told, or was known before telling began; by its key it is never told again.
CREATE TABLE notice (
    id      INTEGER PRIMARY KEY,
    what    TEXT NOT NULL,
    key     TEXT NOT NULL UNIQUE,
    unit    TEXT,
    at      INTEGER NOT NULL,
    -- Which page of the site tells more, see desk/notices/what.rs.
    about   TEXT NOT NULL,
    made_at INTEGER NOT NULL
) STRICT;
CREATE INDEX notice_about ON notice (about);

-- One notice on its one way to one person or webhook.
CREATE TABLE notice_delivery (
    notice  INTEGER NOT NULL,
    channel TEXT NOT NULL CHECK (channel IN ('inbox', 'mail', 'hook')),
    to_whom TEXT NOT NULL,
    what    TEXT NOT NULL,
    state   TEXT NOT NULL CHECK (state IN ('waiting', 'sent', 'given_up', 'dropped')),
    since   INTEGER NOT NULL,
    due_at  INTEGER NOT NULL,
    tries   INTEGER NOT NULL DEFAULT 0,
    -- The letter it was put into: the same one again if the program ended before it heard what became of it.
    letter  TEXT,
    says    TEXT,
    sent_at INTEGER,
    read_at INTEGER,
    PRIMARY KEY (notice, channel, to_whom)
) STRICT, WITHOUT ROWID;
CREATE INDEX notice_delivery_due ON notice_delivery (channel, due_at) WHERE state = 'waiting';
CREATE INDEX notice_delivery_to ON notice_delivery (to_whom, channel, notice);
CREATE INDEX notice_delivery_unread ON notice_delivery (to_whom, what) WHERE channel = 'inbox' AND read_at IS NULL;

-- What somebody chose instead of their role's default.
CREATE TABLE notice_wish (
    sign_in TEXT NOT NULL,
    what    TEXT NOT NULL,
    inbox   INTEGER NOT NULL CHECK (inbox IN (0, 1)),
    mail    TEXT NOT NULL CHECK (mail IN ('no', 'at_once', 'morning')),
    PRIMARY KEY (sign_in, what)
) STRICT, WITHOUT ROWID;
CREATE TABLE notice_person (
    sign_in TEXT PRIMARY KEY,
    email   TEXT,
    morning TEXT NOT NULL,
    shop    TEXT
) STRICT, WITHOUT ROWID;

-- The secret that its messages are signed with is reckoned from the key beside the book; print tells whether that is
-- still the same key.
CREATE TABLE notice_hook (
    id       TEXT PRIMARY KEY,
    url      TEXT NOT NULL,
    what     TEXT NOT NULL,
    print    TEXT NOT NULL,
    made_at  INTEGER NOT NULL,
    made_by  TEXT NOT NULL,
    ended_at INTEGER,
    ended_by TEXT
) STRICT, WITHOUT ROWID;

-- How far the book was looked through for openings.
CREATE TABLE notice_look (
    one      INTEGER PRIMARY KEY CHECK (one = 1),
    begun_at INTEGER NOT NULL,
    size     INTEGER NOT NULL
) STRICT;
