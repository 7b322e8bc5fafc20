//! The heaters of all tools: what was fitted to their record, with intervals, or why there is nothing.

use crate::chart::{IntervalRow, Intervals, Range, Scale, intervals, round_top};
use crate::format;
use crate::heaters::{HOW, drift, fitted_to, name, standby};
use crate::view::{HeaterTold, HeaterView, SetupView};
use dwell_analysis::estimate::Estimate;
use maud::{Markup, html};

/// The section.
pub(super) fn heaters(view: &SetupView) -> Markup {
    html! {
        section aria-labelledby="heaters" {
            h2 id="heaters" { "Heaters" }
            @match &view.heaters {
                None => p { "They are looked at a minute after the start and each night; nothing is known yet." },
                Some((_, heaters)) if heaters.is_empty() => p { "No tool is on record yet." },
                Some((at, heaters)) => {
                    p class="quiet" {
                        "As their newest prints show them, worked out " (format::clock_near(*at, view.at, &view.frame.zone)) "."
                    }
                    (constants(heaters))
                    (table(heaters))
                    @for heater in heaters { (sentences(heater)) }
                    @if heaters.iter().any(|heater| heater.told.is_ok()) { p class="quiet" { (HOW) } }
                }
            }
        }
    }
}

/// Time constants against each other; nothing where none is known.
fn constants(heaters: &[HeaterView]) -> Markup {
    let rows: Vec<_> = heaters.iter().flat_map(constants_of).collect();
    let highest = rows.iter().filter_map(|row| row.posterior).map(|range| range.high).fold(0.0, f64::max);
    html! {
        @if !rows.is_empty() {
            (intervals(&Intervals {
                id: "constants",
                name: "Time constants of the heaters",
                told: "How fast each heater falls and climbs, as fitted to its record.",
                scale: Scale {
                    from: 0.0,
                    to: round_top(highest),
                    name: "Time constant (s)".to_owned(),
                    show: format::whole,
                    is_log: false,
                },
                zero: None,
                rows: &rows,
            }))
        }
    }
}

fn constants_of(heater: &HeaterView) -> Vec<IntervalRow> {
    let Ok(told) = &heater.told else { return Vec::new() };
    let row = |what: &str, of: &Result<Estimate, String>| {
        let of = of.as_ref().ok()?;
        let posterior = Some(Range { low: of.low, value: of.value, high: of.high });
        Some(IntervalRow {
            name: format!("{}, {what}", name(heater)),
            prior: None,
            posterior,
            words: format::estimate(of, "s"),
        })
    };
    [row("cooling", &told.cooling_constant), row("heating", &told.heating_constant)].into_iter().flatten().collect()
}

fn table(heaters: &[HeaterView]) -> Markup {
    let told: Vec<_> = heaters.iter().filter_map(|heater| Some((name(heater), heater.told.as_ref().ok()?))).collect();
    html! {
        @if !told.is_empty() {
            div class="scroll" tabindex="0" role="region" aria-label="Table: heaters" {
                table {
                    thead { tr {
                        th scope="col" { "Heater" } th scope="col" { "Fitted to" }
                        th scope="col" { "Cooling: time constant" } th scope="col" { "dead time" }
                        th scope="col" { "Heating: time constant" } th scope="col" { "dead time" } th scope="col" { "Gain" }
                    } }
                    tbody { @for (name, told) in &told { (row(name, told)) } }
                }
            }
        }
    }
}

fn row(name: &str, told: &HeaterTold) -> Markup {
    let cell = |of: &Result<Estimate, String>, unit: &str| match of {
        Ok(of) => format::estimate(of, unit),
        Err(reason) => format!("not known: {reason}"),
    };
    html! {
        tr {
            th scope="row" { (name) }
            td { (fitted_to(told)) }
            td { (cell(&told.cooling_constant, "s")) }
            td { (cell(&told.cooling_dead_time, "s")) }
            td { (cell(&told.heating_constant, "s")) }
            td { (cell(&told.heating_dead_time, "s")) }
            td { (cell(&told.gain, "K")) }
        }
    }
}

fn sentences(heater: &HeaterView) -> Markup {
    html! {
        h3 { (name(heater)) }
        @match &heater.told {
            Ok(told) => {
                p { (standby(told)) }
                p { (drift(&told.drift)) }
            }
            Err(reason) => p { "Nothing is known of its heater: " (reason) "." },
        }
    }
}
