//! Trials as the JSON that scripts are given. Owns field names; an absent field is unknown.

use super::{Instant, MeanJson, MedianJson};
use crate::change::{self, Value};
use dwell_analysis::advice::{Arm, Change};
use dwell_dashboards::view::{ClosedView, ReviewView, TrialPrint, TrialState, TrialView};
use schemars::JsonSchema;
use serde::Serialize;

#[derive(JsonSchema, Serialize)]
#[schemars(rename = "Trials")]
pub(crate) struct TrialsJson {
    #[serde(skip_serializing_if = "Option::is_none")]
    as_of: Option<Instant>,
    trials: Vec<TrialJson>,
    closed: Vec<ClosedJson>,
}

#[derive(JsonSchema, Serialize)]
#[schemars(rename = "Trial")]
pub(super) struct TrialJson {
    id: String,
    printer: String,
    tool: usize,
    #[serde(skip_serializing_if = "Option::is_none")]
    material: Option<String>,
    setting: &'static str,
    from: Option<Value>,
    to: Value,
    adopted: Instant,
    /// `alternation` or `before_after`.
    design: &'static str,
    modes: Vec<&'static str>,
    prints_planned: usize,
    /// The risk with the change over that without it, as expected when it was adopted.
    ratio_expected: f64,
    power: f64,
    #[serde(skip_serializing_if = "Option::is_none")]
    detects: Option<f64>,
    /// `open` or `ended`.
    state: &'static str,
    /// `helped`, `did_not_help`, `harmed`, `undecided` or `not_yet`.
    verdict: &'static str,
    #[serde(skip_serializing_if = "Option::is_none")]
    more_prints: Option<usize>,
    /// What the print that is on is to have: `changed` or `as_before`.
    #[serde(skip_serializing_if = "Option::is_none")]
    print_on: Option<&'static str>,
    #[serde(skip_serializing_if = "Option::is_none")]
    next_print: Option<&'static str>,
    #[serde(skip_serializing_if = "Option::is_none")]
    ended: Option<Instant>,
    /// `settled`, `harm`, `planned` or `given_up`.
    #[serde(skip_serializing_if = "Option::is_none")]
    ending: Option<&'static str>,
    #[serde(skip_serializing_if = "Option::is_none")]
    why: Option<String>,
    #[serde(skip_serializing_if = "Option::is_none")]
    figures: Option<FiguresJson>,
    /// Prints that had not what they were to have.
    not_applied: usize,
    /// The ratio by what each print really had, where some had not what was drawn.
    #[serde(skip_serializing_if = "Option::is_none")]
    ratio_as_applied: Option<MedianJson>,
    /// What the tool holds instead of the trial's material, so that no print counts.
    #[serde(skip_serializing_if = "Option::is_none")]
    held: Option<HeldJson>,
    prints: Vec<PrintJson>,
}

#[derive(JsonSchema, Serialize)]
#[schemars(rename = "TrialFigures")]
struct FiguresJson {
    n_changed: usize,
    failures: usize,
    /// Failures expected in the same prints without the change.
    expected: MeanJson,
    n_as_before: usize,
    failures_as_before: usize,
    ratio: MedianJson,
    /// The probability that the change lowers the risk.
    sure: f64,
    /// Of an alternation: how often chance alone gives the prints with the change so few failures or fewer (Fisher's
    /// exact test, without the model).
    #[serde(skip_serializing_if = "Option::is_none")]
    by_chance: Option<f64>,
}

#[derive(JsonSchema, Serialize)]
#[schemars(rename = "TrialHeld")]
struct HeldJson {
    material: String,
    since: Instant,
}

#[derive(JsonSchema, Serialize)]
#[schemars(rename = "TrialPrint")]
struct PrintJson {
    nth: usize,
    print: i64,
    #[serde(skip_serializing_if = "Option::is_none")]
    name: Option<String>,
    started: Instant,
    #[serde(skip_serializing_if = "Option::is_none")]
    drawn: Option<&'static str>,
    /// `changed`, `as_before`, `neither` or `not_known`.
    applied: &'static str,
    #[serde(skip_serializing_if = "Option::is_none")]
    value: Option<Value>,
    /// `set_points`, `job_file`, `typed_in`, `parts_told` or `not_known`.
    known_by: &'static str,
    /// `null` if nobody said.
    failed: Option<bool>,
    failures: Vec<&'static str>,
    #[serde(skip_serializing_if = "Option::is_none")]
    expected: Option<f64>,
}

