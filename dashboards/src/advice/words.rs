//! What a change is called, from where to where, and how a failure mode reads in a sentence.

use crate::format;
use crate::view::SuggestionView;
use dwell_analysis::advice::{Change, PartKind};
use dwell_analysis::polymer::Material;
use dwell_analysis::risk::FailureMode;
use dwell_analysis::units::{Celsius, Millimetres};

/// What it holds, in a sentence.
pub(super) fn filament(of: &SuggestionView) -> &str {
    of.material.as_deref().unwrap_or("its filament")
}

/// What is changed, from what to what: `wait at 155 °C instead of 205 °C`.
pub(crate) fn change(of: &SuggestionView) -> String {
    let filament = filament(of);
    match of.suggestion.change {
        Change::Standby(step) => format!("wait at {}", instead(step.from, step.to, degrees)),
        Change::Retract(step) => format!("draw filament back by {}", instead(step.from, step.to, format::millimetres)),
        Change::RetractSpeed(step) => {
            format!("draw filament back at {}", instead(step.from, step.to, format::mm_per_second))
        }
        Change::Prime(step) => format!("prime {} after a tool change", instead(step.from, step.to, format::cubic_mm)),
        Change::OozeShield(step) if step.to => "print an ooze shield".to_owned(),
        Change::OozeShield(_) => "leave the ooze shield out".to_owned(),
        Change::PrintTemperature(step) => format!("print {filament} at {}", instead(step.from, step.to, degrees)),
        Change::Dried(step) if step.to => format!("dry {filament} before printing"),
        Change::Dried(_) => format!("print {filament} without drying it"),
        Change::Material(step) => match step.from {
            Some(_) => {
                format!("hold {} instead of {filament}, and let the tool beside it hold that", beside(of, step.to))
            }
            None => format!("hold {}, which the tool beside it holds now", beside(of, step.to)),
        },
        Change::Replace(PartKind::Liner) => "fit a new liner".to_owned(),
        Change::Replace(PartKind::Nozzle) => "fit a new nozzle".to_owned(),
        Change::Clean => "clean the nozzle by a cold pull".to_owned(),
        Change::AllMetal => "fit a heat break of metal alone, without PTFE in the heat".to_owned(),
    }
}

/// The same as a sentence of its own.
pub(super) fn suggestion(of: &SuggestionView) -> String {
    let tool = format::tool(of.tool);
    match of.suggestion.change {
        Change::Replace(_) | Change::Clean | Change::AllMetal => format!("On {tool}, {}.", change(of)),
        _ => format!("Let {tool} {}.", change(of)),
    }
}

/// What is in force once it is taken up: `at 155 °C of waiting`.
pub(super) fn with_it(of: &SuggestionView) -> String {
    let filament = filament(of);
    match of.suggestion.change {
        Change::Standby(step) => format!("with {} waiting at {}", format::tool(of.tool), degrees(step.to)),
        Change::Retract(step) => format!("with a retraction of {}", format::millimetres(step.to)),
        Change::RetractSpeed(step) => format!("with a retraction at {}", format::mm_per_second(step.to)),
        Change::Prime(step) => format!("primed by {}", format::cubic_mm(step.to)),
        Change::OozeShield(step) if step.to => "with an ooze shield".to_owned(),
        Change::OozeShield(_) => "without an ooze shield".to_owned(),
        Change::PrintTemperature(step) => format!("of {filament} at {}", degrees(step.to)),
        Change::Dried(step) if step.to => format!("of dried {filament}"),
        Change::Dried(_) => format!("of {filament} as it comes"),
        Change::Material(step) => format!("with {} on {}", beside(of, step.to), format::tool(of.tool)),
        Change::Replace(PartKind::Liner) => "with the new liner".to_owned(),
        Change::Replace(PartKind::Nozzle) => "with the new nozzle".to_owned(),
        Change::Clean => "after the cold pull".to_owned(),
        Change::AllMetal => "with the heat break of metal".to_owned(),
    }
}

/// The other tool's material, as somebody wrote it where that is known.
fn beside(of: &SuggestionView, family: Material) -> String {
    of.beside.clone().unwrap_or_else(|| family.name().to_owned())
}

fn degrees(value: Celsius) -> String {
    format::celsius_whole(value)
}

fn instead<T: Copy>(from: Option<T>, to: T, shown: impl Fn(T) -> String) -> String {
    match from {
        Some(from) => format!("{} instead of {}", shown(to), shown(from)),
        None => shown(to),
    }
}

/// What happened, of the tool: `it jammed`.
pub(super) const fn happened(mode: FailureMode) -> &'static str {
    match mode {
        FailureMode::Jam => "it jammed",
        FailureMode::Stringing => "it left strings",
        FailureMode::Liner => "its liner failed",
        FailureMode::Blob => "it left a blob",
        FailureMode::UnderExtrusion => "too little came out",
        FailureMode::Scrape => "it scraped the print while it waited",
        FailureMode::Misalignment => "its layers missed the other tool's",
        FailureMode::Adhesion => "the print came off",
        FailureMode::Other => "something else went wrong",
    }
}

/// The same as a plural.
pub(super) const fn cases(mode: FailureMode) -> &'static str {
    match mode {
        FailureMode::Jam => "jams",
        FailureMode::Stringing => "strings",
        FailureMode::Liner => "failures of the liner",
        FailureMode::Blob => "blobs",
        FailureMode::UnderExtrusion => "cases of under-extrusion",
        FailureMode::Scrape => "scrapes",
        FailureMode::Misalignment => "misalignments",
        FailureMode::Adhesion => "prints that come off",
        FailureMode::Other => "other failures",
    }
}

/// `0.5 to 2.0 mm`.
pub(super) fn range_mm(low: Millimetres, high: Millimetres) -> String {
    format!("{:.1} to {:.1} mm", low.get(), high.get())
}
