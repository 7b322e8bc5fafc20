//! A disk that is full: the daemon goes on watching and alarming from memory, says so, and writes everything when there
//! is room. Each test runs on a small disk of its own (`dwell_tests::small_disk` tells what that needs).
#![expect(clippy::unwrap_used, reason = "a test may stop")]

use dwell_analysis::time::Timestamp;
use dwell_analysis::units::{Celsius, DoseMinutes, Seconds};
use dwell_tests::daemon::Daemon;
use dwell_tests::eventually;
use dwell_tests::receiver::Receiver;
use dwell_tests::simulated::Simulated;
use dwell_tests::small_disk::{SmallDisk, on_small_disk};
use dwellwatch::alarm::{Change, Override, Rule, Rules};
use dwellwatch::clock::wall_now;
use dwellwatch::entry::{CentiCelsius, Heater, HotEnd, Job, JobState, PrinterName, Reading, Settings};
use dwellwatch::pipeline::Pipeline;
use dwellwatch::rehearsal::Shape;
use dwellwatch::store::{AlarmRow, Commit, Committed, PrintFilter, SpanFilter, Store};
use dwellwatch::tracker::{Doing, Effect, ToolNow};
use std::collections::BTreeSet;
use std::path::Path;
use std::sync::Arc;
use std::thread::sleep;
use std::time::Duration;

const PROGRAM: &str = env!("CARGO_BIN_EXE_dwellwatch-under-test");
/// What the page and every error say of it.
const FULL: &str = "no room left on the disk of the database";
/// A small commit may still find room in the last block of the log; a minute of readings, written at once, does not.
const PATIENCE: Duration = Duration::from_secs(100);
/// Between two readings there is at most this, at a poll every 0.2 s on a busy machine.
const HOLE: Seconds = Seconds::new(3.0);
/// Silence that is longer is a gap.
const SILENCE: Duration = Duration::from_secs(21);

fn is_sound(db: &Path) {
    let db = rusqlite::Connection::open(db).unwrap();
    let found: String = db.query_row("PRAGMA integrity_check", [], |row| row.get(0)).unwrap();
    assert_eq!(found, "ok");
}

/// Every key once, and every alarm of the record that was to be told.
fn each_notice_came_once(receiver: &Receiver, alarms: &[AlarmRow]) {
    let notices = receiver.received();
    let keys: BTreeSet<_> = notices.iter().map(|notice| notice.key.clone()).collect();
    assert_eq!(keys.len(), notices.len(), "a notice came twice: {notices:?}");
    let changes: usize = alarms.iter().map(|alarm| 1 + usize::from(alarm.returned.is_some())).sum();
    assert_eq!(notices.len(), changes, "{notices:?} of {alarms:?}");
}

fn no_hole(readings: &[Reading], from: Timestamp, to: Timestamp) {
    assert!(readings[0].at <= from && readings.last().unwrap().at >= to, "{} readings", readings.len());
    let holes: Vec<_> = readings.windows(2).filter(|pair| pair[1].at - pair[0].at > HOLE).collect();
    assert!(holes.is_empty(), "{holes:?}");
}

/// Watches a printer whose T1 has just begun to wait, which is an alarm after twelve seconds.
struct Bench {
    daemon: Daemon,
    receiver: Receiver,
    _host: Simulated,
    _folder: tempfile::TempDir,
}

impl Bench {
    fn new(disk: &SmallDisk) -> Self {
        let (host, receiver) = (Simulated::at_new_turn(11, 900, 1.0), Receiver::start());
        let folder = tempfile::tempdir().unwrap();
        let alert = "[alarm]\nidle_over_c = 40\nidle_for_min = 0.2\n";
        let notify = format!("[notify]\nwebhook = \"{}\"\n", receiver.url());
        let rest = notify + alert + &host.printer(Shape::Hearths, "bench");
        let daemon = Daemon::start_on(PROGRAM, folder.path(), &disk.folder().join("bench.db"), &rest);
        let bench = Self { daemon, receiver, _host: host, _folder: folder };
        let prints = || bench.daemon.record().prints(&PrintFilter::default()).unwrap().len();
        assert!(eventually(PATIENCE, || prints() == 1), "{}", bench.daemon.log());
        // The disk is small from the beginning.
        let is_expected = bench.receiver.received().iter().all(|notice| notice.what() == "disk_low raised");
        assert!(!bench.shows("class=\"unwritten\"") && is_expected, "{:?}", bench.receiver.received());
        bench
    }

