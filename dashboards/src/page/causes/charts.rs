//! The charts of one failure mode. Owns what is drawn of what was learned and on which scale; how is `chart`'s.

use crate::chart::{
    BarRow, Bars, Bin, Curve, CurvePoint, IntervalRow, Intervals, PrintMark, Range, Reliability, Scale, bars, curve,
    intervals, reliability, round_top,
};
use crate::format;
use crate::learn::evidence::{answers, levels};
use crate::learn::sentences::{AS_BEFORE, AS_BEFORE_MEANS, CARRIES, GUESSED, LIKELY, MAY_CARRY, NOTHING, shares};
use crate::learn::tool_runs;
use crate::learn::words::{capital, chance, factor, glued, hazard, interval_short, number, signed};
use crate::view::ResponseView;
use dwell_analysis::estimate::Estimate;
use dwell_analysis::risk::{Factor, Learned, Reliability as Bins, State, Step};
use maud::{Markup, html};

/// Factors that are drawn; the table holds all.
const DRAWN: usize = 6;
/// Hazards are drawn from a twentieth to twentyfold; what lies beyond says little more.
const HAZARD_MOST: f64 = 20.0;
/// A scale of logarithms spans this much at most, what is less stands at its lower end, and at least this much.
const DECADES: f64 = 1000.0;
const WIDE: f64 = 20.0;
/// Share of its width that a scale goes on beyond what it shows, so that nothing is drawn upon its ends.
const ASIDE: f64 = 0.04;

/// What carries it, as bars.
pub(super) fn carriers(learned: &Learned) -> Markup {
    let is_claim = learned.state != State::TooLittle;
    let ([title, name], least) = if is_claim { (CARRIES, LIKELY) } else { (MAY_CARRY, GUESSED) };
    let row = |(name, share): (String, f64)| {
        let class = if name == NOTHING { "d-cancelled" } else { "d-outcome" };
        BarRow { name, value: share, low: None, high: None, words: chance(share), class }
    };
    let rows: Vec<BarRow> = shares(learned, least).into_iter().map(row).collect();
    let scale_name = "Probability that it carries the mode".to_owned();
    html! {
        @if !rows.is_empty() {
            section aria-labelledby="carries" {
                h2 id="carries" { (title) }
                (bars(&Bars {
                    id: "groups",
                    name: &capital(name),
                    told: "By the record and what was believed beforehand, over all explanations that were tried.",
                    scale: Scale { from: 0.0, to: 1.0, name: scale_name, show: format::percent, is_log: false },
                    rows: &rows,
                }))
            }
        }
    }
}

/// The factors before and with the record.
pub(super) fn factors(learned: &Learned) -> Markup {
    let is_claim = learned.state != State::TooLittle;
    html! {
        @if !learned.factors.is_empty() {
            section aria-labelledby="factors" {
                h2 id="factors" { "Factors, before and with the record" }
                @if is_claim { (effects(&learned.factors)) }
                @else {
                    details {
                        summary { "What it would say (no claim)" }
                        (effects(&learned.factors))
                    }
                }
            }
        }
    }
}

fn effects(factors: &[Factor]) -> Markup {
    let drawn = &factors[..factors.len().min(DRAWN)];
    let times = |of: &Estimate| Range { low: of.low.exp(), value: of.value.exp(), high: of.high.exp() };
    let row = |of: &Factor| IntervalRow {
        name: format!("{}. {}", of.rank, factor(of.factor).0),
        prior: Some(times(&of.prior)),
        posterior: Some(times(&of.effect)),
        words: format!("{}; sign sure: {}", comes_to(of), chance(of.sure)),
    };
    let rows: Vec<IntervalRow> = drawn.iter().map(row).collect();
    let reach = drawn.iter().flat_map(|of| [of.prior, of.effect]).flat_map(|of| [-of.low, of.high]);
    let most = reach.fold(1.0, f64::max).exp().min(HAZARD_MOST);
    let name = "Hazard, for a standard deviation more of it, others equal".to_owned();
    html! {
        (intervals(&Intervals {
            id: "effects",
            name: "What more of each factor does to the hazard",
            told: "× 2 doubles the hazard, × 1 leaves it as it is.",
            scale: Scale { from: 1.0 / most, to: most, name, show: times_words, is_log: true },
            zero: Some(1.0),
            rows: &rows,
        }))
        @if factors.iter().any(|of| of.repeats_prior) { p class="quiet" { (capital(AS_BEFORE)) ": " (AS_BEFORE_MEANS) "." } }
        details {
            summary { "All factors in numbers" }
            div class="scroll" tabindex="0" role="region" aria-label="Table: all factors" { (effects_table(factors)) }
        }
    }
}

