//! Trials out of their rows, and what their suggestions are of. Owns which column is what; what becomes of a trial stands
//! beside it.

use super::{Drawn, Ended, Ending, Figures, TrialRow, TrialVerdict};
use crate::entry::{Mode, PrinterName, ToolNumber};
use crate::store::StoreError;
use crate::store::advice::change_of;
use crate::store::read::{tool, word};
use dwell_analysis::advice::{Arm, Change, Design, Plan};
use dwell_analysis::estimate::Estimate;
use dwell_analysis::time::Timestamp;
use rusqlite::{Connection, OptionalExtension, Row};

const DESIGNS: [Design; 2] = [Design::Alternation, Design::BeforeAfter];
const ARMS: [Arm; 2] = [Arm::AsBefore, Arm::Changed];

/// Every trial, oldest first.
pub(super) fn trials(db: &Connection) -> Result<Vec<TrialRow>, StoreError> {
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

/// What a suggestion is of.
pub(super) struct Place {
    pub(super) printer: PrinterName,
    pub(super) tool: ToolNumber,
    pub(super) material: Option<String>,
    pub(super) change: Change,
}

/// What the suggestion of that name is of; `None` if there is none.
pub(super) fn place(db: &Connection, suggestion: &str) -> Result<Option<Place>, StoreError> {
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
