-- The journal of stumble, version 4. The version is in PRAGMA user_version; PRAGMA application_id is 0x5354424c.
--
-- Times end in _ns: nanoseconds since 1970-01-01 00:00 UTC; -9223372036854775808 is "not known". To read one:
--     SELECT datetime(opened_ns / 1000000000, 'unixepoch') FROM jobs;
-- A uid names a row for good, in every journal it is copied to; an id is this file's own. Text that is not known
-- is empty. Columns that hold JSON say so: read them with json_extract().

CREATE TABLE vehicles (
    id     INTEGER PRIMARY KEY,
    uid    TEXT NOT NULL UNIQUE,
    vin    TEXT NOT NULL,             -- 17 characters, or empty when the car does not tell
    name   TEXT NOT NULL,             -- what the shop calls it; plates are never needed
    layout TEXT NOT NULL,             -- key of the engine's layout, as i4-1342
    map    TEXT NOT NULL,             -- cylinders that monitors A2, A3 ... mean, as 1,3,4,2; empty: the standard's
    note   TEXT NOT NULL
) STRICT;
CREATE UNIQUE INDEX vehicles_vin ON vehicles (vin) WHERE vin <> '';

-- One complaint on one vehicle, from intake to proven repair.
CREATE TABLE jobs (
    id         INTEGER PRIMARY KEY AUTOINCREMENT, -- a number is never given twice
    uid        TEXT NOT NULL UNIQUE,
    vehicle_id INTEGER NOT NULL REFERENCES vehicles (id),
    name       TEXT NOT NULL,
    complaint  TEXT NOT NULL,         -- in the customer's words
    opened_ns  INTEGER NOT NULL,
    touched    INTEGER NOT NULL DEFAULT 0, -- the highest is that of the job somebody had in hand last
    touched_ns INTEGER NOT NULL DEFAULT -9223372036854775808 -- when that was
) STRICT;
CREATE INDEX jobs_vehicle ON jobs (vehicle_id);

-- What somebody wrote down, and what was done to the car. A note that was changed or taken back stays, with until_ns.
CREATE TABLE notes (
    id     INTEGER PRIMARY KEY,
    uid    TEXT NOT NULL UNIQUE,
    job_id INTEGER NOT NULL REFERENCES jobs (id) ON DELETE CASCADE,
    at_ns  INTEGER NOT NULL,          -- of a repair or a swap, when it was done
    text   TEXT NOT NULL,
    kind   TEXT NOT NULL DEFAULT '',  -- repaired, swapped; empty: a note
    part   TEXT NOT NULL DEFAULT '',  -- that was repaired or swapped
    cylinder INTEGER NOT NULL DEFAULT 0, -- whose part that was; 0: not told, or of no cylinder
    other  INTEGER NOT NULL DEFAULT 0, -- of a swap, the other cylinder
    written_ns INTEGER NOT NULL DEFAULT -9223372036854775808,
    after_drive TEXT,                 -- uid of the last drive before it, empty for none; NULL where the time alone tells
    version_of TEXT NOT NULL DEFAULT '', -- uid of the note's first version; empty for that itself
    until_ns INTEGER                  -- when it was changed or taken back; NULL while it holds
) STRICT;
CREATE INDEX notes_job ON notes (job_id);

-- What was read from the car at rest.
CREATE TABLE intakes (
    id     INTEGER PRIMARY KEY,
    uid    TEXT NOT NULL UNIQUE,
    job_id INTEGER NOT NULL REFERENCES jobs (id) ON DELETE CASCADE,
    at_ns  INTEGER NOT NULL,
    kind   TEXT NOT NULL CHECK (kind IN ('intake', 'codes')), -- everything, or the trouble codes alone
    data   TEXT NOT NULL,             -- JSON
    after_drive TEXT                  -- as in notes
) STRICT;
CREATE INDEX intakes_job ON intakes (job_id);

-- One recorded stretch of live data.
CREATE TABLE drives (
    id         INTEGER PRIMARY KEY AUTOINCREMENT, -- a number is never given twice
    uid        TEXT NOT NULL UNIQUE,
    job_id     INTEGER NOT NULL REFERENCES jobs (id) ON DELETE CASCADE,
    name       TEXT NOT NULL,
    state      TEXT NOT NULL CHECK (state IN ('recording', 'finished', 'interrupted')),
    started_ns INTEGER NOT NULL,
    ended_ns   INTEGER NOT NULL,      -- the last that was saved
    adapter    TEXT NOT NULL,         -- what the adapter calls itself
    protocol   TEXT NOT NULL,         -- its number, 1 to 9, as ELM327-compatible adapters count them; empty: not known
    layout     TEXT NOT NULL,         -- key of the engine's layout
    engine     TEXT NOT NULL,         -- JSON: the layout in full, as it was taken to be
    map        TEXT NOT NULL,         -- as in vehicles
    catalyst   REAL,                  -- %, limit over 200 revolutions that the car reports; NULL when it does not
    emission   REAL,                  -- %, the same over 1,000 revolutions
    setup      TEXT NOT NULL,         -- JSON of the program that recorded, or empty
    samples    INTEGER NOT NULL,      -- saved
    exchanges  INTEGER NOT NULL,      -- saved
    lost       INTEGER NOT NULL       -- samples and exchanges that could not be saved; marks of kind 'gap' say when
) STRICT;
CREATE INDEX drives_job ON drives (job_id);