/// What a factor's effect comes to.
fn comes_to(of: &Factor) -> String {
    if of.repeats_prior { AS_BEFORE.to_owned() } else { format!("hazard {}", hazard(of.effect.value)) }
}

fn times_words(hazard: f64) -> String {
    format!("× {}", number(hazard))
}

fn effects_table(factors: &[Factor]) -> Markup {
    html! {
        table class="wide" {
            caption { "Log-hazard for a standard deviation more of it, others equal (90 % intervals)" }
            thead { tr {
                th scope="col" { "Factor" } th scope="col" { "Now" } th scope="col" { "Believed beforehand" }
                th scope="col" { "By itself, without any belief" } th scope="col" { "Hazard" } th scope="col" { "Sign sure" }
                th scope="col" { "Share of the explaining" }
            } }
            tbody {
                @for of in factors {
                    tr {
                        th scope="row" { (of.rank) ". " (factor(of.factor).0) }
                        td { (signed(&of.effect)) }
                        td { (signed(&of.prior)) }
                        td { (of.alone.as_ref().map_or_else(|| "not told".to_owned(), signed)) }
                        td { (if of.repeats_prior { AS_BEFORE.to_owned() } else { hazard(of.effect.value) }) }
                        td { (chance(of.sure)) }
                        td { (chance(of.carries)) }
                    }
                }
            }
        }
    }
}

/// How often it happened at each level of its first factor, over the prints themselves.
pub(super) fn answer(told: &ResponseView, state: State) -> Markup {
    let (name, unit) = factor(told.factor);
    let steps = &told.response.steps;
    html! {
        section aria-labelledby="answers" {
            h2 id="answers" { "How it answers to " (name) }
            @if steps.len() < 2 {
                p { "It happened no more often where the physics would have it: the tool-runs show no answer to " (name) "." }
            } @else {
                (drawn(told, &name, unit))
            }
            @if told.response.unplaced > 0 {
                p class="quiet" { "Of " (tool_runs(told.response.unplaced)) " " (name) " is not known; they are left out." }
            }
            @if state == State::TooLittle { p class="quiet" { "No claim rests on it." } }
        }
    }
}

fn drawn(told: &ResponseView, name: &str, unit: &str) -> Markup {
    let steps = &told.response.steps;
    let x_name = if unit.is_empty() { name.to_owned() } else { format!("{name}, {unit}") };
    let x = along(told, capital(&x_name));
    let points = edges(steps, &x);
    let words = |happened| if happened { "it happened" } else { "it did not happen" }.to_owned();
    let mark = |(x, happened): &(f64, bool)| PrintMark { x: *x, happened: *happened, words: words(*happened) };
    let marks: Vec<PrintMark> = told.runs.iter().map(mark).collect();
    let top = round_top(steps.iter().map(|step| step.rate.high).fold(0.0, f64::max)).min(1.0);
    let (first, last) = (steps.first(), steps.last());
    let in_words = first.zip(last).map_or_else(String::new, |(first, last)| {
        let [low, high] = [first, last].map(|step| format!("{} of {}", step.events, step.n));
        format!("It happened in {low} tool-runs at the lowest levels and in {high} at the highest.")
    });
    let y_name = "Share of tool-runs in which it happened".to_owned();
    html! {
        p { (in_words) }
        (curve(&Curve {
            id: "response",
            name: &glued(&answers(told)),
            told: &in_words,
            x,
            y: Scale { from: 0.0, to: top, name: y_name, show: format::percent, is_log: false },
            points: &points,
            is_stepped: true,
            marks: &marks,
            verticals: &[],
        }))
        details {
            summary { "The steps, counted" }
            div class="scroll" tabindex="0" role="region" aria-label="Table: the steps, counted" { (counted(steps, &x_name)) }
        }
    }
}

