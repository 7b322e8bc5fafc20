//! The page that is read in two minutes: what failed, why most likely, what to change, what is due. Owns which few
//! things of all that are told there.

use super::modes::{happened, of_modes, share};
use super::summary;
use crate::advice::{advice_words, cost, trade_off};
use crate::learn::words::{capital, chance, counted, group, interval_short};
use crate::trials::{change, not_yet, trial_why, verdict, whose};
use crate::view::{
    AlarmView, Failures, LearnedRow, ModeRow, PartView, RateInterval, Replace, ReportView, SuggestionView, TrialState,
    TrialView,
};
use crate::{format, parts};
use dwell_analysis::risk::{Settling, State};

/// One of its four parts.
pub(super) struct Block {
    pub(super) heading: &'static str,
    /// The answer.
    pub(super) lead: String,
    /// What goes with it.
    pub(super) points: Vec<String>,
}

/// Failure modes, trials and alarms that are told of; more are counted.
const FEW: usize = 3;

/// The four parts.
pub(super) fn blocks(view: &ReportView) -> [Block; 4] {
    [what_failed(view), why(view), what_to_change(view), what_is_due(view)]
}

fn what_failed(view: &ReportView) -> Block {
    let heading = "What failed";
    let Some(total) = view.total() else {
        let lead = format!("No day of this {} has a reading, so nothing can be said of it.", view.period.noun());
        return Block { heading, lead, points: Vec::new() };
    };
    let lead = match &view.prints {
        _ if total.all() == 0 => "No print began.".to_owned(),
        Failures { n: 0, .. } => "Nobody has said yet how any print came out.".to_owned(),
        Failures { events: 0, n, .. } => format!("None of {} with an outcome.", format::counted(*n, "print")),
        Failures { events, n, rate } => {
            let rate = rate.as_ref().map_or_else(|_| String::new(), |rate| format!(": {}", format::interval(*rate)));
            format!("{} prints with an outcome{rate}.", format::of(*events, *n))
        }
    };
    let mut points = vec![summary::prints(total)];
    if view.prints.n > 0 {
        points.push(of_modes(view));
        points.extend(against(view));
    }
    Block { heading, lead, points }
}

/// The same before, and whether the two part.
fn against(view: &ReportView) -> Option<String> {
    let before = view.before.as_ref()?;
    let when = if view.period.week().is_some() { "In the four weeks before" } else { "In as many days before" };
    let told = format!("{when}: {}", share("prints", &before.prints));
    let (Ok(now), Ok(then)) = (&view.prints.rate, &before.prints.rate) else { return Some(format!("{told}.")) };
    Some(format!("{told}; {}.", part_from(*now, *then)))
}

/// Two exact intervals that part are no chance; two that do not may be.
fn part_from(now: RateInterval, then: RateInterval) -> &'static str {
    if now.low > then.high {
        "it is more now, beyond both intervals"
    } else if now.high < then.low {
        "it is less now, beyond both intervals"
    } else {
        "the intervals overlap, so a difference may be chance"
    }
}

fn why(view: &ReportView) -> Block {
    let heading = "Why, most likely";
    let happened = happened(view);
    let reasons = happened.iter().filter_map(|row| {
        let learned = view.learned.iter().find(|learned| learned.mode == row.mode)?;
        Some(format!("{}: {}.", capital(&format::word(row.mode)), reason(learned)))
    });
    let mut points: Vec<String> = reasons.collect();
    let known = |row: &&&ModeRow| {
        view.learned.iter().any(|learned| learned.mode == row.mode && learned.state != State::TooLittle)
    };
    let lead = match (happened.len(), happened.iter().filter(known).count()) {
        (0, _) => match view.prints.n {
            0 if view.recorded.reported == 0 => {
                "Without a word on how prints came out nothing can be learned.".to_owned()
            }
            0 if view.total().is_none_or(|total| total.all() == 0) => "No print to explain.".to_owned(),
            0 => format!("Nobody has said yet how this {}'s prints came out.", view.period.noun()),
            _ if view.modes.iter().any(|row| row.unplaced > 0) => {
                "What failed was told without its tool, so nothing is learned of it.".to_owned()
            }
            _ => "Nothing failed that was reported.".to_owned(),
        },
        (_, 0) => "Not yet known.".to_owned(),
        (all, some) if all == some => "What the whole record says of what failed:".to_owned(),
        (_, _) => "Known of some; what the whole record says:".to_owned(),
    };
    shorten(&mut points, "failure mode");
    Block { heading, lead, points }
}

