//! Charts with a place a day, or a week or month of a longer time: prints and failures, and the time each tool waited hot.

use super::count;
use super::{Figure, along, figure, mark, patch, px, round_scale, ticks};
use crate::format;
use crate::view::{DayCounts, DayRecord, ReportView, ToolIdle};
use dwell_analysis::units::Seconds;
use maud::{Markup, html};

/// The share of the width that the y axis' numbers take; the rest is the places.
const MARGIN: f64 = 0.12;
/// With more places than these a label stands under every second one, and numbers in the table alone: at 360 px they
/// would run into each other.
const ROOMY: usize = 8;
/// Room above the highest bar for its number.
const HEAD_PX: f64 = 18.0;
/// Room below the bars: the day's name and its number, one above the other so that they fit at 360 px.
const FOOT_PX: f64 = 36.0;
const PRINTS_PX: f64 = 150.0;
const IDLE_PX: f64 = 76.0;

/// A y axis, how many pixels its top stands for, and the places along it.
struct Axis {
    plot: f64,
    step: f64,
    top: f64,
    labels: Vec<String>,
}

impl Axis {
    fn new(plot: f64, highest: f64, labels: Vec<String>) -> Self {
        let (step, top) = round_scale(highest);
        Self { plot, step, top, labels }
    }

    /// A place's width.
    fn day(&self) -> f64 {
        (1.0 - MARGIN) / count(self.labels.len().max(1))
    }

    /// Where the places begin.
    fn slots(&self) -> impl Iterator<Item = f64> + use<> {
        let day = self.day();
        std::iter::successors(Some(MARGIN), move |slot| Some(slot + day))
    }

    fn is_roomy(&self) -> bool {
        self.labels.len() <= ROOMY
    }

    fn high(&self, value: f64) -> f64 {
        self.plot * value / self.top
    }

    fn y(&self, value: f64) -> f64 {
        HEAD_PX + self.plot - self.high(value)
    }

    /// Grid, numbers and the places' names.
    fn grid(&self) -> Markup {
        let every = if self.is_roomy() { 1 } else { 2 };
        html! {
            @for tick in ticks(self.step, self.top) {
                @let y = px(self.y(tick));
                line class="grid" x1=(along(MARGIN)) x2="100%" y1=(y) y2=(y) {}
                text class="tick" x=(along(MARGIN * 0.85)) y=(y) dy="4" text-anchor="end" { (format!("{tick:.0}")) }
            }
            @for (day, slot) in self.labels.iter().zip(self.slots()).step_by(every) {
                @for (word, line) in day.split(' ').zip([16.0, 30.0]) {
                    text class="tick" x=(along(slot + self.day() / 2.0)) y=(px(self.y(0.0) + line)) text-anchor="middle" {
                        (word)
                    }
                }
            }
        }
    }

    /// A reason in a day's place, a word a line.
    fn reason(&self, slot: f64, why: &str) -> Markup {
        html! {
            @for (word, line) in why.split(' ').rev().filter(|_| self.is_roomy()).zip([0.0, 12.0, 24.0]) {
                text class="reason" x=(along(slot + self.day() / 2.0)) y=(px(self.y(0.0) - 6.0 - line)) text-anchor="middle" {
                    (word)
                }
            }
        }
    }
}

/// What stands below the places.
fn labels(view: &ReportView) -> Vec<String> {
    view.period.parts().into_iter().map(|part| part.label).collect()
}

/// Prints that began on each day by how they ended, and beside them how many had a reported failure.
pub(crate) fn print_days(view: &ReportView) -> Markup {
    let counts = view.days.iter().filter_map(|day| counted(*day));
    let axis = Axis::new(PRINTS_PX, counts.map(|day| f64::from(day.all())).fold(0.0, f64::max), labels(view));
    let part = view.period.part_name();
    let drawing = html! {
        svg class="chart" role="img" width="100%" height=(px(HEAD_PX + PRINTS_PX + FOOT_PX))
            aria-labelledby="days-name days-told" {
            title id="days-name" { "Prints and reported failures a " (part) }
            desc id="days-told" {
                "A stack of prints a " (part) " by how they ended, and a narrow bar of those with a failure."
            }
            (axis.grid())
            @for (day, slot) in view.days.iter().zip(axis.slots()) { (print_day(*day, slot, &axis)) }
        }
    };
    figure(&Figure {
        id: "days",
        name: &format!("Prints and reported failures a {part} (number of prints)"),
        key: html! {
            p class="key" {
                (patch("d-completed", "completed")) (patch("d-cancelled", "cancelled")) (patch("d-failed", "failed"))
                (patch("d-unknown", "end not seen")) (patch("d-running", "running"))
                (patch("d-outcome", "of these: failure reported"))
            }
        },
        drawing,
        table: print_table(view, &axis.labels),
    })
}

const fn counted(day: DayRecord) -> Option<DayCounts> {
    match day {
        DayRecord::Counted(counts) => Some(counts),
        DayRecord::NotYet | DayRecord::NoRecord => None,
    }
}

const fn why_none(day: DayRecord) -> &'static str {
    match day {
        DayRecord::NotYet => "not yet",
        DayRecord::NoRecord | DayRecord::Counted(_) => "no record",
    }
}

