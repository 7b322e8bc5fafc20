//! Invented hosts in motion: what is proposed for each at every kind of moment, against what is true.

mod answers;
mod forms;
mod shapes;
mod traps;
mod written;

use super::*;
use crate::entry::{CentiCelsius, HotEnd, JobState, Reading};
use crate::host::{Address, Selector};
use crate::rehearsal::LiveJob;
use dwell_analysis::time::Timestamp;
use dwell_analysis::units::Seconds;
use serde_json::Value;
use shapes::{HOSTS, Host};

/// Seconds of a watch.
const WATCH: usize = 20;

/// A kind of moment.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum Moment {
    Heating,
    Change,
    Steady,
    Paused,
    Finished,
    Nothing,
}

const MOMENTS: [Moment; 6] =
    [Moment::Heating, Moment::Change, Moment::Steady, Moment::Paused, Moment::Finished, Moment::Nothing];

/// The readings of a first job, the rest after it, and the start of a second one.
fn life(hot_end: HotEnd) -> Vec<Reading> {
    let mut live = LiveJob::new(5, hot_end);
    let mut readings = Vec::new();
    let mut finished = 0;
    for second in 0..12_000 {
        readings.push(live.reading(Timestamp::from_ms(second * 1000)));
        finished += usize::from(readings.last().unwrap().job.state == JobState::Completed);
        if finished > 170 && readings.iter().rev().take(40).all(|reading| reading.job.state == JobState::Heating) {
            return readings;
        }
    }
    panic!("no second job within {} s", readings.len());
}

/// A watch of that kind out of a life.
fn window(life: &[Reading], moment: Moment) -> Vec<Reading> {
    let fits = |window: &[Reading]| {
        let all = |state| window.iter().all(|reading| reading.job.state == state);
        let tools: Vec<_> = window.iter().map(|reading| reading.active_tool).collect();
        let changes = tools.windows(2).filter(|pair| pair[0] != pair[1]).count();
        match moment {
            // The last job's begins cold.
            Moment::Heating => all(JobState::Heating) && window[0].at.as_ms() > 1_000_000,
            Moment::Change => all(JobState::Printing) && changes == 1 && tools[6] == tools[0] && tools[13] == tools[19],
            Moment::Steady | Moment::Paused => {
                all(JobState::Printing) && changes == 0 && window[0].at.as_ms() > 300_000
            }
            Moment::Finished | Moment::Nothing => all(JobState::Completed),
        }
    };
    let mut found: Vec<Reading> = life.windows(WATCH).find(|window| fits(window)).unwrap().to_vec();
    let first = found[0].clone();
    for reading in &mut found {
        match moment {
            Moment::Paused => {
                reading.job.state = JobState::Paused;
                reading.job.byte = first.job.byte;
                reading.job.fraction_millionths = first.job.fraction_millionths;
            }
            Moment::Nothing => {
                reading.job.state = JobState::None;
                reading.job.name = None;
                reading.job.byte = None;
                reading.job.fraction_millionths = None;
                reading.active_tool = None;
            }
            Moment::Heating | Moment::Change | Moment::Steady | Moment::Finished => {}
        }
    }
    found
}

fn seen(host: &Host, readings: &[Reading]) -> (Found, Vec<Snapshot>) {
    let document = |(name, _): &(&'static str, Value)| FoundDocument {
        name: (*name).to_owned(),
        address: Address::parse(&format!("http://127.0.0.1:8121/{name}")).unwrap(),
        origin: "given".to_owned(),
        hints: Vec::new(),
    };
    let documents = (host.tell)(&readings[0]).iter().map(document).collect();
    let start = readings[0].at;
    let snapshot = |reading: &Reading| Snapshot {
        after: Seconds::new((reading.at - start).get()),
        documents: (host.tell)(reading).into_iter().map(|(_, value)| Some(value)).collect(),
    };
    (Found { documents, ..Found::default() }, readings.iter().map(snapshot).collect())
}

fn proposed(host: &Host, life: &[Reading], moment: Moment) -> Proposal {
    let (found, snapshots) = seen(host, &window(life, moment));
    propose(&found, &snapshots, &Answers::default())
}

