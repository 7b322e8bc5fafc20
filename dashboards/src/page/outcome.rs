//! Forms and words on how a print came out: one tap says it, another takes it back. Owns what the forms send; which
//! words stand is the view's.

use super::prints::{name, outcome, severity};
use crate::format;
use crate::view::{JustDone, OutcomeForm, OutcomeRow, SilentPrint, SilentPrints, WordFate, WordRow};
use jiff::tz::TimeZone;
use maud::{Markup, html};

/// The longest note, in characters.
pub const NOTE_MAX: usize = 500;

/// How bad a failure is taken to be until somebody picks another: the part is spoilt.
const SEVERITY_PICKED: i64 = 2;

/// Where a form leads back to.
#[derive(Clone, Copy, PartialEq, Eq)]
pub(super) enum Back {
    /// To the print's page.
    Print,
    /// To the list.
    List,
}

/// Who is to be asked, and with what.
pub(super) struct Ask<'a> {
    /// The print.
    pub(super) print: i64,
    /// How many tools its printer has.
    pub(super) n_tools: usize,
    pub(super) form: &'a OutcomeForm,
    pub(super) back: Back,
}

/// The prints that wait for a word, newest first; nothing if there are none.
pub(super) fn silent_strip(silent: &SilentPrints, form: &OutcomeForm, zone: &TimeZone) -> Markup {
    let more = silent.n.saturating_sub(u32::try_from(silent.rows.len()).unwrap_or(u32::MAX));
    html! {
        @if !silent.rows.is_empty() {
            section class="outcomes silent" aria-labelledby="silent" {
                h2 id="silent" { "How did it go?" }
                p class="quiet" { "Nobody has said yet how " (format::counted(silent.n, "print")) " came out. What nobody speaks of teaches nothing." }
                ol class="prints" { @for print in &silent.rows { li { (silent_print(print, form, zone)) } } }
                @if more > 0 { p { a class="button" href="/prints?said=none" { "And " (format::counted(more, "earlier print")) } } }
            }
        }
    }
}

/// One line for a page that asks about something else: how many prints wait for a word, and where to say it.
pub(crate) fn silent_line(n: u32) -> Markup {
    let waits = if n == 1 { "waits" } else { "wait" };
    html! {
        @if n > 0 {
            p class="silent-line" { a href="/prints" { (format::counted(n, "print")) " " (waits) " for a word: how did it go?" } }
        }
    }
}

fn silent_print(print: &SilentPrint, form: &OutcomeForm, zone: &TimeZone) -> Markup {
    let ask = Ask { print: print.id, n_tools: print.n_tools, form, back: Back::List };
    let took = format::duration(print.ended - print.started);
    let how = if print.end == "unknown" { "end not seen" } else { print.end };
    html! {
        p class="print-head" {
            a href={ "/prints/" (print.id) } { (name(print.name.as_deref())) }
            span class="quiet" { (print.printer) ", " (how) " after " (took) ", ended " (format::moment_short(print.ended, zone)) }
        }
        div class="taps" {
            (clean_form(&ask))
            details id={ "went-wrong-" (print.id) } { summary { "Something went wrong" } (failure_form(&ask)) }
        }
    }
}

/// One tap: all went well.
pub(super) fn clean_form(ask: &Ask<'_>) -> Markup {
    html! {
        form method="post" action={ "/prints/" (ask.print) "/outcome" } class="tap" {
            (hidden(ask.form, ask.back))
            button type="submit" name="what" value="all:clean" class="clean" { "Clean" }
        }
    }
}

/// One tap: this went wrong on that tool. How bad it was and a note may be given before.
pub(super) fn failure_form(ask: &Ask<'_>) -> Markup {
    let id = ask.print;
    let whose = (0..ask.n_tools).map(|tool| (tool.to_string(), format::tool(tool)));
    // Whoever has one tool knows which it was.
    let nobody = (ask.n_tools != 1).then(|| ("all".to_owned(), "Which tool, I can't tell".to_owned()));
    html! {
        form method="post" action={ "/prints/" (id) "/outcome" } class="failure" {
            (hidden(ask.form, ask.back))
            // Enter in the note would press the first button of all: this one, which takes nothing.
            button type="submit" disabled hidden { "Pick what went wrong" }
            fieldset class="how-bad" {
                legend { "How bad?" }
                @for number in 1..=3_i64 {
                    label class="choice" {
                        input type="radio" name="severity" value=(number) checked[number == SEVERITY_PICKED];
                        span { (severity(number)) }
                    }
                }
            }
            label class="note" { "Note, if any"
                input type="text" name="note" maxlength=(NOTE_MAX) autocomplete="off";
            }
            @for (value, title) in whose.chain(nobody) {
                fieldset class="modes" {
                    legend { (title) }
                    @for mode in &ask.form.modes {
                        button type="submit" name="what" value={ (value) ":" (mode) } { (format::word(mode)) }
                    }
                }
            }
        }
    }
}

