//! `adopt ID`: a suggestion taken up, as a trial.

use super::{Failure, output};
use crate::cli::Place;
use crate::clock::wall_now;
use crate::config::Config;
use crate::entry::Mode;
use crate::store::{NewTrial, Reader, Standing, Store, SuggestionRow, TrialRow};
use crate::study::on_trial;
use dwell_analysis::advice::{Arm, Basis, Design, PRINTS_MAX, Plan, draw, plan};
use dwell_analysis::estimate::Estimate;
use dwell_analysis::time::Timestamp;
use dwell_dashboards::format::moment;
use dwell_dashboards::render_adopted_text;
use jiff::tz::TimeZone;
use serde::Deserialize;

/// Names that are offered for one that is not there.
const CLOSE_MAX: usize = 3;

pub(super) fn run(place: &Place, id: &str) -> Result<(), Failure> {
    let config = place.config()?;
    let database = place.database(config.as_ref())?;
    let materials = config.as_ref().map(Config::materials).unwrap_or_default();
    let learning = config.as_ref().map(Config::learning);
    let reader = Reader::open(&database)?;
    let suggestion = known(reader.suggestions()?, id)?;
    let trials = reader.trials()?;
    refused(&suggestion, &trials)?;
    let promise = Promise::of(&suggestion)?;
    let (plan, is_assumed) = promise.plan(&suggestion)?;
    // What the record knows up to now is what was known before; a print that is on began before it.
    let at = reader.newest()?.unwrap_or_else(wall_now);
    let baseline = match reader.learned_from()? {
        Some((source, _)) => source,
        None => reader.evidence(None)?,
    };
    drop(reader);
    let (modes, risk) = (promise.modes()?, promise.risks(&suggestion)?.0);
    let trial = NewTrial { suggestion: id.to_owned(), at, draws: draws(&plan), plan, modes, risk, baseline };
    let store = Store::open(&database)?;
    if !store.adopt(trial)? {
        return Err(Failure::Work(format!(
            "{id}: somebody has just adopted another change of this tool; `review` shows it"
        )));
    }
    let begun = on_trial(&store.reader()?, &materials, learning, id)?;
    output::text(&begun.map_or_else(String::new, |begun| render_adopted_text(&begun, is_assumed)))
}

/// The suggestion of that name.
pub(super) fn known(suggestions: Vec<SuggestionRow>, id: &str) -> Result<SuggestionRow, Failure> {
    let alike = |other: &str| other.bytes().zip(id.bytes()).take_while(|(one, other)| one == other).count();
    let mut close: Vec<(usize, String)> = suggestions.iter().map(|row| (alike(&row.id), row.id.clone())).collect();
    if let Some(found) = suggestions.into_iter().find(|row| row.id == id) {
        return Ok(found);
    }
    close.sort_by_key(|(alike, _)| std::cmp::Reverse(*alike));
    let close: Vec<String> = close.into_iter().take(CLOSE_MAX).map(|(_, id)| format!("`{id}`")).collect();
    let would = match close.as_slice() {
        [] => "nothing was advised yet".to_owned(),
        close => format!("closest is {}", close.join(", then ")),
    };
    Err(Failure::Work(format!("{id}: no such suggestion; {would}; `dwellwatch advise` lists them")))
}

/// Why it can't be tried now, if it can't.
fn refused(suggestion: &SuggestionRow, trials: &[TrialRow]) -> Result<(), Failure> {
    let SuggestionRow { id, printer, tool, material, change, .. } = suggestion;
    let refuse = |why: String| Err(Failure::Work(format!("{id}: {why}")));
    let (since, why) = (on(suggestion.since), suggestion.why.as_deref().unwrap_or("nobody said why"));
    if let Some(open) = trials.iter().find(|trial| trial.suggestion == *id && trial.ended.is_none()) {
        let since = on(open.adopted);
        return refuse(format!("it is on trial since {since}; `dwellwatch review` shows how it goes"));
    }
    match suggestion.standing {
        Standing::Withdrawn => return refuse(format!("it was withdrawn on {since}: {why}")),
        Standing::Adopted => return refuse(format!("it was tried, and stands since {since}: {why}")),
        Standing::Open | Standing::Declined => {}
    }
    match trials.iter().find(|trial| trial.is_confounded_by(printer, *tool, material.as_deref(), change)) {
        None => Ok(()),
        Some(open) => refuse(format!(
            "`{}` is on trial on the same tool, and nobody could tell which of the two did it; one change at a time: let it \
             end (`dwellwatch review`), or give it up (`dwellwatch decline {}`)",
            open.suggestion, open.suggestion
        )),
    }
}

fn on(at: Timestamp) -> String {
    format!("{} UTC", moment(at, &TimeZone::UTC))
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
    fn of(suggestion: &SuggestionRow) -> Result<Self, Failure> {
        let read = serde_json::from_str(&suggestion.body);
        read.map_err(|error| Failure::Work(format!("{}: what is kept of it can't be read: {error}", suggestion.id)))
    }

    fn modes(&self) -> Result<Vec<Mode>, Failure> {
        let each = self.modes.iter().map(|word| {
            Mode::of_word(word).ok_or_else(|| Failure::Work(format!("`{word}` is no failure mode that is known")))
        });
        each.collect()
    }

    /// The risk as it is and with the change.
    fn risks(&self, suggestion: &SuggestionRow) -> Result<(Estimate, Estimate), Failure> {
        self.risk_now.as_ref().map(Estimate::from).zip(self.risk_after.as_ref().map(Estimate::from)).ok_or_else(|| {
            Failure::Work(format!(
                "{}: nobody knows yet how often it fails as it is, so no trial would show what it does; set it without \
                 one, or tell first how some prints came out (`dwellwatch note`)",
                suggestion.id
            ))
        })
    }

    /// The trial, and whether its effect is taken for so much since nobody knows it.
    fn plan(&self, suggestion: &SuggestionRow) -> Result<(Plan, bool), Failure> {
        let known = [Basis::Learned, Basis::CommonPractice, Basis::Mixed];
        let basis = known.into_iter().find(|basis| basis.name() == self.basis).unwrap_or(Basis::Mixed);
        let (now, after) = self.risks(suggestion)?;
        if let Ok(planned) = plan(&suggestion.change, basis, &now, &after) {
            return Ok((planned, false));
        }
        // What it does is not known, or it is for something else; it is watched all the same.
        let halved = Estimate { value: now.value / 2.0, ..now };
        let planned = plan(&suggestion.change, basis, &now, &halved).map(|planned| (planned, true));
        planned.map_err(|_| {
            let id = &suggestion.id;
            Failure::Work(format!("{id}: no trial would show what it does, since there is no such failure to expect"))
        })
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
