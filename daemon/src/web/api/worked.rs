//! What is worked out of the whole record, as JSON: causes, changes, a week's report. Owns which of it an answer has; no
//! request works anything out itself but the figures of a week.

use super::asked::Asked;
use super::operation::json;
use super::problem::Problem;
use crate::json::{Instant, LearnedJson, SuggestionJson, TrialsJson, report as report_json};
use crate::study::{self, Worked};
use crate::web::Site;
use schemars::JsonSchema;
use serde::Serialize;
use std::sync::Arc;

/// Changes worth a try, and what became of those that were taken up.
#[derive(Serialize, JsonSchema)]
#[schemars(rename = "Changes")]
pub(super) struct ChangesJson {
    /// When it was worked out.
    made: Instant,
    suggestions: Vec<SuggestionJson>,
    review: TrialsJson,
}

/// A week's report: every number of the page.
#[derive(Serialize, JsonSchema)]
#[schemars(rename = "Report")]
pub(super) struct ReportJson {
    week: String,
    from: Instant,
    to: Instant,
    as_of: Instant,
    days: Vec<serde_json::Value>,
    modes: Vec<serde_json::Value>,
}

pub(super) fn causes(site: &Site, _: &Asked) -> Result<String, Problem> {
    json(&LearnedJson::from(&worked(site)?.learned))
}

pub(super) fn changes(site: &Site, _: &Asked) -> Result<String, Problem> {
    let worked = worked(site)?;
    let (advice, trials) = worked.as_it_stands(&site.store.reader()?, &site.materials)?;
    json(&ChangesJson {
        made: worked.made.into(),
        suggestions: advice.suggestions.iter().map(SuggestionJson::from).collect(),
        review: TrialsJson::from(&trials),
    })
}

pub(super) fn report(site: &Site, asked: &Asked) -> Result<String, Problem> {
    let week = asked.week.ok_or_else(|| Problem::failed("the address has no week"))?;
    let (reader, worked, as_of) = (site.store.reader()?, worked(site)?, site.clock.now().at);
    let asked = study::Asked { period: week.into(), zone: site.zone.clone(), as_of, rehearsal: site.rehearsal };
    let view = study::report(&reader, &site.materials, &worked, &asked)?;
    report_json(&view).map_err(Problem::failed)
}

fn worked(site: &Site) -> Result<Arc<Worked>, Problem> {
    site.worked().ok_or_else(Problem::not_yet)
}
