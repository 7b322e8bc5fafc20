//! Trials as they are kept: what was adopted, what was drawn for which print, and what a trial came to. Owns that a
//! draw stands and that an ended trial does not change; how one is judged is `analysis`'s.

use super::advice::{change_of, stand};
use super::read::{tool, word};
use super::{Reader, Standing, Store, StoreError};
use crate::entry::{Mode, PrinterName, ToolNumber, words};
use crate::points::{Point, pass};
use dwell_analysis::advice::{Arm, Change, Design, Plan};
use dwell_analysis::estimate::Estimate;
use dwell_analysis::time::Timestamp;
use rusqlite::{Connection, OptionalExtension, Row, TransactionBehavior, params};

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

const DESIGNS: [Design; 2] = [Design::Alternation, Design::BeforeAfter];
const ARMS: [Arm; 2] = [Arm::AsBefore, Arm::Changed];

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
        prints, ratio_expected, power, detects, modes, risk, risk_low, risk_high, ended_ms, ending, verdict, why,
        n_changed, seen, n_as_before, seen_as_before, expected, expected_low, expected_high, ratio, ratio_low, ratio_high,
        sure FROM trial JOIN printer ON printer.id = trial.printer ORDER BY adopted_ms, trial.id";
    let mut statement = db.prepare_cached(SQL)?;
    let mut trials = statement.query_map([], trial)?.collect::<rusqlite::Result<Vec<_>>>()?;
    let mut of_trial = db.prepare_cached("SELECT nth, arm FROM trial_draw WHERE trial = ?1 ORDER BY nth")?;
    for trial in &mut trials {
        let drawn = of_trial.query_map([trial.id], |row| {
            Ok(Drawn { nth: count(row, 0)?, arm: of_name(&ARMS, Arm::name, row, 1, "arm")? })
        })?;
        trial.draws = drawn.collect::<rusqlite::Result<_>>()?;
    }
    Ok(trials)
}

fn trial(row: &Row<'_>) -> rusqlite::Result<TrialRow> {
    let modes: String = row.get(14)?;
    let modes = modes.split(' ').map(|mode| word(Mode::of_word(mode), "modes"));
    let prints = count(row, 10)?;
    let plan = Plan {
        design: of_name(&DESIGNS, Design::name, row, 9, "design")?,
        prints,
        ratio: row.get(11)?,
        power: row.get(12)?,
        detects: row.get(13)?,
    };
    Ok(TrialRow {
        id: row.get(0)?,
        suggestion: row.get(1)?,
        printer: word(PrinterName::new(&row.get::<_, String>(2)?), "name")?,
        tool: tool(row, 3)?,
        material: row.get(4)?,
        change: change_of(row, 5)?,
        adopted: Timestamp::from_ms(row.get(8)?),
        plan,
        modes: modes.collect::<rusqlite::Result<_>>()?,
        risk: estimate(row, 15, prints)?,
        draws: Vec::new(),
        ended: row.get::<_, Option<i64>>(18)?.map(|at| ended(row, Timestamp::from_ms(at))).transpose()?,
    })
}

fn ended(row: &Row<'_>, at: Timestamp) -> rusqlite::Result<Ended> {
    let figures = match row.get::<_, Option<f64>>(32)? {
        None => None,
        Some(sure) => {
            let (n_changed, n_as_before) = (count(row, 22)?, count(row, 24)?);
            Some(Figures {
                n_changed,
                seen: count(row, 23)?,
                n_as_before,
                seen_as_before: count(row, 25)?,
                expected: estimate(row, 26, n_changed)?,
                ratio: estimate(row, 29, n_changed + n_as_before)?,
                sure,
            })
        }
    };
    Ok(Ended {
        at,
        ending: word(Ending::of_word(&row.get::<_, String>(19)?), "ending")?,
        verdict: word(TrialVerdict::of_word(&row.get::<_, String>(20)?), "verdict")?,
        figures,
        why: row.get(21)?,
    })
}

/// Which of all it is that a column names.
fn of_name<T: Copy>(
    all: &[T],
    named: fn(T) -> &'static str,
    row: &Row<'_>,
    at: usize,
    column: &'static str,
) -> rusqlite::Result<T> {
    let told: String = row.get(at)?;
    word(all.iter().copied().find(|one| named(*one) == told), column)
}

/// From its three columns, the first at `from`.
fn estimate(row: &Row<'_>, from: usize, n: usize) -> rusqlite::Result<Estimate> {
    Ok(Estimate { value: row.get(from)?, low: row.get(from + 1)?, high: row.get(from + 2)?, n })
}

fn count(row: &Row<'_>, column: usize) -> rusqlite::Result<usize> {
    Ok(usize::try_from(row.get::<_, u32>(column)?).unwrap_or(usize::MAX))
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
