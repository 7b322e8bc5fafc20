//! What was expected of a print before it began, beside what happened: the forward-only forecasts of the study, with
//! the rate until then. Forecasts nothing itself.

use super::learned::Study;
use super::outcomes::happened;
use crate::store::OutcomeRow;
use dwell_analysis::estimate::count;
use dwell_dashboards::view::{Foreseen, ForeseenRow};

/// What was expected of a print that has ended; `held` are the words on it that stand now.
#[must_use]
pub fn foreseen(study: &Study, print: i64, held: &[OutcomeRow]) -> Foreseen {
    let runs = || study.runs.iter().enumerate().filter(|(_, run)| run.print == print);
    let tools: Vec<_> = runs().map(|(_, run)| run.tool).collect();
    let Some(started) = runs().next().map(|(_, run)| run.started) else { return Foreseen::NotAmong };
    let mut rows = Vec::new();
    for lesson in &study.lessons {
        let chances: Vec<(usize, f64)> =
            runs().filter_map(|(at, _)| Some((at, *lesson.learned.predictions.get(at)?.as_ref()?))).collect();
        if chances.is_empty() {
            continue;
        }
        // What stood of each other run when this print began.
        let known = study.runs.iter().filter(|run| run.print != print).filter_map(|run| {
            run.tellings(lesson.mode).take_while(|(from, _)| *from < started).last().and_then(|(_, happened)| happened)
        });
        let (n, events) = known.fold((0, 0), |(n, events), yes| (n + 1, events + usize::from(yes)));
        for (at, chance) in chances {
            let Some(run) = study.runs.get(at) else { continue };
            // Silence may count; a word that stands counts over what was worked out before it was said.
            let happened = match held {
                [] if study.silence_means_clean => lesson.happened.get(at).copied().flatten(),
                [] => None,
                held => happened(held, lesson.mode, run.tool, &tools),
            };
            rows.push(ForeseenRow {
                tool: run.tool.idx(),
                mode: lesson.mode.word(),
                chance,
                base: (count(events) + 0.5) / (count(n) + 1.0),
                n,
                events,
                happened,
            });
        }
    }
    rows.sort_by(|a, b| b.chance.total_cmp(&a.chance));
    if rows.is_empty() { Foreseen::NothingKnown } else { Foreseen::Known(rows) }
}
