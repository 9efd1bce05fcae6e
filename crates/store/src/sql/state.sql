-- What is known now, projected from the history. Everything here can be rebuilt from it at any time.
CREATE TABLE state (
    one INTEGER PRIMARY KEY CHECK (one = 1),
    version INTEGER NOT NULL,
    known_to INTEGER NOT NULL
) STRICT;

-- Everything that entries speak of: its first entry, its newest one, and the one that withdrew it.
CREATE TABLE item (
    root INTEGER PRIMARY KEY,
    kind TEXT NOT NULL,
    subject TEXT NOT NULL,
    entry INTEGER NOT NULL UNIQUE,
    versions INTEGER NOT NULL,
    withdrawn INTEGER
) STRICT;
CREATE INDEX item_subject ON item (subject, kind);
CREATE INDEX item_kind ON item (kind, root);

CREATE TABLE person (
    id TEXT PRIMARY KEY,
    name TEXT NOT NULL,
    role TEXT NOT NULL,
    active INTEGER NOT NULL
) STRICT;
CREATE TABLE mould (
    id TEXT PRIMARY KEY,
    name TEXT NOT NULL,
    process TEXT NOT NULL,
    owner TEXT
) STRICT;
CREATE TABLE half (
    mould TEXT NOT NULL REFERENCES mould (id),
    id TEXT NOT NULL,
    PRIMARY KEY (mould, id)
) STRICT;
CREATE TABLE circuit (
    mould TEXT NOT NULL REFERENCES mould (id),
    id TEXT NOT NULL,
    place INTEGER NOT NULL,
    half TEXT NOT NULL,
    serves TEXT,
    withdrawn INTEGER,
    PRIMARY KEY (mould, id),
    FOREIGN KEY (mould, half) REFERENCES half (mould, id)
) STRICT;
CREATE TABLE rig (id TEXT PRIMARY KEY) STRICT;
CREATE TABLE instrument (
    id TEXT PRIMARY KEY,
    rig TEXT REFERENCES rig (id),
    measures TEXT NOT NULL
) STRICT;
CREATE TABLE calibration (
    root INTEGER PRIMARY KEY,
    instrument TEXT NOT NULL REFERENCES instrument (id),
    calibrated_on TEXT NOT NULL,
    until TEXT NOT NULL,
    withdrawn INTEGER
) STRICT;
CREATE INDEX calibration_instrument ON calibration (instrument, until);
CREATE TABLE visit (
    mould TEXT NOT NULL REFERENCES mould (id),
    id TEXT NOT NULL,
    started_us INTEGER NOT NULL,
    by_whom TEXT NOT NULL,
    rig TEXT,
    outcome TEXT,
    ended_us INTEGER,
    PRIMARY KEY (mould, id)
) STRICT;
CREATE INDEX visit_started ON visit (started_us);
CREATE TABLE reading (
    root INTEGER PRIMARY KEY,
    mould TEXT NOT NULL,
    visit TEXT NOT NULL,
    place INTEGER NOT NULL,
    kind TEXT NOT NULL,
    circuit TEXT,
    at_us INTEGER,
    traces INTEGER NOT NULL,
    withdrawn INTEGER,
    FOREIGN KEY (mould, visit) REFERENCES visit (mould, id),
    FOREIGN KEY (mould, circuit) REFERENCES circuit (mould, id)
) STRICT;
CREATE UNIQUE INDEX reading_place ON reading (mould, visit, place) WHERE withdrawn IS NULL;
CREATE INDEX reading_circuit ON reading (mould, circuit);
CREATE TABLE finding (
    root INTEGER PRIMARY KEY,
    mould TEXT NOT NULL,
    visit TEXT NOT NULL,
    method TEXT NOT NULL,
    known_to INTEGER NOT NULL,
    inputs TEXT NOT NULL,
    document TEXT NOT NULL,
    fit_for_press TEXT NOT NULL,
    headline TEXT NOT NULL,
    withdrawn INTEGER,
    FOREIGN KEY (mould, visit) REFERENCES visit (mould, id)
) STRICT;
CREATE INDEX finding_visit ON finding (mould, visit, root);
CREATE TABLE circuit_finding (
    finding INTEGER NOT NULL REFERENCES finding (root),
    place INTEGER NOT NULL,
    mould TEXT NOT NULL,
    circuit TEXT NOT NULL,
    tightness TEXT NOT NULL,
    passage TEXT NOT NULL,
    flow_factor_m3_h REAL,
    flow_factor_low_m3_h REAL,
    flow_factor_high_m3_h REAL,
    against_baseline_percent REAL,
    against_baseline_low_percent REAL,
    against_baseline_high_percent REAL,
    next_step TEXT NOT NULL,
    PRIMARY KEY (finding, place),
    FOREIGN KEY (mould, circuit) REFERENCES circuit (mould, id)
) STRICT;
CREATE INDEX circuit_finding_circuit ON circuit_finding (mould, circuit, finding);
