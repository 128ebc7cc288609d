-- Everything here is reckoned from the book and may be thrown away: on a change of this text it is rebuilt at start.
-- The order of variants in the words! lists is part of the packed facts: changing it means changing PACKING below.
-- PACKING 7
-- JUDGING 13: findings say other things than before, and every book judges itself again at its next start.

-- The tree's right edge and root after the last page; world_seq is the last page that changed people, roster or figures.
CREATE TABLE head (
    one       INTEGER PRIMARY KEY CHECK (one = 1),
    size      INTEGER NOT NULL,
    root      BLOB NOT NULL,
    frontier  BLOB NOT NULL,
    world_seq INTEGER NOT NULL
) STRICT;

CREATE TABLE person (sign_in TEXT PRIMARY KEY, card TEXT NOT NULL) STRICT;
CREATE TABLE authorisation (seq INTEGER PRIMARY KEY, card TEXT NOT NULL) STRICT;
CREATE TABLE class_schedule (
    class TEXT NOT NULL, seq INTEGER NOT NULL, effective INTEGER NOT NULL, schedule TEXT NOT NULL,
    PRIMARY KEY (class, seq)
) STRICT;
CREATE TABLE unit_card (unit TEXT PRIMARY KEY, card TEXT NOT NULL) STRICT;
CREATE TABLE class_figures (one INTEGER PRIMARY KEY CHECK (one = 1), seq INTEGER NOT NULL, figures TEXT NOT NULL) STRICT;

CREATE TABLE thresholds (
    seq INTEGER PRIMARY KEY, by TEXT NOT NULL, at INTEGER NOT NULL, reason TEXT NOT NULL, changes TEXT NOT NULL,
    settings TEXT NOT NULL
) STRICT;

CREATE TABLE report (
    seq         INTEGER PRIMARY KEY,
    id          TEXT NOT NULL UNIQUE,
    unit        TEXT NOT NULL,
    class       TEXT,
    author      TEXT NOT NULL,
    channel     TEXT NOT NULL,
    entered_by  TEXT,
    occasion    TEXT NOT NULL,
    is_final    INTEGER NOT NULL CHECK (is_final IN (0, 1)),
    symbol      TEXT,
    run_from    TEXT,
    run_to      TEXT,
    started     INTEGER NOT NULL,
    ended       INTEGER,
    position    TEXT,
    weather     TEXT,
    consist     TEXT,
    remarks     TEXT,
    entries     INTEGER NOT NULL,
    signed_at   INTEGER NOT NULL,
    recorded_at INTEGER NOT NULL,
    sha256      TEXT NOT NULL,
    root        TEXT NOT NULL
) STRICT;
CREATE INDEX report_of_unit ON report (unit, started);
-- Runs of more than ten days, see desk/runs.rs.
CREATE INDEX report_that_lasted ON report (unit, started) WHERE coalesce(ended, signed_at) - started > 864000000000;
CREATE INDEX report_of_author ON report (author, seq);

CREATE TABLE entry (
    id          TEXT PRIMARY KEY,
    seq         INTEGER NOT NULL,
    report      TEXT NOT NULL,
    place_in    INTEGER NOT NULL,
    unit        TEXT NOT NULL,
    class       TEXT,
    kind        TEXT NOT NULL,
    at          INTEGER NOT NULL,
    found       INTEGER NOT NULL CHECK (found IN (0, 1)),
    device      TEXT,
    place       TEXT,
    throttle    TEXT,
    author      TEXT NOT NULL,
    channel     TEXT NOT NULL,
    recorded_at INTEGER NOT NULL,
    amended     TEXT,
    withdrawn   INTEGER NOT NULL CHECK (withdrawn IN (0, 1)),
    detail      TEXT NOT NULL
) STRICT;
CREATE INDEX entry_of_unit ON entry (unit, at);
CREATE INDEX entry_of_report ON entry (report);
CREATE INDEX entry_recorded ON entry (recorded_at);
-- A unit's volts over a year are few among its entries.
CREATE INDEX entry_start ON entry (unit, at) WHERE kind = 'engine_start';

CREATE TABLE amendment (
    seq INTEGER PRIMARY KEY, id TEXT NOT NULL UNIQUE, entry TEXT NOT NULL, report TEXT NOT NULL, author TEXT NOT NULL,
    at INTEGER NOT NULL, reason TEXT NOT NULL, before TEXT NOT NULL, replacement TEXT
) STRICT;
CREATE INDEX amendment_of_entry ON amendment (entry);
CREATE TABLE statement (
    seq INTEGER PRIMARY KEY, entry TEXT NOT NULL, author TEXT NOT NULL, at INTEGER NOT NULL, words TEXT NOT NULL
) STRICT;
CREATE INDEX statement_of_entry ON statement (entry);
CREATE TABLE handover_read (seq INTEGER PRIMARY KEY, unit TEXT NOT NULL, by TEXT NOT NULL, at INTEGER NOT NULL) STRICT;
CREATE INDEX handover_of_unit ON handover_read (unit, seq);

