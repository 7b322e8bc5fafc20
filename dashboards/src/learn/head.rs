//! The page's head: of what it speaks, and what silence would change.

use super::words::{counted, group, interval, state_word};
use super::{say, tool_runs};
use crate::format;
use crate::plain::Lines;
use crate::view::{BothReadings, LearnView, ReadingView, SilenceView};
use dwell_analysis::risk::State;
use jiff::tz::TimeZone;

pub(super) fn write(view: &LearnView, out: &mut Lines) {
    out.line("WHAT THE RECORD SAYS OF EACH FAILURE MODE");
    let Some(as_of) = view.as_of else {
        say(out, "", "Nothing was recorded yet: no printer has been read.");
        return;
    };
    let when = format!("As of {} UTC", format::moment(as_of, &TimeZone::UTC));
    if view.prints == 0 {
        say(out, "", &format!("{when}: no print has ended yet of which it is known which tools took part."));
        return;
    }
    let (prints, runs) = (counted(view.prints, "print"), tool_runs(view.runs));
    let reported = match view.reported {
        0 => "none of them reported".to_owned(),
        all if all == view.prints => "all of them reported".to_owned(),
        some => format!("{some} of them reported"),
    };
    say(out, "", &format!("{when}: {prints}, {runs} (one tool in one print), {reported}."));
    if view.reported == 0 {
        say(out, "", "Without a word on how prints came out nothing can be learned from them.");
        return;
    }
    silence(&view.silence, out);
}

/// What silence would change; nothing if nobody was silent.
fn silence(silence: &SilenceView, out: &mut Lines) {
    if silence.prints == 0 {
        return;
    }
    let (n, means) = (counted(silence.prints, "print"), |clean: bool| if clean { "clean" } else { "unknown" });
    let (shown, other) = (means(silence.means_clean), means(!silence.means_clean));
    let differing: Vec<&BothReadings> = silence.readings.iter().filter(|both| both.differ()).collect();
    if differing.is_empty() {
        let same = "no state, no first group, and no rate beyond its interval";
        say(out, "", &format!("Silence on {n} counts as {shown}; as {other} it would change {same}."));
        return;
    }
    say(out, "", &format!("Silence on {n} counts as {shown}. It matters: as {other}, these would differ."));
    for both in differing {
        let (mode, first, second) = (format::word(both.mode), reading(&both.shown), reading(&both.other));
        say(out, "  - ", &format!("{mode}: {shown}: {first}; {other}: {second}"));
    }
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
