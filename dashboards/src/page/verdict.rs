//! The words at the top of *Now*: is the waiting nozzle all right? Owns how a printer's state becomes a sentence;
//! decides nothing that an alarm decides. What is not known is said to be not known.

use crate::alarms::{Call, call, grade};
use crate::format;
use crate::view::{AlarmView, Contact, DoingNow, NowView, PrinterNow, ToolNowView, Trouble};
use dwell_analysis::time::Timestamp;
use dwell_analysis::units::Celsius;
use jiff::tz::TimeZone;

/// How a sentence is meant to be taken, calmest first.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub(super) enum Tone {
    /// Nothing to do.
    Calm,
    /// Hot and near its limit.
    Watch,
    /// Not known.
    Unknown,
    /// Over a limit, or an alarm stands.
    Over,
}

/// What is said of one printer.
#[derive(Clone, Debug, PartialEq)]
pub(super) struct Verdict {
    pub(super) tone: Tone,
    /// The one sentence that matters most.
    pub(super) headline: String,
    /// The rest, in order.
    pub(super) rest: Vec<String>,
}

/// A melt with this share of its residence budget used is called near its limit. Of our own choosing.
const NEAR_LIMIT: f64 = 0.8;

/// Above this an unheated nozzle still burns a finger, and is not called cold (common practice, no source).
const STILL_HOT: Celsius = Celsius::new(50.0);

/// What to say of one printer.
pub(super) fn verdict(printer: &PrinterNow, view: &NowView) -> Verdict {
    let zone = &view.frame.zone;
    let mut said = match &printer.contact {
        Contact::Never => never(),
        Contact::Silent { since } => silent(printer, *since, view),
        Contact::In { newest, .. } => in_contact(printer, *newest, zone),
    };
    let before = said.tone;
    said.rest.extend(printer.troubles.iter().map(|trouble| polls(trouble, view)));
    // Something of what is watched may be missing: that is no calm, though every tool that is told is all right.
    if !printer.troubles.is_empty() {
        said.tone = said.tone.max(Tone::Watch);
    }
    // Whoever forgot that the setting is there must not take the silence for calm.
    if printer.is_commissioning {
        said.rest.push("This printer is being set up: its alarms are recorded and call nobody.".to_owned());
    }
    let mine: Vec<_> = view.alarms.iter().filter(|alarm| alarm.printer.as_ref() == Some(&printer.name)).collect();
    let has_own_words = before == Tone::Unknown && !matches!(printer.contact, Contact::In { .. });
    let lead = if has_own_words { "" } else { lead(before, !printer.troubles.is_empty(), &mine) };
    add_alarms(&mine, lead, &mut said);
    said
}

/// Whether the nozzle is all right, in the words that the headline begins with: a colour and a sign alone tell it to nobody
/// who does not see them.
fn lead(before: Tone, is_in_part: bool, alarms: &[&AlarmView]) -> &'static str {
    match before {
        Tone::Over => "Over its limit: ",
        Tone::Unknown => "Not known: ",
        Tone::Watch => "Soon over: ",
        Tone::Calm if is_in_part => "Not all is known: ",
        Tone::Calm if alarms.iter().any(|alarm| tone(alarm) > Some(Tone::Calm)) => "All right but for an alarm: ",
        Tone::Calm => "All right: ",
    }
}

/// Puts what alarms stand into what is said; the gravest of those that call takes the headline's place.
fn add_alarms(alarms: &[&AlarmView], lead: &str, said: &mut Verdict) {
    let standing: Vec<_> = alarms.iter().filter_map(|alarm| Some((tone(alarm)?, *alarm))).collect();
    let more = match standing.len() {
        0 | 1 => String::new(),
        2 => " Another one stands.".to_owned(),
        n => format!(" {} others stand.", n - 1),
    };
    match standing.into_iter().max_by_key(|(tone, alarm)| (*tone, grade(alarm.priority), alarm.raised)) {
        None => said.headline = led(lead, &said.headline),
        // It and what to do about it stand together: whoever reads only so far has read of one thing.
        Some((Tone::Over, alarm)) => {
            let before = std::mem::replace(&mut said.headline, found(alarm));
            said.rest.splice(0..0, [format!("Do: {}", format::sentence(&alarm.action)), before]);
            said.rest.extend((!more.is_empty()).then(|| format!("This is the gravest alarm.{more}")));
            said.tone = Tone::Over;
        }
        Some((tone, alarm)) => {
            said.headline = led(lead, &said.headline);
            let whose = alarm.tool.map_or_else(String::new, |number| format!("{}, ", format::tool(number)));
            let rule = format::word(alarm.rule);
            said.rest
                .push(format!("An alarm stands: {whose}{rule} ({} priority, {}).{more}", alarm.priority, alarm.state));
            said.tone = said.tone.max(tone);
        }
    }
}

