-- The first schema. Instants and durations are whole milliseconds, temperatures °C, volumes mm3, doses equivalent
-- minutes. A null is what is not known, or has not happened yet.
CREATE TABLE printer (
    id INTEGER PRIMARY KEY,
    name TEXT NOT NULL UNIQUE CHECK (length(name) BETWEEN 1 AND 64),
    hot_end TEXT NOT NULL CHECK (hot_end IN ('separate', 'shared')),
    n_tools INTEGER NOT NULL CHECK (n_tools BETWEEN 0 AND 16)
) STRICT;

CREATE TABLE print (
    id INTEGER PRIMARY KEY,
    printer INTEGER NOT NULL REFERENCES printer,
    started_ms INTEGER NOT NULL,
    name TEXT,
    ended_ms INTEGER CHECK (ended_ms >= started_ms),
    end TEXT CHECK (end IN ('completed', 'cancelled', 'failed', 'unknown')),
    UNIQUE (printer, started_ms),
    CHECK ((ended_ms IS NULL) = (end IS NULL))
) STRICT;

CREATE TABLE print_event (
    print INTEGER NOT NULL REFERENCES print,
    at_ms INTEGER NOT NULL,
    kind TEXT NOT NULL CHECK (kind IN ('paused', 'resumed')),
    PRIMARY KEY (print, at_ms, kind)
) STRICT, WITHOUT ROWID;

CREATE TABLE tool_change (
    print INTEGER NOT NULL REFERENCES print,
    at_ms INTEGER NOT NULL,
    from_tool INTEGER NOT NULL CHECK (from_tool BETWEEN 0 AND 15),
    to_tool INTEGER NOT NULL CHECK (to_tool BETWEEN 0 AND 15 AND to_tool <> from_tool),
    source TEXT NOT NULL CHECK (source IN ('host', 'set_points')),
    PRIMARY KEY (print, at_ms)
) STRICT, WITHOUT ROWID;

CREATE TABLE visit (
    print INTEGER NOT NULL REFERENCES print,
    tool INTEGER NOT NULL CHECK (tool BETWEEN 0 AND 15),
    began_ms INTEGER NOT NULL,
    ended_ms INTEGER CHECK (ended_ms >= began_ms),
    gap_ms INTEGER CHECK (gap_ms BETWEEN 0 AND ended_ms - began_ms),
    PRIMARY KEY (print, tool, began_ms)
) STRICT, WITHOUT ROWID;

CREATE TABLE span (
    id INTEGER PRIMARY KEY,
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
    UNIQUE (printer, tool, began_ms),
    CHECK ((context = 'no_print') = (print IS NULL)),
    CHECK (idle_ms + gap_ms <= ended_ms - began_ms + 1)
) STRICT;
CREATE INDEX span_of_print ON span (print) WHERE print IS NOT NULL;

CREATE TABLE gap (
    printer INTEGER NOT NULL REFERENCES printer,
    began_ms INTEGER NOT NULL,
    ended_ms INTEGER CHECK (ended_ms >= began_ms),
    PRIMARY KEY (printer, began_ms)
) STRICT, WITHOUT ROWID;

CREATE TABLE refused (
    printer INTEGER NOT NULL REFERENCES printer,
    reason TEXT NOT NULL CHECK (reason IN ('tool_out_of_range', 'out_of_order')),
    -- Counted by the hour of the reading's stamp, so that a week can be told.
    hour_ms INTEGER NOT NULL CHECK (hour_ms % 3600000 = 0),
    n INTEGER NOT NULL CHECK (n > 0),
    PRIMARY KEY (printer, reason, hour_ms)
) STRICT, WITHOUT ROWID;