const fn parts(day: DayCounts) -> [(&'static str, u32); 5] {
    [
        ("d-completed", day.completed),
        ("d-cancelled", day.cancelled),
        ("d-failed", day.failed),
        ("d-unknown", day.unknown),
        ("d-running", day.running),
    ]
}

fn print_day(day: DayRecord, slot: f64, axis: &Axis) -> Markup {
    let Some(counts) = counted(day) else { return axis.reason(slot, why_none(day)) };
    let mut base = 0.0;
    let stack = parts(counts).map(|(class, n)| {
        base += f64::from(n);
        (class, f64::from(n), base)
    });
    let wide = axis.day();
    let (x, width) = (along(slot + wide * 0.14), along(wide * 0.46));
    html! {
        @for (class, n, top) in stack {
            @if n > 0.0 { (mark(class, &x, &px(axis.y(top)), &width, &px(axis.high(n)))) }
        }
        @let failures = f64::from(counts.with_failure);
        @if failures > 0.0 {
            (mark("d-outcome", &along(slot + wide * 0.64), &px(axis.y(failures)), &along(wide * 0.22), &px(axis.high(failures))))
        }
        text class="value" x=(along(slot + wide * 0.37)) y=(px(axis.y(f64::from(counts.all())) - 5.0)) text-anchor="middle" {
            (counts.all())
        }
    }
}

/// What a table of prints tells.
const HEAD: [&str; 9] = [
    "Begun",
    "Prints",
    "Completed",
    "Cancelled",
    "Failed",
    "End not seen",
    "Running",
    "Failure reported",
    "Not reported",
];

fn print_table(view: &ReportView, labels: &[String]) -> Markup {
    html! {
        table {
            thead { tr {
                @for name in HEAD { th scope="col" { (name) } }
            } }
            tbody {
                @for (label, day) in labels.iter().zip(&view.days) {
                    tr {
                        th scope="row" { (label) }
                        @if let Some(counts) = counted(*day) {
                            td { (counts.all()) }
                            @for (_, n) in parts(counts) { td { (n) } }
                            td { (counts.with_failure) }
                            td { (counts.unreported) }
                        } @else {
                            td colspan="8" { (why_none(*day)) }
                        }
                    }
                }
            }
        }
    }
}

/// Minutes that each tool waited hot, day by day; every tool on the same scale.
pub(crate) fn idle_days(view: &ReportView) -> Markup {
    let all = view.idle.iter().flat_map(|tool| tool.days.iter().flatten());
    let axis = Axis::new(IDLE_PX, all.map(|idle| idle.as_minutes()).fold(0.0, f64::max), labels(view));
    let part = view.period.part_name();
    let drawing = html! {
        @for (tool, idx) in view.idle.iter().zip(0..) {
            @let (id, name) = (format!("idle-{idx}"), tool_name(tool));
            p class="axis-name" { (name) }
            svg class="chart" role="img" width="100%" height=(px(HEAD_PX + IDLE_PX + FOOT_PX))
                aria-labelledby={ (id) "-name " (id) "-told" } {
                title id={ (id) "-name" } { "Minutes waited hot a " (part) ": " (name) }
                desc id={ (id) "-told" } { "One bar a " (part) "; one without a reading says so." }
                (axis.grid())
                @for ((idle, day), slot) in tool.days.iter().zip(&view.days).zip(axis.slots()) {
                    (idle_day(*idle, *day, slot, &axis))
                }
            }
        }
    };
    figure(&Figure {
        id: "idle",
        name: &format!("Time waited hot a {part} (minutes, in contact)"),
        key: html! { p class="key" { (patch("k-waiting", "waited hot")) } },
        drawing,
        table: idle_table(view, &axis.labels),
    })
}

/// The tool with its printer.
fn tool_name(tool: &ToolIdle) -> String {
    format!("{} {}", tool.printer, format::tool(tool.tool))
}

fn idle_day(idle: Option<Seconds>, day: DayRecord, slot: f64, axis: &Axis) -> Markup {
    let Some(idle) = idle else { return axis.reason(slot, why_none(day)) };
    let (minutes, wide) = (idle.as_minutes(), axis.day());
    html! {
        @if minutes > 0.0 {
            (mark("k-waiting", &along(slot + wide * 0.2), &px(axis.y(minutes)), &along(wide * 0.6), &px(axis.high(minutes))))
        }
        @if axis.is_roomy() {
            text class="value" x=(along(slot + wide / 2.0)) y=(px(axis.y(minutes) - 5.0)) text-anchor="middle" {
                (format!("{minutes:.0}"))
            }
        }
    }
}

fn idle_table(view: &ReportView, labels: &[String]) -> Markup {
    html! {
        table {
            thead { tr { th scope="col" { "Tool" } @for label in labels { th scope="col" { (label) } } } }
            tbody {
                @for tool in &view.idle {
                    tr {
                        th scope="row" { (tool_name(tool)) }
                        @for (idle, day) in tool.days.iter().zip(&view.days) {
                            td { (idle.map_or_else(|| why_none(*day).to_owned(), format::minutes)) }
                        }
                    }
                }
            }
        }
    }
}
