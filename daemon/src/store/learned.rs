//! What was learned, as it is kept: one row, with what it was made from. Owns how the state of a record that is learned
//! from gets its name; what the body says is the study's.

use super::{Reader, Store, StoreError};
use crate::points::{Point, pass};
use dwell_analysis::time::Timestamp;
use rusqlite::{Connection, OptionalExtension, Row};

/// What was learned.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Kept {
    /// Names what it was made from.
    pub source: String,
    /// When it was made.
    pub made: Timestamp,
    /// As the study writes it.
    pub body: Vec<u8>,
}

impl Reader {
    /// A name of what this record has to learn from: another one once a print has ended, or a word, a setting, a part or
    /// a job file has come. With `quiet_since`, another one, too, once a further print had ended by then.
    ///
    /// # Errors
    /// If the record can't be read.
    pub fn evidence(&self, quiet_since: Option<Timestamp>) -> Result<String, StoreError> {
        // A printer's prints follow one another: the newest tells which have ended.
        const QUIET: &str = "SELECT started_ms FROM print WHERE printer = ?1 AND ended_ms <= ?2
            ORDER BY started_ms DESC LIMIT 1";
        let n: i64 = self.db.query_row("SELECT n FROM evidence", [], |row| row.get(0))?;
        let mut name = n.to_string();
        let Some(since) = quiet_since else { return Ok(name) };
        for printer in self.printer_ids()? {
            let mut statement = self.db.prepare_cached(QUIET)?;
            let newest: Option<i64> = statement.query_row((printer, since.as_ms()), |row| row.get(0)).optional()?;
            name.extend(newest.map(|newest| format!(" {printer}:{newest}")));
        }
        Ok(name)
    }

    /// The newest word on a print, as its number; 0 before the first.
    ///
    /// # Errors
    /// If the record can't be read.
    pub fn last_word(&self) -> Result<i64, StoreError> {
        Ok(self.db.query_row("SELECT ifnull(max(id), 0) FROM outcome", [], |row| row.get(0))?)
    }

    /// How many words on prints came after the one of that number.
    ///
    /// # Errors
    /// If the record can't be read.
    pub fn words_since(&self, word: i64) -> Result<u32, StoreError> {
        const SQL: &str = "SELECT count(*) FROM outcome WHERE id > ?1";
        Ok(self.db.prepare_cached(SQL)?.query_row([word], |row| row.get(0))?)
    }

    /// A name of what stands of suggestions and trials: another one once one is said, withdrawn, adopted, declined or has
    /// ended, or a print of an open trial has begun.
    ///
    /// # Errors
    /// If the record can't be read.
    pub fn advice_stands(&self) -> Result<String, StoreError> {
        const SUGGESTIONS: &str =
            "SELECT state, count(*), max(since_ms), max(last_ms) FROM suggestion GROUP BY state ORDER BY state";
        const TRIALS: &str = "SELECT count(*), count(ended_ms), ifnull(max(ended_ms), 0) FROM trial";
        const PRINTS: &str =
            "SELECT ifnull(max(id), 0) FROM print WHERE EXISTS (SELECT 1 FROM trial WHERE ended_ms IS NULL)";
        let mut name = String::new();
        let mut statement = self.db.prepare_cached(SUGGESTIONS)?;
        let row = |row: &Row<'_>| {
            let (state, n, since, last): (String, i64, i64, i64) = (row.get(0)?, row.get(1)?, row.get(2)?, row.get(3)?);
            Ok(format!("{state}:{n}:{since}:{last} "))
        };
        for state in statement.query_map([], row)? {
            name.push_str(&state?);
        }
        let trials = |row: &Row<'_>| {
            let (n, ended, last): (i64, i64, i64) = (row.get(0)?, row.get(1)?, row.get(2)?);
            Ok(format!("{n}:{ended}:{last}"))
        };
        name.push_str(&self.db.query_row(TRIALS, [], trials)?);
        let print: i64 = self.db.query_row(PRINTS, [], |row| row.get(0))?;
        Ok(format!("{name} {print}"))
    }

    /// What the newest learning was made from, and when; `None` before the first.
    ///
    /// # Errors
    /// If the record can't be read.
    pub fn learned_from(&self) -> Result<Option<(String, Timestamp)>, StoreError> {
        let from = |row: &Row<'_>| Ok((row.get(0)?, Timestamp::from_ms(row.get(1)?)));
        Ok(self.db.query_row("SELECT source, made_ms FROM learned", [], from).optional()?)
    }

    /// What was learned last.
    ///
    /// # Errors
    /// If the record can't be read.
    pub fn learned(&self) -> Result<Option<Kept>, StoreError> {
        let kept =
            |row: &Row<'_>| Ok(Kept { source: row.get(0)?, made: Timestamp::from_ms(row.get(1)?), body: row.get(2)? });
        Ok(self.db.query_row("SELECT source, made_ms, body FROM learned", [], kept).optional()?)
    }
}

