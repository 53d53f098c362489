-- The journal, version 2: what was written while the clock could not be believed is marked.
-- Its times are wrong, and may lie among those of a night that was right.

ALTER TABLE events ADD COLUMN doubted INTEGER NOT NULL DEFAULT 0;

-- The mark of an observation is one more thing that those of a channel have in common, so that it
-- costs no observation a byte. A column cannot be added to what is UNIQUE, so the table is new.
DROP VIEW observation;

CREATE TABLE channels_with_mark (
    id INTEGER PRIMARY KEY,
    dial INTEGER NOT NULL,
    vfo TEXT NOT NULL,
    sweep TEXT NOT NULL,
    band TEXT NOT NULL,
    unit TEXT NOT NULL,
    doubted INTEGER NOT NULL,
    UNIQUE (dial, vfo, sweep, band, unit, doubted)
) STRICT;

INSERT INTO channels_with_mark SELECT id, dial, vfo, sweep, band, unit, 0 FROM channels;

DROP TABLE channels;

ALTER TABLE channels_with_mark RENAME TO channels;

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
