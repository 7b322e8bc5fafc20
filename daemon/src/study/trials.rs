//! Trials of what was adopted: which prints count, what each was to have and really had, what it would have come to
//! without the change, and what all of them say. Owns these; the rule that ends a trial is `analysis`'s.

mod applied;
mod holds;
mod told;
mod without;

use super::Learning;
use super::kept::last;
use super::runs::{Run, runs_as};
use crate::entry::Mode;
use crate::store::{
    Ended, Ending, Figures, PrintFilter, Reader, Standing, Store, StoreError, SuggestionRow, TrialRow, TrialVerdict,
};
use applied::{PartsTold, applied};
use dwell_analysis::advice::{Arm, Design, Outcome, Tried, Verdict, WhyStop, shares, verdict};
use dwell_analysis::estimate::Confidence;
use dwell_analysis::polymer::Materials;
use dwell_analysis::time::Timestamp;
use dwell_dashboards::trial_why;
use dwell_dashboards::view::{ClosedView, ReviewView, TrialFigures, TrialPrint, TrialState, TrialView};
use holds::kinds;
use std::borrow::Cow;
pub(super) use told::brought_up_to_date;
use without::Without;

/// What became of what was advised, as it stands.
///
/// # Errors
/// If the record can't be read.
pub fn review(reader: &Reader, materials: &Materials, learning: Option<Learning>) -> Result<ReviewView, StoreError> {
    if reader.trials()?.is_empty() {
        return page(reader, &[], Vec::new());
    }
    let learning = learning.map_or_else(|| last(reader), Ok)?;
    review_of(reader, materials, &runs_as(reader, materials, learning)?)
}

/// The same, of runs that were read already.
pub(super) fn review_of(reader: &Reader, materials: &Materials, runs: &[Run]) -> Result<ReviewView, StoreError> {
    let trials = reader.trials()?;
    let record = Record { reader, materials, runs: Cow::Borrowed(runs) };
    let views = trials.iter().map(|trial| Ok(record.view(trial)?.0)).collect::<Result<Vec<_>, StoreError>>()?;
    page(reader, &trials, views)
}

/// The same, once the trials that are settled have ended and what they came to is kept. Gives each that ended, too.
///
/// # Errors
/// If the record can't be read or written.
pub fn settle(
    store: &Store,
    materials: &Materials,
    learning: Option<Learning>,
) -> Result<(ReviewView, Vec<(String, Ended)>), StoreError> {
    let reader = store.reader()?;
    let trials = reader.trials()?;
    let (mut views, mut settled) = (Vec::with_capacity(trials.len()), Vec::new());
    if trials.iter().any(|trial| trial.ended.is_none()) {
        let record = Record::of(&reader, materials, learning)?;
        for trial in &trials {
            let (mut view, said) = record.view(trial)?;
            let at = reader.newest()?.unwrap_or(trial.adopted);
            if let Some(ended) = ended(trial, &view, said.as_ref(), at)
                && store.end_trial(trial.id, ended.clone())?
            {
                view.state = over(&ended);
                settled.push((trial.suggestion.clone(), ended));
            }
            views.push(view);
        }
        return Ok((page(&reader, &trials, views)?, settled));
    }
    Ok((review(&reader, materials, learning)?, settled))
}

/// One trial, as it stands; `None` if it is not there.
///
/// # Errors
/// If the record can't be read.
pub fn on_trial(
    reader: &Reader,
    materials: &Materials,
    learning: Option<Learning>,
    id: &str,
) -> Result<Option<TrialView>, StoreError> {
    let Some(trial) = reader.trials()?.into_iter().rfind(|trial| trial.suggestion == id) else { return Ok(None) };
    Ok(Some(Record::of(reader, materials, learning)?.view(&trial)?.0))
}

/// The trials in order, and what is advised no more beside them.
fn page(reader: &Reader, trials: &[TrialRow], mut views: Vec<TrialView>) -> Result<ReviewView, StoreError> {
    views.reverse();
    views.sort_by_key(|view| matches!(view.state, TrialState::Ended { .. }));
    let is_on_trial = |row: &SuggestionRow| trials.iter().any(|trial| trial.suggestion == row.id);
    let closed = reader.suggestions()?.into_iter().filter(|row| !is_on_trial(row)).filter_map(closed).collect();
    Ok(ReviewView { as_of: reader.newest()?, trials: views, closed })
}

