-- More of what a tool went through, and what was learned from it all. What was recorded before is null here.

ALTER TABLE print ADD COLUMN fraction REAL CHECK (fraction BETWEEN 0 AND 1);
-- While at work.
ALTER TABLE visit ADD COLUMN mean_c REAL;
ALTER TABLE visit ADD COLUMN max_c REAL;
ALTER TABLE span ADD COLUMN end_c REAL;
-- Few prints are open, and each of a start's and a page's questions asks for them.
CREATE INDEX print_open ON print (printer, started_ms) WHERE ended_ms IS NULL;

-- What was learned, when, and from which state of the record.
CREATE TABLE learned (
    id INTEGER PRIMARY KEY CHECK (id = 1),
    source TEXT NOT NULL,
    made_ms INTEGER NOT NULL,
    body BLOB NOT NULL
) STRICT;

-- How often something has changed that is learned from, whoever wrote it: prints that ended, words on them, settings,
-- parts and job files. The same said again changes nothing.
CREATE TABLE evidence (
    id INTEGER PRIMARY KEY CHECK (id = 1),
    n INTEGER NOT NULL CHECK (n >= 0)
) STRICT;
INSERT INTO evidence (id, n) SELECT 1, (SELECT count(*) FROM print WHERE ended_ms IS NOT NULL)
    + (SELECT count(*) FROM outcome) + (SELECT count(*) FROM part_change) + (SELECT count(*) FROM settings_change);
CREATE TRIGGER print_ended AFTER UPDATE OF ended_ms ON print WHEN NEW.ended_ms IS NOT OLD.ended_ms
    BEGIN UPDATE evidence SET n = n + 1; END;
CREATE TRIGGER outcome_told AFTER INSERT ON outcome
    BEGIN UPDATE evidence SET n = n + 1; END;
CREATE TRIGGER part_changed AFTER INSERT ON part_change
    BEGIN UPDATE evidence SET n = n + 1; END;
CREATE TRIGGER settings_told AFTER INSERT ON settings_change
    BEGIN UPDATE evidence SET n = n + 1; END;
CREATE TRIGGER settings_added AFTER UPDATE ON settings_change
    WHEN (OLD.material, OLD.print_c, OLD.standby_c, OLD.retract_mm, OLD.retract_mm_s, OLD.prime_mm3, OLD.ooze_shield, OLD.dried)
    IS NOT (NEW.material, NEW.print_c, NEW.standby_c, NEW.retract_mm, NEW.retract_mm_s, NEW.prime_mm3, NEW.ooze_shield, NEW.dried)
    BEGIN UPDATE evidence SET n = n + 1; END;
-- One of a print that is on counts with the print's end.
CREATE TRIGGER job_file_found AFTER INSERT ON job_file
    WHEN (SELECT ended_ms FROM print WHERE id = NEW.print) IS NOT NULL
    BEGIN UPDATE evidence SET n = n + 1; END;
