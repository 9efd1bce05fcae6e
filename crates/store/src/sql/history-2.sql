-- How people prove who they are. Secrets can be changed and taken away, so they are no part of the history.
CREATE TABLE credential (
    person TEXT PRIMARY KEY,
    password_hash TEXT,
    pin_hash TEXT,
    changed_us INTEGER NOT NULL
) STRICT;
