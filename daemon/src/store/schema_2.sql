-- Alarms of a printer as a whole.
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

-- What is wrong with a poll is of the moment: it is held in memory.
DROP TABLE poll_fault;
