//! Changes worth a try as the JSON that scripts rely on. Owns field names.

use dwell_analysis::advice::{Change, ModeEffect, PartKind, Step};
use dwell_analysis::estimate::Estimate;
use dwell_analysis::risk::FailureMode;
use dwell_analysis::units::{Celsius, CubicMm, Millimetres};
use dwell_dashboards::advice_words;
use dwell_dashboards::view::SuggestionView;
use serde::Serialize;

#[derive(Serialize)]
pub(super) struct SuggestionJson {
    id: String,
    printer: String,
    tool: usize,
    #[serde(skip_serializing_if = "Option::is_none")]
    material: Option<String>,
    /// Those that it is meant for.
    modes: Vec<&'static str>,
    setting: &'static str,
    /// `null` is not known.
    from: Option<ValueJson>,
    to: ValueJson,
    risk_now: IntervalJson,
    risk_after: IntervalJson,
    sure: f64,
    minutes_per_print: IntervalJson,
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
    gain_min: IntervalJson,
    n_prints: usize,
    n_waits: usize,
    n_long_waits: usize,
}

/// A value of a setting, or what becomes of a part.
#[derive(Serialize)]
#[serde(untagged)]
enum ValueJson {
    Number(f64),
    Flag(bool),
    Word(String),
}

/// A 90 % interval around a mean.
#[derive(Serialize)]
struct IntervalJson {
    mean: f64,
    low: f64,
    high: f64,
}

#[derive(Serialize)]
struct EffectJson {
    mode: &'static str,
    now: IntervalJson,
    after: IntervalJson,
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
            risk_now: IntervalJson::from(&suggestion.risk_now),
            risk_after: IntervalJson::from(&suggestion.risk_after),
            sure: suggestion.sure,
            minutes_per_print: IntervalJson::from(&suggestion.minutes),
            basis: suggestion.basis.name(),
            why: words.why,
            state: suggestion.first().map(|effect| effect.state.name()),
            suggestion: words.suggestion,
            refute: words.refute,
            effects: suggestion.effects.iter().map(EffectJson::from).collect(),
            trade_off: suggestion.is_trade_off(),
            gain_min: IntervalJson::from(&suggestion.gain),
            n_prints: suggestion.n_courses,
            n_waits: suggestion.n_waits,
            n_long_waits: suggestion.n_long_waits,
        }
    }
}

fn values(view: &SuggestionView) -> (Option<ValueJson>, ValueJson) {
    let word = |word: &str| ValueJson::Word(word.to_owned());
    match view.suggestion.change {
        Change::Standby(step) | Change::PrintTemperature(step) => numbers(step, Celsius::get),
        Change::Retract(step) => numbers(step, Millimetres::get),
        Change::RetractSpeed(step) => numbers(step, |value| value),
        Change::Prime(step) => numbers(step, CubicMm::get),
        Change::OozeShield(step) | Change::Dried(step) => (step.from.map(ValueJson::Flag), ValueJson::Flag(step.to)),
        Change::Material(step) => {
            let to = view.beside.as_deref().unwrap_or_else(|| step.to.name());
            (view.material.as_deref().map(word), word(to))
        }
        Change::Replace(PartKind::Liner | PartKind::Nozzle) => (None, word("new")),
        Change::Clean => (None, word("cold pull")),
        Change::AllMetal => (None, word("all metal")),
    }
}

fn numbers<T>(step: Step<T>, bare: impl Fn(T) -> f64) -> (Option<ValueJson>, ValueJson) {
    let Step { from, to } = step;
    let from = from.map(|from| ValueJson::Number(bare(from)));
    (from, ValueJson::Number(bare(to)))
}

impl From<&ModeEffect> for EffectJson {
    fn from(effect: &ModeEffect) -> Self {
        Self {
            mode: effect.mode.name(),
            now: IntervalJson::from(&effect.now),
            after: IntervalJson::from(&effect.after),
            falls: effect.falls,
            state: effect.state.name(),
            n: effect.n,
            events: effect.events,
            own_n: effect.own_n,
            own_events: effect.own_events,
        }
    }
}

impl From<&Estimate> for IntervalJson {
    fn from(estimate: &Estimate) -> Self {
        Self { mean: estimate.value, low: estimate.low, high: estimate.high }
    }
}
