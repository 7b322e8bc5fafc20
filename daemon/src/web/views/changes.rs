//! The *Changes* view: what was worked out last, with what people said since. Owns that it takes a few reads of rows.

use super::{ViewError, frame};
use crate::adoption::{AdoptionError, is_assumed, planned};
use crate::store::{Ending, PrintFilter, Reader, Standing, StoreError, SuggestionRow, TrialRow};
use crate::study::Worked;
use crate::web::Site;
use dwell_analysis::time::Timestamp;
use dwell_dashboards::view::{
    ChangesPage, ChangesView, OfferView, PageNotice, PlannedView, RefusedOffer, SuggestionView, TrialCard, TrialState,
    TrialView,
};
use dwell_dashboards::{format, seen_as};
use jiff::tz::TimeZone;

/// Fills the page.
pub(in crate::web) fn changes(site: &Site, notice: Option<PageNotice>) -> Result<ChangesPage, ViewError> {
    let reader = site.store.reader()?;
    let worked = site.worked().map(|worked| standing(site, &reader, &worked)).transpose()?;
    Ok(ChangesPage { frame: frame(site)?, token: site.token.clone(), notice, worked })
}

/// What is said of a suggestion that was just taken up; nothing if it is not on trial.
pub(in crate::web) fn adopted(reader: &Reader, id: &str) -> Result<Option<PageNotice>, StoreError> {
    let open = reader.trials()?.into_iter().rfind(|trial| trial.suggestion == id && trial.ended.is_none());
    Ok(open.map(|trial| {
        let whose = format::whose(trial.printer.as_str(), trial.tool.idx(), trial.material.as_deref());
        PageNotice::Done(format!(
            "{whose}: {} is on trial now. What the next print is to have stands below; say of each print how it came out.",
            seen_as(&trial.change)
        ))
    }))
}

/// What is said of a suggestion that was just turned down; nothing if it is not.
pub(in crate::web) fn declined(reader: &Reader, id: &str) -> Result<Option<PageNotice>, StoreError> {
    let is_it = |row: &SuggestionRow| row.id == id && row.standing == Standing::Declined;
    let Some(row) = reader.suggestions()?.into_iter().find(is_it) else { return Ok(None) };
    let gave_up = |trial: &TrialRow| {
        let ended = trial.ended.as_ref();
        trial.suggestion == id && ended.is_some_and(|of| of.ending == Ending::GivenUp && of.at >= row.since)
    };
    let given_up =
        if reader.trials()?.iter().any(gave_up) { " Its trial is given up: set things as they were." } else { "" };
    let whose = format::whose(row.printer.as_str(), row.tool.idx(), row.material.as_deref());
    Ok(Some(PageNotice::Done(format!(
        "{whose}: {} is declined; it is not advised again unless it comes to another value.{given_up}",
        seen_as(&row.change)
    ))))
}

fn standing(site: &Site, reader: &Reader, worked: &Worked) -> Result<ChangesView, StoreError> {
    let (rows, trials) = (reader.suggestions()?, reader.trials()?);
    let (told, review) = worked.as_it_stands(reader, &site.materials)?;
    let offers = told.suggestions.into_iter().filter(|of| !of.is_adopted);
    let cards = review.trials.iter().map(|trial| {
        let is_behind = is_behind(reader, trial, worked.advice.as_of)?;
        let row = rows.iter().find(|row| row.id == trial.id);
        Ok(TrialCard {
            trial: trial.clone(),
            is_assumed: row.is_some_and(is_assumed),
            is_behind,
            may_return: row.is_some_and(|row| may_return(row, trial, &trials)),
        })
    });
    Ok(ChangesView {
        made: worked.made,
        advice: worked.advice.clone(),
        offers: offers.map(|of| offer(of, &rows, &trials, &site.zone)).collect(),
        trials: cards.collect::<Result<_, StoreError>>()?,
        review,
    })
}

fn offer(of: SuggestionView, rows: &[SuggestionRow], trials: &[TrialRow], zone: &TimeZone) -> OfferView {
    let refused = |why: String, beside: Option<String>| RefusedOffer { why, beside };
    let planned = match rows.iter().find(|row| row.id == of.id) {
        None => Err(refused("it is not in the record yet; this page offers it in a moment".to_owned(), None)),
        Some(row) => match planned(row, trials, zone) {
            Ok(planned) => Ok(PlannedView { plan: planned.plan, is_assumed: planned.is_assumed }),
            Err(error) => {
                let why = error.to_string();
                let beside = if let AdoptionError::Beside(open) = error { Some(open) } else { None };
                Err(refused(why, beside))
            }
        },
    };
    OfferView { of, planned }
}

/// Whether a print of it has ended that was not there yet when it was worked out.
fn is_behind(reader: &Reader, trial: &TrialView, as_of: Option<Timestamp>) -> Result<bool, StoreError> {
    let printer = crate::entry::PrinterName::new(&trial.printer);
    let TrialState::Open { .. } = trial.state else { return Ok(false) };
    let Some(as_of) = as_of else { return Ok(false) };
    // The newest may be on; the one before it has ended.
    let newest = reader.prints(&PrintFilter { printer, limit: Some(2), ..PrintFilter::default() })?;
    let is_new = |ended: Timestamp| ended > as_of;
    Ok(newest.iter().any(|print| print.started > trial.adopted && print.ended.is_some_and(is_new)))
}

/// Whether a trial that was given up may be taken up again: it is the newest of a suggestion that a person declined.
fn may_return(row: &SuggestionRow, trial: &TrialView, trials: &[TrialRow]) -> bool {
    let newest = trials.iter().rfind(|other| other.suggestion == row.id);
    let is_newest = newest.is_some_and(|newest| newest.adopted == trial.adopted && newest.ended.is_some());
    row.standing == Standing::Declined && is_newest && matches!(trial.state, TrialState::Ended { .. })
}
