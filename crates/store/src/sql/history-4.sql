-- Tokens by which other programs reach the record, as digests alone. No part of the history, so that they can be taken away;
-- that one was made or revoked is a note there. A name is never given twice.
CREATE TABLE token (
    name TEXT PRIMARY KEY,
    digest BLOB NOT NULL UNIQUE,
    role TEXT NOT NULL,
    person TEXT NOT NULL,
    made_us INTEGER NOT NULL,
    made_by TEXT NOT NULL,
    revoked_us INTEGER,
    revoked_by TEXT
) STRICT;
-- What another program was answered, by the key of its write: the same question again gets the same answer.
CREATE TABLE answer (
    write_key TEXT PRIMARY KEY,
    asked BLOB NOT NULL,
    status INTEGER NOT NULL,
    body TEXT NOT NULL
) STRICT;
