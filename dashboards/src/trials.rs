//! Trials as text for a terminal: what was set, print by print, and what it came to. Owns their order and their words;
//! every number comes with the view.

mod adopted;
mod print;
pub(crate) mod words;

use crate::advice::touches_heat;
use crate::plain::Lines;
use crate::view::{ClosedView, HeldView, ReviewView, TrialFigures, TrialPrint, TrialState, TrialView};
use crate::{SAFETY_WORDS, format};
use dwell_analysis::advice::{Arm, Design};
use dwell_analysis::estimate::Estimate;
use dwell_analysis::time::Timestamp;
use jiff::tz::TimeZone;

pub use adopted::render_adopted_text;
pub(crate) use adopted::shows;
pub(crate) use print::{by, meant, was};
use words::{arm, capital, counted, glued, loose, modes};
pub(crate) use words::{change, verdict, whose};

const COLUMNS: usize = 96;

/// What the prints of a trial say, in one sentence; kept with its end.
#[must_use]
pub fn trial_why(view: &TrialView) -> String {
    let Some(of) = &view.figures else {
        return format!("{} made, and no outcome of one with the change is known", counted(view.prints.len(), "print"));
    };
    let beside = if of.n_as_before > 0 {
        format!(", {} of {} as before", of.seen_as_before, of.n_as_before)
    } else {
        String::new()
    };
    let expected = format!("{:.1} expected without it", of.expected.value);
    let set = by_what_was_set(view).map_or_else(String::new, |ratio| format!(";{ratio}"));
    let those = changed(view, of.n_changed);
    format!("failed in {} of {those}, {expected}{beside}{set}", of.seen)
}

/// Those that are judged as having the change.
fn changed(trial: &TrialView, n: usize) -> String {
    if trial.plan.design == Design::BeforeAfter {
        return format!("{} with the change", counted(n, "print"));
    }
    let lacks = |print: &&TrialPrint| {
        print.drawn == Some(Arm::Changed) && print.failed.is_some() && print.applied.set.has_change() == Some(false)
    };
    let had_not = match trial.prints.iter().filter(lacks).count() {
        0 => return format!("{} with the change", counted(n, "print")),
        lacking if lacking == n => "none of which had it".to_owned(),
        lacking => format!("{lacking} of which did not have it"),
    };
    format!("{} drawn to have the change ({had_not})", counted(n, "print"))
}

/// The ratio by what was really set, where that is another.
fn by_what_was_set(trial: &TrialView) -> Option<String> {
    trial.ratio_as_applied.map(|ratio| {
        let Estimate { value, low, high, .. } = ratio;
        format!(" by what was really set the risk is {value:.2} times what it was ({low:.2} to {high:.2})")
    })
}

/// The whole page.
#[must_use]
pub fn render_review_text(view: &ReviewView) -> String {
    let mut out = Lines::new(COLUMNS);
    out.line("WHAT BECAME OF ADVICE");
    if let Some(as_of) = view.as_of {
        out.line(&format!("As of {} UTC.", format::moment(as_of, &TimeZone::UTC)));
    }
    if view.trials.is_empty() {
        out.line("");
        say(
            &mut out,
            "",
            "Nothing was adopted yet. `dwellwatch advise` lists what is worth a try, `adopt ID` tries it.",
        );
    }
    for trial in &view.trials {
        block(trial, &mut out);
    }
    if !view.closed.is_empty() {
        out.heading("Advised no more");
        view.closed.iter().for_each(|closed| no_more(closed, &mut out));
    }
    if view.trials.iter().any(is_open_and_of_heat) {
        out.line("");
        say(&mut out, "", SAFETY_WORDS);
    }
    loose(&out.into_text())
}

/// A paragraph.
fn say(out: &mut Lines, bullet: &str, words: &str) {
    out.wrapped(bullet, &glued(words));
}

fn is_open_and_of_heat(trial: &TrialView) -> bool {
    matches!(trial.state, TrialState::Open { .. }) && touches_heat(&trial.change)
}

fn block(trial: &TrialView, out: &mut Lines) {
    out.line("");
    out.line(&trial.id);
    let since = format::moment_short(trial.adopted, &TimeZone::UTC);
    say(out, "  ", &format!("{}: {}. Adopted {since}.", whose(trial), change(&trial.change)));
    let judged = modes(&trial.modes);
    say(out, "  ", &format!("{}, judged by {judged}.", words::design(&trial.plan)));
    if !trial.prints.is_empty() {
        out.line("");
        print::table(trial, out);
    }
    out.line("");
    if let Some(figures) = &trial.figures {
        say(out, "  ", &says(trial, figures));
    }
    departed(trial, out);
    stands(trial, out);
}

