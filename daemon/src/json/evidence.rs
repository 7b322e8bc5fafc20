//! What a mode's claim rests on, as JSON: reliability, response, patterns, trials. Owns their field names; values stand in
//! the unit of their factor.

use super::MeanJson;
use dwell_analysis::risk::{Bound, Calibration, Condition, Direction, Pattern, Patterns, Reliability, Step, Trial};
use dwell_dashboards::view::ResponseView;
use schemars::JsonSchema;
use serde::Serialize;

#[derive(JsonSchema, Serialize)]
#[schemars(rename = "Reliability")]
pub(super) struct ReliabilityJson {
    low: f64,
    high: f64,
    n: usize,
    forecast: f64,
    observed: MeanJson,
}

/// The line of what happened over what was forecast, in log-odds.
#[derive(JsonSchema, Serialize)]
#[schemars(rename = "Calibration")]
pub(super) struct CalibrationJson {
    slope: MeanJson,
    intercept: MeanJson,
    in_the_large: MeanJson,
}

#[derive(JsonSchema, Serialize)]
#[schemars(rename = "Response")]
pub(super) struct ResponseJson {
    factor: &'static str,
    direction: &'static str,
    steps: Vec<StepJson>,
    /// Known runs of which the factor is not known.
    unplaced: usize,
}

#[derive(JsonSchema, Serialize)]
#[schemars(rename = "ResponseStep")]
struct StepJson {
    from: f64,
    to: f64,
    events: usize,
    n: usize,
    rate: MeanJson,
}

#[derive(JsonSchema, Serialize)]
#[schemars(rename = "Patterns")]
pub(super) struct PatternsJson {
    leaves: Vec<PatternJson>,
    tried: usize,
    left_out: Vec<&'static str>,
}

#[derive(JsonSchema, Serialize)]
#[schemars(rename = "Pattern")]
struct PatternJson {
    conditions: Vec<ConditionJson>,
    events: usize,
    n: usize,
    rate: MeanJson,
}

/// `is` is `at_least` or `under` with `value`, or `yes`, `no`, `unknown`.
#[derive(JsonSchema, Serialize)]
#[schemars(rename = "Condition")]
struct ConditionJson {
    factor: &'static str,
    is: &'static str,
    #[serde(skip_serializing_if = "Option::is_none")]
    value: Option<f64>,
    /// How often a split as strong would be found by chance; of patterns only.
    #[serde(skip_serializing_if = "Option::is_none")]
    chance: Option<f64>,
}

#[derive(JsonSchema, Serialize)]
#[schemars(rename = "TrialToSeparate")]
pub(super) struct TrialJson {
    set: &'static str,
    to: f64,
    instead: f64,
    held: ConditionJson,
    #[serde(skip_serializing_if = "Option::is_none")]
    tool_runs: Option<usize>,
}

impl From<&Reliability> for ReliabilityJson {
    fn from(bin: &Reliability) -> Self {
        let observed = MeanJson::from(&bin.observed);
        Self { low: bin.low, high: bin.high, n: bin.n, forecast: bin.mean_forecast, observed }
    }
}

impl From<&Calibration> for CalibrationJson {
    fn from(line: &Calibration) -> Self {
        let [slope, intercept, in_the_large] = [&line.slope, &line.intercept, &line.in_the_large].map(MeanJson::from);
        Self { slope, intercept, in_the_large }
    }
}

impl From<&ResponseView> for ResponseJson {
    fn from(told: &ResponseView) -> Self {
        let direction = match told.response.direction {
            Direction::Rising => "rising",
            Direction::Falling => "falling",
        };
        let steps = told.response.steps.iter().map(StepJson::from).collect();
        Self { factor: told.factor, direction, steps, unplaced: told.response.unplaced }
    }
}

impl From<&Step> for StepJson {
    fn from(step: &Step) -> Self {
        let rate = MeanJson::from(&step.rate);
        Self { from: step.from, to: step.to, events: step.events, n: step.n, rate }
    }
}

impl From<&Patterns> for PatternsJson {
    fn from(patterns: &Patterns) -> Self {
        let leaves = patterns.leaves.iter().map(PatternJson::from).collect();
        Self { leaves, tried: patterns.tried, left_out: patterns.left_out.clone() }
    }
}

impl From<&Pattern> for PatternJson {
    fn from(leaf: &Pattern) -> Self {
        let conditions = leaf.conditions.iter().map(ConditionJson::from).collect();
        Self { conditions, events: leaf.events, n: leaf.n, rate: MeanJson::from(&leaf.rate) }
    }
}

impl From<&Condition> for ConditionJson {
    fn from(asked: &Condition) -> Self {
        condition(asked.factor, asked.bound, Some(asked.chance))
    }
}

fn condition(factor: &'static str, bound: Bound, chance: Option<f64>) -> ConditionJson {
    let (is, value) = match bound {
        Bound::AtLeast(value) => ("at_least", Some(value)),
        Bound::Under(value) => ("under", Some(value)),
        Bound::Yes => ("yes", None),
        Bound::No => ("no", None),
        Bound::Unknown => ("unknown", None),
    };
    ConditionJson { factor, is, value, chance }
}

impl From<&Trial> for TrialJson {
    fn from(trial: &Trial) -> Self {
        let Trial { set, to, instead, held, bound, runs } = *trial;
        Self { set, to, instead, held: condition(held, bound, None), tool_runs: runs }
    }
}