CREATE TABLE settings_change (
    printer INTEGER NOT NULL REFERENCES printer,
    tool INTEGER NOT NULL CHECK (tool BETWEEN 0 AND 15),
    at_ms INTEGER NOT NULL,
    material TEXT,
    print_c REAL,
    standby_c REAL,
    retract_mm REAL CHECK (retract_mm >= 0),
    retract_mm_s REAL CHECK (retract_mm_s >= 0),
    prime_mm3 REAL CHECK (prime_mm3 >= 0),
    ooze_shield INTEGER CHECK (ooze_shield IN (0, 1)),
    dried INTEGER CHECK (dried IN (0, 1)),
    PRIMARY KEY (printer, tool, at_ms)
) STRICT, WITHOUT ROWID;

CREATE TABLE part_change (
    printer INTEGER NOT NULL REFERENCES printer,
    tool INTEGER NOT NULL CHECK (tool BETWEEN 0 AND 15),
    at_ms INTEGER NOT NULL,
    part TEXT NOT NULL CHECK (part IN ('liner', 'nozzle', 'heat_break', 'heater', 'hot_end')),
    event TEXT NOT NULL CHECK (event IN ('fitted', 'removed')),
    reason TEXT CHECK (reason IN ('failed', 'preventive')),
    note TEXT,
    PRIMARY KEY (printer, tool, at_ms, part, event)
) STRICT, WITHOUT ROWID;

CREATE TABLE outcome (
    id INTEGER PRIMARY KEY,
    print INTEGER NOT NULL REFERENCES print,
    at_ms INTEGER NOT NULL,
    tool INTEGER CHECK (tool BETWEEN 0 AND 15),
    mode TEXT NOT NULL CHECK (mode IN ('clean', 'jam', 'stringing', 'liner', 'blob', 'under_extrusion', 'scrape',
        'misalignment', 'adhesion', 'other')),
    severity INTEGER CHECK (severity BETWEEN 1 AND 3),
    note TEXT
) STRICT;
-- The same words said twice at the same time are one outcome; `-1` stands for the whole print in the key alone.
CREATE UNIQUE INDEX outcome_once ON outcome (print, at_ms, ifnull(tool, -1), mode);

CREATE TABLE alarm (
    id INTEGER PRIMARY KEY,
    printer INTEGER NOT NULL REFERENCES printer,
    tool INTEGER NOT NULL CHECK (tool BETWEEN 0 AND 15),
    rule TEXT NOT NULL CHECK (rule IN ('residence_budget', 'idle_hot')),
    raised_ms INTEGER NOT NULL,
    returned_ms INTEGER CHECK (returned_ms >= raised_ms),
    state TEXT NOT NULL CHECK (state IN ('unacknowledged', 'acknowledged', 'returned unacknowledged', 'normal')),
    cause TEXT NOT NULL,
    consequence TEXT NOT NULL,
    action TEXT NOT NULL,
    UNIQUE (printer, tool, rule, raised_ms),
    CHECK ((returned_ms IS NULL) = (state IN ('unacknowledged', 'acknowledged')))
) STRICT;

CREATE TABLE outbox (
    id INTEGER PRIMARY KEY,
    body TEXT NOT NULL,
    attempts INTEGER NOT NULL DEFAULT 0 CHECK (attempts >= 0),
    next_ms INTEGER NOT NULL,
    delivered_ms INTEGER
) STRICT;
CREATE INDEX outbox_waiting ON outbox (id) WHERE delivered_ms IS NULL;

-- Why the newest poll of a printer gave no reading; no row while polls succeed.
CREATE TABLE poll_fault (
    printer INTEGER PRIMARY KEY REFERENCES printer,
    since_ms INTEGER NOT NULL,
    cause TEXT NOT NULL
) STRICT;

CREATE TABLE report_written (
    week TEXT PRIMARY KEY,
    at_ms INTEGER NOT NULL
) STRICT, WITHOUT ROWID;

-- Readings in batches of up to a minute, each a packed column set. Clustered by printer and time, so that a batch
-- dirties one page.
CREATE TABLE sample_batch (
    printer INTEGER NOT NULL REFERENCES printer,
    began_ms INTEGER NOT NULL,
    ended_ms INTEGER NOT NULL CHECK (ended_ms >= began_ms),
    body BLOB NOT NULL,
    PRIMARY KEY (printer, began_ms)
) STRICT, WITHOUT ROWID;
