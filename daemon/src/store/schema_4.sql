-- Readings by the hour, summaries of what is older, and alarms of the record itself.

-- Readings, packed: up to a minute a row while an hour is under way, then the hour in one row.
CREATE TABLE sample (
    -- printer * 2^44 + began_ms: a printer's rows stand together, in time order, and need no second index.
    key INTEGER PRIMARY KEY,
    printer INTEGER NOT NULL REFERENCES printer,
    began_ms INTEGER NOT NULL CHECK (began_ms BETWEEN 0 AND 17592186044415 AND key = (printer << 44) + began_ms),
    ended_ms INTEGER NOT NULL CHECK (ended_ms >= began_ms AND ended_ms - began_ms < 3600000),
    -- Whether the hour is in one row.
    closed INTEGER NOT NULL CHECK (closed IN (0, 1)),
    body BLOB NOT NULL
) STRICT;

-- What readings came to by the minute or the hour, a day in a row; kept when the readings themselves are not.
CREATE TABLE summary (
    printer INTEGER NOT NULL REFERENCES printer,
    step_s INTEGER NOT NULL CHECK (step_s IN (60, 3600)),
    -- The first reading, and the last step's end.
    began_ms INTEGER NOT NULL,
    ended_ms INTEGER NOT NULL CHECK (ended_ms > began_ms),
    body BLOB NOT NULL,
    PRIMARY KEY (printer, step_s, began_ms)
) STRICT, WITHOUT ROWID;

CREATE TABLE alarm_4 (
    id INTEGER PRIMARY KEY,
    -- Null is the record itself.
    printer INTEGER REFERENCES printer,
    -- Null is the printer as a whole, or the record.
    tool INTEGER CHECK (tool BETWEEN 0 AND 15),
    rule TEXT NOT NULL CHECK (rule IN ('residence_budget', 'idle_hot', 'host_silent', 'host_refuses',
        'record_full', 'record_damaged')),
    raised_ms INTEGER NOT NULL,
    returned_ms INTEGER CHECK (returned_ms >= raised_ms),
    state TEXT NOT NULL CHECK (state IN ('unacknowledged', 'acknowledged', 'returned unacknowledged', 'normal')),
    cause TEXT NOT NULL,
    consequence TEXT NOT NULL,
    action TEXT NOT NULL,
    CHECK ((returned_ms IS NULL) = (state IN ('unacknowledged', 'acknowledged'))),
    CHECK ((tool IS NOT NULL) = (rule IN ('residence_budget', 'idle_hot'))),
    CHECK ((printer IS NULL) = (rule IN ('record_full', 'record_damaged')))
) STRICT;
INSERT INTO alarm_4 (id, printer, tool, rule, raised_ms, returned_ms, state, cause, consequence, action)
    SELECT id, printer, tool, rule, raised_ms, returned_ms, state, cause, consequence, action FROM alarm;
DROP TABLE alarm;
ALTER TABLE alarm_4 RENAME TO alarm;
-- `-1` stands for the printer as a whole, or the record, in the key alone.
CREATE UNIQUE INDEX alarm_once ON alarm (ifnull(printer, -1), ifnull(tool, -1), rule, raised_ms);
-- What stands, and what returned lately.
CREATE INDEX alarm_returned ON alarm (returned_ms);
CREATE INDEX gap_ended ON gap (ended_ms);
CREATE INDEX print_started ON print (started_ms);

-- Which record this is: notices of another one are other notices.
CREATE TABLE identity (
    id INTEGER PRIMARY KEY CHECK (id = 1),
    word TEXT NOT NULL
) STRICT;
INSERT INTO identity (id, word) VALUES (1, lower(hex(randomblob(8))));

-- A notice's key is made of this record's word and of what it tells, so that it holds from before the notice is
-- written on, and is no other record's. Notices of before keep their numbers.
CREATE TABLE outbox_4 (
    id INTEGER PRIMARY KEY,
    key TEXT NOT NULL UNIQUE,
    body TEXT NOT NULL,
    attempts INTEGER NOT NULL DEFAULT 0 CHECK (attempts >= 0),
    next_ms INTEGER NOT NULL,
    delivered_ms INTEGER
) STRICT;
INSERT INTO outbox_4 (id, key, body, attempts, next_ms, delivered_ms)
    SELECT id, CAST(id AS TEXT), body, attempts, next_ms, delivered_ms FROM outbox;
DROP TABLE outbox;
ALTER TABLE outbox_4 RENAME TO outbox;
CREATE INDEX outbox_waiting ON outbox (id) WHERE delivered_ms IS NULL;

-- Spans are found by printer, tool and beginning alone: an event then writes two pages of them, not four.
CREATE TABLE span_4 (
    printer INTEGER NOT NULL REFERENCES printer,
    tool INTEGER NOT NULL CHECK (tool BETWEEN 0 AND 15),
    began_ms INTEGER NOT NULL,
    print INTEGER REFERENCES print,
    context TEXT NOT NULL CHECK (context IN ('in_print', 'paused', 'no_print')),
    ended_ms INTEGER CHECK (ended_ms >= began_ms),
    idle_ms INTEGER CHECK (idle_ms >= 0),
    gap_ms INTEGER CHECK (gap_ms >= 0),
    mean_c REAL,
    max_c REAL,
    target_c REAL,
    dose_min REAL CHECK (dose_min >= 0),
    ooze_mm3 REAL CHECK (ooze_mm3 >= 0),
    PRIMARY KEY (printer, tool, began_ms),
    CHECK ((context = 'no_print') = (print IS NULL)),
    CHECK (idle_ms + gap_ms <= ended_ms - began_ms + 1)
) STRICT, WITHOUT ROWID;
INSERT INTO span_4 (printer, tool, began_ms, print, context, ended_ms, idle_ms, gap_ms, mean_c, max_c, target_c, dose_min,
        ooze_mm3)
    SELECT printer, tool, began_ms, print, context, ended_ms, idle_ms, gap_ms, mean_c, max_c, target_c, dose_min, ooze_mm3
    FROM span;
DROP TABLE span;
ALTER TABLE span_4 RENAME TO span;

-- The numbers that a tool may have, so that a query can look up each tool's rows by their key.
CREATE VIEW tool_number (n) AS
    VALUES (0), (1), (2), (3), (4), (5), (6), (7), (8), (9), (10), (11), (12), (13), (14), (15);
