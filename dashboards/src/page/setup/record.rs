//! The record and its copies, the ways to reach a person, the materials and the alarm rules in force.

use crate::format;
use crate::view::{BackupsSetup, ChannelSetup, SetupView, TunedRule};
use maud::{Markup, html};

/// The record.
pub(super) fn record(view: &SetupView) -> Markup {
    let record = &view.record;
    let zone = &view.frame.zone;
    html! {
        section aria-labelledby="record" {
            h2 id="record" { "Record" }
            @if let Some(cause) = &record.unwritten {
                p { strong { "It can't be written now: " } (cause) ". " a href="/" { "Now" } " says what to do." }
            }
            dl {
                (fact("File", &record.file))
                (fact("Size", &record.bytes.map_or_else(|| format::NOT_MEASURED.to_owned(), format::bytes)))
                (fact("Version of its tables", &record.schema.to_string()))
                (fact("First reading", &record.oldest.map_or_else(|| "none yet".to_owned(), |at| format::moment(at, zone))))
                @if let Some((whole, minutes)) = record.keep_days {
                    (fact("Kept", &format!(
                        "every reading of {whole} days that have some, by the minute {minutes} days more, by the hour for ever"
                    )))
                }
                @if let Some(backups) = &record.backups { (fact("Backups", &backed_up(backups))) }
            }
        }
    }
}

fn fact(name: &str, value: &str) -> Markup {
    html! { div { dt { (name) } dd { (value) } } }
}

fn backed_up(backups: &BackupsSetup) -> String {
    let folder = &backups.folder;
    let is_off = if backups.keep == 0 { "none are taken (`keep = 0`); " } else { "" };
    match (&backups.found, &backups.newest) {
        (Err(why), _) => format!("{is_off}what there is can't be told: {why}"),
        (Ok(_), None) => format!("{is_off}none yet in {folder}"),
        (Ok(n), Some((day, bytes))) => {
            let n = format::counted(u32::try_from(*n).unwrap_or(u32::MAX), "backup");
            format!("{is_off}{n} in {folder}, the newest of {day}, {}", format::bytes(*bytes))
        }
    }
}

/// The ways to reach a person.
pub(super) fn channels(view: &SetupView) -> Markup {
    html! {
        section aria-labelledby="channels" {
            h2 id="channels" { "Ways to reach a person" }
            @if view.channels.is_empty() {
                p { "The configuration is not known here, so there is none to show." }
            } @else {
                @if view.channels.iter().all(|channel| channel.kind == "log") {
                    p { strong { "Alarms go to the log alone. " } "Name a way under " code { "[notify]" } " so that one reaches you." }
                }
                div class="scroll" tabindex="0" role="region" aria-label="Table: ways to reach a person" {
                    table {
                        thead { tr {
                            th scope="col" { "Name" } th scope="col" { "Kind" } th scope="col" { "Told from" }
                            th scope="col" { "Quiet" } th scope="col" { "Last delivered" }
                        } }
                        tbody { @for channel in &view.channels { (self::channel(channel, view)) } }
                    }
                }
                p class="quiet" { (crate::page::commands("`dwellwatch alarms test`")) " tries each of them once." }
            }
        }
    }
}

fn channel(channel: &ChannelSetup, view: &SetupView) -> Markup {
    let near = |at| format::clock_near(at, view.at, &view.frame.zone);
    html! {
        tr {
            th scope="row" { (channel.name) }
            td { (channel.kind) }
            td { (channel.from) " priority on" }
            td { (channel.quiet.as_deref().unwrap_or("never")) }
            td {
                @match channel.delivered { Some(at) => (near(at)), None => "nothing to deliver yet" }
                @if let Some(stuck) = &channel.stuck {
                    br; span class="not-met" {
                        "not delivered since " (near(stuck.since)) ", " (stuck.n_tries) " tries; the next "
                        (if stuck.next > view.at { format!("at {}", near(stuck.next)) } else { "is due".to_owned() })
                    }
                }
            }
        }
    }
}

/// Figures of the materials in use.
pub(super) fn materials(view: &SetupView) -> Markup {
    html! {
        section aria-labelledby="materials" {
            h2 id="materials" { "Materials in force" }
            @if view.materials.is_empty() {
                p { "No tool's material is told by the configuration; what is told by job files or typed in stands with each print." }
            } @else {
                @for rows in view.materials.chunk_by(|one, next| one.material == next.material) {
                    @let material = &rows[0].material;
                    details {
                        summary { (material) ": " (rows.len()) " figures and what they rest on" }
                        div class="scroll" tabindex="0" role="region" aria-label={ "Table: figures of " (material) } {
                            table {
                                thead { tr {
                                    th scope="col" { "Figure" } th scope="col" { "Value" } th scope="col" { "Source" }
                                } }
                                tbody {
                                    @for row in rows {
                                        tr {
                                            th scope="row" { (row.figure) }
                                            td { (row.value) " " (row.unit) }
                                            td { (row.source) }
                                        }
                                    }
                                }
                            }
                        }
                    }
                }
            }
        }
    }
}

/// Alarm rules that differ from what is usual.
pub(super) fn tuned(view: &SetupView) -> Markup {
    html! {
        section aria-labelledby="tuned" {
            h2 id="tuned" { "Alarm rules" }
            @if view.tuned.is_empty() {
                p { "Every rule is as usual." }
            } @else {
                p { "These differ from what is usual; all others are as usual." }
                div class="scroll" tabindex="0" role="region" aria-label="Table: tuned alarm rules" {
                    table {
                        thead { tr {
                            th scope="col" { "Rule" } th scope="col" { "Printer" } th scope="col" { "Material" }
                            th scope="col" { "Priority" } th scope="col" { "Raised after" } th scope="col" { "Returns after" }
                            th scope="col" { "Bound" }
                        } }
                        tbody { @for rule in &view.tuned { (self::rule(rule)) } }
                    }
                }
            }
        }
    }
}

fn rule(rule: &TunedRule) -> Markup {
    html! {
        tr {
            th scope="row" { (format::word(rule.rule)) }
            td { (rule.printer) }
            td { (rule.material) }
            @for figure in &rule.figures { td { (if figure.is_empty() { "none" } else { figure }) } }
        }
    }
}
