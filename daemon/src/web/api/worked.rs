//! What is worked out of the whole record, as JSON: causes, changes, a report. Owns which of it an answer has; no
//! request works anything out itself but a report's figures.

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

/// A report of a week or of any days: every number of the page. What is not known is null.
#[derive(Serialize, JsonSchema)]
#[schemars(rename = "Report")]
pub(super) struct ReportJson {
    week: serde_json::Value,
    period: String,
    part: serde_json::Value,
    zone: String,
    from: Instant,
    to: Instant,
    as_of: Instant,
    first_reading: serde_json::Value,
    rehearsal: bool,
    days: Vec<serde_json::Value>,
    prints: serde_json::Value,
    tool_runs: serde_json::Value,
    before: serde_json::Value,
    modes: Vec<serde_json::Value>,
    idle: Vec<serde_json::Value>,
    worst_spans: Vec<serde_json::Value>,
    settings: Vec<serde_json::Value>,
    tool_disagreements: serde_json::Value,
    alarms: Vec<serde_json::Value>,
    quiet_alarms: serde_json::Value,
    alarm_figures: serde_json::Value,
    standing: Vec<serde_json::Value>,
    gaps: serde_json::Value,
    contact: Vec<serde_json::Value>,
    refused: Vec<serde_json::Value>,
    total: serde_json::Value,
    unreported: Vec<serde_json::Value>,
    if_silent: serde_json::Value,
    learned_at: Instant,
    recorded: serde_json::Value,
    learned: Vec<serde_json::Value>,
    suggestion: serde_json::Value,
    open_trials: Vec<serde_json::Value>,
    trials: Vec<serde_json::Value>,
    parts: Vec<serde_json::Value>,
    silence: serde_json::Value,
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
    let period = asked.period.ok_or_else(|| Problem::failed("the address has no period"))?;
    let (reader, worked, as_of) = (site.store.reader()?, worked(site)?, site.clock.now().at);
    let asked = study::Asked { period, zone: site.zone.clone(), as_of, rehearsal: site.rehearsal };
    let view = study::report(&reader, &site.materials, &worked, &asked)?;
    report_json(&view).map_err(Problem::failed)
}

fn worked(site: &Site) -> Result<Arc<Worked>, Problem> {
    site.worked().ok_or_else(Problem::not_yet)
}
