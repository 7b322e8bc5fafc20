//! What a mode's claim rests on: how forecasts did, how the risk answers to its first factor, readable patterns.

use super::words::{factor, interval_short, number, value};
use super::{chart, say, share, tool_runs};
use crate::format;
use crate::plain::Lines;
use crate::view::{ModeView, ResponseView};
use dwell_analysis::estimate::{Confidence, rate};
use dwell_analysis::risk::{Bound, Condition, Direction, Patterns, Reliability, Skill, Step};

/// Columns of a chart.
const CHART: usize = 30;
/// Steps of a response that are shown; of more, the smallest are taken together with a neighbour.
const STEPS: usize = 6;
/// Leaves of the patterns that are shown.
const LEAVES: usize = 5;

pub(super) fn write(mode: &ModeView, out: &mut Lines) {
    forecasts(mode, out);
    if let Some(response) = &mode.response {
        answer(response, out);
    }
    if let Ok(patterns) = &mode.patterns {
        leaves(patterns, out);
    }
    out.line("");
}

/// How forecasts did, in a line, with whether what they said came true.
fn forecasts(mode: &ModeView, out: &mut Lines) {
    let Some(skill) = &mode.learned.skill else { return };
    out.line("");
    say(out, "  ", &score(skill));
    reliability(&mode.reliability, out);
}

/// How forecasts did.
fn score(skill: &Skill) -> String {
    let ranked = skill.auc.map_or_else(String::new, |auc| {
        format!(" A run with it had been told the higher risk of two in {} of cases.", format::percent(auc))
    });
    format!(
        "Forecasts made before each print, over {}: log loss {:.4}; of the running rate {:.4} (less is better).{ranked}",
        tool_runs(skill.n),
        skill.log_loss,
        skill.log_loss_base
    )
}

/// How forecasts did, where nothing rests on them.
pub(super) fn score_short(skill: &Skill) -> String {
    let better = if skill.log_loss < skill.log_loss_base { "better, but not enough to count," } else { "no better" };
    let (mine, base) = (skill.log_loss, skill.log_loss_base);
    format!("Forecasts did {better} than the running rate (log loss {mine:.4} against {base:.4}).")
}

fn reliability(bins: &[Reliability], out: &mut Lines) {
    if bins.len() < 2 {
        return;
    }
    let top = bins.iter().map(|bin| bin.observed.high.max(bin.mean_forecast)).fold(0.0, f64::max);
    out.line("");
    out.line("  Forecast on the mean (│) and what came of it (●, line: 90 % interval)");
    for bin in bins {
        let chart = chart::interval(&bin.observed, bin.mean_forecast, top, CHART);
        let (events, n) = (events(bin), bin.n);
        let told = format!("{events} of {n}, {}", interval_short(&bin.observed));
        out.line(&format!("    {:>12}  {chart}  {told}", format::percent(bin.mean_forecast)));
    }
}

/// Forecasts of a bin that came true.
fn events(bin: &Reliability) -> String {
    number((bin.observed.value * dwell_analysis::estimate::count(bin.n)).round())
}

fn answer(told: &ResponseView, out: &mut Lines) {
    let steps = fewer(told.response.steps.clone());
    if steps.len() < 2 {
        return;
    }
    let (name, unit) = factor(told.factor);
    let unit = if unit.is_empty() { String::new() } else { format!(" in {unit}") };
    let way = match told.response.direction {
        Direction::Rising => "rising",
        Direction::Falling => "falling",
    };
    let top = steps.iter().map(|step| step.rate.value).fold(0.0, f64::max);
    out.line("");
    say(out, "  ", &format!("How often it happened, by {name}{unit} (isotonic, {way} as expected; 90 % intervals)"));
    for step in &steps {
        let [from, to] = [step.from, step.to].map(number);
        let span = if from == to { from } else { format!("{from} to {to}") };
        let bar = chart::bar(if top > 0.0 { step.rate.value / top } else { 0.0 }, CHART);
        out.line(&format!("    {span:>16}  {bar}  {} of {}, {}", step.events, step.n, interval_short(&step.rate)));
    }
}

/// Steps taken together with the smaller neighbour, the one of fewest runs first, until so many are left.
fn fewer(mut steps: Vec<Step>) -> Vec<Step> {
    while steps.len() > STEPS {
        let Some(at) = (0..steps.len()).min_by_key(|at| steps[*at].n) else { break };
        let runs = |at: usize| steps.get(at).map_or(usize::MAX, |step| step.n);
        let first = if at > 0 && runs(at - 1) < runs(at + 1) { at - 1 } else { at.min(steps.len() - 2) };
        let (low, high) = (steps[first], steps[first + 1]);
        let (events, n) = (low.events + high.events, low.n + high.n);
        let Ok(rate) = rate(events, n, Confidence::Percent90) else { break };
        steps[first] = Step { from: low.from, to: high.to, events, n, rate };
        steps.remove(first + 1);
    }
    steps
}

fn leaves(patterns: &Patterns, out: &mut Lines) {
    if patterns.leaves.len() < 2 {
        return;
    }
    out.line("");
    out.line("  Patterns (chosen on these same runs, so new ones will lie nearer to the share of all)");
    for leaf in patterns.leaves.iter().take(LEAVES) {
        let conditions: Vec<String> = leaf.conditions.iter().map(condition).collect();
        say(out, "    - ", &format!("{}: {}", conditions.join(", "), share(leaf.events, &leaf.rate)));
    }
}

fn condition(condition: &Condition) -> String {
    let name = factor(condition.factor).0;
    match condition.bound {
        Bound::AtLeast(from) => format!("{name} {} or more", value(condition.factor, from)),
        Bound::Under(to) => format!("{name} under {}", value(condition.factor, to)),
        Bound::Yes => name,
        Bound::No => format!("not {name}"),
        Bound::Unknown => format!("{name} not known"),
    }
}
