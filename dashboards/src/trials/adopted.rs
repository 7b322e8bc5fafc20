//! What is said when a suggestion is adopted: what to set, for how long, and what the next print is to have.

use super::words::{arm, change, counted, loose, modes, whose};
use super::{COLUMNS, say};
use crate::advice::touches_heat;
use crate::learn::words::chance;
use crate::plain::Lines;
use crate::view::{TrialState, TrialView};
use crate::{SAFETY_WORDS, format};
use dwell_analysis::advice::{Design, Plan};
use jiff::tz::TimeZone;

/// Trials are made so long that they show what is expected with this probability, if anybody makes them so long.
const ENOUGH: f64 = 0.8;

/// What is said of a trial that has just begun. Where nobody knows what the change does, its effect is assumed.
#[must_use]
pub fn render_adopted_text(trial: &TrialView, is_assumed: bool) -> String {
    let mut out = Lines::new(COLUMNS);
    let since = format::moment(trial.adopted, &TimeZone::UTC);
    say(&mut out, "", &format!("{} is on trial, in prints that begin after {since} UTC.", trial.id));
    out.line("");
    say(&mut out, "  Set:        ", &set(trial));
    say(&mut out, "  For:        ", &prints(&trial.plan, is_assumed));
    say(&mut out, "  Watched:    ", &format!("{} on {}.", modes(&trial.modes), whose(trial)));
    if let TrialState::Open { on, next, .. } = &trial.state {
        if let Some(on) = on {
            say(&mut out, "  Now on:     ", &format!("{}.", arm(*on, &trial.change)));
        }
        let next = next.map_or_else(|| "as you like".to_owned(), |next| arm(next, &trial.change));
        say(&mut out, "  Next print: ", &format!("{next}."));
    }
    out.line("");
    say(
        &mut out,
        "",
        "Say how each print came out (`dwellwatch note`, or on its page): only those count. `dwellwatch review` shows what \
         was really set, what it came to, and what the next print is to have. `dwellwatch decline ID` gives it up.",
    );
    if touches_heat(&trial.change) {
        out.line("");
        say(&mut out, "", SAFETY_WORDS);
    }
    loose(&out.into_text())
}

fn set(trial: &TrialView) -> String {
    let what = format!("{}: {}", whose(trial), change(&trial.change));
    match trial.plan.design {
        Design::Alternation => format!(
            "{what}, print by print as it was drawn. The draw was made now and stands: what else changes meanwhile then \
             changes for both alike."
        ),
        Design::BeforeAfter => format!("{what}, in every print."),
    }
}

fn prints(plan: &Plan, is_assumed: bool) -> String {
    format!("{} with a known outcome. {}", counted(plan.prints, "print"), shows(plan, is_assumed))
}

/// What the prints of a trial show.
pub(crate) fn shows(plan: &Plan, is_assumed: bool) -> String {
    let surely = format!("with a probability of {}", chance(plan.power));
    let what = format!("the risk {:.2} times what it is", plan.ratio);
    let assumed = if is_assumed { " What it does to the risk nobody knows: half of it is taken here." } else { "" };
    let shows = match plan.detects {
        _ if plan.power >= ENOUGH => format!("If it does what is expected ({what}), they show it {surely}."),
        Some(weakest) => format!(
            "Nobody makes more, and they show what is expected ({what}) only {surely}; with a probability of 80 % they show \
             what makes the risk {weakest:.2} times what it is, or less."
        ),
        None => {
            format!(
                "Failures are so rare that these prints would show the expected effect ({what}) only {surely}, and nobody prints more."
            )
        }
    };
    format!("{shows}{assumed}")
}
