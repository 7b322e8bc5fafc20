//! The page's head: of what it speaks, and what silence would change.

use super::words::{counted, group, interval, state_word};
use super::{say, tool_runs};
use crate::format;
use crate::plain::Lines;
use crate::view::{BothReadings, LearnView, ReadingView, SilenceView};
use dwell_analysis::risk::State;
use jiff::tz::TimeZone;

pub(crate) const NO_READING: &str = "Nothing was recorded yet: no printer has been read.";
pub(crate) const NO_PRINT: &str = "no print has ended yet of which it is known which tools took part.";
pub(crate) const NOBODY_SAID: &str = "Without a word on how prints came out nothing can be learned from them.";

pub(super) fn write(view: &LearnView, out: &mut Lines) {
    out.line("WHAT THE RECORD SAYS OF EACH FAILURE MODE");
    let Some(as_of) = view.as_of else {
        say(out, "", NO_READING);
        return;
    };
    let when = format!("As of {} UTC", format::moment(as_of, &TimeZone::UTC));
    if view.prints == 0 {
        say(out, "", &format!("{when}: {NO_PRINT}"));
        return;
    }
    say(out, "", &format!("{when}: {}", record(view)));
    if view.reported == 0 {
        say(out, "", NOBODY_SAID);
        return;
    }
    if let Some((words, differing)) = silence(&view.silence) {
        say(out, "", &words);
        for differs in &differing {
            say(out, "  - ", differs);
        }
    }
}

/// What there is to learn from.
pub(crate) fn record(view: &LearnView) -> String {
    let (prints, runs) = (counted(view.prints, "print"), tool_runs(view.runs));
    let reported = match view.reported {
        0 => "none of them reported".to_owned(),
        all if all == view.prints => "all of them reported".to_owned(),
        some => format!("{some} of them reported"),
    };
    format!("{prints}, {runs} (one tool in one print), {reported}.")
}

/// What silence would change, and each mode of which it would; `None` if nobody was silent.
pub(crate) fn silence(silence: &SilenceView) -> Option<(String, Vec<String>)> {
    if silence.prints == 0 {
        return None;
    }
    let (n, means) = (counted(silence.prints, "print"), |clean: bool| if clean { "clean" } else { "unknown" });
    let (shown, other) = (means(silence.means_clean), means(!silence.means_clean));
    let differing: Vec<&BothReadings> = silence.readings.iter().filter(|both| both.differ()).collect();
    if differing.is_empty() {
        let same = "no state, no first group, and no rate beyond its interval";
        return Some((format!("Silence on {n} counts as {shown}; as {other} it would change {same}."), Vec::new()));
    }
    let differs = |both: &&BothReadings| {
        let (first, second) = (reading(&both.shown), reading(&both.other));
        format!("{}: {shown}: {first}; {other}: {second}", format::word(both.mode))
    };
    let words = format!("Silence on {n} counts as {shown}. It matters: as {other}, these would differ.");
    Some((words, differing.iter().map(differs).collect()))
}

fn reading(reading: &ReadingView) -> String {
    let rate = match &reading.rate {
        Ok(rate) => format!("{} of {}, {}", reading.events, reading.n, interval(rate)),
        Err(refusal) => format!("no rate ({refusal})"),
    };
    let first = reading.first.filter(|_| reading.state != State::TooLittle);
    let first = first.map_or_else(String::new, |first| format!(", {} first", group(first)));
    format!("{rate}, {}{first}", state_word(reading.state))
}
