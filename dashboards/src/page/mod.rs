//! Whole HTML pages. Owns the shell around them, the stylesheet and the one script; each page has a file of its own.
//! Every page works without scripts and carries no inline style or script.

mod alarms;
mod calls;
mod causes;
mod changes;
mod link;
mod live;
mod now;
mod outcome;
mod parts;
mod preflight;
mod print;
mod prints;
mod reports;
mod setup;
mod sign_in;
mod verdict;

pub use alarms::render_alarms;
pub use causes::{render_cause, render_causes};
pub use changes::{render_changes, seen_as};
pub use link::{render_link, render_link_message};
pub use live::{Inside, LivePiece};
pub use now::{now_pieces, render_now};
pub use outcome::NOTE_MAX;
pub use parts::render_parts;
pub use preflight::render_preflight;
pub(crate) use print::settings_rows;
pub use print::{NEARER_SCRIPT, render_print};
pub use prints::render_prints;
pub use reports::{render_report, render_report_later, render_reports};
pub use setup::render_setup;
pub use sign_in::render_sign_in;

pub(crate) use live::Live;
pub(crate) use now::{host_clock, refused, refused_counts};
pub(crate) use prints::name;

use crate::view::{Frame, PageNotice};
use crate::{SAFETY_WORDS, chart};
use maud::{DOCTYPE, Markup, html};

/// The stylesheet; the pages ask for it at `/style.css`.
pub const STYLE: &str = concat!(
    include_str!("../style/tokens.css"),
    include_str!("../style/chart.css"),
    include_str!("../style/page.css"),
    include_str!("../style/report.css"),
    include_str!("../style/causes.css"),
    include_str!("../style/setup.css"),
    include_str!("../style/prints.css"),
    include_str!("../style/changes.css"),
    include_str!("../style/parts.css"),
    include_str!("../style/now.css"),
    include_str!("../style/sign_in.css"),
);

/// The script that keeps *Now* current; the pages ask for it at `/live.js`.
pub const LIVE_SCRIPT: &str = include_str!("../style/live.js");

/// The stylesheet as a page below `/alarms/link/` asks for it, wherever a proxy has put that.
const LINK_STYLE: &str = "../../style.css";

/// Which entry of the navigation a page belongs to.
#[derive(Clone, Copy, PartialEq, Eq)]
enum Place {
    Now,
    Prints,
    Causes,
    Changes,
    Parts,
    Alarms,
    Preflight,
    Reports,
    Setup,
    Elsewhere,
    /// What a link in a message opens: whoever has it may go nowhere else.
    Link,
    /// Before the sign-in: nothing else opens yet.
    Outside,
}

/// The navigation: what is asked most often first.
const PLACES: [(Place, &str, &str); 9] = [
    (Place::Now, "/", "Now"),
    (Place::Prints, "/prints", "Prints"),
    (Place::Causes, "/causes", "Causes"),
    (Place::Changes, "/changes", "Changes"),
    (Place::Parts, "/parts", "Parts"),
    (Place::Alarms, "/alarms", "Alarms"),
    (Place::Preflight, "/preflight", "Preflight"),
    (Place::Reports, "/reports", "Reports"),
    (Place::Setup, "/setup", "Setup"),
];

/// A page's own part.
struct Page<'a> {
    title: &'a str,
    place: Place,
    /// Absent on a message, which may be about why nothing could be read.
    frame: Option<&'a Frame>,
    body: Markup,
}

/// A page that says one thing: what went wrong, or what was done.
#[must_use]
pub fn render_message(title: &str, text: &str) -> String {
    let body = html! {
        h1 { (title) }
        p class="lead" { (text) }
        p { a href="/" { "To Now" } }
    };
    shell(&Page { title, place: Place::Elsewhere, frame: None, body })
}

fn shell(page: &Page<'_>) -> String {
    let live = page.place == Place::Now;
    html! {
        (DOCTYPE)
        html lang="en" {
            head {
                meta charset="utf-8";
                meta name="viewport" content="width=device-width, initial-scale=1";
                meta name="color-scheme" content="light dark";
                title { (page.title) " · dwellwatch" }
                link rel="stylesheet" href=(if page.place == Place::Link { LINK_STYLE } else { "/style.css" });
                // Without scripts the page still renews itself.
                @if live { noscript { meta http-equiv="refresh" content="30"; } script src="/live.js" defer {} }
            }
            body {
                a class="skip" href="#main" { "To the content" }
                header class="top" {
                    span class="brand" { "dwellwatch" }
                    @if !matches!(page.place, Place::Link | Place::Outside) { (navigation(page)) }
                }
                @if page.frame.is_some_and(|frame| frame.rehearsal) { (rehearsal_words()) }
                main id="main" { (page.body) }
                footer {
                    @if page.frame.is_some_and(|frame| frame.signs_in) { p { a href="/sign-in" { "Sign-in" } } }
                    p { (SAFETY_WORDS) }
                }
                (chart::patterns())
            }
        }
    }
    .into_string()
}

/// Said where something is not worked out yet. A page that renews itself has no way to `look_again`; one with a form has it,
/// for it must not take away what a person types.
fn being_worked_out(look_again: Option<&str>) -> Markup {
    html! {
        "What the record says of this is being worked out"
        @match look_again {
            None => "; this page shows it as soon as it is.",
            Some(path) => { ". " a href=(path) { "Look again" } " in some seconds." },
        }
    }
}

/// What is said of a form that was just sent.
fn notice(said: &PageNotice) -> Markup {
    let (class, sign, text) = match said {
        PageNotice::Done(text) => ("notice done", "✓", text),
        PageNotice::Refused(text) => ("notice refused", "◇", text),
    };
    html! {
        div class=(class) role="status" id="notice" {
            span class="sign" aria-hidden="true" { (sign) }
            p { (commands(text)) }
        }
    }
}

fn navigation(page: &Page<'_>) -> Markup {
    html! {
        nav aria-label="Pages" {
            @for (place, path, name) in PLACES {
                a href=(path) aria-current=[(page.place == place).then_some("page")] { (name) }
            }
        }
    }
}

/// Said on each page and report of a rehearsal.
pub(crate) fn rehearsal_words() -> Markup {
    html! {
        p class="rehearsal" { "Rehearsal: the printer is simulated and its history is invented." }
    }
}

/// A command longer than this stands in a line of its own, to be copied whole.
const INLINE_MAX: usize = 40;

/// A text in which commands stand between backticks.
pub(crate) fn commands(text: &str) -> Markup {
    html! {
        @for (idx, part) in text.split('`').enumerate() {
            // A command in a box of its own ends its sentence.
            @if idx % 2 == 0 { (if after_box(text, idx) { part.trim_start_matches('.') } else { part }) }
            @else if part.chars().count() > INLINE_MAX { code class="command" { (part) } }
            @else { code { (part) } }
        }
    }
}

/// Whether the part of that place follows a command that stands in a box.
fn after_box(text: &str, idx: usize) -> bool {
    let before = idx.checked_sub(1).and_then(|before| text.split('`').nth(before));
    before.is_some_and(|command| command.chars().count() > INLINE_MAX)
}