/// A sentence behind the words that lead it: only a name keeps its capital.
fn led(lead: &str, sentence: &str) -> String {
    let mut letters = sentence.chars();
    let (first, second) = (letters.next(), letters.next());
    match first.filter(|_| !lead.is_empty() && second.is_some_and(char::is_lowercase)) {
        Some(first) => {
            let rest = sentence.get(first.len_utf8()..).unwrap_or_default();
            format!("{lead}{}{rest}", first.to_lowercase())
        }
        None => format!("{lead}{sentence}"),
    }
}

/// What an alarm found, and of which tool where it does not say so itself.
fn found(alarm: &AlarmView) -> String {
    let cause = format::sentence(&alarm.cause);
    let mut words = cause.split(|letter: char| !letter.is_alphanumeric());
    match alarm.tool.map(format::tool).filter(|tool| !words.any(|word| word == tool)) {
        Some(tool) => led(&format!("Alarm, {tool}: "), &cause),
        None => led("Alarm: ", &cause),
    }
}

/// What an alarm that stands makes of the page; `None` where nobody is to hear of it. High is over its limit whether or
/// not somebody has looked; what may wait for a day leaves the page as calm as it is, or it would no longer tell whether
/// the nozzle is all right.
fn tone(alarm: &AlarmView) -> Option<Tone> {
    match (call(alarm), alarm.priority) {
        (Call::None | Call::Unseen, _) => None,
        (Call::Known | Call::Calls, "low") => Some(Tone::Calm),
        (Call::Known, "medium") => Some(Tone::Watch),
        (Call::Calls | Call::Known, _) => Some(Tone::Over),
    }
}

fn never() -> Verdict {
    let headline = "Not known whether anything is hot. No reading yet.".to_owned();
    Verdict { tone: Tone::Unknown, headline, rest: Vec::new() }
}

fn polls(trouble: &Trouble, view: &NowView) -> String {
    let when = format::clock_near(trouble.since, view.at.unwrap_or(trouble.since), &view.frame.zone);
    format!("Trouble with the host since {when}: {}", format::sentence(&trouble.cause))
}

fn silent(printer: &PrinterNow, since: Timestamp, view: &NowView) -> Verdict {
    let zone = &view.frame.zone;
    let when = format::clock_near(since, view.at.unwrap_or(since), zone);
    let names: Vec<_> = printer.tools.iter().map(|tool| format::tool(tool.number)).collect();
    let what = match names.as_slice() {
        [] => "anything is".to_owned(),
        [one] => format!("{one} is"),
        [most @ .., last] => format!("{} or {last} is", most.join(", ")),
    };
    let told = printer.tools.iter().filter_map(|tool| Some((tool, tool.actual?)));
    let then: Vec<_> =
        told.map(|(tool, at)| format!("{} {}", format::tool(tool.number), format::celsius_whole(at))).collect();
    let then = (!then.is_empty()).then(|| format!("At {when} it read {}.", then.join(", ")));
    let headline = format!("Not known whether {what} hot. No reading since {when}.");
    Verdict { tone: Tone::Unknown, headline, rest: then.into_iter().collect() }
}

/// What is said of one tool.
struct Line {
    tone: Tone,
    /// Its place among those of the same tone.
    order: u8,
    /// What stands in the headline, if it is the worst.
    sentence: String,
    /// What stands under it: what is still to come.
    below: Option<String>,
}

impl Line {
    const fn new(tone: Tone, order: u8, sentence: String) -> Self {
        Self { tone, order, sentence, below: None }
    }
}

fn in_contact(printer: &PrinterNow, newest: Timestamp, zone: &TimeZone) -> Verdict {
    let mut lines: Vec<Line> = printer.tools.iter().filter_map(|tool| tool_line(tool, newest, zone)).collect();
    if !printer.tools.is_empty() && lines.iter().all(|line| line.order > 2) {
        lines.push(Line::new(Tone::Calm, 2, nothing_heated(&printer.tools)));
    }
    // The worst first; of the same tone, who waits comes before who works.
    lines.sort_by_key(|line| (std::cmp::Reverse(line.tone), line.order));
    let mut lines = lines.into_iter();
    let first = lines.next();
    let first = first.unwrap_or_else(|| Line::new(Tone::Unknown, 0, "The host tells of no tool.".to_owned()));
    let others = lines.map(|line| match line.below {
        Some(below) => format!("{} {below}", line.sentence),
        None => line.sentence,
    });
    Verdict { tone: first.tone, headline: first.sentence, rest: first.below.into_iter().chain(others).collect() }
}

