-- Words on prints can be taken back: the word stays, and when it was taken back.

ALTER TABLE outcome ADD COLUMN undone_ms INTEGER CHECK (undone_ms >= at_ms);
CREATE TRIGGER outcome_undone AFTER UPDATE OF undone_ms ON outcome WHEN NEW.undone_ms IS NOT OLD.undone_ms
    BEGIN UPDATE evidence SET n = n + 1; END;
