//! What is worth a change, tool by tool: what the record knows of each, handed to `analysis`, and what came of it. Owns
//! which tools are asked of and which of their runs; what is worth it is `analysis`'s, its words are the dashboards'.

mod asked;
mod held;
mod loss;
mod said;
#[cfg(test)]
#[expect(clippy::unwrap_used, reason = "a test may stop")]
mod tests;

pub use asked::Liners;
pub use said::{keep_advice, settle_advice};

use super::learned::Known;
use super::runs::Run;
use crate::change::setting;
use crate::store::{Reader, StoreError, SuggestionNames};
use asked::{Asked, Record, asked_of};
use dwell_analysis::advice::{Lesson, Situation, Suggestion, advise, plan};
use dwell_analysis::polymer::Materials;
use dwell_analysis::risk::FailureMode;
use dwell_analysis::units::{Celsius, Probability, Seconds};
use dwell_dashboards::view::{AdviceView, AskedView, MeantView, MiddleWait, SuggestionView};
use loss::taught;

/// What is worth a change, best first, of every tool that was hot in a print of the newest eight weeks, by what is known
/// of the record that is read.
///
/// # Errors
/// If the record can't be read.
pub fn advice(
    reader: &Reader,
    materials: &Materials,
    known: &Known,
    liners: &Liners,
) -> Result<AdviceView, StoreError> {
    let accepted = Probability::new(known.learning.accepted_risk);
    let accepted = accepted.ok_or_else(|| StoreError::Other("the accepted risk is no chance".to_owned()))?;
    let runs = &known.runs;
    let taught = taught(known);
    let record = Record { reader, materials, liners, runs, accepted };
    let mut names = reader.suggestion_names()?;
    let (mut asked, mut suggestions) = (Vec::new(), Vec::new());
    for printer in reader.printers()? {
        let tools = asked_of(&record, &printer)?;
        let lessons: Vec<Vec<Lesson<'_>>> = tools.iter().map(|tool| tool.lessons(&taught, runs)).collect();
        let each = || tools.iter().zip(&lessons);
        let alone: Vec<Situation<'_>> = each().map(|(tool, lessons)| tool.situation(lessons)).collect();
        for ((tool, lessons), mut situation) in each().zip(alone.iter().copied()) {
            if let Some(neighbour) = &mut situation.neighbour {
                let place = tools.iter().position(|other| tool.is_beside(other));
                neighbour.situation = place.and_then(|place| alone.get(place));
            }
            // What is not loaded has no spool to dry, and the parts are asked of with what is.
            let speaks = |found: &Suggestion| tool.is_loaded || found.change.goes_with_material();
            let found = advise(&situation).into_iter().filter(speaks);
            suggestions.extend(found.map(|found| view(&mut names, tool, lessons, found)));
            asked.push(asked_view(tool, runs));
        }
    }
    suggestions.sort_by(|a, b| gained(b).total_cmp(&gained(a)));
    let prints = |kept: &dyn Fn(&&[Run]) -> bool| runs.chunk_by(|a, b| a.print == b.print).filter(kept).count();
    Ok(AdviceView {
        as_of: reader.newest()?,
        prints: prints(&|_| true),
        reported: prints(&|print| print.iter().any(|run| run.is_reported)),
        asked,
        suggestions,
    })
}

fn view(
    names: &mut SuggestionNames,
    tool: &Asked<'_>,
    lessons: &[Lesson<'_>],
    suggestion: Suggestion,
) -> SuggestionView {
    let Suggestion { change, basis, risk, .. } = &suggestion;
    SuggestionView {
        id: names.of(&tool.printer, tool.tool, tool.material.as_deref(), change),
        setting: setting(change),
        printer: tool.printer.to_string(),
        tool: tool.tool.idx(),
        material: tool.material.as_deref().map(str::to_owned),
        beside: tool.beside_name().map(str::to_owned),
        middle: middle(tool),
        meant: suggestion.meant.first().and_then(|mode| meant(lessons, *mode)),
        plan: risk.and_then(|risk| plan(change, *basis, &risk.now, &risk.after).ok()),
        is_adopted: false,
        suggestion,
    }
}

/// What is gained, minutes; what is not known comes after what is.
fn gained(of: &SuggestionView) -> f64 {
    of.suggestion.gain.map_or(f64::NEG_INFINITY, |gain| gain.value)
}

fn meant(lessons: &[Lesson<'_>], mode: FailureMode) -> Option<MeantView> {
    let Lesson { state, n, events, own_n, own_events, .. } = *lessons.iter().find(|lesson| lesson.mode == mode)?;
    Some(MeantView { mode, state, n, events, own_n, own_events })
}

fn asked_view(tool: &Asked<'_>, runs: &[Run]) -> AskedView {
    let (known, failed) = tool.outcomes(runs);
    AskedView {
        printer: tool.printer.to_string(),
        tool: tool.tool.idx(),
        material: tool.material.as_deref().map(str::to_owned),
        courses: tool.courses.len(),
        waits: tool.courses.iter().map(|course| course.waits.len()).sum(),
        middle: middle(tool),
        known,
        failed,
    }
}

/// The wait in the middle of all by length, with the time-weighted mean temperature of all; `None` without any.
fn middle(tool: &Asked<'_>) -> Option<MiddleWait> {
    let waits = || tool.courses.iter().flat_map(|course| &course.waits);
    let mut lengths: Vec<Seconds> = waits().map(|wait| wait.lasted).collect();
    lengths.sort_by(|a, b| a.get().total_cmp(&b.get()));
    let lasted = *lengths.get(lengths.len().checked_sub(1)? / 2)?;
    let whole: f64 = lengths.iter().map(|lasted| lasted.get()).sum();
    let weighted: f64 = waits().map(|wait| wait.mean.get() * wait.lasted.get()).sum();
    Some(MiddleWait { n: lengths.len(), lasted, mean: Celsius::new(weighted / whole) })
}
