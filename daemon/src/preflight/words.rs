//! A finding in sentences: what was found, what it leads to, what to do. Owns the words for page, text and JSON alike.
//! Never advises a temperature over what the material or a part stands.

mod filament;
mod heat;
mod job;

use super::finding::{Counted, Finding, Matter, Place};
use dwell_analysis::units::{Celsius, Seconds};
use dwell_dashboards::format;

/// A finding in sentences.
#[derive(Clone, Debug, PartialEq)]
pub(super) struct Words {
    /// What was found, and where.
    pub(super) cause: String,
    /// What it leads to.
    pub(super) consequence: String,
    /// What to do.
    pub(super) action: String,
}

fn words(cause: impl Into<String>, consequence: impl Into<String>, action: impl Into<String>) -> Words {
    Words { cause: cause.into(), consequence: consequence.into(), action: action.into() }
}

/// Says it.
pub(super) fn say(finding: &Finding) -> Words {
    match &finding.matter {
        Matter::ColdPush { counted, first, has_macros } => heat::cold_push(*counted, *first, *has_macros),
        Matter::ColdRestart { counted, worst, expected, target, floor, raised_ahead } => {
            heat::cold_restart(*counted, *worst, [*expected, *target, *floor], *raised_ahead)
        }
        Matter::OverLiner { set, rating, is_assumed } => heat::over_liner(*set, *rating, *is_assumed),
        Matter::NearLiner { set, rating } => heat::near_liner(*set, *rating),
        Matter::OverResidence { dose, limit, worst } => heat::residence(*dose, *limit, *worst, true),
        Matter::NearResidence { dose, limit, worst } => heat::residence(*dose, *limit, *worst, false),
        Matter::NoStandby { counted, paths, longest } => heat::no_standby(*counted, paths, *longest),
        Matter::DeepStandby { lowest, first_flow, glass, reheat } => {
            heat::deep_standby(*lowest, *first_flow, *glass, *reheat)
        }
        Matter::LateReheat { counted, total, longest, worst } => heat::late_reheat(*counted, *total, *longest, *worst),
        Matter::HotAfterLast { at, lasts, target } => heat::hot_after_last(*at, *lasts, *target),
        Matter::HotBeforeFirst { at, lasts, target } => heat::hot_before_first(*at, *lasts, *target),
        Matter::HeatedUnused { set } => heat::heated_unused(*set),
        Matter::NoPurge { counted, first } => filament::no_purge(*counted, *first),
        Matter::OtherRetraction { length, habit } => filament::other_retraction(*length, habit),
        Matter::LongRetraction { length } => filament::long_retraction(*length),
        Matter::UntoldRetractions { n, of } => filament::untold_retractions(*n, *of),
        Matter::GroundFilament { passes } => filament::ground_filament(*passes),
        Matter::NoSuchTool { tools, n_tools, out_of_range } => job::no_such_tool(tools, *n_tools, *out_of_range),
        Matter::NoFilament => job::no_filament(),
        Matter::Macros { names } => job::macros(names),
        Matter::Pauses { n } => job::pauses(*n),
        Matter::LinesNotRead { n, fault, first_line } => job::lines_not_read(*n, fault, *first_line),
        Matter::UnknownCodes { codes, other } => job::unknown_codes(codes, *other),
        Matter::Homings { n } => job::homings(*n),
        Matter::ChamberWaits { n } => job::chamber_waits(*n),
        Matter::VisitsLeftOut { n } => job::visits_left_out(*n),
    }
}

/// `3 of 41`.
fn of(counted: Counted) -> String {
    format::of(counted.n, counted.of)
}

/// `1:05:30 into the job (byte 12345)`.
fn at(place: Place) -> String {
    format!("{} (byte {})", clock(place.at), place.byte)
}

/// `1:05:30 into the job`.
fn clock(at: Seconds) -> String {
    format!("{} into the job", format::job_time(at))
}

fn whole(value: Celsius) -> String {
    format::celsius_whole(value)
}

/// Names and how often, the first few.
fn listed(named: &[(String, u64)]) -> String {
    const SHOWN: usize = 5;
    let shown = named.iter().take(SHOWN).map(|(name, n)| format!("{name} ({n} times)").replace("(1 times)", "(once)"));
    let rest = named.len().saturating_sub(SHOWN);
    let rest = (rest > 0).then(|| format!("{rest} more"));
    shown.chain(rest).collect::<Vec<_>>().join(", ")
}
