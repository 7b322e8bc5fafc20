//! A week without a network, and an hour of ten thousand alarms, on a time of their own: the real record and the real
//! couriers, told what time it is and what became of each message.

use dwell_analysis::time::Timestamp;
use dwell_analysis::units::Seconds;
use dwellwatch::alarm::{AlarmEffect, Priority, Rule, Subject};
use dwellwatch::entry::{HotEnd, PrinterName, ToolNumber};
use dwellwatch::notify::{Channel, Courier, Kind, Message, Quiet, Route, SendFault, Turn, Way};
use dwellwatch::store::{Commit, Store};
use jiff::civil::time;
use jiff::tz::TimeZone;
use rand::{RngExt, SeedableRng};
use rand_chacha::ChaCha8Rng;
use std::collections::{BTreeMap, HashSet};
use std::path::Path;
use std::sync::Arc;
use tokio::runtime::{Builder, Runtime};

/// A Monday, 08:00 UTC.
const START: Timestamp = Timestamp::from_ms(1_772_438_400_000);

pub(super) fn at(second: f64) -> Timestamp {
    START + Seconds::new(second)
}

pub(super) fn runtime() -> Runtime {
    Builder::new_current_thread().enable_all().build().unwrap()
}

pub(super) fn printer(number: usize) -> PrinterName {
    PrinterName::new(&format!("bench{number}")).unwrap()
}

/// A record with so many printers.
pub(super) fn open(db: &Path, n_printers: usize) -> Store {
    let store = Store::open(db).unwrap();
    for number in 0..n_printers {
        store.ensure_printer(&printer(number), HotEnd::Separate, 16).unwrap();
    }
    store
}

fn subject(number: usize) -> Subject {
    Subject { rule: Rule::IdleHot, tool: ToolNumber::new(number % 16) }
}

pub(super) fn raise(number: usize, at: Timestamp, priority: Priority) -> AlarmEffect {
    let [cause, consequence, action] = ["It waits hot.", "It oozes.", "Switch it off."].map(str::to_owned);
    AlarmEffect::Raised { subject: subject(number), at, priority, suppressed: None, cause, consequence, action }
}

fn gone(number: usize, raised: Timestamp, at: Timestamp) -> AlarmEffect {
    AlarmEffect::Returned { subject: subject(number), raised, at, is_superseded: false }
}

pub(super) fn commit(store: &Store, printer: PrinterName, alarms: Vec<AlarmEffect>) {
    store.commit(Commit { printer, effects: Vec::new(), alarms, notices: true }).unwrap();
}

pub(super) fn channel(name: &str, route: Route) -> Channel {
    Channel { name: name.to_owned(), route, way: Way::Command(no_program()) }
}

/// The test is told what is sent; no way is gone.
fn no_program() -> dwellwatch::notify::CommandPlan {
    dwellwatch::notify::CommandPlan { run: Vec::new(), deadline: std::time::Duration::ZERO }
}

pub(super) fn everything() -> Route {
    Route { from: Priority::Low, returns: true, quiet: None }
}

/// Lets a courier do all that is to be done now.
pub(super) async fn turns(
    courier: &mut Courier,
    now: Timestamp,
    mut sends: impl FnMut(&Message) -> Result<(), SendFault>,
) {
    while let Turn::Send(underway) = courier.turn(now).await.unwrap() {
        let answer = sends(&underway.message);
        courier.answered(*underway, answer, now).await.unwrap();
    }
}

pub(super) fn no_network() -> Result<(), SendFault> {
    Err(SendFault::new("no route to host"))
}

/// What the other end has been told, and what it took note of.
#[derive(Default)]
struct Far {
    messages: Vec<(Timestamp, Message)>,
    n_tries: usize,
}

impl Far {
    fn take(&mut self, now: Timestamp, message: &Message) {
        self.messages.push((now, message.clone()));
    }

