//! What can't be told apart, and the trial that would tell it.

use super::words::{bound, factor, group, number};
use super::{say, tool_runs};
use crate::plain::Lines;
use dwell_analysis::risk::{Inseparable, Trial};

pub(super) fn write(pair: &Inseparable, trial: Option<&Trial>, out: &mut Lines) {
    out.line("");
    say(out, "  ", &apart(pair, trial));
}

/// What can't be told apart, and what would tell it.
pub(crate) fn apart(pair: &Inseparable, trial: Option<&Trial>) -> String {
    let [one, other] = [0, 1].map(|at| named(group(pair.groups[at]), &factor(pair.factors[at]).0));
    let apart = format!("Not to be told apart: {one} and {other} went together (correlation {:.2}).", pair.correlation);
    let what = trial.map_or_else(|| "Only prints in which one of them is different would tell.".to_owned(), try_it);
    format!("{apart} {what}")
}

/// A group with its factor, unless they are of one name.
fn named(group: &str, factor: &str) -> String {
    if group == factor { group.to_owned() } else { format!("{group} ({factor})") }
}

fn try_it(trial: &Trial) -> String {
    let (held, to, instead) = (bound(trial.held, trial.bound), set(trial, trial.to), set(trial, trial.instead));
    let runs = match trial.runs {
        Some(n) => format!("for the next {}", tool_runs(n)),
        None => "for as long as it takes (the record's own shares are too close to say)".to_owned(),
    };
    format!(
        "To tell: with {held}, print with {to} instead of {instead} {runs}. If it happens as often then, it is likelier {held}."
    )
}

/// The setting at a value.
fn set(trial: &Trial, at: f64) -> String {
    let yes = at > 0.5;
    match trial.set {
        "dried" => if yes { "dried filament" } else { "filament that was not dried" }.to_owned(),
        "ooze_shield" => if yes { "an ooze shield" } else { "no ooze shield" }.to_owned(),
        other => {
            let (words, unit) = factor(if other == "retract_departure" { "retract" } else { other });
            format!("{} {unit} of {words}", number(at))
        }
    }
}