/// What its prints came to, beside what was expected.
pub(crate) fn says(trial: &TrialView, of: &TrialFigures) -> String {
    let TrialFigures { n_changed, seen, n_as_before, seen_as_before, expected, ratio, sure, exact } = of;
    let beside = match n_as_before {
        0 => String::new(),
        n => format!("; as before it failed in {seen_as_before} of {n}"),
    };
    let exact = exact.map_or_else(String::new, |exact| {
        let (chance, way) =
            if exact.p_fewer <= exact.p_more { (exact.p_fewer, "seldom") } else { (exact.p_more, "often") };
        let chance = crate::learn::words::chance(chance);
        format!(
            " Without the model: by chance alone it fails so {way} beside the prints as before in {chance} of cases."
        )
    });
    format!(
        "It failed in {seen} of {}, where {:.1} ({:.1} to {:.1}) were expected without it{beside}. \
         That makes the risk {:.2} times what it was (90 % interval {:.2} to {:.2}); it is lower with a probability of {}.{exact}",
        changed(trial, *n_changed),
        expected.value,
        expected.low,
        expected.high,
        ratio.value,
        ratio.low,
        ratio.high,
        crate::learn::words::chance(*sure),
    )
}

fn departed(trial: &TrialView, out: &mut Lines) {
    if let Some(those) = departures(trial) {
        say(out, "  ", &those);
    }
}

/// Of prints that had not what they were to have; `None` without any.
pub(crate) fn departures(trial: &TrialView) -> Option<String> {
    let n = trial.prints.iter().filter(|print| print.departs()).count();
    if n == 0 {
        return None;
    }
    let went = match trial.plan.design {
        Design::Alternation => {
            "; it goes by the draw all the same, since who departs from it may do so for a reason that makes the print fail"
        }
        Design::BeforeAfter => ", and say nothing of it",
    };
    let by_what_was = by_what_was_set(trial);
    let by_what_was = by_what_was.map_or_else(String::new, |ratio| format!(" {}.", capital(ratio.trim_start())));
    let had = counted(n, "print");
    Some(format!("{} had not what was to be set{went}.{by_what_was}", capital(&had)))
}

fn stands(trial: &TrialView, out: &mut Lines) {
    match &trial.state {
        TrialState::Open { more, on, next } => {
            say(out, "  ", &not_yet(*more));
            let unknown = trial.prints.iter().filter(|print| print.failed.is_none()).count();
            if unknown > 0 {
                let those = counted(unknown, "print");
                say(out, "  ", &format!("Nobody said how {those} came out: `dwellwatch note --print ID` takes it."));
            }
            if let Some(on) = on {
                say(out, "  ", &format!("The print that is on: {}.", arm(*on, &trial.change)));
            }
            if let Some(those) = holds_other(trial, &TimeZone::UTC) {
                say(out, "  ", &those);
            }
            match next {
                Some(next) => say(out, "  ", &format!("Next print: {}.", arm(*next, &trial.change))),
                None => say(out, "  ", &format!("Next print: {ALL_MADE}.")),
            }
        }
        TrialState::Ended { at, verdict, why, .. } => {
            for line in verdict_words(trial, *at, verdict, why, &TimeZone::UTC) {
                say(out, "  ", &line);
            }
        }
    }
}

/// What the next print is to have once all that were drawn are made.
pub(crate) const ALL_MADE: &str = "as you like; all that were drawn are made";

/// That its tool holds something else; `None` where it does not.
pub(crate) fn holds_other(trial: &TrialView, zone: &TimeZone) -> Option<String> {
    let (HeldView { material, since }, own) = trial.held.as_ref().zip(trial.material.as_ref())?;
    let since = format::moment_short(*since, zone);
    Some(format!("The tool holds {material} since {since}: no print counts until it holds {own} again."))
}

/// How it ended, and what to do then.
pub(crate) fn verdict_words(
    trial: &TrialView,
    at: Timestamp,
    verdict: &str,
    why: &str,
    zone: &TimeZone,
) -> Vec<String> {
    let (said, then) = words::verdict(verdict, &trial.change);
    let on = format::moment_short(at, zone);
    let is_told = trial.figures.is_none() || verdict == "undecided";
    let told = if is_told { format!(": {why}") } else { String::new() };
    let mut lines = vec![format!("Verdict of {on}: {said}{told}. {then}")];
    // Once it is over, what was really set comes to stands in these words alone.
    let departs = trial.plan.design == Design::Alternation && trial.prints.iter().any(TrialPrint::departs);
    if departs && !is_told {
        lines.push(format!("As it was written down then: it {why}."));
    }
    lines
}

/// What is still needed.
pub(crate) fn not_yet(more: usize) -> String {
    match more {
        0 => "Verdict: settled; the daemon or the next review writes it down.".to_owned(),
        more => format!(
            "Verdict: not yet ({more} more {} with a known outcome).",
            if more == 1 { "print" } else { "prints" }
        ),
    }
}

fn no_more(closed: &ClosedView, out: &mut Lines) {
    say(out, "  ", &format!("{} ({}): {}.", closed.id, change(&closed.change), since_when(closed, &TimeZone::UTC)));
}

/// `declined Mon 2 Mar, 14:02: too slow`.
pub(crate) fn since_when(closed: &ClosedView, zone: &TimeZone) -> String {
    let on = format::moment_short(closed.since, zone);
    let what = if closed.is_declined { "declined" } else { "withdrawn" };
    let why = closed.why.as_deref().map_or_else(String::new, |why| format!(": {why}"));
    format!("{what} {on}{why}")
}

#[cfg(test)]
#[expect(clippy::unwrap_used, reason = "a test may stop")]
mod tests;
