-- A journal as version 1 wrote it. It is never changed: every later version must read it.
PRAGMA application_id = 1986424676;
PRAGMA user_version = 1;
BEGIN TRANSACTION;
CREATE TABLE channels (
    id INTEGER PRIMARY KEY,
    dial INTEGER NOT NULL,
    vfo TEXT NOT NULL,
    sweep TEXT NOT NULL,
    band TEXT NOT NULL,
    unit TEXT NOT NULL,
    UNIQUE (dial, vfo, sweep, band, unit)
) STRICT;
INSERT INTO "channels" VALUES(1,9420000,'main','evening','31m','dBm');
INSERT INTO "channels" VALUES(2,9425000,'main','evening','','dBm');
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
INSERT INTO "events" VALUES(1,1,1,1780000000.25,'','daemon-started','{"version":"0.1.0","config_path":"/c","config_digest":"ab"}',NULL);
INSERT INTO "events" VALUES(2,1,2,1780000001.5,'main','dial-tuned','{"dial":9420000,"oscillator":9420000000,"produced":9420000000,"by":{"door":"shell","who":"listener"}}','q-1');
INSERT INTO "events" VALUES(3,1,5,1780000060.5,'','daemon-stopped','{"reason":"SIGTERM"}',NULL);
CREATE TABLE migrations (
    version INTEGER PRIMARY KEY,
    applied REAL NOT NULL,
    program TEXT NOT NULL
) STRICT;
INSERT INTO "migrations" VALUES(1,1780000000.0,'0.1.0');
CREATE TABLE observations (
    key INTEGER PRIMARY KEY,
    channel INTEGER NOT NULL REFERENCES channels,
    measured INTEGER NOT NULL,
    late INTEGER NOT NULL
) STRICT;
INSERT INTO "observations" VALUES(1780000002000,1,-25136705584095,12);
INSERT INTO "observations" VALUES(1780000004000,2,-140737488355326,1);
CREATE TABLE runs (
    id INTEGER PRIMARY KEY,
    started REAL NOT NULL,
    stopped REAL,
    version TEXT NOT NULL,
    config_digest TEXT NOT NULL
) STRICT;
INSERT INTO "runs" VALUES(1,1780000000.25,1780000060.5,'0.1.0','ab');
CREATE INDEX events_by_time ON events (time);
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
COMMIT;
