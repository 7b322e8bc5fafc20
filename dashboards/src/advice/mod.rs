//! Changes worth a try, as a page of text and as the sentences that go with each. Owns their order and their words;
//! every number comes with the view.

mod block;
mod evidence;
mod words;

pub(crate) use block::{cost, is_told, trade_off};
pub(crate) use evidence::{is_maintenance, no_trial, refute, rests_on};
pub(crate) use words::change;

use crate::learn::words::{counted, glued, loose};
use crate::plain::Lines;
use crate::view::{AdviceView, AskedView, SuggestionView};
use crate::{SAFETY_WORDS, format};
use dwell_analysis::advice::Change;
use jiff::tz::TimeZone;

const COLUMNS: usize = 96;

/// What is said of one suggestion.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct AdviceWords {
    /// What to do, a sentence.
    pub suggestion: String,
    /// Two sentences: what it rests on, and what would refute it.
    pub why: String,
    /// The second of them.
    pub refute: String,
}

/// The sentences of one suggestion.
#[must_use]
pub fn advice_words(of: &SuggestionView) -> AdviceWords {
    let (suggestion, refute) = (words::suggestion(of), evidence::refute(of));
    AdviceWords { suggestion, why: format!("{} {refute}", evidence::rests_on(of)), refute }
}

/// The whole page.
#[must_use]
pub fn render_advice_text(view: &AdviceView) -> String {
    let mut out = Lines::new(COLUMNS);
    out.line("WHAT IS WORTH A CHANGE");
    head(view, &mut out);
    if view.suggestions.is_empty() {
        nothing(view, &mut out);
    }
    for (idx, suggestion) in view.suggestions.iter().enumerate() {
        block::write(idx + 1, suggestion, &mut out);
    }
    foot(view, &mut out);
    loose(&out.into_text())
}

/// A paragraph.
fn say(out: &mut Lines, bullet: &str, words: &str) {
    out.wrapped(bullet, &glued(words));
}

fn head(view: &AdviceView, out: &mut Lines) {
    let Some(as_of) = view.as_of else { return };
    let when = format!("As of {} UTC", format::moment(as_of, &TimeZone::UTC));
    say(out, "", &format!("{when}: {}.", reported(view)));
}

/// `41 prints, 38 of them reported`.
pub(crate) fn reported(view: &AdviceView) -> String {
    let reported = match view.reported {
        0 => "none of them reported".to_owned(),
        all if all == view.prints => "all of them reported".to_owned(),
        some => format!("{some} of them reported"),
    };
    format!("{}, {reported}", counted(view.prints, "print"))
}

/// An empty list, and what is known all the same.
fn nothing(view: &AdviceView, out: &mut Lines) {
    out.line("");
    say(out, "", &why_nothing(view));
    if !view.asked.is_empty() {
        out.heading("What was asked of");
        view.asked.iter().for_each(|asked| say(out, "  - ", &asked_of(asked)));
    }
}

/// Why there is no suggestion, a sentence.
pub(crate) fn why_nothing(view: &AdviceView) -> String {
    let why = match view {
        AdviceView { as_of: None, .. } => "nothing was recorded yet: no printer has been read.",
        AdviceView { prints: 0, .. } => "no print has ended yet of which it is known which tools took part.",
        AdviceView { asked, .. } if asked.is_empty() => {
            "no tool ran in the newest eight weeks with the material that it holds now, nor five times with another."
        }
        AdviceView { reported: 0, .. } => {
            "nobody said how a print came out, so only common practice could speak, and it finds nothing amiss."
        }
        _ => "within the limits of material and parts no change is known that saves more than it costs.",
    };
    format!("Nothing is worth a change: {why}")
}

/// What a tool was asked of, a sentence.
pub(crate) fn asked_of(asked: &AskedView) -> String {
    let whose = format::whose(&asked.printer, asked.tool, asked.material.as_deref());
    let waits = asked.middle.map_or_else(
        || "without a wait".to_owned(),
        |middle| {
            let (lasted, mean) = (format::duration_fine(middle.lasted), format::celsius_whole(middle.mean));
            format!("{}, the one in the middle {lasted}, at {mean} on the mean", counted(middle.n, "wait"))
        },
    );
    let failed = match asked.known {
        0 => "how they came out nobody said".to_owned(),
        known => format!("{} of {} failed in some way", asked.failed, counted(known, "reported print")),
    };
    format!("{whose}: the newest {}, {waits}; {failed}.", counted(asked.courses, "print"))
}

fn foot(view: &AdviceView, out: &mut Lines) {
    if !view.suggestions.is_empty() {
        out.line("");
        say(out, "", HOW);
    }
    if view.reported < view.prints || view.prints == 0 {
        out.line("");
        say(out, "", TELL);
    }
    if view.suggestions.iter().any(|of| touches_heat(&of.suggestion.change)) {
        out.line("");
        say(out, "", SAFETY_WORDS);
    }
}

const TELL: &str = "Tell how prints came out, good ones too: `dwellwatch note --print latest --clean`, or \
    `dwellwatch note --print latest --tool 1 --mode jam --severity 2`.";
const HOW: &str = "dwellwatch changes nothing by itself. Take one up by `dwellwatch adopt` and its name, turn it down by \
    `dwellwatch decline`; `dwellwatch review` says afterwards whether it helped.";

/// Whether it changes what is heated, how hot, or what stands the heat.
pub(crate) const fn touches_heat(change: &Change) -> bool {
    match change {
        Change::Standby(_)
        | Change::PrintTemperature(_)
        | Change::Material(_)
        | Change::Replace(_)
        | Change::Clean
        | Change::AllMetal
        | Change::Dried(_) => true,
        Change::Retract(_) | Change::RetractSpeed(_) | Change::Prime(_) | Change::OozeShield(_) => false,
    }
}