#[derive(JsonSchema, Serialize)]
#[schemars(rename = "ClosedSuggestion")]
struct ClosedJson {
    id: String,
    printer: String,
    tool: usize,
    #[serde(skip_serializing_if = "Option::is_none")]
    material: Option<String>,
    setting: &'static str,
    from: Option<Value>,
    to: Value,
    /// `declined` or `withdrawn`.
    state: &'static str,
    since: Instant,
    #[serde(skip_serializing_if = "Option::is_none")]
    why: Option<String>,
}

impl From<&ReviewView> for TrialsJson {
    fn from(view: &ReviewView) -> Self {
        Self {
            as_of: view.as_of.map(Instant::from),
            trials: view.trials.iter().map(TrialJson::from).collect(),
            closed: view.closed.iter().map(ClosedJson::from).collect(),
        }
    }
}

impl From<&TrialView> for TrialJson {
    fn from(view: &TrialView) -> Self {
        let plan = &view.plan;
        let mut told = Self {
            id: view.id.clone(),
            printer: view.printer.clone(),
            tool: view.tool,
            material: view.material.clone(),
            setting: change::setting(&view.change),
            from: change::from(&view.change),
            to: change::to(&view.change),
            adopted: Instant::from(view.adopted),
            design: plan.design.name(),
            modes: view.modes.clone(),
            prints_planned: plan.prints,
            ratio_expected: plan.ratio,
            power: plan.power,
            detects: plan.detects,
            state: "open",
            verdict: "not_yet",
            more_prints: None,
            print_on: None,
            next_print: None,
            ended: None,
            ending: None,
            why: None,
            figures: view.figures.as_ref().map(|of| FiguresJson {
                n_changed: of.n_changed,
                failures: of.seen,
                expected: MeanJson::from(&of.expected),
                n_as_before: of.n_as_before,
                failures_as_before: of.seen_as_before,
                ratio: MedianJson::from(&of.ratio),
                sure: of.sure,
                by_chance: of.exact.map(|exact| exact.p_fewer),
            }),
            not_applied: view.prints.iter().filter(|print| print.departs()).count(),
            ratio_as_applied: view.ratio_as_applied.as_ref().map(MedianJson::from),
            held: view
                .held
                .as_ref()
                .map(|held| HeldJson { material: held.material.clone(), since: Instant::from(held.since) }),
            prints: view.prints.iter().map(|print| print_json(print, &view.change)).collect(),
        };
        match &view.state {
            TrialState::Open { more, on, next } => {
                (told.more_prints, told.print_on, told.next_print) =
                    (Some(*more), on.map(Arm::name), next.map(Arm::name));
            }
            TrialState::Ended { at, ending, verdict, why } => {
                (told.state, told.verdict, told.ended) = ("ended", verdict, Some(Instant::from(*at)));
                (told.ending, told.why) = (Some(*ending), Some(why.clone()));
            }
        }
        told
    }
}

fn print_json(print: &TrialPrint, of: &Change) -> PrintJson {
    let value = print.applied.value.as_ref().map(change::to);
    PrintJson {
        nth: print.nth,
        print: print.print,
        name: print.name.clone(),
        started: Instant::from(print.started),
        drawn: print.drawn.map(Arm::name),
        applied: print.applied.set.name(),
        value: value.or_else(|| (print.applied.set.has_change() == Some(true)).then(|| change::to(of))),
        known_by: print.applied.by.name(),
        failed: print.failed,
        failures: print.failures.clone(),
        expected: print.expected,
    }
}

impl From<&ClosedView> for ClosedJson {
    fn from(view: &ClosedView) -> Self {
        Self {
            id: view.id.clone(),
            printer: view.printer.clone(),
            tool: view.tool,
            material: view.material.clone(),
            setting: change::setting(&view.change),
            from: change::from(&view.change),
            to: change::to(&view.change),
            state: if view.is_declined { "declined" } else { "withdrawn" },
            since: Instant::from(view.since),
            why: view.why.clone(),
        }
    }
}
