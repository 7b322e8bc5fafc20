-- What people do with alarms, several ways to reach them, and what was known of heaters.

CREATE TABLE alarm_7 (
    id INTEGER PRIMARY KEY,
    -- Null is the record itself.
    printer INTEGER REFERENCES printer,
    -- Null is the printer as a whole, or the record.
    tool INTEGER CHECK (tool BETWEEN 0 AND 15),
    rule TEXT NOT NULL CHECK (rule IN ('residence_note', 'residence_warn', 'residence_budget', 'idle_hot', 'hot_no_print',
        'paused_hot', 'heat_late', 'heat_lost', 'temp_jump', 'temp_frozen', 'temp_drift', 'duty_unlike', 'over_liner',
        'bed_late', 'bed_lost', 'bed_jump', 'bed_frozen', 'host_silent', 'host_refuses', 'part_due', 'outcome_missing',
        'record_full', 'record_damaged', 'disk_low', 'backup_failed', 'sign_in_failures')),
    priority TEXT NOT NULL CHECK (priority IN ('low', 'medium', 'high')),
    raised_ms INTEGER NOT NULL,
    returned_ms INTEGER CHECK (returned_ms >= raised_ms),
    -- The last four are about the alarm whether or not its condition stands.
    state TEXT NOT NULL CHECK (state IN ('unacknowledged', 'acknowledged', 'returned unacknowledged', 'normal',
        'shelved', 'suppressed by design', 'out of service')),
    -- When a person acknowledged it first.
    acknowledged_ms INTEGER CHECK (acknowledged_ms >= raised_ms),
    -- Whether it was rightly raised, as a person said.
    marked TEXT CHECK (marked IN ('right', 'false')),
    cause TEXT NOT NULL,
    consequence TEXT NOT NULL,
    action TEXT NOT NULL,
    CHECK (state NOT IN ('unacknowledged', 'acknowledged') OR returned_ms IS NULL),
    CHECK (state NOT IN ('returned unacknowledged', 'normal') OR returned_ms IS NOT NULL),
    CHECK ((tool IS NOT NULL) = (rule IN ('residence_note', 'residence_warn', 'residence_budget', 'idle_hot', 'heat_late',
        'heat_lost', 'temp_jump', 'temp_frozen', 'temp_drift', 'duty_unlike', 'over_liner', 'part_due'))),
    CHECK ((printer IS NULL) = (rule IN ('record_full', 'record_damaged', 'disk_low', 'backup_failed', 'sign_in_failures')))
) STRICT;
INSERT INTO alarm_7 (id, printer, tool, rule, priority, raised_ms, returned_ms, state, cause, consequence, action)
    SELECT id, printer, tool, rule, CASE rule WHEN 'idle_hot' THEN 'medium' WHEN 'host_refuses' THEN 'medium' ELSE 'high' END,
        raised_ms, returned_ms, state, cause, consequence, action FROM alarm;
DROP TABLE alarm;
ALTER TABLE alarm_7 RENAME TO alarm;
-- `-1` stands for the printer as a whole, or the record, in the key alone.
CREATE UNIQUE INDEX alarm_once ON alarm (ifnull(printer, -1), ifnull(tool, -1), rule, raised_ms);
-- What stands, and what returned lately.
CREATE INDEX alarm_returned ON alarm (returned_ms);
-- What a person has yet to look at.
CREATE INDEX alarm_open ON alarm (raised_ms) WHERE state <> 'normal';

-- A time in which a rule calls nobody, because a person said so.
CREATE TABLE alarm_hold (
    id INTEGER PRIMARY KEY,
    printer INTEGER REFERENCES printer,
    tool INTEGER CHECK (tool BETWEEN 0 AND 15),
    rule TEXT NOT NULL,
    kind TEXT NOT NULL CHECK (kind IN ('shelved', 'out of service')),
    began_ms INTEGER NOT NULL,
    -- Shelving always ends; null is out of service, which a person ends.
    until_ms INTEGER CHECK (until_ms > began_ms),
    by TEXT NOT NULL CHECK (by <> ''),
    why TEXT,
    ended_ms INTEGER CHECK (ended_ms >= began_ms),
    ended_by TEXT,
    CHECK ((until_ms IS NOT NULL) = (kind = 'shelved')),
    CHECK ((ended_ms IS NULL) = (ended_by IS NULL))
) STRICT;
-- One at a time on the same thing.
CREATE UNIQUE INDEX alarm_held ON alarm_hold (ifnull(printer, -1), ifnull(tool, -1), rule) WHERE ended_ms IS NULL;

