-- Alarms of a printer as a whole, what is wrong with each of a host's documents, and the host's clock.
CREATE TABLE alarm_2 (
    id INTEGER PRIMARY KEY,
    printer INTEGER NOT NULL REFERENCES printer,
    -- Null is the printer as a whole.
    tool INTEGER CHECK (tool BETWEEN 0 AND 15),
    rule TEXT NOT NULL CHECK (rule IN ('residence_budget', 'idle_hot', 'host_silent', 'host_refuses')),
    raised_ms INTEGER NOT NULL,
    returned_ms INTEGER CHECK (returned_ms >= raised_ms),
    state TEXT NOT NULL CHECK (state IN ('unacknowledged', 'acknowledged', 'returned unacknowledged', 'normal')),
    cause TEXT NOT NULL,
    consequence TEXT NOT NULL,
    action TEXT NOT NULL,
    CHECK ((returned_ms IS NULL) = (state IN ('unacknowledged', 'acknowledged'))),
    CHECK ((tool IS NULL) = (rule IN ('host_silent', 'host_refuses')))
) STRICT;
INSERT INTO alarm_2 (id, printer, tool, rule, raised_ms, returned_ms, state, cause, consequence, action)
    SELECT id, printer, tool, rule, raised_ms, returned_ms, state, cause, consequence, action FROM alarm;
DROP TABLE alarm;
ALTER TABLE alarm_2 RENAME TO alarm;
-- `-1` stands for the printer as a whole in the key alone.
CREATE UNIQUE INDEX alarm_once ON alarm (printer, ifnull(tool, -1), rule, raised_ms);

-- What is wrong with a printer's polls, in the order of its documents; no rows while all is well.
DROP TABLE poll_fault;
CREATE TABLE trouble (
    printer INTEGER NOT NULL REFERENCES printer,
    place INTEGER NOT NULL CHECK (place >= 0),
    since_ms INTEGER NOT NULL,
    cause TEXT NOT NULL,
    PRIMARY KEY (printer, place)
) STRICT, WITHOUT ROWID;

-- How far a host's clock is ahead of the timeline, and to within what.
CREATE TABLE host_clock (
    printer INTEGER PRIMARY KEY REFERENCES printer,
    at_ms INTEGER NOT NULL,
    ahead_ms INTEGER NOT NULL,
    within_ms INTEGER NOT NULL CHECK (within_ms >= 0)
) STRICT;
