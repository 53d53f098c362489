-- The journal, version 1.
-- Times are seconds since 1970 UTC, or whole milliseconds where a column is called key.

PRAGMA application_id = 1986424676; -- the four letters "vfod"

-- Which program brought the journal to which version; this table stays as it is for ever, so that
-- an older program can say who wrote a journal that it does not know.
CREATE TABLE migrations (
    version INTEGER PRIMARY KEY,
    applied REAL NOT NULL,
    program TEXT NOT NULL
) STRICT;

-- One row a run of the daemon; one without `stopped` did not end in good order.
CREATE TABLE runs (
    id INTEGER PRIMARY KEY,
    started REAL NOT NULL,
    stopped REAL,
    version TEXT NOT NULL,
    config_digest TEXT NOT NULL
) STRICT;

-- Everything that happened except observations, in the order in which it happened.
CREATE TABLE events (
    id INTEGER PRIMARY KEY,
    run INTEGER NOT NULL REFERENCES runs,
    sequence INTEGER NOT NULL,
    time REAL NOT NULL,
    vfo TEXT NOT NULL,
    kind TEXT NOT NULL,
    data TEXT NOT NULL,
    cause TEXT
) STRICT;

CREATE INDEX events_by_time ON events (time);

-- What the observations of a channel have in common, so that each of them need not repeat it.
-- An empty band is the space between bands.
CREATE TABLE channels (
    id INTEGER PRIMARY KEY,
    dial INTEGER NOT NULL,
    vfo TEXT NOT NULL,
    sweep TEXT NOT NULL,
    band TEXT NOT NULL,
    unit TEXT NOT NULL,
    UNIQUE (dial, vfo, sweep, band, unit)
) STRICT;

-- One row a visit, about 22 bytes. The key is the time in milliseconds, raised by the least that
-- makes it unique. `measured` packs, from the highest bit down: level, highest, floor (13 bits each,
-- tenths of a decibel), readings (7 bits, 127 stands for more), active (2 bits: no, yes, unknown).
-- The view `observation` below takes it apart. `late` is in milliseconds.
CREATE TABLE observations (
    key INTEGER PRIMARY KEY,
    channel INTEGER NOT NULL REFERENCES channels,
    measured INTEGER NOT NULL,
    late INTEGER NOT NULL
) STRICT;

CREATE VIEW observation AS
SELECT
    key,
    channel,
    key / 1000.0 AS time,
    vfo,
    sweep,
    dial,
    nullif(band, '') AS band,
    (measured >> 2) & 127 AS readings,
    nullif(measured >> 35, -4096) / 10.0 AS level,
    (nullif((measured >> 22) & 8191, 0) - 4096) / 10.0 AS highest,
    unit,
    (nullif((measured >> 9) & 8191, 0) - 4096) / 10.0 AS floor,
    nullif(measured & 3, 2) AS active,
    late / 1000.0 AS lateness
FROM observations
JOIN channels ON channels.id = observations.channel;
