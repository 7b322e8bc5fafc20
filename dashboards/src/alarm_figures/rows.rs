//! The figures row by row: what it is, what it is here, what is wanted of it. Owns when a figure is within its benchmark.

use crate::format;
use crate::view::{AcknowledgeTimes, AlarmFigures, MarkedAlarms, PriorityShare, StaleAlarm, SubjectCount, benchmark};
use dwell_analysis::estimate::Estimate;
use dwell_analysis::units::Seconds;
use jiff::tz::TimeZone;

/// A figure in words.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct FigureRow {
    /// What it is.
    pub what: String,
    /// What it is here, or why that is not known.
    pub here: String,
    /// What is wanted of it, and by whom if that is not EEMUA 191.
    pub wanted: String,
    /// Whether it is as wanted; `None` where that can't be said, or too few days were looked at.
    pub is_within: Option<bool>,
}

/// Every figure, the load first.
#[must_use]
pub fn figure_rows(figures: &AlarmFigures, zone: &TimeZone) -> Vec<FigureRow> {
    let mut rows = load(figures);
    rows.extend(figures.priorities.iter().map(priority));
    rows.push(most_frequent(figures));
    rows.push(chattering(&figures.chattering));
    rows.push(stale(&figures.stale, zone));
    rows.push(acknowledged(&figures.acknowledged));
    rows.push(marked(&figures.marked));
    // A month is the least that the benchmarks speak of.
    let is_early = (figures.to - figures.from).as_minutes() / 1440.0 < benchmark::DAYS_MIN;
    for row in &mut rows {
        row.is_within = row.is_within.filter(|_| !is_early);
        match row.is_within {
            Some(true) => row.wanted.push_str(": within"),
            Some(false) => row.wanted.push_str(": not met"),
            None => {}
        }
    }
    rows
}

fn row(what: &str, here: String, wanted: &str, is_within: Option<bool>) -> FigureRow {
    FigureRow { what: what.to_owned(), here, wanted: wanted.to_owned(), is_within }
}

fn load(figures: &AlarmFigures) -> Vec<FigureRow> {
    let (acceptable, manageable) = (benchmark::A_DAY_ACCEPTABLE, benchmark::A_DAY_MANAGEABLE);
    let a_day = match &figures.a_day {
        Ok(rate) => format!("{} ({} to {})", few(rate.value), few(rate.low), few(rate.high)),
        Err(why) => format!("{}: {why}", counted(figures.n_alarms)),
    };
    let mean = figures.a_day.as_ref().ok().map(|rate| rate.value);
    let under = under(benchmark::BUSY_SHARE);
    let busy = |what: String, share: Option<f64>| {
        let here = share.map_or_else(|| "the time is too short".to_owned(), format::percent);
        row(&what, here, &under, share.map(|share| share < benchmark::BUSY_SHARE))
    };
    let flood = match figures.in_flood {
        none if none == Seconds::ZERO => "none".to_owned(),
        some => {
            let share = figures.flood_share.map_or_else(String::new, |share| format!(", {}", format::percent(share)));
            format!("{}{share}", format::duration(some))
        }
    };
    let at_home = format!("{:.0} at most (our proposal)", benchmark::A_DAY_AT_HOME);
    vec![
        row(
            "Alarms per day",
            a_day.clone(),
            &format!("{acceptable:.0} acceptable, {manageable:.0} the most"),
            mean.map(|mean| mean <= acceptable),
        ),
        row("… for a person at home", a_day, &at_home, mean.map(|mean| mean <= benchmark::A_DAY_AT_HOME)),
        row(
            "Most in 10 minutes",
            figures.most_in_ten_minutes.to_string(),
            &format!("{} at most", benchmark::IN_TEN_MINUTES),
            Some(figures.most_in_ten_minutes <= benchmark::IN_TEN_MINUTES),
        ),
        busy(format!("10 minutes with over {}", benchmark::IN_TEN_MINUTES), figures.busy_ten_minutes),
        busy(format!("Hours with over {}", benchmark::IN_AN_HOUR), figures.busy_hours),
        row("Time in a flood", flood, &under, figures.flood_share.map(|share| share < benchmark::BUSY_SHARE)),
    ]
}

/// What is wanted is one of the values that the share could be.
fn priority(of: &PriorityShare) -> FigureRow {
    let here = match &of.share {
        Ok(share) => format!("{}: {}", of.n, percents(share)),
        Err(why) => why.clone(),
    };
    let within = of.share.as_ref().ok().map(|share| (share.low..=share.high).contains(&of.benchmark));
    row(&format!("Priority {}", of.priority), here, &format!("about {}", format::percent(of.benchmark)), within)
}