fn closed(row: SuggestionRow) -> Option<ClosedView> {
    let is_declined = match row.standing {
        Standing::Open | Standing::Adopted => return None,
        Standing::Declined => true,
        Standing::Withdrawn => false,
    };
    let SuggestionRow { id, material, change, since, why, .. } = row;
    Some(ClosedView {
        id,
        printer: row.printer.to_string(),
        tool: row.tool.idx(),
        material,
        change,
        is_declined,
        since,
        why,
    })
}

/// The record, as far as trials ask it.
struct Record<'r> {
    reader: &'r Reader,
    materials: &'r Materials,
    runs: Cow<'r, [Run]>,
}

impl<'r> Record<'r> {
    fn of(reader: &'r Reader, materials: &'r Materials, learning: Option<Learning>) -> Result<Self, StoreError> {
        let learning = learning.map_or_else(|| last(reader), Ok)?;
        Ok(Self { reader, materials, runs: Cow::Owned(runs_as(reader, materials, learning)?) })
    }

    /// A trial, and what its prints say while it is open.
    fn view(&self, trial: &TrialRow) -> Result<(TrialView, Option<Verdict>), StoreError> {
        let own: Vec<&Run> = self.counting(trial).collect();
        let without = || Without::of(self.reader, self.materials, trial, &self.runs, &own);
        let without = trial.ended.is_none().then(without).transpose()?;
        let parts = PartsTold::of(self.reader, trial)?;
        let (mut prints, mut tried) = (Vec::new(), Vec::new());
        for (idx, run) in own.iter().enumerate() {
            let drawn = drawn(trial, idx);
            let applied = applied(self.reader, trial, &parts, run)?;
            let failed = failed(run, &trial.modes);
            let expected = without.as_ref().and_then(|without| without.chance(run, &applied));
            tried.push(Tried {
                arm: drawn.filter(|_| trial.plan.design == Design::Alternation),
                applied: applied.set.has_change(),
                happened: failed,
                expected: expected.unwrap_or(trial.risk),
            });
            let happened = trial.modes.iter().filter(|mode| run.happened(**mode) == Some(true));
            prints.push(TrialPrint {
                nth: idx + 1,
                print: run.print,
                name: self.reader.print(run.print)?.and_then(|print| print.name),
                started: run.started,
                drawn,
                applied,
                failed,
                failures: happened.map(|mode| mode.word()).collect(),
                expected: expected.map(|expected| expected.value),
            });
        }
        // Nothing to say yet is no trouble.
        let said = if trial.ended.is_none() { verdict(&trial.plan, &tried).ok() } else { None };
        let figures = match &trial.ended {
            Some(ended) => ended.figures,
            None => said.as_ref().map(figures),
        };
        let state = self.state(trial, prints.len(), said.as_ref())?;
        let view = TrialView {
            prints,
            figures: figures.map(shown),
            ratio_as_applied: said.as_ref().and_then(|said| said.ratio_as_applied),
            held: self.other_material(trial)?,
            ..bare(trial, state)
        };
        Ok((view, said))
    }

    /// The runs that count: of the tool with the material, begun since it was adopted, and while it was open.
    fn counting(&self, trial: &TrialRow) -> impl Iterator<Item = &Run> {
        let kinds = kinds(self.materials, trial);
        let until = trial.ended.as_ref().map(|ended| ended.at);
        let (printer, tool, adopted) = (trial.printer.clone(), trial.tool, trial.adopted);
        self.runs.iter().filter(move |run| {
            run.printer == printer
                && run.tool == tool
                && run.started > adopted
                && until.is_none_or(|until| run.started <= until)
                && kinds.as_ref().is_none_or(|kinds| kinds.contains(&run.run.features.material))
        })
    }

    fn state(&self, trial: &TrialRow, made: usize, said: Option<&Verdict>) -> Result<TrialState, StoreError> {
        if let Some(ended) = &trial.ended {
            return Ok(over(ended));
        }
        let more = match said.map(|said| said.outcome) {
            Some(Outcome::NotYet { more }) => more,
            Some(Outcome::Helped | Outcome::DidNotHelp { .. }) => 0,
            None => trial.plan.prints,
        };
        open(self.reader, trial, made, more)
    }
}

/// How a trial stands that goes on, of which so many prints were made and so many more are needed.
fn open(reader: &Reader, trial: &TrialRow, made: usize, more: usize) -> Result<TrialState, StoreError> {
    let filter = PrintFilter { printer: Some(trial.printer.clone()), limit: Some(1), ..PrintFilter::default() };
    let newest = reader.prints(&filter)?;
    let is_on = newest.iter().any(|print| print.ended.is_none() && print.started > trial.adopted);
    let on = if is_on { drawn(trial, made) } else { None };
    Ok(TrialState::Open { more, on, next: drawn(trial, made + usize::from(is_on)) })
}

