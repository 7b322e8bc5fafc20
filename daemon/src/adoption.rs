//! A suggestion taken up as a trial, or turned down: what commands and pages both do. Owns what can't be taken up and why,
//! how its trial is planned and drawn; what a command or a page adds to these words is its own.

use crate::clock::wall_now;
use crate::entry::Mode;
use crate::store::{NewTrial, Reader, Standing, Store, StoreError, SuggestionRow, TrialRow};
use dwell_analysis::advice::{Arm, Basis, Design, PRINTS_MAX, Plan, draw, plan};
use dwell_analysis::estimate::Estimate;
use dwell_analysis::time::Timestamp;
use dwell_dashboards::format::moment;
use jiff::tz::TimeZone;
use serde::Deserialize;
use std::fmt;

/// Names that are offered for one that is not there.
const CLOSE_MAX: usize = 3;

/// Why a suggestion can't be taken up or turned down.
#[derive(Debug, thiserror::Error)]
pub enum AdoptionError {
    /// There is no suggestion of that name.
    #[error("no such suggestion; {}", would(close))]
    Unknown {
        /// Names that are most like it.
        close: Vec<String>,
    },
    /// It is on trial already.
    #[error("it is on trial since {0}")]
    OnTrial(Moment),
    /// It is advised no more.
    #[error("it was withdrawn on {since}: {why}")]
    Withdrawn {
        /// Since when.
        since: Moment,
        /// Why.
        why: String,
    },
    /// Its trial has ended, and it stands.
    #[error("it was tried, and stands since {since}: {why}")]
    Tried {
        /// Since when.
        since: Moment,
        /// Why.
        why: String,
    },
    /// A trial that is open would be confounded by it.
    #[error("`{0}` is on trial on the same tool, and nobody could tell which of the two did it; one change at a time")]
    Beside(String),
    /// Another one was adopted at the same time.
    #[error("somebody has just adopted another change of this tool")]
    Overtaken,
    /// It is not known how often it fails.
    #[error(
        "nobody knows yet how often it fails as it is, so no trial would show what it does; set it without one, or tell \
         first how some prints came out"
    )]
    NoRisk,
    /// There is no failure that a trial could watch.
    #[error("no trial would show what it does, since there is no such failure to expect")]
    NothingToExpect,
    /// What the record keeps of it is not understood.
    #[error("what is kept of it can't be read: {0}")]
    Unread(String),
    /// The record can't be read or written.
    #[error(transparent)]
    Store(#[from] StoreError),
}

/// An instant in a sentence, on a clock that is named.
#[derive(Clone, Debug)]
pub struct Moment {
    at: Timestamp,
    zone: TimeZone,
}

impl fmt::Display for Moment {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let told = moment(self.at, &self.zone);
        if self.zone == TimeZone::UTC { write!(f, "{told} UTC") } else { f.write_str(&told) }
    }
}

fn would(close: &[String]) -> String {
    match close {
        [] => "nothing was advised yet".to_owned(),
        close => format!("closest is {}", close.join(", then ")),
    }
}

/// How a suggestion would be tried.
#[derive(Clone, Debug, PartialEq)]
pub struct Planned {
    /// The trial.
    pub plan: Plan,
    /// Nobody knows what the change does: half of the risk is taken.
    pub is_assumed: bool,
    modes: Vec<Mode>,
    risk: Estimate,
}

/// How a suggestion would be tried if it were taken up now. Times in refusals are told on the clock of `zone`.
///
/// # Errors
/// Why it can't be.
pub fn planned(suggestion: &SuggestionRow, trials: &[TrialRow], zone: &TimeZone) -> Result<Planned, AdoptionError> {
    refused(suggestion, trials, zone)?;
    let promise = Promise::of(suggestion)?;
    let (plan, is_assumed) = promise.plan(suggestion)?;
    Ok(Planned { plan, is_assumed, modes: promise.modes()?, risk: promise.risks()?.0 })
}

/// Whether the effect that a suggestion's trial was planned by is taken for so much, since nobody knows it.
#[must_use]
pub fn is_assumed(suggestion: &SuggestionRow) -> bool {
    Promise::of(suggestion).and_then(|promise| promise.plan(suggestion)).is_ok_and(|(_, is_assumed)| is_assumed)
}

/// What a trial of the suggestion of that name would begin with, drawn now. Nothing is written.
///
/// # Errors
/// Why it can't be taken up, or the record can't be read.
pub fn prepared(reader: &Reader, id: &str, zone: &TimeZone) -> Result<(NewTrial, bool), AdoptionError> {
    let suggestion = known(reader.suggestions()?, id)?;
    let Planned { plan, is_assumed, modes, risk } = planned(&suggestion, &reader.trials()?, zone)?;
    // What the record knows up to now is what was known before; a print that is on began before it.
    let at = reader.newest()?.unwrap_or_else(wall_now);
    let baseline = match reader.learned_from()? {
        Some((source, _)) => source,
        None => reader.evidence(None)?,
    };
    Ok((NewTrial { suggestion: id.to_owned(), at, draws: draws(&plan), plan, modes, risk, baseline }, is_assumed))
}

/// Begins a trial that was prepared.
///
/// # Errors
/// If another one came between, or the record can't be written.
pub fn begin(store: &Store, trial: NewTrial) -> Result<(), AdoptionError> {
    if store.adopt(trial)? { Ok(()) } else { Err(AdoptionError::Overtaken) }
}

