//! One failure mode: how often, how sure, what carries it, what would settle it.

use super::sentences::{
    AS_BEFORE, AS_BEFORE_MEANS, CARRIES, GUESSED, LIKELY, MAY_CARRY, often, shares, unplaced, unweighed,
};
use super::words::{chance, factor, hazard, signed, state};
use super::{chart, evidence, say, sentences, trial};
use crate::format;
use crate::plain::Lines;
use crate::view::{LearnView, ModeView};
use dwell_analysis::risk::{Learned, Settling, State};

/// Columns of a group's name, of its bar, and of a factor's name.
const NAME: usize = 18;
const BAR: usize = 30;
const FACTOR: usize = 29;
/// The first so many factors are told.
const FACTORS: usize = 3;

pub(super) fn write(mode: &ModeView, view: &LearnView, out: &mut Lines) {
    let learned = &mode.learned;
    out.heading(&format::word(mode.mode));
    say(out, "  ", &often(mode));
    if let Some(unplaced) = unplaced(mode) {
        say(out, "  ", &unplaced);
    }
    say(out, "  ", state(learned.state));
    if let Some(refused) = unweighed(learned) {
        say(out, "  ", &refused);
    }
    if learned.state == State::TooLittle {
        if let Some(skill) = &learned.skill {
            say(out, "  ", &evidence::score_short(skill));
        }
        settling(learned, view, out);
        groups(learned, &MAY_CARRY.join(", "), GUESSED, out);
        evidence::hints(mode, out);
        return;
    }
    groups(learned, &CARRIES.join(", "), LIKELY, out);
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

/// The groups as bars; those under `least` only counted.
fn groups(learned: &Learned, title: &str, least: f64, out: &mut Lines) {
    if learned.groups.is_empty() {
        return;
    }
    out.line("");
    out.line(&format!("  {title}"));
    for (name, share) in shares(learned, least) {
        out.line(&format!("    {name:<NAME$}{}  {:>9}", chart::bar(share, BAR), chance(share)));
    }
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
        out.line(&format!("    {AS_BEFORE}: {AS_BEFORE_MEANS}"));
    }
}

/// A line of the factors' table.
fn row(name: &str, [now, before, hazard, sure]: [&str; 4], out: &mut Lines) {
    out.line(&format!("    {name:<FACTOR$}{now:<23}{before:<23}{hazard:<10}{sure}"));
}

/// How many more prints would settle it.
fn settling(learned: &Learned, view: &LearnView, out: &mut Lines) {
    if let Some(words) = sentences::settling(learned, view) {
        say(out, "  ", &words);
    }
}
