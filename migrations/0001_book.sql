-- The book itself. A page is one UTF-8 JSON blob; everything else is reckoned from it.
CREATE TABLE page (
    seq  INTEGER PRIMARY KEY,
    blob TEXT NOT NULL,
    leaf BLOB NOT NULL CHECK (length(leaf) = 32)
) STRICT;

-- Invariant: pages are never updated or deleted, by any role and any program that opens this file.
CREATE TRIGGER page_is_never_updated BEFORE UPDATE ON page BEGIN
    SELECT RAISE(ABORT, 'a page of the book is never changed: file an amendment');
END;
CREATE TRIGGER page_is_never_deleted BEFORE DELETE ON page BEGIN
    SELECT RAISE(ABORT, 'a page of the book is never removed');
END;
-- INSERT OR REPLACE would take a page out without asking the trigger above; nor may a page stand before the first or
-- past a gap, where nobody would look for it.
CREATE TRIGGER page_is_only_appended BEFORE INSERT ON page
WHEN NEW.seq IS NOT (SELECT coalesce(max(seq), -1) + 1 FROM page) BEGIN
    SELECT RAISE(ABORT, 'a page of the book is only ever added after the last one');
END;
