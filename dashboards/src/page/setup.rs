//! The *Setup* page: what is understood of each host, how good its data are, its heaters, what is kept, who is told.
//! Shows no header's value, no query, no login.

mod heaters;
mod quality;
mod record;

use super::{Page, Place, host_clock, shell};
use crate::format;
use crate::view::{DocumentSetup, FieldSetup, PrinterSetup, SetupView};
use maud::{Markup, html};

/// The whole page.
#[must_use]
pub fn render_setup(view: &SetupView) -> String {
    let body = html! {
        h1 { "Setup" }
        @if view.printers.is_empty() {
            p class="lead" { "No printer is known yet." }
            p {
                "Write its section in the configuration; " (super::commands("`dwellwatch discover URL`"))
                " reads a host's documents and proposes one."
            }
        }
        @for (idx, printer) in view.printers.iter().enumerate() { (self::printer(printer, idx, view)) }
        (heaters::heaters(view))
        (record::record(view))
        (record::channels(view))
        (record::materials(view))
        (record::tuned(view))
    };
    shell(&Page { title: "Setup", place: Place::Setup, frame: Some(&view.frame), body })
}

fn printer(printer: &PrinterSetup, idx: usize, view: &SetupView) -> Markup {
    let near = |at| format::clock_near(at, view.at, &view.frame.zone);
    html! {
        section class="host" aria-labelledby={ "printer-" (idx) } {
            h2 id={ "printer-" (idx) } { (printer.name) }
            p { (headline(printer)) }
            @if printer.is_commissioning {
                p { strong { "It is being set up: " } "its alarms are recorded and call nobody, until its " code { "commissioning" } " is taken away." }
            }
            @if !printer.troubles.is_empty() {
                ul class="troubles" {
                    @for trouble in &printer.troubles { li { (trouble.cause) ", since " (near(trouble.since)) } }
                }
            }
            (documents(&printer.documents))
            (fields(printer, view))
            @if !printer.unnamed.is_empty() {
                details {
                    summary { (format::counted(u32::try_from(printer.unnamed.len()).unwrap_or(u32::MAX), "field")) " that a host may tell and this configuration does not name" }
                    p { (printer.unnamed.join(", ")) "." }
                }
            }
            (quality::quality(&printer.quality, idx, view))
        }
    }
}

/// What it comes to, in a sentence.
fn headline(printer: &PrinterSetup) -> String {
    let clock = printer.clock.map_or_else(String::new, |clock| format!(" The {}.", host_clock(clock)));
    if printer.read.is_none() {
        return format!(
            "It has not been polled since dwellwatch was started, so nothing is known of its fields.{clock}"
        );
    }
    let all = printer.fields.len();
    let good = printer.fields.iter().filter(|field| field.understood.is_ok()).count();
    let fields = match good {
        _ if all == 0 => "No field is named".to_owned(),
        good if good == all => format!("All {all} fields are understood"),
        good => format!("{good} of {all} fields are understood"),
    };
    let polls = match printer.troubles.len() {
        0 => "nothing is wrong with its polls".to_owned(),
        1 => "one thing is wrong with its polls".to_owned(),
        n => format!("{n} things are wrong with its polls"),
    };
    format!("{fields}, and {polls}.{clock}")
}

fn documents(documents: &[DocumentSetup]) -> Markup {
    html! {
        @if !documents.is_empty() {
            ul class="quiet" {
                @for document in documents {
                    li {
                        "Document " (document.name) ", " (document.address) ", every " (format::seconds_fine(document.every))
                        (match document.came { Some(true) => ": came", Some(false) => ": did not come", None => "" })
                    }
                }
            }
        }
    }
}

fn fields(printer: &PrinterSetup, view: &SetupView) -> Markup {
    let Some(read) = printer.read.filter(|_| !printer.fields.is_empty()) else { return html! {} };
    let wrong = printer.fields.iter().any(|field| field.understood.is_err());
    html! {
        details open[wrong] {
            summary { "Field by field, as of " (format::clock_near(read, view.at, &view.frame.zone)) }
            div class="scroll" tabindex="0" role="region" aria-label={ "Table: fields of " (printer.name) } {
                table class="fields" {
                    thead { tr {
                        th scope="col" { "Field" } th scope="col" { "Understood" } th scope="col" { "Found" }
                        th scope="col" { "Document" } th scope="col" { "Path" }
                    } }
                    tbody { @for field in &printer.fields { (self::field(field)) } }
                }
            }
        }
    }
}

fn field(field: &FieldSetup) -> Markup {
    html! {
        tr {
            th scope="row" { (field.field) }
            @match &field.understood {
                Ok(understood) => td { (understood) },
                Err(why) => td class="not-met" { "not understood: " (why) },
            }
            td { @match &field.found { Some(found) => { code { (found) } } None => { "nothing" } } }
            td { (field.document.as_deref().unwrap_or("not told")) }
            td { code { (field.path) } }
        }
    }
}
