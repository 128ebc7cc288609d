-- What somebody had before them when they last said that they had looked at the board: outside the book, as it changes nothing
-- and nobody else's business. Eight bytes of each line's print, in order.
CREATE TABLE board_looked (
    sign_in TEXT PRIMARY KEY,
    at      INTEGER NOT NULL,
    lines   BLOB NOT NULL
) STRICT, WITHOUT ROWID;
