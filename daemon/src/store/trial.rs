//! Trials as they are kept: what was adopted, what was drawn for which print, and what a trial came to. Owns that a
//! draw stands and that an ended trial does not change; how one is judged is `analysis`'s.

use super::advice::{change_of, stand};
use super::read::{tool, word};
use super::{Reader, Standing, Store, StoreError};
use crate::entry::{Mode, PrinterName, ToolNumber, words};
use crate::points::{Point, pass};
use dwell_analysis::advice::Change;
use dwell_analysis::estimate::Estimate;
use dwell_analysis::time::Timestamp;
use rusqlite::{Connection, OptionalExtension, Row, TransactionBehavior};

/// How a trial tells what a change does.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Design {
    /// Each print is drawn: as before, or changed.
    Alternation,
    /// Every print is changed.
    BeforeAfter,
}
words!(Design { Alternation = "alternation", BeforeAfter = "before_after" });

/// What is to be set in a print of a trial, or was.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Arm {
    /// What was in force when the trial began.
    AsBefore,
    /// What was adopted.
    Changed,
}
words!(Arm { AsBefore = "as_before", Changed = "changed" });

/// How a trial ended.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Ending {
    /// The record was clear before all prints were made.
    Settled,
    /// It was stopped: it failed more often.
    Harm,
    /// All prints were made.
    Planned,
    /// A person gave it up.
    GivenUp,
}
words!(Ending { Settled = "settled", Harm = "harm", Planned = "planned", GivenUp = "given_up" });

/// What a trial came to.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum TrialVerdict {
    /// It failed less often.
    Helped,
    /// It did not fail less often by as much as would be worth it.
    DidNotHelp,
    /// It failed more often.
    Harmed,
    /// It can't be told.
    Undecided,
}
words!(TrialVerdict { Helped = "helped", DidNotHelp = "did_not_help", Harmed = "harmed", Undecided = "undecided" });

/// A trial to begin.
#[derive(Clone, Debug, PartialEq)]
pub struct NewTrial {
    /// What is adopted.
    pub suggestion: String,
    /// Prints that begin after this count.
    pub at: Timestamp,
    /// How it tells.
    pub design: Design,
    /// What it is judged by.
    pub modes: Vec<Mode>,
    /// Names what had been learned from.
    pub baseline: String,
    /// One for each print planned, drawn.
    pub draws: Vec<Arm>,
}

/// A draw for one print.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Drawn {
    /// Which print of the trial, from 1.
    pub nth: u32,
    /// What was drawn.
    pub arm: Arm,
}

/// A trial of the record.
#[derive(Clone, Debug, PartialEq)]
pub struct TrialRow {
    /// Its number.
    pub id: i64,
    /// What was adopted.
    pub suggestion: String,
    /// The printer.
    pub printer: PrinterName,
    /// The tool.
    pub tool: ToolNumber,
    /// The material; `None` is any.
    pub material: Option<String>,
    /// The change, as it was adopted.
    pub change: Change,
    /// Prints that began after this count.
    pub adopted: Timestamp,
    /// How it tells.
    pub design: Design,
    /// Prints planned.
    pub prints: u32,
    /// What it is judged by.
    pub modes: Vec<Mode>,
    /// What was drawn for each print.
    pub draws: Vec<Drawn>,
    /// Its end; `None` while it is open.
    pub ended: Option<Ended>,
}

/// What a trial came to.
#[derive(Clone, Debug, PartialEq)]
pub struct Ended {
    /// When.
    pub at: Timestamp,
    /// How it ended.
    pub ending: Ending,
    /// What it came to.
    pub verdict: TrialVerdict,
    /// Prints with the change whose outcome is known.
    pub n: u32,
    /// Those that failed.
    pub failures: u32,
    /// Failures expected in them without the change; `None` if too little was known.
    pub expected: Option<f64>,
    /// Failures with the change for one without it, with its 90 % interval.
    pub ratio: Option<Estimate>,
    /// In words.
    pub why: String,
}

impl TrialRow {
    /// Whether a change of this tool with this material would change what the trial is judged by.
    #[must_use]
    pub fn is_confounded_by(
        &self,
        printer: &PrinterName,
        tool: ToolNumber,
        material: Option<&str>,
        change: &Change,
    ) -> bool {
        let is_of_part = |change: &Change| matches!(change, Change::Replace(_) | Change::Clean | Change::AllMetal);
        let shares_prints = match (self.material.as_deref(), material) {
            // A part is there whatever the tool holds.
            (Some(one), Some(other)) => {
                is_of_part(&self.change) || is_of_part(change) || one.eq_ignore_ascii_case(other)
            }
            _ => true,
        };
        self.ended.is_none() && self.printer == *printer && self.tool == tool && shares_prints
    }
}