/// A trial of which no print is known.
fn bare(trial: &TrialRow, state: TrialState) -> TrialView {
    TrialView {
        id: trial.suggestion.clone(),
        printer: trial.printer.to_string(),
        tool: trial.tool.idx(),
        material: trial.material.clone(),
        change: trial.change,
        adopted: trial.adopted,
        plan: trial.plan,
        modes: trial.modes.iter().map(|mode| mode.word()).collect(),
        state,
        prints: Vec::new(),
        figures: None,
        ratio_as_applied: None,
        held: None,
    }
}

fn over(ended: &Ended) -> TrialState {
    let (ending, verdict, why) = (ended.ending.word(), ended.verdict.word(), ended.why.clone());
    TrialState::Ended { at: ended.at, ending, verdict, why }
}

/// What the print of that place in a trial is to have.
fn drawn(trial: &TrialRow, idx: usize) -> Option<Arm> {
    match trial.plan.design {
        Design::BeforeAfter => Some(Arm::Changed),
        Design::Alternation => trial.draws.get(idx).map(|drawn| drawn.arm),
    }
}

/// Whether any of the modes happened; `None` if of one of them nobody said, and of none that it did.
fn failed(run: &Run, modes: &[Mode]) -> Option<bool> {
    let each: Vec<Option<bool>> = modes.iter().map(|mode| run.happened(*mode)).collect();
    if each.contains(&Some(true)) { Some(true) } else { (!each.contains(&None)).then_some(false) }
}

fn figures(said: &Verdict) -> Figures {
    Figures {
        n_changed: said.n_changed,
        seen: said.seen,
        n_as_before: said.n_as_before,
        seen_as_before: said.seen_as_before,
        expected: said.expected,
        ratio: said.ratio,
        sure: said.sure,
    }
}

fn shown(of: Figures) -> TrialFigures {
    let Figures { n_changed, seen, n_as_before, seen_as_before, expected, ratio, sure } = of;
    let exact = shares((seen, n_changed), (seen_as_before, n_as_before), Confidence::Percent90).ok();
    TrialFigures { n_changed, seen, n_as_before, seen_as_before, expected, ratio, sure, exact }
}

/// Whether at least half of the prints that were to have the change had it, as far as that is known.
fn was_set(view: &TrialView) -> bool {
    let meant = view.prints.iter().filter(|print| print.drawn == Some(Arm::Changed));
    let had: Vec<bool> = meant.filter_map(|print| print.applied.set.has_change()).collect();
    2 * had.iter().filter(|had| **had).count() >= had.len()
}

/// What an open trial has come to, if it is over.
fn ended(trial: &TrialRow, view: &TrialView, said: Option<&Verdict>, at: Timestamp) -> Option<Ended> {
    if trial.ended.is_some() {
        return None;
    }
    let is_set = was_set(view);
    let (ending, verdict) = match said.and_then(|said| said.stop.map(|stop| (said.outcome, stop))) {
        // What was not set can't have helped or harmed.
        Some(_) if !is_set => (Ending::Planned, TrialVerdict::Undecided),
        Some((Outcome::Helped, WhyStop::Settled)) => (Ending::Settled, TrialVerdict::Helped),
        Some((Outcome::Helped, WhyStop::Planned | WhyStop::Harm)) => (Ending::Planned, TrialVerdict::Helped),
        Some((Outcome::DidNotHelp { harmed: true }, _)) => (Ending::Harm, TrialVerdict::Harmed),
        Some((Outcome::DidNotHelp { harmed: false }, _)) => (Ending::Planned, TrialVerdict::DidNotHelp),
        // All that were drawn are made, and too few of them were reported.
        Some((Outcome::NotYet { .. }, _)) | None if view.prints.len() >= trial.draws.len() => {
            (Ending::Planned, TrialVerdict::Undecided)
        }
        Some((Outcome::NotYet { .. }, _)) | None => return None,
    };
    let why = if is_set { trial_why(view) } else { format!("{}, but it was seldom set", trial_why(view)) };
    Some(Ended { at, ending, verdict, figures: said.map(figures), why })
}

#[cfg(test)]
#[expect(clippy::unwrap_used, reason = "a test may stop")]
mod tests;