impl Store {
    /// Keeps what was learned, in the place of what was before.
    ///
    /// # Errors
    /// If the record can't be written; what was before is kept then.
    pub fn keep_learned(&self, kept: Kept) -> Result<(), StoreError> {
        self.call(move |writer| keep(&writer.db, &kept).map(|()| writer.board.moved()))
    }
}

fn keep(db: &Connection, kept: &Kept) -> Result<(), StoreError> {
    const SQL: &str = "INSERT OR REPLACE INTO learned (id, source, made_ms, body) VALUES (1, ?1, ?2, ?3)";
    db.execute(SQL, (&kept.source, kept.made.as_ms(), &kept.body))?;
    pass(Point::LearnedKept);
    Ok(())
}

#[cfg(test)]
#[expect(clippy::unwrap_used, reason = "a test may stop")]
mod tests {
    use super::*;
    use crate::entry::{
        HotEnd, JobFile, JobFileFrom, Mode, Outcome, Part, PartChange, PartEvent, PrintEnd, PrinterName, Settings,
        SettingsChange, ToolNumber,
    };
    use crate::store::Commit;
    use crate::tracker::Effect;
    use dwell_analysis::units::{Celsius, Seconds};

    const STARTED: Timestamp = Timestamp::from_ms(1_772_438_400_000);
    const ENDED: Timestamp = Timestamp::from_ms(1_772_442_000_000);

    #[test]
    fn evidence_changes_with_what_is_learned_from_and_the_same_said_again_changes_nothing() {
        let folder = tempfile::tempdir().unwrap();
        let store = Store::open(&folder.path().join("record.db")).unwrap();
        let (bench, tool) = (PrinterName::new("bench").unwrap(), ToolNumber::FIRST);
        store.ensure_printer(&bench, HotEnd::Separate, 2).unwrap();
        let commit = |effect| {
            let printer = bench.clone();
            store.commit(Commit { printer, effects: vec![effect], alarms: Vec::new(), notices: false }).unwrap();
        };
        let evidence = || store.reader().unwrap().evidence(None).unwrap();
        let set = |print: Option<f64>, standby: Option<f64>| {
            let (print, standby) = (print.map(Celsius::new), standby.map(Celsius::new));
            let settings = Settings { print, standby, ..Settings::default() };
            store.record_settings(&bench, &SettingsChange { at: STARTED, tool, settings }).unwrap();
        };
        let part = || {
            let (part, event) = (Part::Liner, PartEvent::Fitted);
            store
                .record_part(&bench, &PartChange { at: STARTED, tool, part, event, reason: None, note: None })
                .unwrap();
        };
        let say = |mode| {
            let (job, started) = ("lantern.gcode".into(), STARTED);
            let outcome = Outcome { at: ENDED, job, started, tool: None, mode, severity: None, note: None };
            store.record_outcome(&bench, &outcome).unwrap();
        };
        let file = || {
            let (name, from, expected) = ("lantern.gcode".into(), JobFileFrom::Host, Seconds::new(60.0));
            let (turns, tools) = (Vec::new(), Vec::new());
            let file = JobFile { at: ENDED, name, started: STARTED, from, bytes: 9, expected, turns, tools };
            store.record_job_file(&bench, &file).unwrap();
        };
        let end = PrintEnd::Completed;
        let steps: [(&str, &dyn Fn(), bool); 12] = [
            ("a print begins", &|| commit(Effect::PrintStarted { started: STARTED, name: None }), false),
            (
                "it ends",
                &|| commit(Effect::PrintEnded { started: STARTED, at: ENDED, end, fraction_millionths: None }),
                true,
            ),
            ("settings", &|| set(Some(210.0), None), true),
            ("the same settings", &|| set(Some(210.0), None), false),
            ("more of them", &|| set(None, Some(170.0)), true),
            ("a part", &part, true),
            ("the same part", &part, false),
            ("a word", &|| say(Mode::Clean), true),
            ("the same word", &|| say(Mode::Clean), false),
            ("its correction", &|| say(Mode::Jam), true),
            ("a job file", &file, true),
            ("another one, which does not count", &file, false),
        ];
        for (what, take, changes) in steps {
            let before = evidence();
            take();
            assert_eq!(evidence() != before, changes, "{what}");
        }
    }
}
