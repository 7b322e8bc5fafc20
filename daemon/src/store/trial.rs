//! Trials as they are kept: what was adopted, what was drawn for which print, and what a trial came to. Owns that a
//! draw stands and that an ended trial does not change; how one is judged is `analysis`'s.

mod rows;

use super::advice::stand;
use super::{Reader, Standing, Store, StoreError};
use crate::entry::{Mode, PrinterName, ToolNumber, words};
use crate::points::{Point, pass};
use dwell_analysis::advice::{Arm, Change, Plan};
use dwell_analysis::estimate::Estimate;
use dwell_analysis::time::Timestamp;
use rows::{place, trials};
use rusqlite::{Connection, OptionalExtension, TransactionBehavior, params};

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
    /// How it is meant.
    pub plan: Plan,
    /// What it is judged by.
    pub modes: Vec<Mode>,
    /// The chance a print that any of them happens without the change, with its 90 % interval.
    pub risk: Estimate,
    /// Names what had been learned from.
    pub baseline: String,
    /// One a print, drawn.
    pub draws: Vec<Arm>,
}

/// A draw for one print.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Drawn {
    /// Which print of the trial, from 1.
    pub nth: usize,
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
    /// How it is meant.
    pub plan: Plan,
    /// What it is judged by.
    pub modes: Vec<Mode>,
    /// The chance a print that any of them happens without the change, as it was seen when it was adopted.
    pub risk: Estimate,
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
    /// `None` if no print with the change has a known outcome.
    pub figures: Option<Figures>,
    /// In words.
    pub why: String,
}

/// The figures of a verdict.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Figures {
    /// Prints with the change whose outcome is known.
    pub n_changed: usize,
    /// Failures among them.
    pub seen: usize,
    /// Prints as before whose outcome is known.
    pub n_as_before: usize,
    /// Failures among them.
    pub seen_as_before: usize,
    /// Failures expected with the change's prints without it, with its 90 % interval.
    pub expected: Estimate,
    /// The risk with the change over that without it, with its 90 % interval.
    pub ratio: Estimate,
    /// The probability that it lowers the risk.
    pub sure: f64,
}

impl TrialRow {
    /// Whether a change of this tool with this material would change what the trial is judged by, or the other way round.
    #[must_use]
    pub fn is_confounded_by(
        &self,
        printer: &PrinterName,
        tool: ToolNumber,
        material: Option<&str>,
        change: &Change,
    ) -> bool {
        let is_of_part = |change: &Change| matches!(change, Change::Replace(_) | Change::Clean | Change::AllMetal);
        // A swap of materials is of both tools that take part in it.
        let is_swap = [&self.change, change].into_iter().any(|one| matches!(one, Change::Material(_)));
        let shares_prints = match (self.material.as_deref(), material) {
            // A part is there whatever the tool holds.
            (Some(one), Some(other)) => {
                is_of_part(&self.change) || is_of_part(change) || one.eq_ignore_ascii_case(other)
            }
            _ => true,
        };
        self.ended.is_none() && self.printer == *printer && (is_swap || self.tool == tool && shares_prints)
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

fn number(n: usize) -> i64 {
    i64::try_from(n).unwrap_or(i64::MAX)
}

fn begin(db: &Connection, new: &NewTrial) -> Result<bool, StoreError> {
    const SQL: &str =
        "INSERT INTO trial (suggestion, printer, tool, material, setting, from_value, to_value, adopted_ms,
        design, prints, ratio_expected, power, detects, modes, risk, risk_low, risk_high, baseline)
        SELECT id, printer, tool, material, setting, from_value, to_value, ?2, ?3, ?4, ?5, ?6, ?7, ?8, ?9, ?10, ?11, ?12
        FROM suggestion WHERE id = ?1 RETURNING id";
    const DRAW: &str = "INSERT INTO trial_draw (trial, nth, arm) VALUES (?1, ?2, ?3)";
    let Some(at) = place(db, &new.suggestion)? else { return Ok(false) };
    let is_confounded =
        |open: &TrialRow| open.is_confounded_by(&at.printer, at.tool, at.material.as_deref(), &at.change);
    if trials(db)?.iter().any(is_confounded) {
        return Ok(false);
    }
    let modes: Vec<&str> = new.modes.iter().map(|mode| mode.word()).collect();
    let (plan, risk) = (&new.plan, &new.risk);
    let row = (
        &new.suggestion,
        new.at.as_ms(),
        plan.design.name(),
        number(plan.prints),
        plan.ratio,
        plan.power,
        plan.detects,
        modes.join(" "),
        risk.value,
        risk.low,
        risk.high,
        &new.baseline,
    );
    let id: i64 = db.prepare_cached(SQL)?.query_row(row, |row| row.get(0))?;
    for (nth, arm) in (1_i64..).zip(&new.draws) {
        db.prepare_cached(DRAW)?.execute((id, nth, arm.name()))?;
    }
    stand(db, &new.suggestion, Standing::Adopted, None, new.at)
}

fn end(db: &Connection, id: i64, ended: &Ended) -> Result<bool, StoreError> {
    const SQL: &str = "UPDATE trial SET ended_ms = max(adopted_ms, ?2), ending = ?3, verdict = ?4, why = ?5,
        n_changed = ?6, seen = ?7, n_as_before = ?8, seen_as_before = ?9, sure = ?10, expected = ?11, expected_low = ?12,
        expected_high = ?13, ratio = ?14, ratio_low = ?15, ratio_high = ?16 WHERE id = ?1 AND ended_ms IS NULL RETURNING suggestion";
    let figures = ended.figures.as_ref();
    let row = params![
        id,
        ended.at.as_ms(),
        ended.ending.word(),
        ended.verdict.word(),
        &ended.why,
        figures.map(|of| number(of.n_changed)),
        figures.map(|of| number(of.seen)),
        figures.map(|of| number(of.n_as_before)),
        figures.map(|of| number(of.seen_as_before)),
        figures.map(|of| of.sure),
        figures.map(|of| of.expected.value),
        figures.map(|of| of.expected.low),
        figures.map(|of| of.expected.high),
        figures.map(|of| of.ratio.value),
        figures.map(|of| of.ratio.low),
        figures.map(|of| of.ratio.high),
    ];
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