    fn shows(&self, text: &str) -> bool {
        self.daemon.page().contains(text)
    }

    fn waits_for(&self, text: &str) {
        assert!(eventually(PATIENCE, || self.shows(text)), "{text}: {}; {}", self.daemon.page(), self.daemon.log());
    }

    fn receives(&self, what: &str) {
        let receives = || self.receiver.count(what) > 0;
        assert!(eventually(PATIENCE, receives), "{what}: {:?}; {}", self.receiver.received(), self.daemon.log());
    }
}

#[test]
fn a_full_disk_is_watched_through_from_memory_and_everything_is_written_when_there_is_room() {
    on_small_disk(
        "a_full_disk_is_watched_through_from_memory_and_everything_is_written_when_there_is_room",
        4096,
        watched_through,
    );
}

fn watched_through(disk: &SmallDisk) {
    let mut bench = Bench::new(disk);
    let from = wall_now();
    disk.fill();

    // What is raised now can't be written; it is on the page and at the receiver all the same.
    bench.receives("idle_hot raised");
    bench.waits_for(FULL);
    assert!(bench.shows("class=\"unwritten\"") && bench.shows("has waited at 40"), "{}", bench.daemon.page());
    let written = bench.daemon.record().alarms(None, None).unwrap();
    assert!(written.iter().all(|alarm| alarm.subject.rule == Rule::DiskLow), "the disk was not full: {written:?}");
    bench.receives("record_full raised");
    assert!(bench.shows("The memory lasts until about"), "{}", bench.daemon.page());
    // A person's word is refused, or it is in the record: the last block that was begun may have room for it.
    let print = bench.daemon.record().prints(&PrintFilter::default()).unwrap().remove(0);
    let page = bench.daemon.page_at(&format!("/prints/{}", print.id));
    let token = page.split_once("name=\"token\" value=\"").unwrap().1.split_once('"').unwrap().0.to_owned();
    let said = format!("token={token}&what=1:jam&severity=2&note={}", "x".repeat(400));
    let answer = bench.daemon.post(&format!("/prints/{}/outcome", print.id), &said);
    let is_kept = answer.starts_with("HTTP/1.1 303");
    assert!(is_kept || answer.starts_with("HTTP/1.1 503") && answer.contains(FULL), "{answer}");
    // Readings go on: more than the silence that would be a gap.
    sleep(SILENCE);
    assert!(!bench.shows("No reading since") && bench.shows("in contact"), "{}", bench.daemon.page());

    let to = wall_now();
    disk.clear();
    bench.receives("record_full returned");
    assert!(eventually(PATIENCE, || !bench.shows("class=\"unwritten\"")), "{}", bench.daemon.page());
    assert!(bench.daemon.lives() && bench.daemon.stop().success(), "{}", bench.daemon.log());
    is_sound(&bench.daemon.db());
    no_hole(&bench.daemon.readings("bench"), from, to);
    let record = bench.daemon.record();
    let alarms = record.alarms(None, None).unwrap();
    let full: Vec<_> = alarms.iter().filter(|alarm| alarm.subject.rule == Rule::RecordFull).collect();
    assert!(full.len() == 1 && full[0].returned.is_some() && full[0].printer.is_none(), "{alarms:?}");
    assert!(alarms.iter().any(|alarm| alarm.subject.rule == Rule::IdleHot && alarm.raised < to), "{alarms:?}");
    each_notice_came_once(&bench.receiver, &alarms);
    assert!(
        record.gaps(None, None).unwrap().is_empty() && record.outcomes(print.id).unwrap().len() == usize::from(is_kept)
    );
}

#[test]
fn a_stop_on_a_full_disk_tells_what_is_lost_and_a_start_there_watches_and_alarms() {
    on_small_disk(
        "a_stop_on_a_full_disk_tells_what_is_lost_and_a_start_there_watches_and_alarms",
        4096,
        stopped_and_started,
    );
}