    /// Messages of one key are one, and say the same.
    fn once(&self) -> Vec<&Message> {
        let mut seen: BTreeMap<&str, &Message> = BTreeMap::new();
        let mut once = Vec::new();
        for (_, message) in &self.messages {
            match seen.insert(&message.key, message) {
                Some(before) => assert_eq!(before, message, "one key, two contents"),
                None => once.push(message),
            }
        }
        once
    }

    fn keys(&self) -> Vec<String> {
        let once = self.once();
        once.iter().flat_map(|message| &message.notices).map(|notice| notice.key().to_owned()).collect()
    }
}

pub(super) fn outbox_keys(db: &Path) -> Vec<String> {
    let db = rusqlite::Connection::open(db).unwrap();
    let mut statement = db.prepare("SELECT key FROM outbox ORDER BY id").unwrap();
    statement.query_map([], |row| row.get(0)).unwrap().collect::<Result<_, _>>().unwrap()
}

#[test]
fn after_a_week_without_a_network_and_a_restart_all_arrives_once_in_order_in_few_messages() {
    let folder = tempfile::tempdir().unwrap();
    let db = folder.path().join("bench.db");
    let mut store = open(&db, 1);
    let all: Arc<[String]> = ["far".to_owned(), "near".to_owned()].into();
    let couriers =
        |store: &Store| ["far", "near"].map(|name| Courier::new(store.clone(), &channel(name, everything()), &all));
    let mut random = ChaCha8Rng::seed_from_u64(7);
    let mut standing: BTreeMap<usize, Timestamp> = BTreeMap::new();
    let ([mut far, mut near], runtime) = ([Far::default(), Far::default()], runtime());
    let mut pair = couriers(&store);
    let minutes = 8 * 24 * 60;
    let (goes, comes, restarts) = (60, 60 + 7 * 24 * 60, 4 * 24 * 60);
    let mut is_answer_lost = false;
    let mut n_left = 0;
    for minute in 0..minutes {
        let now = at(f64::from(minute) * 60.0);
        if random.random_bool(0.05) {
            let number = random.random_range(0..16);
            if let Some(raised) = standing.remove(&number) {
                commit(&store, printer(0), vec![gone(number, raised, now)]);
            } else {
                standing.insert(number, now);
                commit(&store, printer(0), vec![raise(number, now, Priority::Medium)]);
            }
        }
        if minute == restarts {
            drop(pair);
            drop(store);
            store = open(&db, 1);
            pair = couriers(&store);
        }
        if minute == comes {
            n_left = far.messages.len();
        }
        let [courier, other] = &mut pair;
        runtime.block_on(turns(courier, now, |message| {
            far.n_tries += 1;
            if (goes..comes).contains(&minute) {
                return no_network();
            }
            far.take(now, message);
            // The first answer after it all is lost on the way back.
            if minute >= comes && !std::mem::replace(&mut is_answer_lost, true) {
                return no_network();
            }
            Ok(())
        }));
        runtime.block_on(turns(other, now, |message| {
            near.take(now, message);
            Ok(())
        }));
    }
    drop(pair);
    drop(store);
    let expected = outbox_keys(&db);
    assert!(expected.len() > 400, "{}", expected.len());
    assert_eq!(far.keys(), expected, "all, once, in order");
    assert_eq!(near.keys(), expected, "another channel's trouble is not its own");
    let late = far.once().len() - n_left;
    println!(
        "{} notices; a week of no network: {} tries, then {late} messages; the other channel {}",
        expected.len(),
        far.n_tries,
        near.once().len()
    );
    assert!(far.messages.len() > far.once().len(), "a lost answer makes it come again, under its key");
    let after: Vec<_> = far.once().iter().skip(n_left).map(|message| (message.kind, message.notices.len())).collect();
    // The one that was under way, and all the rest; then a day as any other.
    assert_eq!((after[0].0, after[1].0), (Kind::Single, Kind::Group), "{after:?}");
    let together: usize = after.iter().take(2).map(|(_, n)| n).sum();
    assert!(together > 350, "{after:?}");
    let db = rusqlite::Connection::open(&db).unwrap();
    let open: u32 = db.query_row("SELECT count(*) FROM outbox WHERE settled_ms IS NULL", [], |row| row.get(0)).unwrap();
    assert_eq!(open, 0);
}