/// A suggestion of that name is there, and whether it is on trial.
///
/// # Errors
/// If there is none, or the record can't be read.
pub fn is_on_trial(reader: &Reader, id: &str) -> Result<bool, AdoptionError> {
    known(reader.suggestions()?, id)?;
    Ok(reader.trials()?.iter().any(|trial| trial.suggestion == id && trial.ended.is_none()))
}

/// Turns a suggestion down that is there; its trial is given up. No words are no reason.
///
/// # Errors
/// If the record can't be written.
pub fn decline(store: &Store, id: &str, why: Option<&str>) -> Result<(), AdoptionError> {
    let why = why.map(str::trim).filter(|why| !why.is_empty());
    let at = store.reader()?.newest()?.unwrap_or_else(wall_now);
    store.decline(id, why, at)?;
    Ok(())
}

/// The suggestion of that name.
fn known(suggestions: Vec<SuggestionRow>, id: &str) -> Result<SuggestionRow, AdoptionError> {
    let alike = |other: &str| other.bytes().zip(id.bytes()).take_while(|(one, other)| one == other).count();
    let mut close: Vec<(usize, String)> = suggestions.iter().map(|row| (alike(&row.id), row.id.clone())).collect();
    if let Some(found) = suggestions.into_iter().find(|row| row.id == id) {
        return Ok(found);
    }
    close.sort_by_key(|(alike, _)| std::cmp::Reverse(*alike));
    let close = close.into_iter().take(CLOSE_MAX).map(|(_, id)| format!("`{id}`")).collect();
    Err(AdoptionError::Unknown { close })
}

/// Why it can't be tried now, if it can't.
fn refused(suggestion: &SuggestionRow, trials: &[TrialRow], zone: &TimeZone) -> Result<(), AdoptionError> {
    let SuggestionRow { id, printer, tool, material, change, .. } = suggestion;
    let on = |at: Timestamp| Moment { at, zone: zone.clone() };
    let why = || suggestion.why.clone().unwrap_or_else(|| "nobody said why".to_owned());
    if let Some(open) = trials.iter().find(|trial| trial.suggestion == *id && trial.ended.is_none()) {
        return Err(AdoptionError::OnTrial(on(open.adopted)));
    }
    match suggestion.standing {
        Standing::Withdrawn => return Err(AdoptionError::Withdrawn { since: on(suggestion.since), why: why() }),
        Standing::Adopted => return Err(AdoptionError::Tried { since: on(suggestion.since), why: why() }),
        Standing::Open | Standing::Declined => {}
    }
    match trials.iter().find(|trial| trial.is_confounded_by(printer, *tool, material.as_deref(), change)) {
        None => Ok(()),
        Some(open) => Err(AdoptionError::Beside(open.suggestion.clone())),
    }
}

/// What scripts are told of a suggestion, as far as a trial needs it.
#[derive(Deserialize)]
struct Promise {
    modes: Vec<String>,
    risk_now: Option<Interval>,
    risk_after: Option<Interval>,
    basis: String,
}

#[derive(Deserialize)]
struct Interval {
    mean: f64,
    low: f64,
    high: f64,
}

impl From<&Interval> for Estimate {
    fn from(of: &Interval) -> Self {
        Self { value: of.mean, low: of.low, high: of.high, n: 0 }
    }
}

impl Promise {
    fn of(suggestion: &SuggestionRow) -> Result<Self, AdoptionError> {
        serde_json::from_str(&suggestion.body).map_err(|error| AdoptionError::Unread(error.to_string()))
    }

    fn modes(&self) -> Result<Vec<Mode>, AdoptionError> {
        let each = self.modes.iter().map(|word| {
            let unknown = || AdoptionError::Unread(format!("`{word}` is no failure mode that is known"));
            Mode::of_word(word).ok_or_else(unknown)
        });
        each.collect()
    }

    /// The risk as it is and with the change.
    fn risks(&self) -> Result<(Estimate, Estimate), AdoptionError> {
        let (now, after) = (self.risk_now.as_ref(), self.risk_after.as_ref());
        now.map(Estimate::from).zip(after.map(Estimate::from)).ok_or(AdoptionError::NoRisk)
    }

    /// The trial, and whether its effect is taken for so much since nobody knows it.
    fn plan(&self, suggestion: &SuggestionRow) -> Result<(Plan, bool), AdoptionError> {
        let known = [Basis::Learned, Basis::CommonPractice, Basis::Mixed];
        let basis = known.into_iter().find(|basis| basis.name() == self.basis).unwrap_or(Basis::Mixed);
        let (now, after) = self.risks()?;
        if let Ok(planned) = plan(&suggestion.change, basis, &now, &after) {
            return Ok((planned, false));
        }
        // What it does is not known, or it is for something else; it is watched all the same.
        let halved = Estimate { value: now.value / 2.0, ..now };
        let planned = plan(&suggestion.change, basis, &now, &halved).map(|planned| (planned, true));
        planned.map_err(|_| AdoptionError::NothingToExpect)
    }
}

/// What each print is to have: as many as the trial may be made longer to, twice over, since nobody says of every print
/// how it came out.
fn draws(plan: &Plan) -> Vec<Arm> {
    let longest = (plan.prints + plan.prints / 2).min(PRINTS_MAX.max(plan.prints));
    match plan.design {
        Design::Alternation => draw(2 * longest, rand::random()),
        Design::BeforeAfter => vec![Arm::Changed; 2 * longest],
    }
}
