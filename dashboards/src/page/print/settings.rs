//! What each tool came to in a print, and its settings: what was in force, where that is known from, and what it was
//! before.

use crate::format;
use crate::view::{PrintTool, PrintView, SETTINGS, Setting, SettingsView};
use maud::{Markup, html};

/// A setting in force.
struct InForce {
    words: String,
    /// The job file asks for it, or else it was typed in.
    is_of_file: bool,
    /// What was typed in, where the job file asks for something else.
    typed: Option<String>,
}

pub(super) fn section(view: &PrintView) -> Markup {
    html! {
        @if !view.tools.is_empty() { h2 { "Tools and settings" } }
        @for tool in &view.tools { (tool_section(tool, view)) }
    }
}

fn tool_section(tool: &PrintTool, view: &PrintView) -> Markup {
    let missing = || format::NOT_MEASURED.to_owned();
    let name = format::tool(tool.number);
    html! {
        article class="tool" {
            h3 { (name) " " span class="material" { (tool.settings.material.as_deref().unwrap_or("material not told")) } }
            p class="facts" {
                @if let Some(idle) = tool.idle { span { "waited hot " (format::duration(idle)) " in all" } }
                span { "longest wait: " (tool.idle_max.map_or_else(missing, format::duration)) }
                span { "largest dose of one wait: " (tool.dose_max.map_or_else(missing, format::dose)) }
                span { "ooze: " (tool.ooze.map_or_else(missing, format::cubic_mm)) }
            }
            details id={ "settings-" (tool.number) } {
                summary { "Settings in force when it began, and where they came from" }
                div class="scroll" tabindex="0" role="region" aria-label={ "Table: settings of " (name) } { (table(tool, view)) }
            }
        }
    }
}

fn table(tool: &PrintTool, view: &PrintView) -> Markup {
    let before = in_force(&tool.before);
    let has_before = before.iter().any(|(_, before)| before.is_some());
    html! {
        table class="settings" {
            caption class="unseen" { "Settings of " (format::tool(tool.number)) }
            thead { tr {
                th scope="col" { "Setting" } th scope="col" { "In force" } th scope="col" { "Came from" }
                @if has_before { th scope="col" { "Before" } }
            } }
            tbody {
                @for (((key, held), (_, before)), since) in in_force(&tool.settings).iter().zip(&before).zip(tool.typed) {
                    tr {
                        th scope="row" { (key) }
                        td { (held.as_ref().map_or(format::NOT_TOLD, |held| &held.words)) }
                        td {
                            @match (held, since) {
                                (None, _) => "–",
                                (Some(InForce { is_of_file: true, typed: Some(typed), .. }), _) => { "job file; typed in: " (typed) },
                                (Some(InForce { is_of_file: true, typed: None, .. }), _) => "job file",
                                (Some(_), Some(since)) => { "typed in, so since " (format::moment(since, &view.frame.zone)) },
                                (Some(_), None) => "typed in",
                            }
                        }
                        @if has_before { td { (before.as_ref().map_or("", |before| &before.words)) } }
                    }
                }
            }
        }
    }
}

/// Each setting's name and words, with where it is known from; `None` is not told.
pub(crate) fn settings_rows(told: &SettingsView) -> [(&'static str, Option<String>); SETTINGS] {
    in_force(told).map(|(name, held)| {
        let words = held.map(|InForce { words, is_of_file, typed }| match typed {
            Some(typed) => format!("{words} (job file; typed in: {typed})"),
            None if is_of_file => format!("{words} (job file)"),
            None => words,
        });
        (name, words)
    })
}

fn in_force(told: &SettingsView) -> [(&'static str, Option<InForce>); SETTINGS] {
    let typed = |words: String| InForce { words, is_of_file: false, typed: None };
    let yes_no = |told: bool| typed(if told { "yes" } else { "no" }.to_owned());
    let celsius = |value| format::celsius(Some(value));
    [
        ("Material", told.material.clone().map(typed)),
        ("Print temperature", setting(told.print, celsius)),
        ("Standby temperature", setting(told.standby, celsius)),
        ("Retraction", setting(told.retract, format::millimetres)),
        ("Retraction speed", setting(told.retract_mm_s, format::mm_per_second)),
        ("Prime volume", setting(told.prime, format::cubic_mm)),
        ("Ooze shield", told.ooze_shield.map(yes_no)),
        ("Filament dried", told.dried.map(yes_no)),
    ]
}

fn setting<T: Copy>(told: Option<Setting<T>>, words: impl Fn(T) -> String) -> Option<InForce> {
    told.map(|told| match told {
        Setting::Typed(value) => InForce { words: words(value), is_of_file: false, typed: None },
        Setting::JobFile { value, typed } => InForce { words: words(value), is_of_file: true, typed: typed.map(words) },
    })
}
