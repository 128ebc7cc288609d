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
