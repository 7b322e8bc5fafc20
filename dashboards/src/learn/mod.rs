//! What was learned of each failure mode, as a page of text. Owns its order, its sentences and its small charts; every
//! number comes with the view.

mod chart;
pub(crate) mod evidence;
pub(crate) mod head;
mod mode;
pub(crate) mod sentences;
pub(crate) mod trial;
pub(crate) mod words;

use crate::plain::Lines;
use crate::view::{LearnView, ModeView, PartExpected, PartView, Replace};
use crate::{SAFETY_WORDS, format};
use dwell_analysis::estimate::Estimate;
use dwell_analysis::risk::{Habit, State};
use dwell_analysis::units::Seconds;

const COLUMNS: usize = 96;
/// Columns of a part's name and of what is said of it.
const PART: usize = 25;
const CELL: usize = 23;

/// The whole page.
#[must_use]
pub fn render_learned_text(view: &LearnView) -> String {
    let mut out = Lines::new(COLUMNS);
    head::write(view, &mut out);
    let (mut happened, never): (Vec<&ModeView>, Vec<&ModeView>) =
        view.modes.iter().partition(|mode| mode.learned.events > 0 || mode.unplaced > 0);
    happened.sort_by_key(|mode| (order(mode.learned.state), std::cmp::Reverse(mode.learned.events)));
    for mode in &happened {
        mode::write(mode, view, &mut out);
    }
    if view.reported > 0 {
        absent(&never, &mut out);
    }
    habits(&view.habits, &mut out);
    in_use(view, &mut out);
    foot(!happened.is_empty(), &mut out);
    words::loose(&out.into_text())
}

/// A paragraph.
fn say(out: &mut Lines, bullet: &str, words: &str) {
    out.wrapped(bullet, &words::glued(words));
}

const fn order(state: State) -> u8 {
    match state {
        State::Learned => 0,
        State::Leaning => 1,
        State::TooLittle => 2,
    }
}

/// The modes that nobody ever reported, in one breath.
fn absent(never: &[&ModeView], out: &mut Lines) {
    if let Some(words) = never_reported(never) {
        out.heading(NEVER);
        say(out, "  ", &words);
    }
}

pub(crate) const NEVER: &str = "Never reported";

/// The modes that nobody ever reported, and how rare they are; `None` if there are none.
pub(crate) fn never_reported(never: &[&ModeView]) -> Option<String> {
    let names: Vec<String> = never.iter().map(|mode| format::word(mode.mode)).collect();
    let fewest = never.iter().min_by_key(|mode| mode.learned.n)?;
    let bound = fewest.learned.rate.ok().map_or_else(String::new, |rate| {
        let runs = tool_runs(fewest.learned.n);
        format!(" With none in {runs} each is under {:.1} % (90 % interval).", rate.high * 100.0)
    });
    Some(format!("{}.{bound}", words::capital(&names.join(", "))))
}

fn habits(habits: &[Habit], out: &mut Lines) {
    if habits.is_empty() {
        return;
    }
    out.heading(HABITS);
    for habit in habits {
        say(out, "  - ", &waiting(habit));
    }
}

pub(crate) const HABITS: &str = "How tools are left waiting (medians), and how often each group failed in any way";

/// How the tool waits in a group of runs, and how often that failed.
pub(crate) fn waiting(habit: &Habit) -> String {
    let wait = if habit.wait_longest < Seconds::new(0.5) {
        "hardly waits".to_owned()
    } else {
        let (longest, mean) = (format::duration(habit.wait_longest), format::celsius_whole(habit.idle_mean));
        format!("waits {longest} at the longest, at {mean} on the mean")
    };
    let changes = habit.changes_per_hour.map_or_else(String::new, |n| format!(", {n:.1} tool changes an hour"));
    let failed = match &habit.rate {
        Ok(rate) => format!("failed in {}", share(habit.events, rate)),
        Err(_) => "none of them was reported".to_owned(),
    };
    format!("{}: {wait}{changes}; {failed}", tool_runs(habit.n))
}

/// Parts in use, a line each.
fn in_use(view: &LearnView, out: &mut Lines) {
    let Some(accepted) = view.parts.iter().find_map(|part| Some(part.expected.as_ref().ok()?.accepted)) else { return };
    let accepted = format::percent(accepted.get());
    out.heading(&format!("Parts in use, to be replaced before {accepted} of their like would have failed"));
    out.row(("", PART), &["wear, of its limit", "still lasts (90 %)", "replace"].map(str::to_owned), CELL);
    for part in &view.parts {
        let whose = format!("{} {} {}", part.printer, format::tool(part.tool), format::word(part.part));
        let cells = match &part.expected {
            Ok(expected) => expectation(part, expected),
            Err(_) => [format::NOT_MEASURED, "", ""].map(str::to_owned),
        };
        out.row((&whose, PART), &cells, CELL);
    }
    say(out, "  ", "`dwellwatch parts` says what this rests on.");
}

fn expectation(part: &PartView, expected: &PartExpected) -> [String; 3] {
    let wear = part.wear_h.as_ref().map_or_else(|_| format::NOT_MEASURED.to_owned(), |hours| format::hours(*hours));
    let lasts = match &expected.left_days {
        Ok(days) => format!("{} ({:.0} to {:.0})", format::days(days.value), days.low, days.high),
        Err(_) => format!("{} of wear", format::hours(expected.left_h.value)),
    };
    let replace = match &expected.replace {
        Replace::Due => "now".to_owned(),
        Replace::Before { at, .. } => format!("before {}", format::day(*at)),
        Replace::Unknown(_) => "no day can be said".to_owned(),
    };
    let wear = match &expected.replace {
        Replace::Unknown(_) => wear,
        Replace::Due | Replace::Before { .. } => format!("{wear} of {}", format::hours(expected.limit_h)),
    };
    [wear, lasts, replace]
}

fn foot(has_events: bool, out: &mut Lines) {
    out.line("");
    if has_events {
        say(out, "", NO_CAUSE_YET);
    }
    say(out, "", TELL);
    out.line("");
    say(out, "", SAFETY_WORDS);
}

pub(crate) const NO_CAUSE_YET: &str =
    "What goes together is not yet a cause: what was not recorded may lie behind both.";
const TELL: &str = "Tell how prints came out, good ones too: `dwellwatch note --print latest --clean`, or \
    `dwellwatch note --print latest --tool 1 --mode jam --severity 2`.";

/// `23 of 412, 5.6 % (90 % interval 3.9 to 7.8 %)`.
pub(crate) fn share(events: usize, rate: &Estimate) -> String {
    format!("{events} of {}, {}", rate.n, words::interval(rate))
}

pub(crate) fn tool_runs(n: usize) -> String {
    words::counted(n, "tool-run")
}
