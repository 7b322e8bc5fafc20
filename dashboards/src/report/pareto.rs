//! Failure modes of the period as bars, the most frequent first: the chart that Pareto analysis begins with.

use super::modes;
use crate::chart::{BarRow, Bars, Scale, bars, round_top};
use crate::format;
use crate::view::{ModeRow, ReportView};
use dwell_analysis::units::Probability;
use maud::{Markup, html};

/// The bars with their intervals; nothing where nothing happened.
pub(super) fn pareto(view: &ReportView) -> Markup {
    let rows: Vec<BarRow> = view.modes.iter().zip(modes::together(view)).filter_map(row).collect();
    let highest = rows.iter().filter_map(|row| row.high).fold(0.0, f64::max);
    let scale = Scale {
        from: 0.0,
        to: round_top(highest).min(100.0),
        name: "Share of tool-runs with a known outcome, %".to_owned(),
        show: |value| if value < 9.95 && value.fract() != 0.0 { format!("{value:.1}") } else { format!("{value:.0}") },
        is_log: false,
    };
    html! {
        @if !rows.is_empty() {
            (bars(&Bars {
                id: "modes",
                name: "Failure modes, the most frequent first (90 % intervals are exact)",
                told: "How often each failure mode happened, as a share of tool-runs, with its exact 90 % interval.",
                scale,
                rows: &rows,
            }))
        }
    }
}

fn row((row, together): (&ModeRow, Option<String>)) -> Option<BarRow> {
    let rate = row.rate.as_ref().ok().filter(|_| row.events > 0)?;
    let percent = |of: Probability| of.get() * 100.0;
    let together = together.map_or_else(String::new, |share| format!("; {share} of all with those above"));
    Some(BarRow {
        name: format::word(row.mode),
        value: percent(rate.value),
        low: Some(percent(rate.low)),
        high: Some(percent(rate.high)),
        words: format!("{}{together}", format::rate(row.events, row.n, &row.rate)),
        class: "d-outcome",
    })
}
