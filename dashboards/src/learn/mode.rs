//! One failure mode: how often, how sure, what carries it, what would settle it.

use super::words::{chance, counted, factor, group, hazard, interval, signed, state};
use super::{chart, evidence, say, tool_runs, trial};
use crate::format;
use crate::plain::Lines;
use crate::view::{LearnView, ModeView};
use dwell_analysis::estimate::Refusal;
use dwell_analysis::risk::{Learned, Settling, State};

/// Columns of a group's name, of its bar, and of a factor's name.
const NAME: usize = 18;
const BAR: usize = 30;
const FACTOR: usize = 29;
/// What stands for an effect that only repeats the belief.
const AS_BEFORE: &str = "as before";
/// The first so many factors are told.
const FACTORS: usize = 3;
/// A group under this probability is only counted, and where no claim is made under the second one.
const LIKELY: f64 = 0.02;
const GUESSED: f64 = 0.05;

pub(super) fn write(mode: &ModeView, view: &LearnView, out: &mut Lines) {
    let learned = &mode.learned;
    out.heading(&format::word(mode.mode));
    let rate = match &learned.rate {
        Ok(rate) => interval(rate),
        Err(refusal) => refusal.to_string(),
    };
    let (events, runs) = (learned.events, tool_runs(learned.n));
    say(out, "  ", &format!("{events} of {runs}, {rate}.{}{}", severities(mode), doubtful(mode)));
    if mode.unplaced > 0 {
        let prints = counted(mode.unplaced, "print");
        let unplaced = format!(
            "Of {prints} it was told without a tool that took part, so whose it was is not known and they count for neither: \
             `dwellwatch note --print ID --tool N --mode {}` says it.",
            mode.mode
        );
        say(out, "  ", &unplaced);
    }
    say(out, "  ", state(learned.state));
    if let Some(refusal) = &learned.refused {
        say(out, "  ", &format!("No factor is weighed: {}.", refused(refusal, learned)));
    }
    if learned.state == State::TooLittle {
        if let Some(skill) = &learned.skill {
            say(out, "  ", &evidence::score_short(skill));
        }
        settling(learned, view, out);
        groups(learned, "What may carry it, shares of the explaining so far (no claim)", GUESSED, out);
        evidence::hints(mode, out);
        return;
    }
    groups(learned, "What carries it, shares of the explaining", LIKELY, out);
    factors(learned, out);
    for (pair, trial) in learned.inseparable.iter().zip(mode.trials.iter().chain(std::iter::repeat(&None))) {
        trial::write(pair, trial.as_ref(), out);
    }
    evidence::write(mode, out);
    if learned.settling != Settling::Settled {
        out.line("");
        settling(learned, view, out);
    }
}

/// Why no factor is weighed.
fn refused(refusal: &Refusal, learned: &Learned) -> String {
    match refusal {
        Refusal::TooFew { have, need } if *have == learned.n => {
            format!("{} with a known outcome, and {need} are needed", tool_runs(*have))
        }
        Refusal::TooFew { have, need } if *have == learned.events => {
            format!(
                "it happened {}, and {need} times are needed",
                if *have == 1 { "once".to_owned() } else { format!("{have} times") }
            )
        }
        other => other.to_string(),
    }
}

/// How bad it was, as far as it was told.
fn severities(mode: &ModeView) -> String {
    let words = ["slight", "serious", "grave"];
    let told: usize = mode.severities.iter().sum();
    let untold = mode.learned.events.saturating_sub(told);
    let mut counts: Vec<String> = (mode.severities.iter().zip(words).rev())
        .filter(|(n, _)| **n > 0)
        .map(|(n, word)| format!("{n} {word}"))
        .collect();
    if counts.is_empty() {
        return String::new();
    }
    if untold > 0 {
        counts.push(format!("{untold} not told"));
    }
    format!(" Severity: {}.", counts.join(", "))
}

fn doubtful(mode: &ModeView) -> String {
    match (mode.learned.doubtful, mode.mixed_up_with) {
        (0, _) | (_, None) => String::new(),
        (n, Some(other)) => {
            let other = format::word(other);
            format!(
                " {} noted as {other} may have been this: they count as free of it, and weigh no factor.",
                tool_runs(n)
            )
        }
    }
}

/// Probability that nothing that is recorded carries the mode.
fn nothing(learned: &Learned) -> f64 {
    (1.0 - learned.groups.iter().map(|carries| carries.probability).sum::<f64>()).clamp(0.0, 1.0)
}

/// The groups as bars; those under `least` only counted.
fn groups(learned: &Learned, title: &str, least: f64, out: &mut Lines) {
    if learned.groups.is_empty() {
        return;
    }
    out.line("");
    out.line(&format!("  {title}"));
    let mut row = |name: &str, share: f64| {
        out.line(&format!("    {name:<NAME$}{}  {:>9}", chart::bar(share, BAR), chance(share)));
    };
    for carries in learned.groups.iter().filter(|carries| carries.probability >= least) {
        row(group(carries.group), carries.probability);
    }
    let rest: Vec<f64> = learned.groups.iter().map(|of| of.probability).filter(|of| *of < least).collect();
    if !rest.is_empty() {
        row(&counted(rest.len(), "other group"), rest.iter().sum());
    }
    row("nothing recorded", nothing(learned));
}

fn factors(learned: &Learned, out: &mut Lines) {
    if learned.factors.is_empty() {
        return;
    }
    out.line("");
    out.line("  Log-hazard for a standard deviation more of it, others equal (90 % intervals)");
    row("", ["now", "believed beforehand", "hazard", "sign sure"], out);
    let told = learned.factors.iter().take(FACTORS);
    for told in told.clone() {
        let name = format!("{}. {}", told.rank, factor(told.factor).0);
        let hazard = if told.repeats_prior { AS_BEFORE.to_owned() } else { hazard(told.effect.value) };
        row(&name, [&signed(&told.effect), &signed(&told.prior), &hazard, &chance(told.sure)], out);
    }
    if told.clone().any(|told| told.repeats_prior) {
        out.line(&format!("    {AS_BEFORE}: repeats what was believed beforehand; the record says nothing of it"));
    }
}

/// A line of the factors' table.
fn row(name: &str, [now, before, hazard, sure]: [&str; 4], out: &mut Lines) {
    out.line(&format!("    {name:<FACTOR$}{now:<23}{before:<23}{hazard:<10}{sure}"));
}

/// How many more prints would settle it.
fn settling(learned: &Learned, view: &LearnView, out: &mut Lines) {
    let says = match learned.settling {
        Settling::Settled => return,
        Settling::NoRate => "It happened every time: what goes with it needs prints without it.".to_owned(),
        Settling::Runs(n) => {
            format!("{} would settle it, if the forecasts go on gaining as they did.", more(n, view))
        }
        Settling::RunsToRuleOut(n) => format!(
            "{} would find a factor of which a standard deviation doubles the hazard, if there is one, in four cases of five.",
            more(n, view)
        ),
        Settling::RuledOut => {
            "There are prints enough: a factor of which a standard deviation doubles the hazard would have been \
             found in four cases of five."
                .to_owned()
        }
    };
    say(out, "  ", &says);
}

/// So many more, as prints where that can be said.
fn more(runs: usize, view: &LearnView) -> String {
    view.prints_of(runs).map_or_else(
        || format!("About {runs} more reported tool-runs"),
        |prints| format!("About {} ({})", counted(prints, "more reported print"), tool_runs(runs)),
    )
}