/// What is said of a tool; nothing of one that is cold and tells so.
fn tool_line(tool: &ToolNowView, newest: Timestamp, zone: &TimeZone) -> Option<Line> {
    let name = format::tool(tool.number);
    match tool.doing {
        DoingNow::Waiting { idle, .. } => Some(waiting(tool, &format::duration(idle), newest, zone)),
        DoingNow::Working { .. } => {
            let heat = tool.actual.map(format::celsius_whole);
            let said = heat.map_or_else(
                || format!("{name} works; its temperature is not told."),
                |heat| format!("{name} works at {heat}."),
            );
            Some(Line::new(Tone::Calm, 1, said))
        }
        DoingNow::Unknown => {
            let said = format!("The host tells too little of {name} to know whether it is hot.");
            Some(Line::new(Tone::Unknown, 1, said))
        }
        DoingNow::Cold if tool.actual.is_none() => {
            Some(Line::new(Tone::Unknown, 3, format!("{name} is not heated; its temperature is not told.")))
        }
        DoingNow::Cold => None,
    }
}

fn waiting(tool: &ToolNowView, idle: &str, newest: Timestamp, zone: &TimeZone) -> Line {
    let name = format::tool(tool.number);
    let used = format!("{} of its residence budget", format::share(tool.dose, tool.limit));
    let Some(actual) = tool.actual.map(format::celsius_whole) else {
        let said = format!("{name} waits, {idle}, but its temperature is not told; {used} at the last.");
        return Line::new(Tone::Unknown, 0, said);
    };
    let share = if tool.limit.get() > 0.0 { tool.dose.get() / tool.limit.get() } else { 0.0 };
    let said = format!("{name} waits at {actual}, {idle}, {used}.");
    if share >= 1.0 {
        return Line::new(Tone::Over, 0, said);
    }
    let limit = tool.time_left.map_or_else(
        || format!("At this temperature {name} never reaches its limit"),
        |left| format!("{name} reaches its limit at {}", format::clock_ahead(newest + left, newest, zone)),
    );
    let is_near = share >= NEAR_LIMIT || tool.works.is_some_and(|works| is_late(tool, works, newest));
    let below = tool.works.map_or_else(
        || format!("{limit}."),
        |works| format!("{limit}. It is expected at work again {}.", again(works, tool, newest, zone)),
    );
    let tone = if is_near { Tone::Watch } else { Tone::Calm };
    Line { below: Some(below), ..Line::new(tone, 0, said) }
}

/// A waiting tool's next turn by the clock, and on which side of its limit it comes: `about 22:31, before its limit`.
pub(super) fn again(works: Timestamp, tool: &ToolNowView, newest: Timestamp, zone: &TimeZone) -> String {
    let side = match tool.time_left.filter(|_| tool.dose < tool.limit) {
        Some(_) if is_late(tool, works, newest) => ", after its limit",
        Some(_) => ", before its limit",
        None => "",
    };
    format!("about {}{side}", format::clock_ahead(works, newest, zone))
}

/// Whether the limit comes before its next turn.
fn is_late(tool: &ToolNowView, works: Timestamp, newest: Timestamp) -> bool {
    tool.dose < tool.limit && tool.time_left.is_some_and(|left| works > newest + left)
}

/// Said when every tool is cold, or tells nothing.
fn nothing_heated(tools: &[ToolNowView]) -> String {
    let warm = tools.iter().filter_map(|tool| Some((tool, tool.actual.filter(|actual| *actual > STILL_HOT)?)));
    let warm: Vec<_> = warm
        .map(|(tool, at)| format!("{} is still at {}", format::tool(tool.number), format::celsius_whole(at)))
        .collect();
    if !warm.is_empty() {
        return format!("Nothing is heated; {}.", warm.join(", "));
    }
    if tools.iter().any(|tool| tool.actual.is_none()) {
        "Nothing is heated.".to_owned()
    } else {
        "Nothing is hot.".to_owned()
    }
}