fn stopped_and_started(disk: &SmallDisk) {
    let mut bench = Bench::new(disk);
    disk.fill();
    bench.receives("idle_hot raised");
    bench.waits_for(FULL);
    assert!(!bench.daemon.stop().success(), "what is lost is a failure");
    let log = bench.daemon.log();
    let lost = log.split_once("steps that the disk never took are lost").unwrap().1.split_once("n_lost=").unwrap().1;
    let n_lost: usize = lost.split_whitespace().next().unwrap().parse().unwrap();
    assert!(n_lost >= 2, "{log}");
    is_sound(&bench.daemon.db());

    // A stop with room leaves nothing beside the record but what is kept for a start without any. When that has been
    // used, all is full again.
    disk.clear();
    bench.daemon.restart();
    assert!(bench.daemon.stop().success());
    assert!(!disk.folder().join("bench.db-shm").exists() && disk.folder().join("bench.db.reserve").exists());
    disk.fill();
    let before = ["idle_hot raised", "record_full raised"].map(|what| (what, bench.receiver.count(what)));
    bench.daemon.restart();
    assert!(!disk.folder().join("bench.db.reserve").exists());
    disk.fill();
    bench.waits_for("in contact");
    for (what, n_before) in before {
        let again = || bench.receiver.count(what) > n_before;
        assert!(eventually(PATIENCE, again), "{what}: {:?}; {}", bench.receiver.received(), bench.daemon.log());
    }
    bench.waits_for(FULL);
    disk.clear();
    bench.receives("record_full returned");
    assert!(bench.daemon.stop().success(), "{}", bench.daemon.log());
    is_sound(&bench.daemon.db());
    assert!(bench.daemon.record().alarms(None, None).unwrap().iter().all(|alarm| alarm.raised <= wall_now()));
}

/// A bench at one reading a second, whose tools take turns every five.
fn reading(second: u32) -> Reading {
    let heater = |degrees| {
        let heat = CentiCelsius::nearest(degrees);
        Heater { actual: heat, target: heat, duty_thousandths: None, fan_thousandths: None }
    };
    let noise = f64::from(second * 7 % 10) / 10.0;
    Reading {
        at: Timestamp::from_ms(1_772_438_400_000) + Seconds::new(f64::from(second)),
        after_gap: false,
        job: Job {
            state: JobState::Printing,
            name: Some(Arc::from("lantern.gcode")),
            fraction_millionths: None,
            byte: None,
        },
        active_tool: Some(usize::from(second / 5 % 2 == 1)),
        tools: vec![heater(210.0 + noise), heater(205.0 - noise)],
        bed: None,
    }
}

/// The bench's record, followed second by second.
struct Followed {
    store: Store,
    pipeline: Pipeline,
    printer: PrinterName,
    second: u32,
}

impl Followed {
    fn new(path: &Path) -> Self {
        let store = Store::open(path).unwrap();
        let printer = PrinterName::new("bench").unwrap();
        store.ensure_printer(&printer, HotEnd::Separate, 2).unwrap();
        let change = Change { on_delay: Some(Seconds::new(3.0)), bound: Some(180.0), ..Change::default() };
        let sooner = Override { rule: Rule::IdleHot, printer: None, material: None, change };
        let rules = Rules { overrides: vec![sooner], ..Rules::default() }.of(&printer);
        let pipeline = Pipeline::new(HotEnd::Separate, vec![Settings::default(); 2], Arc::new(rules));
        Self { store, pipeline, printer, second: 0 }
    }

    /// The next second; gives where a step with events is.
    fn step(&mut self) -> Option<Committed> {
        let step = self.pipeline.read(reading(self.second));
        self.second += 1;
        let commit =
            Commit { printer: self.printer.clone(), effects: step.effects, alarms: step.alarms, notices: true };
        let has_events = commit.has_events();
        let committed = self.store.commit(commit).unwrap();
        has_events.then_some(committed)
    }

    /// All that the record holds, in words.
    fn rows(&self) -> Vec<String> {
        let reader = self.store.reader().unwrap();
        let print = reader.prints(&PrintFilter::default()).unwrap().remove(0);
        let readings = reader.readings(&self.printer, None, None).unwrap().map(|reading| format!("{reading:?}"));
        let spans = reader.spans(&SpanFilter::default()).unwrap();
        let told = [
            format!("{:?}", reader.tool_changes(print.id).unwrap()),
            format!("{:?}", reader.alarms(None, None).unwrap()),
        ];
        readings.chain(spans.iter().map(|span| format!("{span:?}"))).chain(told).collect()
    }
}

#[test]
fn wherever_in_a_commit_the_disk_fills_the_record_is_whole_and_lacks_nothing_afterwards() {
    on_small_disk("wherever_in_a_commit_the_disk_fills_the_record_is_whole_and_lacks_nothing_afterwards", 8192, swept);
}

