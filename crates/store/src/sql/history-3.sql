-- How a person wants pages to be: words that a page understands. No part of the history.
CREATE TABLE preference (
    person TEXT NOT NULL,
    name TEXT NOT NULL,
    value TEXT NOT NULL,
    PRIMARY KEY (person, name)
) STRICT;
