-- Schema 1 of a tent's record. Times are Unix epoch milliseconds, UTC; SI units in the names.
-- The file's application_id says that it is a record, its user_version which schema it has.
CREATE TABLE meta (
    key TEXT PRIMARY KEY,
    value TEXT NOT NULL
) STRICT, WITHOUT ROWID;

-- Every config that was ever in force, so that a review knows the bands of its day.
CREATE TABLE configs (
    id INTEGER PRIMARY KEY,
    at_ms INTEGER NOT NULL,          -- first in force
    sha256 TEXT NOT NULL,
    yaml TEXT NOT NULL
) STRICT;

-- One row per record interval; at_ms is the end of the interval. Ends lie on whole multiples of
-- the interval as far as the daemon was running; interval_s is the stretch really covered.
-- Speed while on is fan_speed * interval_s / fan_on_s: use that for power, not the mean speed.
CREATE TABLE readings (
    at_ms INTEGER PRIMARY KEY,
    interval_s REAL NOT NULL,
    config_id INTEGER REFERENCES configs (id),
    tent_temperature_c REAL,         -- mean over the interval; NULL: nothing trustworthy
    tent_temperature_min_c REAL,
    tent_temperature_max_c REAL,
    tent_humidity_pct REAL,
    tent_humidity_min_pct REAL,
    tent_humidity_max_pct REAL,
    tent_vpd_pa REAL,                -- of the means, like the dew point
    tent_dew_point_c REAL,
    intake_temperature_c REAL,
    intake_humidity_pct REAL,
    fan_speed REAL NOT NULL,         -- mean commanded speed, 0-1
    fan_on_s REAL NOT NULL,          -- seconds of the interval with speed > 0
    fan_rpm REAL,                    -- NULL without a tachometer
    lamp_on INTEGER NOT NULL,        -- 0 or 1 at the end of the interval
    lamp_on_s REAL NOT NULL,         -- seconds of the interval with the lamp lit
    in_fan_hours INTEGER NOT NULL,
    rule TEXT NOT NULL,              -- decision.Rule that ruled for most of the interval
    locked_out INTEGER NOT NULL        -- 1: an override was locked out at the end of the interval
) STRICT;

-- Each sensor by itself, for comparing twins and seeing drift.
CREATE TABLE sensor_readings (
    at_ms INTEGER NOT NULL,
    sensor TEXT NOT NULL,
    temperature_c REAL,
    humidity_pct REAL,
    failures INTEGER NOT NULL,       -- failed or refused measurements in the interval
    fault TEXT,                      -- NULL, or the fault that stands: dead, stuck, absurd, jumped ...
    PRIMARY KEY (at_ms, sensor)
) STRICT, WITHOUT ROWID;

CREATE TABLE events (
    id INTEGER PRIMARY KEY,
    at_ms INTEGER NOT NULL,
    name TEXT NOT NULL,              -- dotted past tense: fan.changed
    level TEXT NOT NULL,             -- info, warning, error
    data TEXT NOT NULL               -- JSON object, units in keys; reasons as a list
) STRICT;
CREATE INDEX events_by_time ON events (at_ms);
CREATE INDEX events_by_name ON events (name, at_ms);

-- What a restarted daemon picks up (decision memory, hold, alarms) and what `now` shows.
CREATE TABLE state (
    key TEXT PRIMARY KEY,
    at_ms INTEGER NOT NULL,
    value TEXT NOT NULL              -- JSON
) STRICT, WITHOUT ROWID;
