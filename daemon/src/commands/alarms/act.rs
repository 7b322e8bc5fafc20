//! `alarms acknowledge` and the like: what a person does about an alarm, or acknowledges of several. Owns how a word is read and what is said of it.

use crate::cli::{AlarmWord, Place};
use crate::clock::present;
use crate::commands::{Failure, output};
use crate::stamp;
use crate::store::{Acted, AlarmError, AlarmRow, Reader, Store};
use dwell_analysis::time::Timestamp;
use dwell_analysis::units::Seconds;

/// Where the name of the person at the command line is looked for.
const NAMES: [&str; 3] = ["USER", "LOGNAME", "USERNAME"];

/// Numbers that are offered for one that is not there.
const CLOSE_MAX: usize = 5;

pub(super) fn run(place: &Place, act: &AlarmWord) -> Result<(), Failure> {
    let config = place.config()?;
    let database = place.database(config.as_ref())?;
    let at = present(Reader::open(&database)?.newest()?);
    let store = Store::open(&database)?;
    // Of several each is done that can be; what was refused is told after what was done.
    let mut refusals = Vec::new();
    for id in ids(act) {
        match do_it(&store, act, id, at) {
            Ok(acted) => {
                let alarm = store.reader()?.alarm(id)?;
                output::text(&alarm.map_or_else(String::new, |alarm| told(&alarm, act, acted)))?;
            }
            Err(error) => refusals.push(refused(&store, &error)),
        }
    }
    if refusals.is_empty() { Ok(()) } else { Err(Failure::Work(refusals.join("\n"))) }
}

/// The alarms that a word is about.
fn ids(act: &AlarmWord) -> Vec<i64> {
    match act {
        AlarmWord::Acknowledge { ids, .. } => ids.clone(),
        AlarmWord::Shelve { id, .. }
        | AlarmWord::Unshelve { id, .. }
        | AlarmWord::OutOfService { id, .. }
        | AlarmWord::ReturnToService { id, .. }
        | AlarmWord::Mark { id, .. } => vec![*id],
    }
}

fn do_it(store: &Store, act: &AlarmWord, id: i64, at: Timestamp) -> Result<Acted, AlarmError> {
    let who = |by: &Option<String>| by.clone().unwrap_or_else(user);
    match act {
        AlarmWord::Acknowledge { by, why, .. } => store.acknowledge(id, &who(by), why.as_deref(), at),
        AlarmWord::Shelve { minutes, by, why, .. } => {
            store.shelve(id, Seconds::minutes(f64::from(*minutes)), &who(by), why.as_deref(), at)
        }
        AlarmWord::Unshelve { by, .. } => store.unshelve(id, &who(by), None, at),
        AlarmWord::OutOfService { by, why, .. } => store.out_of_service(id, &who(by), Some(why), at),
        AlarmWord::ReturnToService { by, .. } => store.return_to_service(id, &who(by), None, at),
        AlarmWord::Mark { as_what, by, .. } => store.mark(id, as_what == "right", &who(by), at),
    }
}

/// Who is at the command line, as far as the environment tells.
fn user() -> String {
    let name = NAMES.into_iter().filter_map(|name| std::env::var(name).ok()).find(|name| !name.trim().is_empty());
    name.map_or_else(|| "command line".to_owned(), |name| format!("{name} (command line)"))
}

/// Why it was refused, and which alarms there are to choose from.
fn refused(store: &Store, error: &AlarmError) -> String {
    let AlarmError::NoSuchAlarm(_) = error else { return error.to_string() };
    let open = store.reader().and_then(|reader| reader.open_alarms()).unwrap_or_default();
    let numbers: Vec<String> = open.iter().rev().take(CLOSE_MAX).map(|alarm| alarm.id.to_string()).collect();
    let would = if numbers.is_empty() { String::new() } else { format!("; open are {}", numbers.join(", ")) };
    format!("{error}{would}")
}

/// What the alarm is now.
fn told(alarm: &AlarmRow, act: &AlarmWord, acted: Acted) -> String {
    let AlarmRow { id, subject, state, .. } = alarm;
    let tool = subject.tool.map_or_else(String::new, |tool| format!(" {tool}"));
    let whose = alarm.printer.as_ref().map_or_else(|| "the record".to_owned(), ToString::to_string);
    let again = if acted.is_new { "" } else { " already" };
    let now = match act {
        AlarmWord::Mark { as_what, .. } => format!("is{again} marked as {as_what}, and is {state}"),
        _ => format!("is{again} {state}"),
    };
    let until = alarm.shelved_until.map_or_else(String::new, |until| format!(" until {}", stamp::write(until)));
    let stands = match alarm.returned {
        None => "its condition stands".to_owned(),
        Some(returned) => format!("its condition went away {}", stamp::write(returned)),
    };
    format!("alarm {id} ({whose}{tool}, {}) {now}{until}; {stands}\n", subject.rule.word())
}