/// What came of one host at one moment.
#[derive(Default)]
struct Score {
    right: usize,
    all: usize,
    sure: usize,
    /// Wrong and called sure.
    untrue: Vec<String>,
    misses: Vec<String>,
}

fn score(host: &Host, moment: Moment, proposal: &Proposal) -> Score {
    let truth = (host.truth)();
    let mut came = Score { all: truth.len(), ..Score::default() };
    for (kind, places) in &truth {
        let field = proposal.field(*kind);
        let is_right = field.is_some_and(|field| {
            let place = &field.places[0];
            places.iter().any(|(document, path)| *document == place.document && pointer(path) == pointer(&place.path))
        });
        came.right += usize::from(is_right);
        came.sure += usize::from(is_right && field.unwrap().certainty == Certainty::Sure);
        if !is_right {
            let found = field.map(|field| (field.places[0].path.clone(), field.certainty));
            came.misses.push(format!("{} {moment:?} {kind}: {found:?}", host.name));
        }
    }
    for field in &proposal.fields {
        let known = truth.iter().find(|(kind, _)| *kind == field.kind);
        let place = &field.places[0];
        let is_right = known.is_some_and(|(_, places)| {
            places.iter().any(|(document, path)| *document == place.document && pointer(path) == pointer(&place.path))
        });
        if !is_right && field.certainty == Certainty::Sure {
            came.untrue.push(format!("{} {moment:?} {}: {}", host.name, field.kind, place.path));
        }
    }
    came
}

/// The two ways to write a path without filters, as one.
fn pointer(path: &str) -> String {
    path.replace(['$', '.', '['], "/").replace([']', '\''], "").replace("//", "/")
}

#[test]
#[expect(clippy::print_stdout, reason = "the bench's figures, for `--nocapture`")]
fn no_wrong_field_is_called_sure_and_most_are_right_at_every_moment() {
    let lives = [HotEnd::Separate, HotEnd::Shared].map(life);
    let [mut right, mut all, mut sure] = [0; 3];
    let (mut untrue, mut wanting) = (Vec::new(), Vec::new());
    for host in &HOSTS {
        let whole = &lives[usize::from(host.hot_end == HotEnd::Shared)];
        for moment in MOMENTS {
            let proposal = proposed(host, whole, moment);
            let came = score(host, moment, &proposal);
            println!("{:24} {moment:9?} {:2} of {:2}, {:2} sure", host.name, came.right, came.all, came.sure);
            right += came.right;
            all += came.all;
            sure += came.sure;
            untrue.extend(came.untrue);
            wanting.extend(came.misses);
        }
    }
    println!("{right} of {all} right, {sure} sure\n{}", wanting.join("\n"));
    assert!(untrue.is_empty(), "{}", untrue.join("\n"));
    assert!(right * 100 >= all * 94, "{right} of {all}:\n{}", wanting.join("\n"));
}

/// Not only at the six moments: wherever in its life a printer is looked at.
#[test]
fn whenever_a_host_is_looked_at_no_wrong_field_is_called_sure() {
    // A prime, so that no rhythm of the job is hit again and again.
    const STEP: usize = 97;
    let lives = [HotEnd::Separate, HotEnd::Shared].map(life);
    let mut untrue = Vec::new();
    for host in &HOSTS {
        for window in lives[usize::from(host.hot_end == HotEnd::Shared)].windows(WATCH).step_by(STEP) {
            let (found, snapshots) = seen(host, window);
            let proposal = propose(&found, &snapshots, &Answers::default());
            let at = window[0].at.as_ms() / 1000;
            untrue.extend(
                score(host, Moment::Steady, &proposal).untrue.into_iter().map(|claim| format!("{at} s: {claim}")),
            );
            let number = snapshots.iter().zip(window).flat_map(|(snapshot, reading)| {
                let sure = proposal
                    .fields
                    .iter()
                    .filter(|field| field.certainty == Certainty::Sure && field.places.len() == 1);
                let wrong = sure.filter(|field| {
                    match (told(field.kind, reading), number(&field.places[0], &snapshot.documents)) {
                        (Some((right, within)), Some(read)) => (read - right).abs() > within,
                        (None, _) | (_, None) => false,
                    }
                });
                wrong.map(|field| format!("{at} s: {} {} reads wrong", host.name, field.kind)).collect::<Vec<_>>()
            });
            untrue.extend(number.collect::<Vec<_>>());
        }
    }
    untrue.dedup();
    assert!(untrue.is_empty(), "{}:\n{}", untrue.len(), untrue.join("\n"));
}