/// From a record that has just begun, and from one whose log is about to be carried over into the database.
fn swept(disk: &SmallDisk) {
    let path = disk.folder().join("bench.db");
    let log = disk.folder().join("bench.db-wal");
    let elsewhere = tempfile::tempdir().unwrap();
    let mut written = BTreeSet::new();
    // The program under test carries its log over at 1000 pages, which are 536 kB of it.
    for log_full in [0, 500_000] {
        for room_kib in (0..=40).step_by(4) {
            let mut bench = Followed::new(&path);
            while bench.second < 7 || std::fs::metadata(&log).unwrap().len() < log_full {
                assert_ne!(bench.step(), Some(Committed::Waiting));
            }
            disk.fill_but(room_kib);
            let steps: Vec<_> = (0..300).filter_map(|_| bench.step()).collect();
            let context = format!("{room_kib} KiB, log of {log_full}: {steps:?}");
            let n_written = steps.iter().take_while(|step| **step == Committed::Durable).count();
            assert!(n_written < steps.len(), "never full: {context}");
            assert!(steps[n_written..].iter().all(|step| *step == Committed::Waiting), "out of order: {context}");
            written.insert(n_written);
            let unwritten = bench.store.unwritten().unwrap();
            assert!(unwritten.n_events >= steps.len() - n_written, "{context}: {unwritten:?}");
            is_sound(&path);
            disk.clear();
            bench.store.flush().unwrap();
            assert_eq!(bench.store.unwritten(), None, "{context}");
            is_sound(&path);
            let mut whole = Followed::new(&elsewhere.path().join(format!("{log_full}-{room_kib}.db")));
            while whole.second < bench.second {
                whole.step();
            }
            whole.store.flush().unwrap();
            assert_eq!(bench.rows(), whole.rows(), "{context}");
            drop(bench);
            std::fs::remove_file(&path).unwrap();
        }
    }
    assert!(written.len() >= 4, "the disk never filled at different commits: {written:?}");
}

/// Resident memory of this process, MB.
fn resident_mb() -> f64 {
    let status = std::fs::read_to_string("/proc/self/status").unwrap();
    let line = status.lines().find_map(|line| line.strip_prefix("VmRSS:")).unwrap();
    line.trim().trim_end_matches(" kB").parse::<f64>().unwrap() / 1e3
}

#[test]
fn what_waits_for_a_full_disk_takes_no_more_memory_than_its_bound_allows() {
    on_small_disk("what_waits_for_a_full_disk_takes_no_more_memory_than_its_bound_allows", 32_768, bounded);
}

#[expect(clippy::print_stdout, reason = "a measured figure, seen with --nocapture")]
fn bounded(disk: &SmallDisk) {
    let (printers, seconds, bound) = (20, 8000, 150_000);
    let store = Store::open(&disk.folder().join("bench.db")).unwrap();
    let names: Vec<_> = (0..printers).map(|idx| PrinterName::new(&format!("bench-{idx}")).unwrap()).collect();
    for name in &names {
        store.ensure_printer(name, HotEnd::Separate, 2).unwrap();
    }
    let tool = ToolNow {
        doing: Doing::Cold,
        actual: Some(Celsius::new(210.0)),
        target: None,
        dose: DoseMinutes::new(0.0),
        limit: DoseMinutes::new(60.0),
    };
    disk.fill();
    let before = resident_mb();
    for second in 0..seconds {
        for printer in names.iter().cloned() {
            let effects = vec![Effect::Sample { reading: reading(second), tools: vec![tool; 2] }];
            let notices = true;
            store.commit(Commit { printer, effects, alarms: Vec::new(), notices }).unwrap();
        }
    }
    let taken = resident_mb() - before;
    let unwritten = store.unwritten().unwrap();
    println!("{taken:.0} MB for {unwritten:?}");
    assert!(taken < 150.0, "{taken} MB");
    // What the batches held when the disk filled comes on top.
    let n_in_batches = unwritten.n_steps - bound;
    assert!(n_in_batches <= 61 * names.len(), "{unwritten:?}");
    let n_told = usize::try_from(seconds).unwrap() * names.len();
    let n_written = || -> usize {
        let reader = store.reader().unwrap();
        names.iter().map(|name| reader.readings(name, None, None).unwrap().count()).sum()
    };
    // A first few batches may still have found room.
    let n_before = n_written();
    assert_eq!(n_before + unwritten.n_steps + unwritten.dropped.readings, n_told, "{unwritten:?}");
    disk.clear();
    store.flush().unwrap();
    assert_eq!(n_written(), n_before + unwritten.n_steps);
}
