//! `alarms acknowledge` and the like: what a person does about one alarm. Owns how a word is read and what is said of it.

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
    let (id, acted) = match do_it(&store, act, at) {
        Ok(done) => done,
        Err(error) => return Err(refused(&store, &error)),
    };
    let alarm = store.reader()?.alarm(id)?;
    let said = alarm.map_or_else(String::new, |alarm| told(&alarm, act, acted));
    output::text(&said)
}

fn do_it(store: &Store, act: &AlarmWord, at: Timestamp) -> Result<(i64, Acted), AlarmError> {
    let who = |by: &Option<String>| by.clone().unwrap_or_else(user);
    let (id, acted) = match act {
        AlarmWord::Acknowledge { id, by, why } => (id, store.acknowledge(*id, &who(by), why.as_deref(), at)?),
        AlarmWord::Shelve { id, minutes, by, why } => {
            let lasting = Seconds::minutes(f64::from(*minutes));
            (id, store.shelve(*id, lasting, &who(by), why.as_deref(), at)?)
        }
        AlarmWord::Unshelve { id, by } => (id, store.unshelve(*id, &who(by), None, at)?),
        AlarmWord::OutOfService { id, by, why } => (id, store.out_of_service(*id, &who(by), Some(why), at)?),
        AlarmWord::ReturnToService { id, by } => (id, store.return_to_service(*id, &who(by), None, at)?),
        AlarmWord::Mark { id, as_what, by } => (id, store.mark(*id, as_what == "right", &who(by), at)?),
    };
    Ok((*id, acted))
}

/// Who is at the command line, as far as the environment tells.
fn user() -> String {
    let name = NAMES.into_iter().filter_map(|name| std::env::var(name).ok()).find(|name| !name.trim().is_empty());
    name.map_or_else(|| "command line".to_owned(), |name| format!("{name} (command line)"))
}

/// Why it was refused, and which alarms there are to choose from.
fn refused(store: &Store, error: &AlarmError) -> Failure {
    let AlarmError::NoSuchAlarm(_) = error else { return Failure::Work(error.to_string()) };
    let open = store.reader().and_then(|reader| reader.open_alarms()).unwrap_or_default();
    let numbers: Vec<String> = open.iter().rev().take(CLOSE_MAX).map(|alarm| alarm.id.to_string()).collect();
    let would = if numbers.is_empty() { String::new() } else { format!("; open are {}", numbers.join(", ")) };
    Failure::Work(format!("{error}{would}"))
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