fn hidden(form: &OutcomeForm, back: Back) -> Markup {
    html! {
        input type="hidden" name="token" value=(form.token);
        @if back == Back::List { input type="hidden" name="back" value="list"; }
    }
}

fn undo_form(print: i64, said: &OutcomeRow, form: &OutcomeForm, back: Back) -> Markup {
    let tool = said.tool.map_or_else(|| "all".to_owned(), |tool| tool.to_string());
    html! {
        form method="post" action={ "/prints/" (print) "/undo" } class="tap undo" {
            (hidden(form, back))
            input type="hidden" name="said" value=(format::rfc3339(said.at));
            input type="hidden" name="what" value={ (tool) ":" (said.mode) };
            button type="submit" { "Undo" span class="unseen" { ": " (spoken(said)) } }
        }
    }
}

/// What a form has just done, with the way back from it.
pub(super) fn just_done(done: &JustDone, form: &OutcomeForm, back: Back) -> Markup {
    let whose = if back == Back::List { format!("{}: ", name(done.name.as_deref())) } else { String::new() };
    html! {
        div class="done" role="status" {
            @match (&done.newest, done.is_undo) {
                (Some(newest), false) => {
                    p { span aria-hidden="true" { "✓ " } "Recorded. " (whose) strong { (spoken(newest)) } }
                    (undo_form(done.print, newest, form, back))
                }
                (Some(newest), true) => p { "Taken back. " (whose) "what stands now is " strong { (spoken(newest)) } "." },
                (None, true) => p { "Taken back. " (whose) "nothing stands now; it counts as unknown." },
                (None, false) => p { (whose) "Nothing is recorded of it." },
            }
            @if back == Back::List { p { a href={ "/prints/" (done.print) } { "Open this print" } } }
        }
    }
}

/// Every word with what became of it, newest first, and what stands to be taken back.
pub(super) fn history(print: i64, words: &[WordRow], form: &OutcomeForm, zone: &TimeZone) -> Markup {
    html! {
        ol class="words" {
            @for word in words.iter().rev() {
                li class=(if word.fate == WordFate::Stands { "stands" } else { "gone" }) {
                    p class="told" {
                        strong { (spoken(&word.said)) }
                        @if let Some(note) = &word.said.note { " “" (note) "”" }
                        " " span class="quiet" { "said " (format::moment(word.said.at, zone)) "; " (fate(word.fate, zone)) }
                    }
                    @if word.fate == WordFate::Stands { (undo_form(print, &word.said, form, Back::Print)) }
                }
            }
        }
    }
}

fn fate(fate: WordFate, zone: &TimeZone) -> String {
    match fate {
        WordFate::Stands => "stands".to_owned(),
        WordFate::Replaced(at) => format!("replaced by a later word {}", format::moment(at, zone)),
        WordFate::TakenBack(at) => format!("taken back {}", format::moment(at, zone)),
    }
}

/// `Whole print: clean`, `T1: jam, 2 serious`.
fn spoken(said: &OutcomeRow) -> String {
    let whose = said.tool.map_or_else(|| "Whole print".to_owned(), format::tool);
    format!("{whose}: {}", outcome(&OutcomeRow { tool: None, ..said.clone() }))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn prints_that_wait_for_a_word_are_one_line_and_none_are_no_line() {
        assert_eq!(silent_line(0).into_string(), "");
        assert!(silent_line(1).into_string().contains("1 print waits for a word"));
        assert!(silent_line(2).into_string().contains("href=\"/prints\">2 prints wait for a word"));
    }
}