fn most_frequent(figures: &AlarmFigures) -> FigureRow {
    let (least, most) = benchmark::MOST_FREQUENT;
    let wanted = format!("{:.0} to {}", least * 100.0, format::percent(most));
    let Some(share) = figures.most_frequent_share else {
        return row("Ten most frequent", "no alarm was raised".to_owned(), &wanted, None);
    };
    let n_subjects = figures.most_frequent.len();
    let head = figures
        .most_frequent
        .first()
        .map_or_else(String::new, |first| format!("; most: {} ({})", about(first), first.n));
    // Fewer subjects than ten raise all alarms whatever they do: that says nothing of them.
    if n_subjects < 10 {
        let subjects = format::counted(u32::try_from(n_subjects).unwrap_or(u32::MAX), "subject");
        return row("Ten most frequent", format!("all, of {subjects}{head}"), &wanted, None);
    }
    row("Ten most frequent", format!("{}{head}", format::percent(share)), &wanted, Some(share <= most))
}

fn chattering(subjects: &[SubjectCount]) -> FigureRow {
    let within = format::duration(benchmark::CHATTER_WITHIN);
    let told = |subject: &SubjectCount| format!("{} ({} in {within})", about(subject), subject.n);
    let here = if subjects.is_empty() { "none".to_owned() } else { joined(subjects.iter().map(told)) };
    row("Chattering", here, "none", Some(subjects.is_empty()))
}

fn stale(alarms: &[StaleAlarm], zone: &TimeZone) -> FigureRow {
    let told = |alarm: &StaleAlarm| {
        let about = format::about(alarm.printer.as_deref(), alarm.tool, alarm.rule);
        format!("{about}, since {}", format::moment_short(alarm.raised, zone))
    };
    let here = if alarms.is_empty() { "none".to_owned() } else { joined(alarms.iter().map(told)) };
    let what = format!("Standing over {:.0} h", benchmark::STALE_AFTER.as_minutes() / 60.0);
    row(&what, here, &format!("fewer than {}", benchmark::STALE), Some(alarms.len() < benchmark::STALE))
}

fn acknowledged(times: &AcknowledgeTimes) -> FigureRow {
    let within = |time: &Result<Seconds, String>| match time {
        Ok(time) => format!("within {}", format::duration_fine(*time)),
        Err(_) => "not yet".to_owned(),
    };
    let never = match (times.n_never, times.n_asked) {
        (_, 0) => "no alarm asked for it".to_owned(),
        (0, n) => format!("all {n}"),
        (never, n) => format!("{never} of {n} never, counted as waiting"),
    };
    let here = match times.n_asked {
        0 => never,
        _ => format!("half {}, 9 in 10 {}; {never}", within(&times.median), within(&times.nine_in_ten)),
    };
    let superseded = match times.n_superseded {
        0 => String::new(),
        n => format!("; {n} gave way to a graver one"),
    };
    row("Acknowledged", here + &superseded, "no figure", None)
}

fn marked(marked: &MarkedAlarms) -> FigureRow {
    let n = marked.n_right + marked.n_false;
    let here = match &marked.false_share {
        Ok(share) => format!("{} of {n} marked: {}; {} not marked", marked.n_false, percents(share), marked.n_unmarked),
        Err(why) => format!("{why}; {} not marked", marked.n_unmarked),
    };
    row("False", here, "no figure", None)
}

fn about(subject: &SubjectCount) -> String {
    format::about(subject.printer.as_deref(), subject.tool, subject.rule)
}

/// The first few of many.
fn joined(words: impl ExactSizeIterator<Item = String>) -> String {
    const SHOWN: usize = 5;
    let rest = words.len().saturating_sub(SHOWN);
    let mut shown: Vec<String> = words.take(SHOWN).collect();
    shown.extend((rest > 0).then(|| format!("and {rest} more")));
    shown.join("; ")
}

fn counted(n: usize) -> String {
    format!("{} in all", format::counted(u32::try_from(n).unwrap_or(u32::MAX), "alarm"))
}

/// A rate with the digits that tell something.
fn few(rate: f64) -> String {
    if rate < 9.95 { format!("{rate:.2}") } else { format!("{rate:.0}") }
}

fn under(share: f64) -> String {
    format!("under {}", format::percent(share))
}

fn percents(share: &Estimate) -> String {
    format!("{} ({} to {})", format::percent(share.value), format::percent(share.low), format::percent(share.high))
}
