//! Changes worth a try as the JSON that scripts rely on, and as it stands in the record. Owns field names.

use super::MeanJson;
use crate::change::{self, Value};
use dwell_analysis::advice::{Change, ModeEffect, Plan};
use dwell_analysis::risk::FailureMode;
use dwell_dashboards::advice_words;
use dwell_dashboards::view::SuggestionView;
use schemars::JsonSchema;
use serde::Serialize;

/// A change worth a try.
#[derive(JsonSchema, Serialize)]
#[schemars(rename = "Suggestion")]
pub struct SuggestionJson {
    id: String,
    printer: String,
    tool: usize,
    #[serde(skip_serializing_if = "Option::is_none")]
    material: Option<String>,
    /// Those that it is meant for.
    modes: Vec<&'static str>,
    setting: &'static str,
    /// `null` is not known.
    from: Option<Value>,
    to: Value,
    /// Absent before enough outcomes were told.
    #[serde(skip_serializing_if = "Option::is_none")]
    risk_now: Option<MeanJson>,
    /// See `risk_now`.
    #[serde(skip_serializing_if = "Option::is_none")]
    risk_after: Option<MeanJson>,
    /// See `risk_now`.
    #[serde(skip_serializing_if = "Option::is_none")]
    sure: Option<f64>,
    minutes_per_print: MeanJson,
    basis: &'static str,
    why: String,
    /// How much is known of the mode that it helps most against.
    #[serde(skip_serializing_if = "Option::is_none")]
    state: Option<&'static str>,
    suggestion: String,
    refute: String,
    effects: Vec<EffectJson>,
    trade_off: bool,
    /// Minutes a print that are lost less, failures by what each costs.
    #[serde(skip_serializing_if = "Option::is_none")]
    gain_min: Option<MeanJson>,
    n_prints: usize,
    n_waits: usize,
    n_long_waits: usize,
    /// How a trial of it would go; absent where none would show what it does.
    #[serde(skip_serializing_if = "Option::is_none")]
    trial: Option<TrialJson>,
    /// Whether it was taken up already.
    adopted: bool,
}

#[derive(JsonSchema, Serialize)]
#[schemars(rename = "TrialPlan")]
struct TrialJson {
    /// `alternation` or `before_after`.
    design: &'static str,
    /// Prints with a known outcome.
    prints: usize,
    /// The probability that so many show what is expected of it.
    power: f64,
    /// The weakest effect that so many would show, as a ratio of risks.
    #[serde(skip_serializing_if = "Option::is_none")]
    detects: Option<f64>,
}

#[derive(JsonSchema, Serialize)]
#[schemars(rename = "Effect")]
struct EffectJson {
    mode: &'static str,
    now: MeanJson,
    after: MeanJson,
    /// The probability that it falls.
    falls: f64,
    state: &'static str,
    n: usize,
    events: usize,
    /// Of this tool with this material.
    own_n: usize,
    own_events: usize,
}

impl From<&SuggestionView> for SuggestionJson {
    fn from(view: &SuggestionView) -> Self {
        let suggestion = &view.suggestion;
        let (from, to) = values(view);
        let words = advice_words(view);
        Self {
            id: view.id.clone(),
            printer: view.printer.clone(),
            tool: view.tool,
            material: view.material.clone(),
            modes: suggestion.meant.iter().copied().map(FailureMode::name).collect(),
            setting: view.setting,
            from,
            to,
            risk_now: suggestion.risk.map(|risk| MeanJson::from(&risk.now)),
            risk_after: suggestion.risk.map(|risk| MeanJson::from(&risk.after)),
            sure: suggestion.risk.map(|risk| risk.sure),
            minutes_per_print: MeanJson::from(&suggestion.minutes),
            basis: suggestion.basis.name(),
            why: words.why,
            state: view.meant.map(|meant| meant.state.name()),
            suggestion: words.suggestion,
            refute: words.refute,
            effects: suggestion.effects.iter().map(EffectJson::from).collect(),
            trade_off: suggestion.is_trade_off(),
            gain_min: suggestion.gain.as_ref().map(MeanJson::from),
            n_prints: suggestion.n_courses,
            n_waits: suggestion.n_waits,
            n_long_waits: suggestion.n_long_waits,
            trial: view.plan.as_ref().map(TrialJson::from),
            adopted: view.is_adopted,
        }
    }
}

/// What it is set from and to; a material as somebody wrote it, where that is known.
fn values(view: &SuggestionView) -> (Option<Value>, Value) {
    let (change, named) = (&view.suggestion.change, |name: &String| Value::Word(name.clone()));
    let (from, to) = (change::from(change), change::to(change));
    match change {
        Change::Material(_) => (view.material.as_ref().map(named).or(from), view.beside.as_ref().map_or(to, named)),
        _ => (from, to),
    }
}

impl From<&Plan> for TrialJson {
    fn from(plan: &Plan) -> Self {
        Self { design: plan.design.name(), prints: plan.prints, power: plan.power, detects: plan.detects }
    }
}

impl From<&ModeEffect> for EffectJson {
    fn from(effect: &ModeEffect) -> Self {
        Self {
            mode: effect.mode.name(),
            now: MeanJson::from(&effect.now),
            after: MeanJson::from(&effect.after),
            falls: effect.falls,
            state: effect.state.name(),
            n: effect.n,
            events: effect.events,
            own_n: effect.own_n,
            own_events: effect.own_events,
        }
    }
}
