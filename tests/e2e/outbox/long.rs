//! A week without a network, and an hour of ten thousand alarms, on a time of their own: the real record and the real
//! couriers, told what time it is and what became of each message.

use dwell_analysis::time::Timestamp;
use dwell_analysis::units::Seconds;
use dwellwatch::alarm::{AlarmEffect, Priority, Rule, Subject};
use dwellwatch::entry::{HotEnd, PrinterName, ToolNumber};
use dwellwatch::notify::{Channel, CommandPlan, Courier, Kind, Message, Quiet, Route, SendFault, Turn, Way};
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
    // The test is told what is sent; no way is gone.
    let no_program = CommandPlan { run: Vec::new(), deadline: std::time::Duration::ZERO };
    Channel { name: name.to_owned(), route, way: Way::Command(no_program) }
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

/// An alarm is raised, or returns if it stands.
fn come_or_go(number: usize, standing: &mut BTreeMap<usize, Timestamp>, now: Timestamp) -> AlarmEffect {
    if let Some(raised) = standing.remove(&number) {
        return gone(number, raised, now);
    }
    standing.insert(number, now);
    raise(number, now, Priority::Medium)
}

/// What came since the network did: the one that was under way, and all the rest; then a day as any other.
fn all_that_waited_came_together(since: &[&Message]) {
    let after: Vec<_> = since.iter().map(|message| (message.kind, message.notices.len())).collect();
    assert_eq!((after[0].0, after[1].0), (Kind::Single, Kind::Group), "{after:?}");
    let together: usize = after.iter().take(2).map(|(_, n)| n).sum();
    assert!(together > 350, "{after:?}");
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
            let alarm = come_or_go(random.random_range(0..16), &mut standing, now);
            commit(&store, printer(0), vec![alarm]);
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
    all_that_waited_came_together(&far.once()[n_left..]);
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

const N_ALARMS: usize = 10_000;

/// Forty printers of sixteen tools that have gone wild for an hour.
struct Farm {
    raised: Vec<Option<Timestamp>>,
    number: usize,
    n_raised: usize,
    n_urgent: usize,
}

impl Farm {
    /// What comes in ten seconds, by printer.
    fn ten_seconds(&mut self, now: Timestamp) -> BTreeMap<usize, Vec<AlarmEffect>> {
        let mut came: BTreeMap<usize, Vec<AlarmEffect>> = BTreeMap::new();
        for _ in 0..56 {
            self.number = (self.number + 1) % self.raised.len();
            let alarms = came.entry(self.number / 16).or_default();
            match self.raised[self.number].take() {
                Some(since) => alarms.push(gone(self.number, since, now)),
                None if self.n_raised < N_ALARMS => {
                    self.n_raised += 1;
                    let priority = if self.n_raised.is_multiple_of(20) { Priority::High } else { Priority::Low };
                    self.n_urgent += usize::from(priority == Priority::High);
                    self.raised[self.number] = Some(now);
                    alarms.push(raise(self.number, now, priority));
                }
                None => {}
            }
        }
        came
    }
}

/// Each notice came in one message, and none is missing of those that go that way.
fn all_came_in_few_messages(way: &Channel, far: &Far, expected: usize) {
    let keys = far.keys();
    let once: HashSet<&String> = keys.iter().collect();
    assert_eq!(once.len(), keys.len(), "{}: a notice came in two messages", way.name);
    let (n_carried, n_messages) = (keys.iter().filter(|key| key.ends_with("raised")).count(), far.messages.len());
    println!("{}: {N_ALARMS} alarms in an hour, {} notices carried, {n_messages} messages", way.name, keys.len());
    assert_eq!(n_carried, expected, "{}", way.name);
    assert!(n_messages < 100, "{}: {n_messages} messages", way.name);
    let n_dropped: u32 = far.messages.iter().map(|(_, message)| message.n_dropped).sum();
    assert_eq!(n_dropped, 0);
}

#[test]
fn ten_thousand_alarms_in_an_hour_lose_none_and_are_few_messages() {
    let folder = tempfile::tempdir().unwrap();
    let db = folder.path().join("farm.db");
    let mut store = open(&db, 40);
    let all: Arc<[String]> = ways().iter().map(|way| way.name.clone()).collect();
    let couriers = |store: &Store| ways().map(|way| Courier::new(store.clone(), &way, &all));
    let mut couriers_now = couriers(&store);
    let (mut fars, runtime) = ([(); 3].map(|()| Far::default()), runtime());
    let mut wild = Farm { raised: vec![None; 40 * 16], number: 0, n_raised: 0, n_urgent: 0 };
    for step in 0..(4 * 360) {
        let now = at(f64::from(step) * 10.0);
        let came = if step < 360 { wild.ten_seconds(now) } else { BTreeMap::new() };
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
    assert_eq!(wild.n_raised, N_ALARMS);
    for (way, far) in ways().iter().zip(&fars) {
        all_came_in_few_messages(way, far, if way.name == "urgent" { wild.n_urgent } else { N_ALARMS });
    }
}
