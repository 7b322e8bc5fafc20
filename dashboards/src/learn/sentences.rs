//! What is said of one failure mode, sentence by sentence: the text of `learn` and the page *Causes* say the same. Owns the
//! sentences; their order and what stands beside them is whoever's shows them.

use super::tool_runs;
use super::words::{chance, counted, group, interval};
use crate::format;
use crate::view::{LearnView, ModeView};
use dwell_analysis::estimate::Refusal;
use dwell_analysis::risk::{Carries, Learned, Settling, State};

/// A group under this probability is only counted, and where no claim is made under the second one.
pub(crate) const LIKELY: f64 = 0.02;
pub(crate) const GUESSED: f64 = 0.05;
pub(crate) const CARRIES: [&str; 2] = ["What carries it", "shares of the explaining"];
pub(crate) const MAY_CARRY: [&str; 2] = ["What may carry it", "shares of the explaining so far (no claim)"];
pub(crate) const NOTHING: &str = "nothing recorded";
/// What stands for an effect that only repeats the belief, and what that means.
pub(crate) const AS_BEFORE: &str = "as before";
pub(crate) const AS_BEFORE_MEANS: &str = "repeats what was believed beforehand; the record says nothing of it";

/// How often it happened, how bad it was, and what may have been it.
pub(crate) fn often(mode: &ModeView) -> String {
    format!("{}.{}{}", counts(&mode.learned), severities(mode), doubtful(mode))
}

/// In how many of the tool-runs it happened.
pub(crate) fn counts(learned: &Learned) -> String {
    if learned.n == 0 {
        return "No tool-run has a known outcome".to_owned();
    }
    let rate = match &learned.rate {
        Ok(rate) => interval(rate),
        Err(refusal) => refusal.to_string(),
    };
    format!("{} of {}, {rate}", learned.events, tool_runs(learned.n))
}

/// All that is said of a mode that nobody ever reported; `None` for any other.
pub(crate) fn never(mode: &ModeView) -> Option<String> {
    let known = match mode.learned.n {
        0 => "; nor is the outcome of any tool-run known".to_owned(),
        n => format!(" in {} with a known outcome", tool_runs(n)),
    };
    (mode.learned.events == 0 && mode.unplaced == 0).then(|| format!("Never reported{known}."))
}

/// Prints of which it was told without a tool; `None` if there are none.
pub(crate) fn unplaced(mode: &ModeView) -> Option<String> {
    let prints = counted(mode.unplaced, "print");
    (mode.unplaced > 0).then(|| {
        format!(
            "Of {prints} it was told without a tool that took part, so whose it was is not known and they count for neither: \
             `dwellwatch note --print ID --tool N --mode {}` says it.",
            mode.mode
        )
    })
}

/// Why no factor is weighed; `None` if some are.
pub(crate) fn unweighed(learned: &Learned) -> Option<String> {
    learned.refused.as_ref().map(|refusal| format!("No factor is weighed: {}.", refused(refusal, learned)))
}

/// Why no factor is weighed.
fn refused(refusal: &Refusal, learned: &Learned) -> String {
    match refusal {
        Refusal::TooFew { have, need } if *have == learned.n => {
            format!("{} with a known outcome, and {need} are needed", tool_runs(*have))
        }
        Refusal::TooFew { have, need } if *have == learned.events => {
            format!(
                "it happened {}, and {need} times are needed",
                if *have == 1 { "once".to_owned() } else { format!("{have} times") }
            )
        }
        other => other.to_string(),
    }
}

/// How bad it was, as far as it was told.
fn severities(mode: &ModeView) -> String {
    let words = ["slight", "serious", "grave"];
    let told: usize = mode.severities.iter().sum();
    let untold = mode.learned.events.saturating_sub(told);
    let mut counts: Vec<String> = (mode.severities.iter().zip(words).rev())
        .filter(|(n, _)| **n > 0)
        .map(|(n, word)| format!("{n} {word}"))
        .collect();
    if counts.is_empty() {
        return String::new();
    }
    if untold > 0 {
        counts.push(format!("{untold} not told"));
    }
    format!(" Severity: {}.", counts.join(", "))
}

fn doubtful(mode: &ModeView) -> String {
    match (mode.learned.doubtful, mode.mixed_up_with) {
        (0, _) | (_, None) => String::new(),
        (n, Some(other)) => {
            let other = format::word(other);
            format!(
                " {} noted as {other} may have been this: they count as free of it, and weigh no factor.",
                tool_runs(n)
            )
        }
    }
}

/// Probability that nothing that is recorded carries the mode.
fn nothing(learned: &Learned) -> f64 {
    (1.0 - learned.groups.iter().map(|carries| carries.probability).sum::<f64>()).clamp(0.0, 1.0)
}

/// How many more prints would settle it; `None` if it is settled.
pub(crate) fn settling(learned: &Learned, view: &LearnView) -> Option<String> {
    Some(match learned.settling {
        Settling::Settled => return None,
        Settling::NoRate if learned.events == 0 => return None,
        Settling::NoRate => "It happened every time: what goes with it needs prints without it.".to_owned(),
        Settling::Runs(n) => {
            format!("{} would settle it, if the forecasts go on gaining as they did.", more(n, view))
        }
        Settling::RunsToRuleOut(n) => format!(
            "{} would find a factor of which a standard deviation doubles the hazard, if there is one, in four cases of five.",
            more(n, view)
        ),
        Settling::RuledOut => {
            "There are prints enough: a factor of which a standard deviation doubles the hazard would have been \
             found in four cases of five."
                .to_owned()
        }
    })
}

/// The groups that may carry it, from `least` on, the likeliest first; then the rest as one, and that nothing recorded does.
pub(crate) fn shares(learned: &Learned, least: f64) -> Vec<(String, f64)> {
    let (told, rest): (Vec<&Carries>, Vec<&Carries>) =
        learned.groups.iter().partition(|carries| carries.probability >= least);
    let mut shares: Vec<(String, f64)> =
        told.iter().map(|carries| (group(carries.group).to_owned(), carries.probability)).collect();
    if !rest.is_empty() {
        let sum = rest.iter().map(|carries| carries.probability).sum();
        shares.push((counted(rest.len(), "other group"), sum));
    }
    if !learned.groups.is_empty() {
        shares.push((NOTHING.to_owned(), nothing(learned)));
    }
    shares
}

/// What carries it most likely, in a few words; `None` where no factor is weighed.
pub(crate) fn likeliest(learned: &Learned) -> Option<String> {
    let all = shares(learned, 0.0);
    let (name, share) = all.iter().max_by(|a, b| a.1.total_cmp(&b.1))?;
    let likely = format!("{name} ({})", chance(*share));
    Some(match learned.state {
        State::TooLittle => format!("No claim on what carries it; so far the likeliest is {likely}."),
        State::Learned | State::Leaning => format!("Likeliest to carry it: {likely}."),
    })
}

/// So many more, as prints where that can be said.
fn more(runs: usize, view: &LearnView) -> String {
    view.prints_of(runs).map_or_else(
        || format!("About {runs} more reported tool-runs"),
        |prints| format!("About {} ({})", counted(prints, "more reported print"), tool_runs(runs)),
    )
}