CREATE TABLE unit_history (
    unit TEXT PRIMARY KEY, days BLOB NOT NULL, weather BLOB NOT NULL, holds TEXT NOT NULL
) STRICT;
-- What is known of a dossier without reading its facts; a unit's lie together, so that a report touches a page of them.
CREATE TABLE dossier (
    unit          TEXT NOT NULL,
    subject       TEXT NOT NULL,
    -- What it rests on of its unit's service days: see rules/rests.rs.
    rests_before  INTEGER,
    waits_for     INTEGER,
    on_weather    INTEGER NOT NULL CHECK (on_weather IN (0, 1)),
    -- Prints of its findings, eight bytes each in ascending order, and one of its bypasses: what they say is compared by these.
    findings      BLOB NOT NULL,
    -- Those of them that rest on class figures and settings.
    reckoned      BLOB NOT NULL,
    bypasses      INTEGER NOT NULL,
    -- No class figures can make it say anything else.
    idle          INTEGER NOT NULL CHECK (idle IN (0, 1)),
    -- Until when it matters who had the unit: the end of the last span in which a cutout stood open.
    watched_until INTEGER,
    -- Of a device: when the last of its certain lines end, see rules/quiet.rs; the end of time while one is open.
    left_until    INTEGER,
    again_until   INTEGER,
    PRIMARY KEY (unit, subject)
) STRICT, WITHOUT ROWID;
-- How a dossier ends, which is what most reports read and change of it: its last part, and of a device the last chunk of
-- its outlines, in one row. None of these columns is NULL where there is such a thing; saying so would have SQLite copy
-- every page that a group rewrites here into a statement journal.
CREATE TABLE dossier_end (
    unit    TEXT NOT NULL,
    subject TEXT NOT NULL,
    part    INTEGER,
    chunk   INTEGER,
    packed  BLOB,
    facts   BLOB
) STRICT;
CREATE UNIQUE INDEX dossier_end_of_subject ON dossier_end (unit, subject);
-- The parts before the last: facts in order, packed; where a part ends is a matter of its last entry alone.
CREATE TABLE dossier_part (
    unit    TEXT NOT NULL,
    subject TEXT NOT NULL,
    part    INTEGER NOT NULL,
    facts   BLOB
) STRICT;
CREATE UNIQUE INDEX dossier_part_of_subject ON dossier_part (unit, subject, part);
-- Of a device: what statistics ask of its facts, packed, in chunks that end as parts do; all but the last. By itself, so
-- that all of it can be read without reading a fact.
CREATE TABLE dossier_outline (
    unit    TEXT NOT NULL,
    subject TEXT NOT NULL,
    chunk   INTEGER NOT NULL,
    packed  BLOB
) STRICT;
CREATE UNIQUE INDEX dossier_outline_of_subject ON dossier_outline (unit, subject, chunk);

CREATE TABLE finding (
    key      TEXT PRIMARY KEY,
    unit     TEXT NOT NULL,
    subject  TEXT NOT NULL,
    rule     TEXT NOT NULL,
    device   TEXT,
    class    TEXT,
    since    INTEGER NOT NULL,
    until    INTEGER,
    severity REAL NOT NULL,
    rank     REAL,
    print    INTEGER NOT NULL,
    data     TEXT NOT NULL
) STRICT;
-- Few of all there ever were are open.
-- What is open is found, and counted by rule, without reading a line.
CREATE INDEX finding_until ON finding (until, rule, since);
CREATE INDEX finding_of_subject ON finding (unit, subject, print);
-- Few, and each is about several units.
CREATE INDEX finding_shared ON finding (rule) WHERE rule = 'shared_cause';

-- An entry that was amended to tell of another cutout has a line for each: the withdrawn one stays.
CREATE TABLE bypass (
    id TEXT NOT NULL, unit TEXT NOT NULL, device TEXT NOT NULL, begins INTEGER NOT NULL, closed_at INTEGER, data TEXT NOT NULL,
    PRIMARY KEY (id, device)
) STRICT;
CREATE INDEX bypass_of_unit ON bypass (unit, begins);
CREATE TABLE review (
    seq INTEGER PRIMARY KEY, bypass TEXT NOT NULL, unit TEXT NOT NULL, by TEXT NOT NULL, at INTEGER NOT NULL,
    last_seq INTEGER NOT NULL, judgement TEXT NOT NULL, words TEXT NOT NULL
) STRICT;
CREATE INDEX review_of_unit ON review (unit, seq);
CREATE INDEX review_of_bypass ON review (bypass, seq);

