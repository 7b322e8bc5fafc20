//! The table's rows: a figure a row, a tool a column.

use crate::format;
use crate::view::{PreflightView, PurgeSpot, SpreadView, ToolAhead};
use dwell_analysis::units::{Celsius, CubicMm, Millimetres};

/// A figure of every tool.
pub(crate) struct Row {
    /// What it is.
    pub(crate) label: &'static str,
    /// One a tool.
    pub(crate) cells: Vec<String>,
}

const NONE: &str = "none";

/// Every figure.
pub(crate) fn rows(view: &PreflightView) -> Vec<Row> {
    let row = |label, cell: fn(&ToolAhead) -> String| Row { label, cells: view.tools.iter().map(cell).collect() };
    vec![
        row("Material", |tool| tool.material.clone().unwrap_or_else(|| "not told: PLA's figures".to_owned())),
        row("Heater", heater),
        row("Visits", |tool| format!("{}, in {}", tool.visits, format::counted(tool.layers, "layer"))),
        row("Filament", |tool| format::metres(tool.filament)),
        row("Print set point", print),
        row("Standby", standby),
        row("Left without standby", |tool| format::of(tool.left_hot, tool.left)),
        row("Waits hot", waits),
        row("Longest wait", longest),
        row("Expected while waiting", temperatures),
        row("Largest dose expected", |tool| {
            format!("{}, {} of the limit", format::dose(tool.dose_max), format::share(tool.dose_max, tool.limit))
        }),
        row("Ooze expected", ooze),
        row("Retractions", retractions),
        row("A metre of filament", |tool| {
            tool.retractions
                .per_metre
                .map_or_else(|| "less than a metre is used".to_owned(), |n| format!("{n:.1} retractions"))
        }),
        row("One spot drawn back", |tool| times_at_most(tool.retractions.on_one_spot)),
        row("Purge after a change", purge),
        row("Expected at first push", |tool| told(&tool.restart, "no push", degrees)),
    ]
}

fn degrees(value: f64) -> String {
    format::celsius_whole(Celsius::new(value))
}

/// `mostly 170 °C (70 %), 160 °C to 180 °C`, `mostly 170 °C (70 %), at most 180 °C`, or one value where all look the same.
fn told(spread: &SpreadView, otherwise: &str, show: impl Fn(f64) -> String) -> String {
    let (Some(min), Some(max)) = (spread.min.map(&show), spread.max.map(&show)) else { return otherwise.to_owned() };
    let share = spread.mode_share.map(|share| format!(" ({})", format::percent(share))).unwrap_or_default();
    match spread.mode.map(show) {
        _ if min == max => min,
        Some(mode) if mode == min => format!("mostly {mode}{share}, at most {max}"),
        Some(mode) if mode == max => format!("mostly {mode}{share}, at least {min}"),
        Some(mode) => format!("mostly {mode}{share}, {min} to {max}"),
        None => format!("{min} to {max}"),
    }
}

fn standby(tool: &ToolAhead) -> String {
    let off = (tool.switched_off > 0).then(|| format!("switched off {}", times(tool.switched_off)));
    let set = (tool.standby.n > 0).then(|| told(&tool.standby, NONE, degrees));
    match (set, off) {
        (None, None) => "none set".to_owned(),
        (set, off) => set.into_iter().chain(off).collect::<Vec<_>>().join(", "),
    }
}

/// Pressure that is left in the nozzle pushes melt out; how much a retraction takes off it is not told by every file.
fn ooze(tool: &ToolAhead) -> String {
    let beside = if tool.retractions.untold > 0 { ", without what pressure pushes out" } else { "" };
    format!("{}{beside}", format::cubic_mm(tool.ooze))
}

fn heater(tool: &ToolAhead) -> String {
    tool.heater_fitted
        .map_or_else(|| "typical, not fitted yet".to_owned(), |n| format!("fitted, from {n} coolings and heatings"))
}

fn print(tool: &ToolAhead) -> String {
    match (tool.print, tool.target_max) {
        (Some(print), Some(most)) if most > print => {
            format!("{}, at most {}", format::celsius_whole(print), format::celsius_whole(most))
        }
        (Some(only), _) => format::celsius_whole(only),
        (None, Some(most)) => format!("at most {}", format::celsius_whole(most)),
        (None, None) => "none set".to_owned(),
    }
}

fn waits(tool: &ToolAhead) -> String {
    if tool.waits.n == 0 {
        NONE.to_owned()
    } else {
        format!("{}, {} in all", times(tool.waits.n), format::duration_fine(tool.waits.total))
    }
}

fn times(n: u32) -> String {
    if n == 1 { "once".to_owned() } else { format!("{n} times") }
}

fn times_at_most(n: u32) -> String {
    match n {
        0 => "never".to_owned(),
        1 => "once".to_owned(),
        n => format!("up to {n} times"),
    }
}

fn purge(tool: &ToolAhead) -> String {
    let is_any = tool.purge.max.is_some_and(|most| most > 0.0);
    let shown = || told(&tool.purge, NONE, |value| format::cubic_mm(CubicMm::new(value)));
    if !is_any {
        return NONE.to_owned();
    }
    let place = match tool.purge_place {
        Some(PurgeSpot::Spot([x, y])) => format!(", standing still at X {x:.0}, Y {y:.0}"),
        Some(PurgeSpot::Box([[left, low], [right, high]])) => {
            format!(
                ", in a box at X {}, Y {}: taken for a purge by its place, as tools go there first",
                reach(left, right),
                reach(low, high)
            )
        }
        None => String::new(),
    };
    shown() + &place
}

/// `5 to 45`, or one number.
fn reach(from: f64, to: f64) -> String {
    let [from, to] = [from, to].map(|end| format!("{end:.0}"));
    if from == to { from } else { format!("{from} to {to}") }
}

fn longest(tool: &ToolAhead) -> String {
    if tool.waits.n == 0 {
        return NONE.to_owned();
    }
    let from = tool.waits.longest_at.map(|at| format!(", from {} on", format::job_time(at))).unwrap_or_default();
    format!("{}{from}", format::duration_fine(tool.waits.longest))
}

fn temperatures(tool: &ToolAhead) -> String {
    match (tool.waits.mean, tool.waits.max) {
        (Some(mean), Some(max)) => {
            format!("{} in the mean, {} at most", format::celsius_whole(mean), format::celsius_whole(max))
        }
        _ => NONE.to_owned(),
    }
}

fn retractions(tool: &ToolAhead) -> String {
    let of = &tool.retractions;
    if of.n == 0 {
        return NONE.to_owned();
    }
    let length = told(&of.length, "length not told", |value| format::millimetres(Millimetres::new(value)));
    let speed = of.speed.mode.map(|speed| format!(", mostly at {}", format::mm_per_second(speed))).unwrap_or_default();
    format!("{}: {length}{speed}", of.n)
}