/// Three ways: all of it, all but the returns and with quiet hours, and what is urgent alone.
fn ways() -> [Channel; 3] {
    let quiet = Quiet { from: time(8, 30, 0, 0), to: time(10, 0, 0, 0), zone: TimeZone::UTC, passes: Priority::High };
    [
        channel("all", everything()),
        channel("calm", Route { returns: false, quiet: Some(quiet), ..everything() }),
        channel("urgent", Route { from: Priority::High, returns: false, quiet: None }),
    ]
}

#[test]
fn ten_thousand_alarms_in_an_hour_lose_none_and_are_few_messages() {
    const N_ALARMS: usize = 10_000;
    let folder = tempfile::tempdir().unwrap();
    let db = folder.path().join("farm.db");
    let mut store = open(&db, 40);
    let all: Arc<[String]> = ways().iter().map(|way| way.name.clone()).collect();
    let couriers = |store: &Store| ways().map(|way| Courier::new(store.clone(), &way, &all));
    let mut couriers_now = couriers(&store);
    let (mut fars, runtime) = ([(); 3].map(|()| Far::default()), runtime());
    let mut raised: Vec<Option<Timestamp>> = vec![None; 40 * 16];
    let (mut n_raised, mut number, mut n_urgent) = (0, 0, 0);
    for step in 0..(4 * 360) {
        let now = at(f64::from(step) * 10.0);
        // What came in ten seconds, a commit a printer.
        let mut came: BTreeMap<usize, Vec<AlarmEffect>> = BTreeMap::new();
        for _ in 0..(if step < 360 { 56 } else { 0 }) {
            number = (number + 1) % raised.len();
            let alarms = came.entry(number / 16).or_default();
            match raised[number].take() {
                Some(since) => alarms.push(gone(number, since, now)),
                None if n_raised < N_ALARMS => {
                    n_raised += 1;
                    let priority = if n_raised % 20 == 0 { Priority::High } else { Priority::Low };
                    n_urgent += usize::from(priority == Priority::High);
                    raised[number] = Some(now);
                    alarms.push(raise(number, now, priority));
                }
                None => {}
            }
        }
        for (whose, alarms) in came {
            commit(&store, printer(whose), alarms);
        }
        if step == 200 {
            drop(couriers_now);
            drop(store);
            store = open(&db, 40);
            couriers_now = couriers(&store);
        }
        for (courier, far) in couriers_now.iter_mut().zip(&mut fars) {
            runtime.block_on(turns(courier, now, |message| {
                far.take(now, message);
                Ok(())
            }));
        }
    }
    let told: Vec<Vec<String>> = fars.iter().map(Far::keys).collect();
    for (way, (far, keys)) in ways().iter().zip(fars.iter().zip(&told)) {
        let once: HashSet<&String> = keys.iter().collect();
        assert_eq!(once.len(), keys.len(), "{}: a notice came in two messages", way.name);
        let n_carried = keys.iter().filter(|key| key.ends_with("raised")).count();
        println!(
            "{}: {n_raised} alarms in an hour, {} notices carried, {} messages",
            way.name,
            keys.len(),
            far.messages.len()
        );
        let expected = if way.name == "urgent" { n_urgent } else { N_ALARMS };
        assert_eq!(n_carried, expected, "{}", way.name);
        assert!(far.messages.len() < 100, "{}: {} messages", way.name, far.messages.len());
        let n_dropped: u32 = far.messages.iter().map(|(_, message)| message.n_dropped).sum();
        assert_eq!(n_dropped, 0);
    }
    assert_eq!(n_raised, N_ALARMS);
}
