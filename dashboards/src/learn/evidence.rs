//! What a mode's claim rests on: how forecasts did, how the risk answers to its first factor, readable patterns.

use super::words::{bound, chance, factor, interval_short, number};
use super::{chart, say, share, tool_runs};
use crate::format;
use crate::plain::Lines;
use crate::view::{ModeView, ResponseView};
use dwell_analysis::estimate::{Confidence, Estimate, count, rate};
use dwell_analysis::risk::{Direction, Pattern, Patterns, Reliability, Skill, Step};

/// Columns of a chart.
const CHART: usize = 30;
/// Bins of forecasts and steps of a response that are shown; of more, the smallest are taken together with a neighbour.
const BINS: usize = 5;
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
}

/// What goes beyond chance by itself, where forecasts do not: patterns, and the response beside them.
pub(super) fn hints(mode: &ModeView, out: &mut Lines) {
    let Some(patterns) = mode.patterns.as_ref().ok().filter(|patterns| patterns.leaves.len() > 1) else { return };
    if let Some(response) = &mode.response {
        answer(response, out);
    }
    leaves(patterns, out);
}

/// How forecasts did, and whether what they said came true.
fn forecasts(mode: &ModeView, out: &mut Lines) {
    let Some(score) = score(mode) else { return };
    out.line("");
    say(out, "  ", &score);
    reliability(&mode.learned.reliability, out);
}

/// How forecasts did; `None` where no model forecast a run that is known.
pub(crate) fn score(mode: &ModeView) -> Option<String> {
    let skill = mode.learned.skill.as_ref()?;
    let plain = mode
        .learned
        .baseline
        .map_or_else(String::new, |plain| format!(", of a plain ridge logistic regression {:.4}", plain.log_loss));
    let ranked = skill.auc.map_or_else(String::new, |auc| {
        format!(
            " Of a run with it and one without, the first had the higher forecast in {} of cases.",
            format::percent(auc)
        )
    });
    let line = mode.learned.calibration.map_or_else(String::new, |line| {
        let Estimate { value, low, high, .. } = line.slope;
        format!(" Calibration slope {value:.2} ({low:.2} to {high:.2}; 1 is right).")
    });
    let (mine, base) = (skill.log_loss, skill.log_loss_base);
    let score = format!("log loss {mine:.4}, of the running rate {base:.4}{plain} (less is better)");
    let runs = tool_runs(skill.n);
    Some(format!("Forecasts made before each print, over {runs}: {score}.{ranked}{line}"))
}

/// How forecasts did, where nothing rests on them.
pub(crate) fn score_short(skill: &Skill) -> String {
    let better = if skill.log_loss < skill.log_loss_base { "better, but not enough to count," } else { "no better" };
    let (mine, base) = (skill.log_loss, skill.log_loss_base);
    format!("Forecasts did {better} than the running rate (log loss {mine:.4} against {base:.4}).")
}

fn reliability(bins: &[Reliability], out: &mut Lines) {
    let bins = pooled(bins.to_vec(), BINS, |bin| bin.n, together);
    if bins.len() < 2 {
        return;
    }
    let top = bins.iter().map(|bin| bin.observed.high.max(bin.mean_forecast)).fold(0.0, f64::max);
    out.line("");
    out.line("  Forecast on the mean (│) and what came of it (●, line: 90 % interval)");
    for bin in &bins {
        let chart = chart::interval(&bin.observed, bin.mean_forecast, top, CHART);
        let (events, n) = (events(bin), bin.n);
        let told = format!("{} of {n}, {}", number(events), interval_short(&bin.observed));
        out.line(&format!("    {:>16}  {chart}  {told}", format::percent(bin.mean_forecast)));
    }
}

/// Forecasts of a bin that came true.
fn events(bin: &Reliability) -> f64 {
    (bin.observed.value * count(bin.n)).round()
}

