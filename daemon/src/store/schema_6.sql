-- What was advised, what became of it, and trials of what was adopted.

CREATE TABLE suggestion (
    -- Of its printer, tool, material and setting: the same whatever value it comes to.
    id TEXT PRIMARY KEY CHECK (id <> ''),
    printer INTEGER NOT NULL REFERENCES printer,
    tool INTEGER NOT NULL CHECK (tool BETWEEN 0 AND 15),
    -- Null is any, or not known.
    material TEXT,
    setting TEXT NOT NULL CHECK (setting IN ('standby_c', 'retract_mm', 'retract_mm_s', 'prime_mm3', 'ooze_shield',
        'print_c', 'dried', 'material', 'part:liner', 'part:nozzle', 'part:heat_break')),
    -- As JSON has them; null is not known.
    from_value TEXT CHECK (from_value IS NULL OR json_valid(from_value)),
    to_value TEXT NOT NULL CHECK (json_valid(to_value)),
    -- The JSON object that scripts are given of it.
    body TEXT NOT NULL CHECK (json_valid(body)),
    first_ms INTEGER NOT NULL,
    last_ms INTEGER NOT NULL CHECK (last_ms >= first_ms),
    state TEXT NOT NULL CHECK (state IN ('open', 'declined', 'adopted', 'withdrawn')),
    since_ms INTEGER NOT NULL,
    why TEXT,
    CHECK (state <> 'withdrawn' OR why IS NOT NULL)
) STRICT, WITHOUT ROWID;

-- What was adopted stands here as it was then: the suggestion's values may move on.
CREATE TABLE trial (
    id INTEGER PRIMARY KEY,
    suggestion TEXT NOT NULL REFERENCES suggestion,
    printer INTEGER NOT NULL REFERENCES printer,
    tool INTEGER NOT NULL CHECK (tool BETWEEN 0 AND 15),
    material TEXT,
    setting TEXT NOT NULL CHECK (setting IN ('standby_c', 'retract_mm', 'retract_mm_s', 'prime_mm3', 'ooze_shield',
        'print_c', 'dried', 'material', 'part:liner', 'part:nozzle', 'part:heat_break')),
    from_value TEXT CHECK (from_value IS NULL OR json_valid(from_value)),
    to_value TEXT NOT NULL CHECK (json_valid(to_value)),
    -- Prints that began after it count, and what was known up to it tells what they would have come to.
    adopted_ms INTEGER NOT NULL,
    design TEXT NOT NULL CHECK (design IN ('alternation', 'before_after')),
    prints INTEGER NOT NULL CHECK (prints >= 1),
    -- The risk with the change over that without it, as expected; the chance that the prints show it; the weakest that
    -- they show, null if none.
    ratio_expected REAL NOT NULL CHECK (ratio_expected > 0),
    power REAL NOT NULL CHECK (power BETWEEN 0 AND 1),
    detects REAL CHECK (detects > 0),
    -- Failure modes that it is judged by, apart by spaces, and the chance a print that any of them happens without the
    -- change, with its 90 % interval.
    modes TEXT NOT NULL CHECK (modes <> ''),
    risk REAL NOT NULL CHECK (risk BETWEEN 0 AND 1),
    risk_low REAL NOT NULL CHECK (risk_low BETWEEN 0 AND 1),
    risk_high REAL NOT NULL CHECK (risk_high BETWEEN risk_low AND 1),
    -- Names what had been learned from then.
    baseline TEXT NOT NULL,
    ended_ms INTEGER CHECK (ended_ms >= adopted_ms),
    -- How it ended.
    ending TEXT CHECK (ending IN ('settled', 'harm', 'planned', 'given_up')),
    verdict TEXT CHECK (verdict IN ('helped', 'did_not_help', 'harmed', 'undecided')),
    -- Prints whose outcome is known, with the change and as before, and their failures.
    n_changed INTEGER CHECK (n_changed >= 0),
    seen INTEGER CHECK (seen BETWEEN 0 AND n_changed),
    n_as_before INTEGER CHECK (n_as_before >= 0),
    seen_as_before INTEGER CHECK (seen_as_before BETWEEN 0 AND n_as_before),
    -- Failures expected in the prints with the change without it, and the risk with it over that without it, with their
    -- 90 % intervals; the probability that it lowers the risk. Null where no print with the change has a known outcome.
    expected REAL CHECK (expected >= 0),
    expected_low REAL CHECK (expected_low >= 0),
    expected_high REAL CHECK (expected_high >= expected_low),
    ratio REAL CHECK (ratio >= 0),
    ratio_low REAL CHECK (ratio_low >= 0),
    ratio_high REAL CHECK (ratio_high >= ratio_low),
    sure REAL CHECK (sure BETWEEN 0 AND 1),
    why TEXT,
    CHECK ((ended_ms IS NULL) = (ending IS NULL)),
    CHECK ((ended_ms IS NULL) = (verdict IS NULL)),
    CHECK ((ended_ms IS NULL) = (why IS NULL)),
    CHECK ((ending = 'harm') = (verdict = 'harmed')),
    CHECK ((ratio IS NULL) = (seen IS NULL) AND (ratio IS NULL) = (sure IS NULL))
) STRICT;
CREATE UNIQUE INDEX trial_open ON trial (suggestion) WHERE ended_ms IS NULL;

-- What is to be set in a trial's prints, drawn when it was adopted.
CREATE TABLE trial_draw (
    trial INTEGER NOT NULL REFERENCES trial,
    nth INTEGER NOT NULL CHECK (nth >= 1),
    arm TEXT NOT NULL CHECK (arm IN ('as_before', 'changed')),
    PRIMARY KEY (trial, nth)
) STRICT, WITHOUT ROWID;
CREATE TRIGGER draw_stands BEFORE UPDATE ON trial_draw
    BEGIN SELECT RAISE(ABORT, 'a draw stands'); END;
CREATE TRIGGER draw_is_kept BEFORE DELETE ON trial_draw
    BEGIN SELECT RAISE(ABORT, 'a draw stands'); END;

-- What a trial came to counts in what is advised next.
CREATE TRIGGER trial_ended AFTER UPDATE OF ended_ms ON trial WHEN NEW.ended_ms IS NOT OLD.ended_ms
    BEGIN UPDATE evidence SET n = n + 1; END;