impl Store {
    /// Begins a trial of a suggestion, and keeps what was drawn for each of its prints. `false` if there is no such
    /// suggestion, or one of the trials that are open would be confounded by it.
    ///
    /// # Errors
    /// If the record can't be written.
    pub fn adopt(&self, trial: NewTrial) -> Result<bool, StoreError> {
        self.call(move |writer| {
            let step = writer.db.transaction_with_behavior(TransactionBehavior::Immediate)?;
            let has_begun = begin(&step, &trial)?;
            pass(Point::WordRecorded);
            step.commit()?;
            writer.board.moved();
            Ok(has_begun)
        })
    }

    /// Ends a trial, and with it what is said of its suggestion. `false` if it is not open.
    ///
    /// # Errors
    /// If the record can't be written.
    pub fn end_trial(&self, id: i64, ended: Ended) -> Result<bool, StoreError> {
        self.call(move |writer| {
            let step = writer.db.transaction_with_behavior(TransactionBehavior::Immediate)?;
            let was_open = end(&step, id, &ended)?;
            pass(Point::WordRecorded);
            step.commit()?;
            writer.board.moved();
            Ok(was_open)
        })
    }
}

impl Reader {
    /// Every trial, oldest first.
    ///
    /// # Errors
    /// If the record can't be read.
    pub fn trials(&self) -> Result<Vec<TrialRow>, StoreError> {
        trials(&self.db)
    }
}

fn trials(db: &Connection) -> Result<Vec<TrialRow>, StoreError> {
    const SQL: &str =
        "SELECT trial.id, suggestion, name, tool, material, setting, from_value, to_value, adopted_ms, design,
        prints, modes, ended_ms, ending, verdict, n, failures, expected, ratio, ratio_low, ratio_high, why
        FROM trial JOIN printer ON printer.id = trial.printer ORDER BY adopted_ms, trial.id";
    let mut statement = db.prepare_cached(SQL)?;
    let mut trials = statement.query_map([], trial)?.collect::<rusqlite::Result<Vec<_>>>()?;
    let mut of_trial = db.prepare_cached("SELECT nth, arm FROM trial_draw WHERE trial = ?1 ORDER BY nth")?;
    for trial in &mut trials {
        let drawn = of_trial.query_map([trial.id], |row| {
            Ok(Drawn { nth: row.get(0)?, arm: word(Arm::of_word(&row.get::<_, String>(1)?), "arm")? })
        })?;
        trial.draws = drawn.collect::<rusqlite::Result<_>>()?;
    }
    Ok(trials)
}

fn trial(row: &Row<'_>) -> rusqlite::Result<TrialRow> {
    let modes: String = row.get(11)?;
    let modes = modes.split(' ').map(|mode| word(Mode::of_word(mode), "modes"));
    Ok(TrialRow {
        id: row.get(0)?,
        suggestion: row.get(1)?,
        printer: word(PrinterName::new(&row.get::<_, String>(2)?), "name")?,
        tool: tool(row, 3)?,
        material: row.get(4)?,
        change: change_of(row, 5)?,
        adopted: Timestamp::from_ms(row.get(8)?),
        design: word(Design::of_word(&row.get::<_, String>(9)?), "design")?,
        prints: row.get(10)?,
        modes: modes.collect::<rusqlite::Result<_>>()?,
        draws: Vec::new(),
        ended: row.get::<_, Option<i64>>(12)?.map(|at| ended(row, Timestamp::from_ms(at))).transpose()?,
    })
}

fn ended(row: &Row<'_>, at: Timestamp) -> rusqlite::Result<Ended> {
    let n: Option<u32> = row.get(15)?;
    let ratio = match (row.get(18)?, row.get(19)?, row.get(20)?) {
        (Some(value), Some(low), Some(high)) => {
            Some(Estimate { value, low, high, n: usize::try_from(n.unwrap_or(0)).unwrap_or(usize::MAX) })
        }
        _ => None,
    };
    Ok(Ended {
        at,
        ending: word(Ending::of_word(&row.get::<_, String>(13)?), "ending")?,
        verdict: word(TrialVerdict::of_word(&row.get::<_, String>(14)?), "verdict")?,
        n: n.unwrap_or(0),
        failures: row.get::<_, Option<u32>>(16)?.unwrap_or(0),
        expected: row.get(17)?,
        ratio,
        why: row.get(21)?,
    })
}

