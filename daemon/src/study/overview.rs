//! The view of what was learned, filled from the record: what `learn` shows. Owns what is worked out anew each time
//! (patterns, responses, habits, the other reading of silence); what is learned is kept elsewhere.

use super::Learning;
use super::kept::studied;
use super::learned::{Lesson, Study, failure_mode, mixed_up_with, study, told};
use super::parts::parts;
use super::runs::{Run, runs_as};
use crate::entry::{Mode, Severity};
use crate::store::{Reader, StoreError};
use dwell_analysis::polymer::Materials;
use dwell_analysis::risk::{
    Habit, Learned, ToolRun, counts_by_doubling, habits, levels_of, patterns, response_to, trial,
};
use dwell_analysis::units::Probability;
use dwell_dashboards::view::{BothReadings, LearnView, ModeView, ReadingView, ResponseView, SilenceView};

/// What the whole record says, with what silence would change, habits and parts.
///
/// # Errors
/// If the record can't be read.
pub fn overview(reader: &Reader, materials: &Materials, learning: Option<Learning>) -> Result<LearnView, StoreError> {
    let study = studied(reader, materials, learning)?;
    overview_of(reader, materials, &study, learning.unwrap_or_default())
}

/// The same, of what was learned already.
pub(super) fn overview_of(
    reader: &Reader,
    materials: &Materials,
    study: &Study,
    learning: Learning,
) -> Result<LearnView, StoreError> {
    let inputs: Vec<ToolRun> = study.runs.iter().map(|run| run.run).collect();
    let prints = |kept: &dyn Fn(&&[Run]) -> bool| study.runs.chunk_by(|a, b| a.print == b.print).filter(kept).count();
    let reported = prints(&|print| print.iter().any(|run| run.is_reported));
    let accepted = Probability::new(learning.accepted_risk);
    let accepted = accepted.ok_or_else(|| StoreError::Other("the accepted risk is no chance".to_owned()))?;
    let all = prints(&|_| true);
    Ok(LearnView {
        as_of: reader.newest()?,
        prints: all,
        runs: study.runs.len(),
        reported,
        silence: silence(reader, materials, study, all - reported)?,
        modes: study.lessons.iter().map(|lesson| mode(&study.runs, &inputs, lesson)).collect(),
        habits: groups(study, &inputs),
        parts: parts(reader, accepted)?,
    })
}

fn mode(runs: &[Run], inputs: &[ToolRun], lesson: &Lesson) -> ModeView {
    let (learned, happened) = (&lesson.learned, &lesson.happened);
    let first = learned.groups.first().map(|carries| carries.group);
    let of_first = learned.factors.iter().filter(|factor| Some(factor.group) == first);
    let mut answers = of_first.filter_map(|factor| {
        let response = response_to(failure_mode(lesson.mode)?, factor.factor, inputs, happened)?;
        let levels = levels_of(factor.factor, inputs);
        let known = levels.into_iter().zip(happened).filter_map(|(level, yes)| level.zip(*yes));
        let (runs, is_by_doubling) = (known.collect(), counts_by_doubling(factor.factor));
        Some(ResponseView { factor: factor.factor, response, runs, is_by_doubling })
    });
    ModeView {
        mode: lesson.mode.word(),
        learned: learned.clone(),
        severities: severities(runs, lesson),
        unplaced: runs
            .chunk_by(|a, b| a.print == b.print)
            .filter(|print| print.iter().any(|run| run.is_unplaced(lesson.mode)))
            .count(),
        mixed_up_with: mixed_up_with(lesson.mode).map(Mode::word),
        patterns: patterns(inputs, happened),
        response: answers.next(),
        trials: learned.inseparable.iter().map(|pair| trial(pair, inputs, happened)).collect(),
    }
}

fn severities(runs: &[Run], lesson: &Lesson) -> [usize; 3] {
    let happened = runs.iter().zip(&lesson.happened).filter(|(_, yes)| **yes == Some(true));
    let mut counts = [0; 3];
    for severity in happened.filter_map(|(run, _)| run.severity(lesson.mode)) {
        let at = match severity {
            Severity::Slight => 0,
            Severity::Serious => 1,
            Severity::Grave => 2,
        };
        counts[at] += 1;
    }
    counts
}

/// The groups of idle habits with how often a run of each failed in any way; none if all runs are of one kind.
fn groups(study: &Study, inputs: &[ToolRun]) -> Vec<Habit> {
    let failed: Vec<Option<bool>> = (0..study.runs.len()).map(|at| study.failed(at)).collect();
    let groups = habits(inputs, &failed).map(|habits| habits.groups).unwrap_or_default();
    if groups.len() > 1 { groups } else { Vec::new() }
}

/// Both readings of silence. The learner runs a second time only if they differ in a word.
fn silence(reader: &Reader, materials: &Materials, shown: &Study, silent: usize) -> Result<SilenceView, StoreError> {
    let learning = Learning { silence_means_clean: !shown.silence_means_clean, ..Learning::default() };
    let runs = runs_as(reader, materials, learning)?;
    let is_same = |lesson: &Lesson| told(&runs, lesson.mode) == told(&shown.runs, lesson.mode);
    let other = if shown.lessons.iter().all(is_same) { None } else { Some(study(reader, materials, learning)?) };
    let others = other.as_ref().map_or(&shown.lessons, |other| &other.lessons);
    let both = |(shown, other): (&Lesson, &Lesson)| BothReadings {
        mode: shown.mode.word(),
        shown: reading(&shown.learned),
        other: reading(&other.learned),
    };
    let readings = shown.lessons.iter().zip(others).map(both).collect();
    Ok(SilenceView { means_clean: shown.silence_means_clean, prints: silent, readings })
}

fn reading(learned: &Learned) -> ReadingView {
    ReadingView {
        n: learned.n,
        events: learned.events,
        rate: learned.rate,
        state: learned.state,
        first: learned.groups.first().map(|carries| carries.group),
    }
}
