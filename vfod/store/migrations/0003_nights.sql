-- The journal, version 3: nights are summed up. The sums are kept for ever, also where the
-- observations are given up because of their age.

-- Nights by the clock of the place, from noon to noon, one after the other without a gap.
-- `begin`, `until` and `summed` are keys: the observations up to before `summed` are in the sums.
-- `kept` is 0 once the observations of that night were given up.
CREATE TABLE nights (
    id INTEGER PRIMARY KEY,
    begin INTEGER NOT NULL UNIQUE,
    until INTEGER NOT NULL,
    summed INTEGER NOT NULL,
    kept INTEGER NOT NULL DEFAULT 1
) STRICT;

-- A night of a channel, some 30 bytes; the id is night << 24 | channel, so that it needs no index.
-- `best` is the strongest visit, level << 27 | time, the level in tenths of a decibel plus 4096 (0
-- where none was measured); times are milliseconds after the night's begin. `level` and `square`
-- are sums over active visits, of tenths of a decibel and of their squares.
CREATE TABLE channel_nights (
    id INTEGER PRIMARY KEY,
    visits INTEGER NOT NULL,
    judged INTEGER NOT NULL,
    active INTEGER NOT NULL,
    best INTEGER NOT NULL,
    level INTEGER NOT NULL,
    square INTEGER NOT NULL,
    first_active INTEGER,
    last_active INTEGER
) STRICT;

-- An hour of a band; `hour` counts from 1970 UTC.
CREATE TABLE band_hours (
    night INTEGER NOT NULL REFERENCES nights,
    hour INTEGER NOT NULL,
    vfo TEXT NOT NULL,
    band TEXT NOT NULL,
    visits INTEGER NOT NULL,
    judged INTEGER NOT NULL,
    active INTEGER NOT NULL,
    PRIMARY KEY (night, hour, vfo, band)
) STRICT, WITHOUT ROWID;