fn begin(db: &Connection, new: &NewTrial) -> Result<bool, StoreError> {
    const SQL: &str = "INSERT INTO trial (suggestion, printer, tool, material, setting, from_value, to_value, adopted_ms,
        design, prints, modes, baseline) SELECT id, printer, tool, material, setting, from_value, to_value, ?2, ?3, ?4, ?5, ?6
        FROM suggestion WHERE id = ?1 RETURNING id";
    const DRAW: &str = "INSERT INTO trial_draw (trial, nth, arm) VALUES (?1, ?2, ?3)";
    let Some(at) = place(db, &new.suggestion)? else { return Ok(false) };
    let is_confounded =
        |open: &TrialRow| open.is_confounded_by(&at.printer, at.tool, at.material.as_deref(), &at.change);
    if trials(db)?.iter().any(is_confounded) {
        return Ok(false);
    }
    let modes: Vec<&str> = new.modes.iter().map(|mode| mode.word()).collect();
    let prints = i64::try_from(new.draws.len()).unwrap_or(i64::MAX);
    let row = (&new.suggestion, new.at.as_ms(), new.design.word(), prints, modes.join(" "), &new.baseline);
    let id: i64 = db.prepare_cached(SQL)?.query_row(row, |row| row.get(0))?;
    for (nth, arm) in (1_i64..).zip(&new.draws) {
        db.prepare_cached(DRAW)?.execute((id, nth, arm.word()))?;
    }
    stand(db, &new.suggestion, Standing::Adopted, None, new.at)
}

/// What a suggestion is of.
struct Place {
    printer: PrinterName,
    tool: ToolNumber,
    material: Option<String>,
    change: Change,
}

fn place(db: &Connection, suggestion: &str) -> Result<Option<Place>, StoreError> {
    const SQL: &str = "SELECT name, tool, material, setting, from_value, to_value
        FROM suggestion JOIN printer ON printer.id = suggestion.printer WHERE suggestion.id = ?1";
    let place = |row: &Row<'_>| {
        Ok(Place {
            printer: word(PrinterName::new(&row.get::<_, String>(0)?), "name")?,
            tool: tool(row, 1)?,
            material: row.get(2)?,
            change: change_of(row, 3)?,
        })
    };
    Ok(db.prepare_cached(SQL)?.query_row([suggestion], place).optional()?)
}

fn end(db: &Connection, id: i64, ended: &Ended) -> Result<bool, StoreError> {
    const SQL: &str =
        "UPDATE trial SET ended_ms = max(adopted_ms, ?2), ending = ?3, verdict = ?4, n = ?5, failures = ?6,
        expected = ?7, ratio = ?8, ratio_low = ?9, ratio_high = ?10, why = ?11 WHERE id = ?1 AND ended_ms IS NULL
        RETURNING suggestion";
    let ratio = |pick: fn(&Estimate) -> f64| ended.ratio.as_ref().map(pick);
    let row = (
        id,
        ended.at.as_ms(),
        ended.ending.word(),
        ended.verdict.word(),
        ended.n,
        ended.failures,
        ended.expected,
        ratio(|ratio| ratio.value),
        ratio(|ratio| ratio.low),
        ratio(|ratio| ratio.high),
        &ended.why,
    );
    let suggestion: Option<String> = db.prepare_cached(SQL)?.query_row(row, |row| row.get(0)).optional()?;
    let Some(suggestion) = suggestion else { return Ok(false) };
    let standing = match ended.verdict {
        TrialVerdict::Helped => Standing::Adopted,
        TrialVerdict::DidNotHelp | TrialVerdict::Harmed => Standing::Withdrawn,
        // Whoever is told of it again may try it again.
        TrialVerdict::Undecided => Standing::Open,
    };
    stand(db, &suggestion, standing, Some(&ended.why), ended.at)
}

/// Ends the open trial of a suggestion, if there is one, without a verdict.
pub(super) fn give_up(db: &Connection, suggestion: &str, why: Option<&str>, at: Timestamp) -> Result<(), StoreError> {
    const SQL: &str = "UPDATE trial SET ended_ms = max(adopted_ms, ?2), ending = 'given_up', verdict = 'undecided',
        why = ?3 WHERE suggestion = ?1 AND ended_ms IS NULL";
    db.prepare_cached(SQL)?.execute((suggestion, at.as_ms(), why.unwrap_or("given up")))?;
    Ok(())
}
