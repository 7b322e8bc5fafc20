//! How the alarms did, in words: rows for whoever draws a table, and the whole as plain text. Owns its sentences; says
//! nothing of what is not known but why.

mod rows;

pub use rows::{FigureRow, figure_rows};

use crate::format;
use crate::plain::Lines;
use crate::view::{AlarmFigures, QuietAlarms, benchmark};
use jiff::tz::TimeZone;

const COLUMNS: usize = 100;
/// Widths of a row: what, and each of what is and what should be.
const LABEL: usize = 26;
const CELL: usize = 36;
/// Days that fit into a line of bars.
const DAYS_SHOWN: usize = 90;
const BARS: [char; 8] = ['▁', '▂', '▃', '▄', '▅', '▆', '▇', '█'];

/// The whole text.
#[must_use]
pub fn render_alarm_figures_text(figures: &AlarmFigures, zone: &TimeZone) -> String {
    let mut out = Lines::new(COLUMNS);
    out.heading("How the alarms did");
    out.wrapped("", &looked_at(figures, zone));
    if let Some(bars) = bars(&figures.days) {
        out.line("");
        out.line(&format!("  {bars}"));
    }
    out.line("");
    let head = ["here".to_owned(), "EEMUA 191".to_owned()];
    out.row(("", LABEL), &head, CELL);
    for row in figure_rows(figures, zone) {
        out.row((&row.what, LABEL), &[row.here, row.wanted], CELL);
    }
    out.line("");
    out.wrapped("", &rests_on(figures));
    out.into_text()
}

/// What was looked at, and what of it called nobody.
#[must_use]
pub fn looked_at(figures: &AlarmFigures, zone: &TimeZone) -> String {
    let (from, to) = (format::moment(figures.from, zone), format::moment(figures.to, zone));
    let days = format::days((figures.to - figures.from).as_minutes() / 1440.0);
    let called = match figures.n_alarms {
        0 => "no alarm called anybody".to_owned(),
        1 => "1 alarm called somebody".to_owned(),
        n => format!("{n} alarms called somebody"),
    };
    format!("From {from} to {to} ({days}, {}): {called}.{}", format::zone_name(zone), quiet(figures.quiet))
}

fn quiet(quiet: QuietAlarms) -> String {
    let QuietAlarms { n_suppressed, n_shelved, n_out_of_service } = quiet;
    let kinds = [(n_suppressed, "suppressed by design"), (n_shelved, "shelved"), (n_out_of_service, "out of service")];
    let told: Vec<String> = kinds.iter().filter(|(n, _)| *n > 0).map(|(n, why)| format!("{n} {why}")).collect();
    if told.is_empty() {
        String::new()
    } else {
        format!(" Not counted below, since they called nobody: {}.", told.join(", "))
    }
}

/// What the figures rest on, and how far they may be held against the benchmarks.
#[must_use]
pub fn rests_on(figures: &AlarmFigures) -> String {
    let days = (figures.to - figures.from).as_minutes() / 1440.0;
    let early = if days < benchmark::DAYS_MIN {
        format!(
            "{} of record is too short to judge by them. ",
            format::sentence(&format::days(days)).trim_end_matches('.')
        )
    } else {
        String::new()
    };
    format!(
        "In parentheses 90 % intervals. EEMUA 191 speaks of one operator at a desk and of at least {:.0} days. {early}For a \
         person at home one alarm a day is our proposal, without a source, as is what counts as chattering: {} of one \
         subject within {}.",
        benchmark::DAYS_MIN,
        benchmark::CHATTER,
        format::duration(benchmark::CHATTER_WITHIN),
    )
}

/// A bar a day, the newest days last; `None` without any alarm.
fn bars(days: &[usize]) -> Option<String> {
    let shown = &days[days.len().saturating_sub(DAYS_SHOWN)..];
    let most = shown.iter().copied().max().filter(|most| *most > 0)?;
    let bar = |n: &usize| match (n * BARS.len()).div_ceil(most) {
        0 => '·',
        nth => BARS[nth - 1],
    };
    let bars: String = shown.iter().map(bar).collect();
    Some(format!("{bars} {most} a day at most"))
}

#[cfg(test)]
#[expect(clippy::unwrap_used, reason = "a test may stop")]
mod tests;