/// What most likely carries a mode, or what is missing to tell.
pub(super) fn reason(row: &LearnedRow) -> String {
    let rests = format!("{} tool-runs of the whole record", format::of(row.events, row.n));
    let likeliest = row.groups.first().filter(|(_, probability)| *probability > row.nothing);
    match (row.state, likeliest) {
        (State::Learned, Some((of, probability))) => {
            format!("{}, {} of the explaining; learned from {rests}", group(*of), chance(*probability))
        }
        (State::Leaning, Some((of, probability))) => {
            format!(
                "perhaps {}, {} of the explaining; leaning, from {rests}: good for a trial",
                group(*of),
                chance(*probability)
            )
        }
        (State::Learned | State::Leaning, None) => format!("nothing recorded stands out, in {rests}"),
        (State::TooLittle, _) => format!("not yet known, in {rests}; {}", missing(row)),
    }
}

/// What is missing to tell.
fn missing(row: &LearnedRow) -> String {
    let more = row.more_prints.map(|n| counted(n, "more reported print"));
    match (row.settling, more) {
        (Settling::Runs(_), Some(more)) => format!("about {more} would settle it"),
        (Settling::RunsToRuleOut(_), Some(more)) => {
            format!("about {more} would find a factor that doubles the hazard, if there is one, four times in five")
        }
        (Settling::RuledOut, _) => "there are prints enough, and nothing recorded goes with it strongly".to_owned(),
        (Settling::NoRate, _) => "it happened in all or in none, so that there is nothing to tell it by".to_owned(),
        (Settling::Runs(_) | Settling::RunsToRuleOut(_) | Settling::Settled, _) => {
            "how many more prints would tell is not known".to_owned()
        }
    }
}

fn what_to_change(view: &ReportView) -> Block {
    let heading = "What to change";
    let open = &view.open_trials;
    let mut points: Vec<String> = open.iter().map(trial_line).collect();
    shorten(&mut points, "trial");
    points.extend(view.trials.iter().filter_map(verdict_line));
    let lead = match (&view.suggestion, open.len()) {
        (_, n) if n > 0 => {
            let lead =
                if n == 1 { "A trial is under way: go on with it." } else { "Trials are under way: go on with them." };
            if let Some(suggestion) = &view.suggestion {
                points.push(format!("Next: {}", advice_words(suggestion).suggestion));
            }
            lead.to_owned()
        }
        (Some(suggestion), _) => {
            let mut told = effect(suggestion);
            told.append(&mut points);
            points = told;
            advice_words(suggestion).suggestion
        }
        (None, _) if view.recorded.prints == 0 => "Nothing yet: no print has ended.".to_owned(),
        (None, _) if view.parts.iter().any(is_due) => {
            "What is due, below; no other change is known that saves more than it costs.".to_owned()
        }
        (None, _) => "Nothing: no change is known that saves more than it costs.".to_owned(),
    };
    if view.recorded.prints > 0 {
        let as_of = format::moment(view.learned_at, &view.zone);
        points.push(format!("As of {as_of}, whichever {} this report is of.", view.period.noun()));
    }
    Block { heading, lead, points }
}

fn is_due(part: &PartView) -> bool {
    part.expected.as_ref().is_ok_and(|expected| matches!(expected.replace, Replace::Due))
}

/// What a suggestion does, and what it costs.
fn effect(of: &SuggestionView) -> Vec<String> {
    let meant = of.suggestion.meant.first();
    let effect = of.suggestion.effects.iter().find(|effect| Some(&effect.mode) == meant);
    let moved = effect.map_or_else(
        || "What it does to the failures the record can't tell.".to_owned(),
        |effect| {
            let (now, after) = (interval_short(&effect.now), interval_short(&effect.after));
            format!("Chance of {} a print: {now} now, {after} after it.", format::word(effect.mode.name()))
        },
    );
    let whose = format::whose(&of.printer, of.tool, of.material.as_deref());
    [Some(format!("{whose}: {moved}")), Some(cost(of)), trade_off(of)].into_iter().flatten().collect()
}

