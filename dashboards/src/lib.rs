//! Pages, charts and the weekly report: a view in, HTML, SVG or text out.
//!
//! Owns: how a number, a date and a stretch of heat look. Must not: read a clock, a file, the network or the store,
//! or decide anything that an alarm or a study decides.

mod advice;
mod alarm_figures;
mod alarms;
mod chart;
pub mod format;
mod heaters;
mod heatplan;
mod learn;
pub mod message;
mod page;
mod parts;
pub mod period;
mod plain;
mod preflight;
mod report;
mod trials;
pub mod view;
pub mod week;

pub use advice::{AdviceWords, advice_words, render_advice_text};
pub use alarm_figures::{FigureRow, figure_rows, looked_at, render_alarm_figures_text, rests_on};
pub use alarms::{SAID_MAX, SHELVE_FOR};
pub use heaters::render_heaters_text;
pub use heatplan::render_heatplan_text;
pub use learn::render_learned_text;
pub use page::{
    Inside, LIVE_SCRIPT, LivePiece, NEARER_SCRIPT, NOTE_MAX, STYLE, now_pieces, render_alarms, render_cause,
    render_causes, render_changes, render_link, render_link_message, render_message, render_now, render_parts,
    render_preflight, render_print, render_prints, render_report, render_report_later, render_reports, render_setup,
    render_sign_in, seen_as,
};
pub use parts::render_parts_text;
pub use preflight::render_preflight_text;
pub use report::{render_report_html, render_report_mail, render_report_text};
pub use trials::{render_adopted_text, render_review_text, trial_why};

/// What each page, report and alarm message says of safety.
pub const SAFETY_WORDS: &str = "Not a safety device. A printer left alone can start a fire: keep the firmware's own \
    thermal protection on, a smoke alarm above it, nothing flammable near; follow local codes; leave mains wiring to a \
    licensed person. Overheated PTFE gives off fumes that harm people and kill birds: ventilate, stay under the part's \
    rating. Advice never exceeds the material's or the part's limits.";