#[test]
#[expect(clippy::print_stdout, reason = "the proposals, for `--nocapture`")]
fn every_proposal_is_toml() {
    let lives = [HotEnd::Separate, HotEnd::Shared].map(life);
    for host in &HOSTS {
        for moment in MOMENTS {
            let text = proposed(host, &lives[usize::from(host.hot_end == HotEnd::Shared)], moment).toml();
            if moment == Moment::Change && host.name == "keyed, camel case" {
                println!("{text}");
            }
            let read: toml::Table = toml::from_str(&text).unwrap_or_else(|error| panic!("{error}:\n{text}"));
            assert!(read.contains_key("printer"), "{text}");
        }
    }
}

/// A place's number, by the rules of the configuration: words, else suffix, scale and unit, else a share of a whole.
fn number(place: &Place, documents: &[Option<Value>]) -> Option<f64> {
    let document = documents[place.document].as_ref()?;
    let raw = Selector::parse(&place.path).unwrap().one(document).ok()?.clone();
    let form = |key: &str| place.form.iter().find(|(known, _)| *known == key).map(|(_, value)| value.clone());
    let text = raw.as_str().map_or_else(|| raw.to_string(), str::to_owned);
    if let Some(meant) = form("words").and_then(|words| words.get(&text).cloned()) {
        return meant.as_integer().and_then(|meant| i32::try_from(meant).ok()).map(f64::from);
    }
    let suffix = form("suffix").map_or_else(String::new, |suffix| suffix.as_str().unwrap().to_owned());
    let written: f64 = text.strip_suffix(&suffix)?.trim_end().parse().ok()?;
    let scaled = written * form("scale").map_or(1.0, |scale| scale.as_float().unwrap());
    if let Some(whole) = form("of") {
        let whole = Selector::parse(whole.as_str().unwrap()).unwrap();
        return Some(scaled / whole.one(document).ok()?.as_f64()?);
    }
    Some(match form("unit").as_ref().and_then(toml::Value::as_str) {
        Some("F") => (scaled - 32.0) / 1.8,
        Some("K") => scaled - 273.15,
        _ => scaled,
    })
}

/// What the reading has for the field, and how far a host's rounding may be off.
fn told(kind: Kind, reading: &Reading) -> Option<(f64, f64)> {
    let degrees = |temp: Option<CentiCelsius>| temp.map(|temp| (temp.celsius().get(), 0.51));
    let tool = |tool: usize| reading.tools.get(tool);
    match kind {
        Kind::ToolActual(number) => degrees(tool(number)?.actual),
        Kind::ToolTarget(number) => degrees(tool(number)?.target),
        Kind::ToolDuty(number) => Some((f64::from(tool(number)?.duty_thousandths?) / 1000.0, 0.006)),
        Kind::BedActual => degrees(reading.bed?.actual),
        Kind::BedTarget => degrees(reading.bed?.target),
        Kind::Byte => Some((f64::from(u32::try_from(reading.job.byte?).unwrap()), 0.1)),
        Kind::ActiveTool => Some((f64::from(u32::try_from(reading.active_tool?).unwrap()), 0.1)),
        Kind::Fraction | Kind::Time | Kind::State | Kind::Name => None,
    }
}