pub(super) fn trial_line(trial: &TrialView) -> String {
    let said = format!("{}: {}. {}.", whose(trial), change(&trial.change), capital(&trial_why(trial)));
    match &trial.state {
        TrialState::Open { more, .. } => format!("{said} {}", not_yet(*more)),
        TrialState::Ended { .. } => said,
    }
}

/// A trial's verdict, and what to do then; `None` while it is open.
pub(super) fn verdict_line(trial: &TrialView) -> Option<String> {
    let TrialState::Ended { verdict: word, .. } = &trial.state else { return None };
    let (said, then) = verdict(word, &trial.change);
    Some(format!("{}: {}: {said}. {then}", whose(trial), change(&trial.change)))
}

fn what_is_due(view: &ReportView) -> Block {
    let mut points = Vec::new();
    let line = |alarm: &&AlarmView| {
        let about = format::about(alarm.printer.as_deref(), alarm.tool, alarm.rule);
        let since = format::moment_short(alarm.raised, &view.zone);
        format!("Alarm {about}, since {since}: {}", format::sentence(&alarm.action))
    };
    let mut standing: Vec<String> = standing(view).iter().map(line).collect();
    shorten(&mut standing, "alarm");
    points.append(&mut standing);
    let mut replace: Vec<String> = view.parts.iter().filter_map(part_line).collect();
    shorten(&mut replace, "part");
    points.append(&mut replace);
    points.extend(outcomes(view));
    Block { heading: "What is due", lead: due(view), points }
}

/// Alarms that stand, but for those whose matter has a line of its own here.
fn standing(view: &ReportView) -> Vec<&AlarmView> {
    view.standing.iter().filter(|alarm| !["part_due", "outcome_missing"].contains(&alarm.rule)).collect()
}

/// How much is due, in a line.
fn due(view: &ReportView) -> String {
    let replace = |is: fn(&Replace) -> bool| {
        let due = |part: &&PartView| part.expected.as_ref().is_ok_and(|expected| is(&expected.replace));
        view.parts.iter().filter(due).count()
    };
    let (now, later) = (
        replace(|replace| matches!(replace, Replace::Due)),
        replace(|replace| matches!(replace, Replace::Before { .. })),
    );
    let standing = standing(view).len();
    let named = |n: usize, one: &str, rest: &str| (n > 0).then(|| format!("{}{rest}", counted(n, one)));
    let told = [
        named(standing, "alarm", if standing == 1 { " stands" } else { " stand" }),
        named(now, "part", " to replace now"),
        named(later, "part", " to replace by a day"),
        named(view.unreported.len(), "outcome", " to report"),
    ];
    let told: Vec<String> = told.into_iter().flatten().collect();
    if told.is_empty() { "Nothing.".to_owned() } else { format!("{}.", capital(&told.join(", "))) }
}

/// A part with a day to replace it by.
fn part_line(part: &PartView) -> Option<String> {
    let whose = format!("{} {} {}", part.printer, format::tool(part.tool), format::word(part.part));
    let expected = part.expected.as_ref().ok()?;
    match &expected.replace {
        Replace::Due | Replace::Before { .. } => Some(format!("{whose}: {}", parts::replace(part, expected))),
        Replace::Unknown(_) => None,
    }
}

/// Prints that nobody has told the outcome of.
fn outcomes(view: &ReportView) -> Option<String> {
    let here = view.unreported.len();
    let all = view.recorded.prints.saturating_sub(view.recorded.reported);
    let of_here = format!("{} of this {}", counted(here, "print"), view.period.noun());
    match (here, all) {
        (0, 0) => None,
        (0, all) => Some(format!("Outcomes: {} of the whole record have none.", counted(all, "print"))),
        (here, all) => {
            let have = if here == 1 { "has none" } else { "have none" };
            let rest = if all > here { format!(", and {all} of the whole record") } else { String::new() };
            Some(format!("Outcomes: {of_here} {have}{rest}."))
        }
    }
}

/// The first few, and how many more there are.
fn shorten(lines: &mut Vec<String>, one: &str) {
    let more = lines.len().saturating_sub(FEW);
    lines.truncate(FEW);
    if more > 0 {
        lines.push(format!("{} below.", capital(&counted(more, &format!("more {one}")))));
    }
}