/// Where each step begins, halfway from the one before: between the two there was no run. The last one ends with the scale.
fn edges(steps: &[Step], x: &Scale) -> Vec<CurvePoint> {
    let halfway = |pair: &[Step]| {
        let (from, to) = (pair[0].to.max(x.from), pair[1].from.max(x.from));
        if x.is_log { (from * to).sqrt() } else { f64::midpoint(from, to) }
    };
    let begins = std::iter::once(x.from).chain(steps.windows(2).map(halfway));
    let at = |(x, step): (f64, &Step)| {
        let Estimate { low, value, high, .. } = step.rate;
        CurvePoint { x, low, value, high }
    };
    begins.zip(steps).chain(steps.last().map(|last| (x.to, last))).map(at).collect()
}

/// The scale of a factor: that of the runs themselves and a little more, by logarithms where it counts by its doublings and
/// spans many.
fn along(told: &ResponseView, name: String) -> Scale {
    let ends = told.response.steps.iter().flat_map(|step| [step.from, step.to]);
    let levels: Vec<f64> = ends.chain(told.runs.iter().map(|(level, _)| *level)).collect();
    let (least, most) =
        levels.iter().fold((f64::INFINITY, f64::NEG_INFINITY), |(low, high), x| (low.min(*x), high.max(*x)));
    let positive = levels.iter().copied().filter(|level| *level > 0.0).fold(most, f64::min).max(most / DECADES);
    let is_log = told.is_by_doubling && positive > 0.0 && most / positive > WIDE;
    let (from, to) = if is_log {
        let aside = (most / positive).powf(ASIDE);
        (positive / aside, most * aside)
    } else {
        let aside = (most - least) * ASIDE;
        (if least < 0.0 { least - aside } else { (least - aside).max(0.0) }, most + aside)
    };
    Scale { from, to, name, show: number, is_log }
}

fn counted(steps: &[Step], x_name: &str) -> Markup {
    html! {
        table {
            thead { tr {
                th scope="col" { (capital(x_name)) } th scope="col" { "It happened in" } th scope="col" { "Share (90 % interval)" }
            } }
            tbody {
                @for step in steps {
                    tr {
                        th scope="row" { (levels(step)) }
                        td { (step.events) " of " (step.n) }
                        td { (interval_short(&step.rate)) }
                    }
                }
            }
        }
    }
}

/// The calibration in a picture; a bin of forecasts alone is none.
pub(super) fn diagram(bins: &[Bins]) -> Markup {
    let bin = |of: &Bins| {
        let Estimate { low, value, high, .. } = of.observed;
        Bin { forecast: of.mean_forecast, low, seen: value, high, n: of.n }
    };
    let drawn: Vec<Bin> = bins.iter().map(bin).collect();
    let within = bins.iter().filter(|of| (of.observed.low..=of.observed.high).contains(&of.mean_forecast)).count();
    let told = format!(
        "In {within} of {} groups of like forecasts, what was forecast lies within the interval of what came of it.",
        bins.len()
    );
    html! {
        @if bins.len() < 2 { p { "All forecasts lie in one tenth, so there is nothing to compare." } }
        @else {
            p { (told) }
            (reliability(&Reliability {
                id: "reliability",
                name: "What was forecast, and what came of it",
                told: &told,
                bins: &drawn,
            }))
        }
    }
}