CREATE TABLE repair (
    id TEXT PRIMARY KEY, unit TEXT NOT NULL, device TEXT, opened_at INTEGER NOT NULL, opened_by TEXT NOT NULL,
    closed_at INTEGER, closed_by TEXT, data TEXT NOT NULL
) STRICT;
CREATE INDEX repair_of_unit ON repair (unit, opened_at);
CREATE INDEX repair_closed ON repair (closed_at);
CREATE TABLE set_aside (
    seq INTEGER PRIMARY KEY, rule TEXT NOT NULL, unit TEXT NOT NULL, device TEXT, by TEXT NOT NULL, at INTEGER NOT NULL,
    until INTEGER NOT NULL, reason TEXT NOT NULL
) STRICT;

-- Signing keys of tablets, and what came signed by one: not confirmed by password while answered_at is NULL.
CREATE TABLE tablet_key (
    id TEXT PRIMARY KEY, sign_in TEXT NOT NULL, until INTEGER NOT NULL, revoked_at INTEGER, card TEXT NOT NULL
) STRICT;
CREATE INDEX tablet_key_of_person ON tablet_key (sign_in, until);
CREATE TABLE tablet_report (
    report TEXT PRIMARY KEY, author TEXT NOT NULL, received_at INTEGER NOT NULL, answered_at INTEGER, card TEXT NOT NULL
) STRICT;
CREATE INDEX tablet_report_unanswered ON tablet_report (author) WHERE answered_at IS NULL;

-- What the shop measured, each with what it said when it was signed; a battery is followed by its subject.
CREATE TABLE measurement (
    id TEXT PRIMARY KEY, seq INTEGER NOT NULL, unit TEXT NOT NULL, repair TEXT, kind TEXT NOT NULL, subject TEXT,
    taken_at INTEGER NOT NULL, by TEXT NOT NULL, verdict TEXT NOT NULL, data TEXT NOT NULL
) STRICT;
CREATE INDEX measurement_of_unit ON measurement (unit, taken_at);
CREATE INDEX measurement_of_subject ON measurement (kind, subject, taken_at);
CREATE INDEX measurement_of_repair ON measurement (repair) WHERE repair IS NOT NULL;
CREATE TABLE inspection (
    id TEXT PRIMARY KEY, seq INTEGER NOT NULL, unit TEXT NOT NULL, kind TEXT NOT NULL, done_at INTEGER NOT NULL, by TEXT NOT NULL,
    data TEXT NOT NULL
) STRICT;
CREATE INDEX inspection_of_unit ON inspection (unit, kind, done_at);
CREATE TABLE inspection_interval (
    what TEXT NOT NULL, name TEXT NOT NULL, seq INTEGER NOT NULL, by TEXT NOT NULL, at INTEGER NOT NULL, days INTEGER NOT NULL,
    reason TEXT NOT NULL, PRIMARY KEY (what, name)
) STRICT;
CREATE TABLE shop_table (
    name TEXT PRIMARY KEY, seq INTEGER NOT NULL, by TEXT NOT NULL, at INTEGER NOT NULL, data TEXT NOT NULL
) STRICT;
-- Why a unit is kept from service, and into what it was released: the last release says what still restricts it.
CREATE TABLE unit_hold (
    seq INTEGER PRIMARY KEY, unit TEXT NOT NULL, at INTEGER NOT NULL, reason TEXT NOT NULL, by TEXT NOT NULL, words TEXT
) STRICT;
CREATE INDEX unit_hold_of_unit ON unit_hold (unit, at);
CREATE TABLE unit_release (
    seq INTEGER PRIMARY KEY, unit TEXT NOT NULL, at INTEGER NOT NULL, how TEXT NOT NULL, by TEXT NOT NULL,
    restrictions TEXT, checked TEXT, words TEXT
) STRICT;
CREATE INDEX unit_release_of_unit ON unit_release (unit, at);
-- The causes that the shop chooses from; the key is the cause however it was typed.
CREATE TABLE cause (
    key TEXT PRIMARY KEY, cause TEXT NOT NULL, listed INTEGER NOT NULL CHECK (listed IN (0, 1)), by TEXT NOT NULL,
    at INTEGER NOT NULL
) STRICT;
-- What somebody signed though it was not theirs to do: refused, and on record.
CREATE TABLE act_refused (
    seq INTEGER PRIMARY KEY, act TEXT NOT NULL, about TEXT NOT NULL, by TEXT NOT NULL, at INTEGER NOT NULL, says TEXT NOT NULL
) STRICT;
CREATE INDEX act_refused_about ON act_refused (about);
-- Rights that one supervisor proposed, and what became of each.
CREATE TABLE authorisation_proposal (id TEXT PRIMARY KEY, card TEXT NOT NULL) STRICT;
