-- Job files.
CREATE TABLE tool_change_3 (
    print INTEGER NOT NULL REFERENCES print,
    at_ms INTEGER NOT NULL,
    from_tool INTEGER NOT NULL CHECK (from_tool BETWEEN 0 AND 15),
    to_tool INTEGER NOT NULL CHECK (to_tool BETWEEN 0 AND 15 AND to_tool <> from_tool),
    source TEXT NOT NULL CHECK (source IN ('host', 'set_points', 'job_file')),
    PRIMARY KEY (print, at_ms)
) STRICT, WITHOUT ROWID;
INSERT INTO tool_change_3 (print, at_ms, from_tool, to_tool, source)
    SELECT print, at_ms, from_tool, to_tool, source FROM tool_change;
DROP TABLE tool_change;
ALTER TABLE tool_change_3 RENAME TO tool_change;

CREATE TABLE job_file (
    print INTEGER PRIMARY KEY REFERENCES print,
    at_ms INTEGER NOT NULL,
    name TEXT NOT NULL,
    source TEXT NOT NULL CHECK (source IN ('host', 'folder')),
    bytes INTEGER NOT NULL CHECK (bytes >= 0),
    expected_ms INTEGER NOT NULL CHECK (expected_ms >= 0),
    -- The tools' turns, packed: thousands of them in one write.
    turns BLOB NOT NULL,
    -- When the host read on beyond its end, so that it is not this print's.
    dropped_ms INTEGER
) STRICT;

CREATE TABLE job_file_tool (
    print INTEGER NOT NULL REFERENCES job_file,
    tool INTEGER NOT NULL CHECK (tool BETWEEN 0 AND 15),
    material TEXT,
    print_c REAL CHECK (print_c BETWEEN -273.15 AND 1000),
    standby_c REAL CHECK (standby_c BETWEEN -273.15 AND 1000),
    retract_mm REAL CHECK (retract_mm >= 0),
    retract_mm_s REAL CHECK (retract_mm_s >= 0),
    prime_mm3 REAL CHECK (prime_mm3 >= 0),
    ooze_shield INTEGER CHECK (ooze_shield IN (0, 1)),
    dried INTEGER CHECK (dried IN (0, 1)),
    left_n INTEGER NOT NULL CHECK (left_n >= 0),
    left_hot_n INTEGER NOT NULL CHECK (left_hot_n >= 0),
    PRIMARY KEY (print, tool)
) STRICT, WITHOUT ROWID;

-- The host and the job file did not agree on the tool at work; the host was believed.
CREATE TABLE tool_disagreement (
    print INTEGER NOT NULL REFERENCES print,
    at_ms INTEGER NOT NULL,
    host_tool INTEGER NOT NULL CHECK (host_tool BETWEEN 0 AND 15),
    file_tool INTEGER NOT NULL CHECK (file_tool BETWEEN 0 AND 15 AND file_tool <> host_tool),
    PRIMARY KEY (print, at_ms)
) STRICT, WITHOUT ROWID;
