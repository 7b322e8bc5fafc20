//! `adopt ID`: a suggestion taken up, as a trial.

use super::{Failure, output};
use crate::adoption::{AdoptionError, begin, prepared};
use crate::cli::Place;
use crate::config::Config;
use crate::store::{Reader, Store};
use crate::study::on_trial;
use dwell_dashboards::render_adopted_text;
use jiff::tz::TimeZone;

pub(super) fn run(place: &Place, id: &str) -> Result<(), Failure> {
    let config = place.config()?;
    let database = place.database(config.as_ref())?;
    let materials = config.as_ref().map(Config::materials).unwrap_or_default();
    let learning = config.as_ref().map(Config::learning);
    let failed = |error: AdoptionError| failure(id, &error);
    let (trial, is_assumed) = prepared(&Reader::open(&database)?, id, &TimeZone::UTC).map_err(failed)?;
    let store = Store::open(&database)?;
    begin(&store, trial).map_err(failed)?;
    let begun = on_trial(&store.reader()?, &materials, learning, id)?;
    output::text(&begun.map_or_else(String::new, |begun| render_adopted_text(&begun, is_assumed)))
}

/// Why it was not done, and which command helps.
pub(super) fn failure(id: &str, error: &AdoptionError) -> Failure {
    let helps = match error {
        AdoptionError::Unknown { .. } => "; `dwellwatch advise` lists them".to_owned(),
        AdoptionError::OnTrial(_) => "; `dwellwatch review` shows how it goes".to_owned(),
        AdoptionError::Beside(open) => {
            format!(": let it end (`dwellwatch review`), or give it up (`dwellwatch decline {open}`)")
        }
        AdoptionError::Overtaken => "; `dwellwatch review` shows it".to_owned(),
        AdoptionError::NoRisk => " (`dwellwatch note`)".to_owned(),
        AdoptionError::Withdrawn { .. }
        | AdoptionError::Tried { .. }
        | AdoptionError::NothingToExpect
        | AdoptionError::Unread(_) => String::new(),
        AdoptionError::Store(_) => return Failure::Work(error.to_string()),
    };
    Failure::Work(format!("{id}: {error}{helps}"))
}
