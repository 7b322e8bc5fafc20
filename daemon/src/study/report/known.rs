//! What was worked out of the whole record, as far as a report tells it.

use super::small;
use dwell_analysis::risk::Settling;
use dwell_analysis::time::Timestamp;
use dwell_dashboards::view::{
    AdviceView, LearnView, LearnedRow, ModeView, ReviewView, SuggestionView, TrialState, TrialView,
};

/// The most groups that a report names of a mode.
const GROUPS_MAX: usize = 3;

pub(super) fn learned(view: &LearnView) -> Vec<LearnedRow> {
    let row = |mode: &ModeView| {
        let learned = &mode.learned;
        let groups = learned.groups.iter().map(|carries| (carries.group, carries.probability));
        let carried: f64 = groups.clone().map(|(_, probability)| probability).sum();
        LearnedRow {
            mode: mode.mode,
            state: learned.state,
            n: small(learned.n),
            events: small(learned.events),
            unplaced: small(mode.unplaced),
            groups: groups.take(GROUPS_MAX).collect(),
            nothing: (1.0 - carried).clamp(0.0, 1.0),
            settling: learned.settling,
            more_prints: match learned.settling {
                Settling::Runs(n) | Settling::RunsToRuleOut(n) => view.prints_of(n),
                Settling::Settled | Settling::RuledOut | Settling::NoRate => None,
            },
        }
    };
    view.modes.iter().map(row).collect()
}

/// The best one that nobody has taken up or turned down since it was worked out.
pub(super) fn suggestion(advice: AdviceView) -> Option<SuggestionView> {
    advice.suggestions.into_iter().find(|of| !of.is_adopted)
}

/// Those that were open at any time of the period.
pub(super) fn trials(review: ReviewView, from: Timestamp, to: Timestamp) -> Vec<TrialView> {
    let was_open = |trial: &TrialView| {
        trial.adopted < to
            && match trial.state {
                TrialState::Open { .. } => true,
                TrialState::Ended { at, .. } => at >= from,
            }
    };
    review.trials.into_iter().filter(was_open).collect()
}

/// Those that are open.
pub(super) fn open_trials(review: &ReviewView) -> Vec<TrialView> {
    review.trials.iter().filter(|trial| matches!(trial.state, TrialState::Open { .. })).cloned().collect()
}
