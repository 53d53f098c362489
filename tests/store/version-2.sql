-- A journal as version 2 wrote it. It is never changed: every later version must read it.
PRAGMA application_id = 1986424676;
PRAGMA user_version = 2;
BEGIN TRANSACTION;
CREATE TABLE "channels" (
    id INTEGER PRIMARY KEY,
    dial INTEGER NOT NULL,
    vfo TEXT NOT NULL,
    sweep TEXT NOT NULL,
    band TEXT NOT NULL,
    unit TEXT NOT NULL,
    doubted INTEGER NOT NULL,
    UNIQUE (dial, vfo, sweep, band, unit, doubted)
) STRICT;
INSERT INTO "channels" VALUES(1,9420000,'main','evening','31m','dBm',0);
INSERT INTO "channels" VALUES(2,9425000,'main','evening','','dBm',0);
INSERT INTO "channels" VALUES(3,9420000,'main','evening','31m','dBm',1);
CREATE TABLE events (
    id INTEGER PRIMARY KEY,
    run INTEGER NOT NULL REFERENCES runs,
    sequence INTEGER NOT NULL,
    time REAL NOT NULL,
    vfo TEXT NOT NULL,
    kind TEXT NOT NULL,
    data TEXT NOT NULL,
    cause TEXT
, doubted INTEGER NOT NULL DEFAULT 0) STRICT;
INSERT INTO "events" VALUES(1,1,1,1780000000.25,'','daemon-started','{"version":"0.1.0","config_path":"/c","config_digest":"ab"}',NULL,0);
INSERT INTO "events" VALUES(2,1,2,1780000001.5,'main','dial-tuned','{"dial":9420000,"oscillator":9420000000,"produced":9420000000,"by":{"door":"shell","who":"listener"}}','q-1',0);
INSERT INTO "events" VALUES(3,1,5,1780000060.5,'','daemon-stopped','{"reason":"SIGTERM"}',NULL,0);
INSERT INTO "events" VALUES(4,2,1,1785000000.25,'','daemon-started','{"version":"0.1.0","config_path":"/c","config_digest":"cd"}',NULL,0);
INSERT INTO "events" VALUES(5,2,2,1785000000.5,'','clock-doubted','{"known":1785000100.0,"reason":"before-journal"}',NULL,1);
CREATE TABLE migrations (
    version INTEGER PRIMARY KEY,
    applied REAL NOT NULL,
    program TEXT NOT NULL
) STRICT;
INSERT INTO "migrations" VALUES(1,1780000000.0,'0.1.0');
INSERT INTO "migrations" VALUES(2,1785000000.0,'0.1.0');
CREATE TABLE observations (
    key INTEGER PRIMARY KEY,
    channel INTEGER NOT NULL REFERENCES channels,
    measured INTEGER NOT NULL,
    late INTEGER NOT NULL
) STRICT;
INSERT INTO "observations" VALUES(1780000002000,1,-25136705584095,12);
INSERT INTO "observations" VALUES(1780000004000,2,-140737488355326,1);
INSERT INTO "observations" VALUES(1780000006000,3,-25136705584095,12);
CREATE TABLE runs (
    id INTEGER PRIMARY KEY,
    started REAL NOT NULL,
    stopped REAL,
    version TEXT NOT NULL,
    config_digest TEXT NOT NULL
) STRICT;
INSERT INTO "runs" VALUES(1,1780000000.25,1780000060.5,'0.1.0','ab');
INSERT INTO "runs" VALUES(2,1785000000.25,NULL,'0.1.0','cd');
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
    late / 1000.0 AS lateness,
    doubted
FROM observations
JOIN channels ON channels.id = observations.channel;
COMMIT;
