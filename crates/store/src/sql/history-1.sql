-- The history: entries and the bytes beside them. Nothing here is ever altered or deleted.
CREATE TABLE entry (
    number INTEGER PRIMARY KEY,
    at_us INTEGER NOT NULL,
    person TEXT NOT NULL CHECK (person <> ''),
    kind TEXT NOT NULL CHECK (kind <> ''),
    subject TEXT NOT NULL CHECK (subject <> ''),
    write_key TEXT NOT NULL CHECK (write_key <> ''),
    part INTEGER NOT NULL CHECK (part BETWEEN 1 AND parts),
    parts INTEGER NOT NULL,
    corrects INTEGER REFERENCES entry (number),
    reason TEXT CHECK (reason <> ''),
    body TEXT NOT NULL CHECK (json_valid(body)),
    previous BLOB NOT NULL CHECK (length(previous) = 32),
    hash BLOB NOT NULL UNIQUE CHECK (length(hash) = 32),
    UNIQUE (write_key, part),
    CHECK (corrects IS NULL OR (corrects < number AND reason IS NOT NULL))
) STRICT;
CREATE INDEX entry_subject ON entry (subject, number);
CREATE INDEX entry_corrects ON entry (corrects) WHERE corrects IS NOT NULL;

CREATE TABLE blob (
    digest BLOB PRIMARY KEY CHECK (length(digest) = 32),
    size_bytes INTEGER NOT NULL,
    packing TEXT NOT NULL CHECK (packing IN ('raw', 'zlib')),
    bytes BLOB NOT NULL
) STRICT;

CREATE TRIGGER entry_only_next BEFORE INSERT ON entry
WHEN NEW.number <> (SELECT coalesce(max(number), 0) + 1 FROM entry)
    OR NEW.previous <> coalesce((SELECT hash FROM entry ORDER BY number DESC LIMIT 1), zeroblob(32))
BEGIN
    SELECT RAISE(ABORT, 'entries are added at the end only');
END;
CREATE TRIGGER entry_no_update BEFORE UPDATE ON entry
BEGIN
    SELECT RAISE(ABORT, 'entries are never altered');
END;
CREATE TRIGGER entry_no_delete BEFORE DELETE ON entry
BEGIN
    SELECT RAISE(ABORT, 'entries are never deleted');
END;
CREATE TRIGGER blob_only_new BEFORE INSERT ON blob
WHEN EXISTS (SELECT 1 FROM blob WHERE digest = NEW.digest)
BEGIN
    SELECT RAISE(ABORT, 'bytes are never replaced');
END;
CREATE TRIGGER blob_no_update BEFORE UPDATE ON blob
BEGIN
    SELECT RAISE(ABORT, 'bytes are never altered');
END;
CREATE TRIGGER blob_no_delete BEFORE DELETE ON blob
BEGIN
    SELECT RAISE(ABORT, 'bytes are never deleted');
END;
