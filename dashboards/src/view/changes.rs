//! What the page *Changes* shows.

use super::{AdviceView, Frame, ReviewView, SuggestionView, TrialView};
use dwell_analysis::advice::Plan;
use dwell_analysis::time::Timestamp;

/// The page *Changes*.
#[derive(Clone, Debug)]
pub struct ChangesPage {
    /// What every page needs.
    pub frame: Frame,
    /// Shown in our own forms alone.
    pub token: String,
    /// What is said of a form that was just sent.
    pub notice: Option<PageNotice>,
    /// What was worked out of the record, with what people said since; `None` while it is worked out for the first time.
    pub worked: Option<ChangesView>,
}

/// What is said of a form that was sent.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum PageNotice {
    /// It was done.
    Done(String),
    /// It was not taken, and why.
    Refused(String),
}

/// Suggestions and trials as they stand.
#[derive(Clone, Debug)]
pub struct ChangesView {
    /// When it was worked out; what people said since is in it.
    pub made: Timestamp,
    /// What was asked of; its suggestions are in `offers`.
    pub advice: AdviceView,
    /// What is worth a try, best first.
    pub offers: Vec<OfferView>,
    /// What became of what was advised; its trials are in `trials`.
    pub review: ReviewView,
    /// Trials, the open ones first.
    pub trials: Vec<TrialCard>,
}

/// A suggestion, and what taking it up would come to.
#[derive(Clone, Debug)]
pub struct OfferView {
    /// What is suggested.
    pub of: SuggestionView,
    /// The trial of it, or why there can be none now.
    pub planned: Result<PlannedView, RefusedOffer>,
}

/// The trial that a suggestion would be.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct PlannedView {
    /// How it would be tried.
    pub plan: Plan,
    /// Nobody knows what the change does: half of the risk is taken.
    pub is_assumed: bool,
}

/// Why a suggestion can't be taken up now.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct RefusedOffer {
    /// In words, without a capital or a full stop.
    pub why: String,
    /// The trial that is in its way.
    pub beside: Option<String>,
}

/// A trial on the page.
#[derive(Clone, Debug)]
pub struct TrialCard {
    /// The trial.
    pub trial: TrialView,
    /// See [`PlannedView::is_assumed`].
    pub is_assumed: bool,
    /// A print has ended that is not counted yet: what the next one is to have is not known until then.
    pub is_behind: bool,
    /// It was given up, and may be taken up again.
    pub may_return: bool,
}