/// Where a field's place is right, so is what is made of its value: unit, scale, words. A null set point is unknown,
/// and so is the tool of a list of places.
#[test]
fn what_is_called_sure_or_likely_reads_as_the_reading_it_was_told_from() {
    let lives = [HotEnd::Separate, HotEnd::Shared].map(life);
    let (mut checked, mut wrong) = (0, Vec::new());
    for host in &HOSTS {
        for moment in MOMENTS {
            let readings = window(&lives[usize::from(host.hot_end == HotEnd::Shared)], moment);
            let (found, snapshots) = seen(host, &readings);
            let proposal = propose(&found, &snapshots, &Answers::default());
            for field in
                proposal.fields.iter().filter(|field| field.certainty > Certainty::Guess && field.places.len() == 1)
            {
                for (reading, snapshot) in readings.iter().zip(&snapshots) {
                    let (Some((right, within)), Some(read)) =
                        (told(field.kind, reading), number(&field.places[0], &snapshot.documents))
                    else {
                        continue;
                    };
                    checked += 1;
                    if (read - right).abs() > within {
                        wrong.push(format!("{} {moment:?} {}: {read} for {right}", host.name, field.kind));
                    }
                }
            }
        }
    }
    wrong.dedup_by(|one, other| one.split(": ").next() == other.split(": ").next());
    assert!(wrong.is_empty(), "{} of {checked}:\n{}", wrong.len(), wrong.join("\n"));
    assert!(checked > 5000, "{checked}");
}

/// A state that is sure or likely means for each text that was seen what the printer was doing.
#[test]
fn a_state_that_is_not_a_guess_reads_as_the_state_it_was_told_from() {
    let lives = [HotEnd::Separate, HotEnd::Shared].map(life);
    let mut wrong = Vec::new();
    for host in &HOSTS {
        for moment in MOMENTS {
            let readings = window(&lives[usize::from(host.hot_end == HotEnd::Shared)], moment);
            let (found, snapshots) = seen(host, &readings);
            let proposal = propose(&found, &snapshots, &Answers::default());
            let Some(field) = proposal.field(Kind::State).filter(|field| field.certainty > Certainty::Guess) else {
                continue;
            };
            let first = field.places.iter().find_map(|place| {
                let document = snapshots[0].documents[place.document].as_ref()?;
                let raw = Selector::parse(&place.path).unwrap().one(document).ok()?.clone();
                let (_, words) = place.form.iter().find(|(key, _)| *key == "words")?;
                let text = raw.as_str().map_or_else(|| raw.to_string(), str::to_owned);
                JobState::of_word(words.get(&text)?.as_str()?)
            });
            if first.is_some_and(|first| first != readings[0].job.state) {
                wrong.push(format!("{} {moment:?} {}: {first:?}", host.name, field.certainty));
            }
        }
    }
    assert!(wrong.is_empty(), "{}", wrong.join("\n"));
}

/// What is proposed is taken by the configuration's own check, and reads as a reading.
#[test]
fn every_proposal_with_a_state_is_a_configuration_that_reads_its_host() {
    let lives = [HotEnd::Separate, HotEnd::Shared].map(life);
    let (mut parsed, mut wrong) = (0, Vec::new());
    for host in &HOSTS {
        for moment in MOMENTS {
            let readings = window(&lives[usize::from(host.hot_end == HotEnd::Shared)], moment);
            let (found, snapshots) = seen(host, &readings);
            let proposal = propose(&found, &snapshots, &Answers::default());
            let has_heater = proposal.field(Kind::ToolActual(0)).is_some();
            if proposal.field(Kind::State).is_none() || !proposal.open_words.is_empty() || !has_heater {
                continue;
            }
            let text = proposal.toml();
            match crate::config::Config::parse(&text, std::path::Path::new("bench.toml")) {
                Ok(config) => {
                    let printer = &config.printers()[0];
                    let kept: Vec<Option<Value>> = printer
                        .source
                        .documents
                        .iter()
                        .map(|document| {
                            let at = found.documents.iter().position(|known| known.name == document.name).unwrap();
                            snapshots[0].documents[at].clone()
                        })
                        .collect();
                    let read = crate::host::understand(&printer.map, &kept, readings[0].at, false);
                    let told = read.as_ref().ok().and_then(|read| read.tools[0].actual);
                    if told.is_none() {
                        wrong.push(format!("{} {moment:?}: {read:?}", host.name));
                    }
                    parsed += 1;
                }
                Err(error) => wrong.push(format!("{} {moment:?}: {error}\n{text}", host.name)),
            }
        }
    }
    assert!(wrong.is_empty(), "{}", wrong.join("\n"));
    assert!(parsed > 60, "{parsed}");
}