-- Decoded samples, some ten seconds a row. block.go tells what is in data; version1.go, what is in that of form 0.
CREATE TABLE samples (
    id       INTEGER PRIMARY KEY,
    drive_id INTEGER NOT NULL REFERENCES drives (id) ON DELETE CASCADE,
    block    INTEGER NOT NULL,        -- from 0 within the drive
    first    INTEGER NOT NULL,        -- number of its first sample within the drive, from 0
    count    INTEGER NOT NULL,
    begin_ns INTEGER NOT NULL,        -- when its first sample was received
    end_ns   INTEGER NOT NULL,        -- when its last was
    data     BLOB NOT NULL,
    form     INTEGER NOT NULL DEFAULT 0, -- of data: 1 a gzip stream of records, 0 as version 1 packed it
    UNIQUE (drive_id, block)
) STRICT;

-- Raw exchanges with the adapter, some ten seconds a row; columns as in samples.
CREATE TABLE exchanges (
    id       INTEGER PRIMARY KEY,
    drive_id INTEGER NOT NULL REFERENCES drives (id) ON DELETE CASCADE,
    block    INTEGER NOT NULL,
    first    INTEGER NOT NULL,
    count    INTEGER NOT NULL,
    begin_ns INTEGER NOT NULL,
    end_ns   INTEGER NOT NULL,
    data     BLOB NOT NULL,
    form     INTEGER NOT NULL DEFAULT 0,
    UNIQUE (drive_id, block)
) STRICT;

-- What the driver or a helper noted in a drive, and where something is missing in it.
CREATE TABLE marks (
    id       INTEGER PRIMARY KEY,
    drive_id INTEGER NOT NULL REFERENCES drives (id) ON DELETE CASCADE,
    number   INTEGER NOT NULL,        -- from 0 within the drive, in the order recorded
    after    INTEGER NOT NULL,        -- how many samples of the drive had been recorded before it
    at_ns    INTEGER NOT NULL,
    until_ns INTEGER NOT NULL,        -- end of a gap; else as at_ns
    kind     TEXT NOT NULL CHECK (kind IN ('gear', 'note', 'gap')),
    gear     TEXT NOT NULL,           -- P/N, D, R, D/R, moving; ? where it marks none; of a note, what a guided test asked for
    text     TEXT NOT NULL,
    UNIQUE (drive_id, number)
) STRICT;

-- Measured by hand.
CREATE TABLE bench (
    id       INTEGER PRIMARY KEY,
    uid      TEXT NOT NULL UNIQUE,
    job_id   INTEGER NOT NULL REFERENCES jobs (id) ON DELETE CASCADE,
    at_ns    INTEGER NOT NULL,
    kind     TEXT NOT NULL,           -- wire, plug, coil, injector, compression ...
    cylinder INTEGER NOT NULL,        -- 0: the whole engine
    quantity TEXT NOT NULL,
    value    REAL,                    -- NULL where only the text tells
    unit     TEXT NOT NULL,
    text     TEXT NOT NULL,
    judged   TEXT NOT NULL            -- JSON, or empty
) STRICT;
CREATE INDEX bench_job ON bench (job_id);

-- What was concluded, as it was concluded then.
CREATE TABLE verdicts (
    id       INTEGER PRIMARY KEY,
    uid      TEXT NOT NULL UNIQUE,
    job_id   INTEGER NOT NULL REFERENCES jobs (id) ON DELETE CASCADE,
    drive_id INTEGER REFERENCES drives (id) ON DELETE CASCADE, -- NULL: of the job as a whole
    at_ns    INTEGER NOT NULL,
    kind     TEXT NOT NULL,           -- drive, comparison, causes ...
    data     TEXT NOT NULL            -- JSON
) STRICT;
CREATE INDEX verdicts_job ON verdicts (job_id);
CREATE INDEX verdicts_drive ON verdicts (drive_id);

-- What is remembered of cars, adapters and ports, to begin the sooner the next time. None of it is evidence: whoever uses it
-- checks it first, and it goes to no other journal.
CREATE TABLE known (
    id    INTEGER PRIMARY KEY,
    kind  TEXT NOT NULL,              -- car, adapter, port
    name  TEXT NOT NULL,              -- of a car its VIN; of an adapter where it is reached
    at_ns INTEGER NOT NULL,           -- when it was last found so
    data  TEXT NOT NULL,              -- JSON of the program that wrote it
    UNIQUE (kind, name)
) STRICT;

-- One line a drive, for reading.
CREATE VIEW drive_list AS
SELECT d.id AS drive, d.job_id AS job, v.name AS vehicle, v.vin AS vin, d.state AS state,
       datetime(d.started_ns / 1000000000, 'unixepoch') AS started_utc,
       round((d.ended_ns - d.started_ns) / 60e9, 1) AS minutes,
       d.samples AS samples, d.exchanges AS exchanges, d.lost AS lost
FROM drives d JOIN jobs j ON j.id = d.job_id JOIN vehicles v ON v.id = j.vehicle_id;