/// Two bins as one.
fn together(low: &Reliability, high: &Reliability) -> Option<Reliability> {
    let n = low.n + high.n;
    let happened = events(low) + events(high);
    let events = (0..=n).find(|k| count(*k) >= happened)?;
    let mean_forecast = (low.mean_forecast * count(low.n) + high.mean_forecast * count(high.n)) / count(n);
    let observed = rate(events, n, Confidence::Percent90).ok()?;
    Some(Reliability { low: low.low, high: high.high, n, mean_forecast, observed })
}

/// Neighbours taken together, whatever has fewest runs with its smaller neighbour first, until so many are left.
fn pooled<T>(mut each: Vec<T>, most: usize, runs: fn(&T) -> usize, join: fn(&T, &T) -> Option<T>) -> Vec<T> {
    while each.len() > most {
        let Some(at) = (0..each.len()).min_by_key(|at| runs(&each[*at])) else { break };
        let beside = |at: usize| each.get(at).map_or(usize::MAX, runs);
        let first = if at > 0 && beside(at - 1) < beside(at + 1) { at - 1 } else { at.min(each.len() - 2) };
        let Some(joined) = join(&each[first], &each[first + 1]) else { break };
        each[first] = joined;
        each.remove(first + 1);
    }
    each
}

fn answer(told: &ResponseView, out: &mut Lines) {
    let steps = pooled(told.response.steps.clone(), STEPS, |step| step.n, joined);
    if steps.len() < 2 {
        return;
    }
    let top = steps.iter().map(|step| step.rate.value).fold(0.0, f64::max);
    out.line("");
    say(out, "  ", &answers(told));
    for step in &steps {
        let span = levels(step);
        let bar = chart::bar(if top > 0.0 { step.rate.value / top } else { 0.0 }, CHART);
        out.line(&format!("    {span:>16}  {bar}  {} of {}, {}", step.events, step.n, interval_short(&step.rate)));
    }
}

/// What a response shows.
pub(crate) fn answers(told: &ResponseView) -> String {
    let (name, unit) = factor(told.factor);
    let unit = if unit.is_empty() { String::new() } else { format!(" in {unit}") };
    let way = match told.response.direction {
        Direction::Rising => "rising",
        Direction::Falling => "falling",
    };
    format!("How often it happened, by {name}{unit} ({way}; 90 % intervals)")
}

/// From which level to which a step goes.
pub(crate) fn levels(step: &Step) -> String {
    let [from, to] = [step.from, step.to].map(number);
    if from == to { from } else { format!("{from} to {to}") }
}

/// Two steps as one.
fn joined(low: &Step, high: &Step) -> Option<Step> {
    let (events, n) = (low.events + high.events, low.n + high.n);
    let rate = rate(events, n, Confidence::Percent90).ok()?;
    Some(Step { from: low.from, to: high.to, events, n, rate })
}

fn leaves(patterns: &Patterns, out: &mut Lines) {
    let Some((head, leaves)) = found(patterns) else { return };
    out.line("");
    say(out, "  ", &head);
    for leaf in leaves {
        say(out, "    - ", &leaf);
    }
}

/// What patterns are worth, and each as a sentence; `None` where nothing was split.
pub(crate) fn found(patterns: &Patterns) -> Option<(String, Vec<String>)> {
    if patterns.leaves.len() < 2 {
        return None;
    }
    let conditions = patterns.leaves.iter().flat_map(|leaf| &leaf.conditions);
    let chance = chance(conditions.map(|of| of.chance).fold(0.0, f64::max));
    let same = "chosen on these same runs, so new ones will lie nearer to the share of all";
    let leaf = |leaf: &Pattern| {
        let conditions: Vec<String> = leaf.conditions.iter().map(|of| bound(of.factor, of.bound)).collect();
        format!("{}: {}", conditions.join(", "), share(leaf.events, &leaf.rate))
    };
    let head = format!("Patterns, by chance as strong in {chance} of such searches ({same})");
    Some((head, patterns.leaves.iter().take(LEAVES).map(leaf).collect()))
}