-- Every change of an alarm's state, with who and when; the first is from `normal`.
CREATE TABLE alarm_change (
    id INTEGER PRIMARY KEY,
    alarm INTEGER NOT NULL REFERENCES alarm,
    at_ms INTEGER NOT NULL,
    from_state TEXT NOT NULL,
    to_state TEXT NOT NULL,
    -- `dwellwatch` where no person did it.
    by TEXT NOT NULL CHECK (by <> ''),
    why TEXT
) STRICT;
CREATE INDEX alarm_change_of ON alarm_change (alarm);

-- Notices of alarms. What each channel still has to deliver follows from `delivery`.
CREATE TABLE outbox_7 (
    id INTEGER PRIMARY KEY,
    key TEXT NOT NULL UNIQUE,
    at_ms INTEGER NOT NULL,
    priority TEXT NOT NULL CHECK (priority IN ('low', 'medium', 'high')),
    body TEXT NOT NULL CHECK (json_valid(body)),
    -- When no channel had anything left to do with it.
    settled_ms INTEGER
) STRICT;
INSERT INTO outbox_7 (id, key, at_ms, priority, body, settled_ms)
    SELECT id, key, next_ms, 'high', body, delivered_ms FROM outbox;
DROP TABLE outbox;
ALTER TABLE outbox_7 RENAME TO outbox;
-- What a channel looks through, the loudest by itself.
CREATE INDEX outbox_waiting ON outbox (priority, id) WHERE settled_ms IS NULL;
-- What is let go, the oldest first.
CREATE INDEX outbox_settled ON outbox (settled_ms) WHERE settled_ms IS NOT NULL;

-- What a channel sends at once: one notice, or several together. It is made once, so that every try says the same.
CREATE TABLE message (
    id INTEGER PRIMARY KEY,
    channel TEXT NOT NULL CHECK (channel <> ''),
    key TEXT NOT NULL,
    -- `ahead` is a single one that has overtaken others.
    kind TEXT NOT NULL CHECK (kind IN ('single', 'ahead', 'group', 'digest')),
    made_ms INTEGER NOT NULL,
    attempts INTEGER NOT NULL DEFAULT 0 CHECK (attempts >= 0),
    next_ms INTEGER NOT NULL,
    delivered_ms INTEGER,
    -- More waited than is kept: it says how many were dropped, not what they said.
    n_dropped INTEGER NOT NULL DEFAULT 0 CHECK (n_dropped >= 0),
    UNIQUE (channel, key)
) STRICT;
CREATE INDEX message_ahead ON message (channel, made_ms) WHERE kind = 'ahead';
-- A channel sends one after the other.
CREATE UNIQUE INDEX message_waiting ON message (channel) WHERE delivered_ms IS NULL;

CREATE TABLE delivery (
    channel TEXT NOT NULL,
    notice INTEGER NOT NULL REFERENCES outbox,
    -- Null is a notice that the channel does not carry, or one that was dropped.
    message INTEGER REFERENCES message,
    PRIMARY KEY (channel, notice)
) STRICT, WITHOUT ROWID;
CREATE INDEX delivery_of ON delivery (message);
CREATE INDEX delivery_by ON delivery (notice);

-- Notices that were dropped and of which no message has told yet.
CREATE TABLE untold (
    channel TEXT PRIMARY KEY CHECK (channel <> ''),
    n INTEGER NOT NULL CHECK (n > 0)
) STRICT, WITHOUT ROWID;

-- What signs the links in messages; it never leaves the record.
CREATE TABLE link_key (
    id INTEGER PRIMARY KEY CHECK (id = 1),
    secret BLOB NOT NULL CHECK (length(secret) = 32)
) STRICT;
INSERT INTO link_key (id, secret) VALUES (1, randomblob(32));

-- What was known of a tool's heater from an instant on.
CREATE TABLE heater_fact (
    printer INTEGER NOT NULL REFERENCES printer,
    tool INTEGER NOT NULL CHECK (tool BETWEEN 0 AND 15),
    at_ms INTEGER NOT NULL,
    time_constant_s REAL NOT NULL CHECK (time_constant_s > 0),
    cooling_constant_s REAL NOT NULL CHECK (cooling_constant_s > 0),
    gain_k REAL NOT NULL CHECK (gain_k > 0),
    dead_time_s REAL NOT NULL CHECK (dead_time_s >= 0),
    cooling_dead_time_s REAL NOT NULL CHECK (cooling_dead_time_s >= 0),
    surroundings_c REAL NOT NULL,
    heating_spread REAL NOT NULL CHECK (heating_spread >= 0),
    n INTEGER NOT NULL CHECK (n >= 1),
    PRIMARY KEY (printer, tool, at_ms)
) STRICT, WITHOUT ROWID;
