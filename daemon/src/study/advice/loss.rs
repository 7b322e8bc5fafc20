//! What is known of each failure mode, and what one failure costs, in time. Owns the price of a severity.

use crate::entry::{Mode, Severity};
use crate::study::learned::{Known, failure_mode};
use dwell_analysis::estimate::count;
use dwell_analysis::risk::{FailureMode, Learner, State};
use dwell_analysis::units::Seconds;

/// A blemish: cleaning it off (a proposal, no source).
const BLEMISH: Seconds = Seconds::minutes(10.0);
/// A spoilt part: the print again, and clearing the bed (a proposal, no source).
const CLEARING: Seconds = Seconds::minutes(20.0);
/// A printer that is down: the same, and the repair (a proposal, no source).
const REPAIR: Seconds = Seconds::minutes(120.0);

/// A failure mode as the record has it.
pub(super) struct Taught<'k> {
    pub(super) mode: Mode,
    pub(super) failure: FailureMode,
    pub(super) learner: &'k Learner,
    pub(super) state: State,
    pub(super) n: usize,
    pub(super) events: usize,
    /// Failures whose severity was told.
    pub(super) severities: Vec<Severity>,
}

/// Every failure mode; one that nobody ever reported, too.
pub(super) fn taught(known: &Known) -> Vec<Taught<'_>> {
    let mut each = Vec::with_capacity(known.learners.len());
    for (mode, learner) in &known.learners {
        let Some(failure) = failure_mode(*mode) else { continue };
        let (n, events) = learner.known();
        let failed = known.runs.iter().filter(|run| run.happened(*mode) == Some(true));
        let severities = failed.filter_map(|run| run.severity(*mode)).collect();
        each.push(Taught { mode: *mode, failure, learner, state: learner.state(), n, events, severities });
    }
    each
}

/// What one such failure costs on the mean of those whose severity was told; else as the mode usually is. `print` is how
/// long a print lasts.
pub(super) fn loss(taught: &Taught<'_>, print: Seconds) -> Seconds {
    let usual = [usual(taught.failure)];
    let told = if taught.severities.is_empty() { &usual[..] } else { &taught.severities };
    let sum: f64 = told.iter().map(|severity| price(*severity, print).get()).sum();
    Seconds::new(sum / count(told.len()))
}

fn price(severity: Severity, print: Seconds) -> Seconds {
    match severity {
        Severity::Slight => BLEMISH,
        Severity::Serious => print + CLEARING,
        Severity::Grave => print + CLEARING + REPAIR,
    }
}

/// How bad a mode usually is (common practice, no source).
const fn usual(mode: FailureMode) -> Severity {
    match mode {
        FailureMode::Stringing | FailureMode::Blob => Severity::Slight,
        FailureMode::Jam
        | FailureMode::UnderExtrusion
        | FailureMode::Scrape
        | FailureMode::Misalignment
        | FailureMode::Adhesion
        | FailureMode::Other => Severity::Serious,
        FailureMode::Liner => Severity::Grave,
    }
}
