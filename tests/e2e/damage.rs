//! A damaged record from outside: the daemon sets it aside and watches on, offers the newest sound backup, and the words
//! of its alarm bring the backup back. And whose record it is: one daemon's, and no other program's.
#![expect(clippy::unwrap_used, reason = "a test may stop")]

use dwell_tests::daemon::Daemon;
use dwell_tests::eventually;
use dwell_tests::simulated::Simulated;
use dwellwatch::alarm::Rule;
use dwellwatch::rehearsal::Shape;
use dwellwatch::store::{AlarmRow, PrintFilter, Reader};
use std::fs;
use std::os::unix::fs::{FileExt, symlink};
use std::path::{Path, PathBuf};
use std::process::{Command, Output};
use std::time::Duration;
use tempfile::TempDir;

const PROGRAM: &str = env!("CARGO_BIN_EXE_dwellwatch-under-test");
const PATIENCE: Duration = Duration::from_mins(1);
/// Simulated seconds a real second: tool changes every few seconds, each an event.
const RATE: f64 = 20.0;
/// From here on the job changes tools every minute or two, simulated seconds.
const STEADY_FROM: i64 = 900;
const PAGE: u64 = 512;

/// A daemon that watches a simulated host, with a folder of its own.
struct Bench {
    daemon: Daemon,
    folder: TempDir,
    _host: Simulated,
}

impl Bench {
    fn new() -> Self {
        let host = Simulated::at_new_turn(11, STEADY_FROM, RATE);
        let folder = tempfile::tempdir().unwrap();
        let daemon = Daemon::start(PROGRAM, folder.path(), &host.printer(Shape::Hearths, "bench"));
        let bench = Self { daemon, folder, _host: host };
        bench.watched(1);
        bench
    }

    /// Waits until the record holds so many tool changes.
    fn watched(&self, n: u32) {
        let changes = || {
            let reader = Reader::open(&self.daemon.db()).ok()?;
            Some(reader.prints(&PrintFilter::default()).ok()?.first()?.tool_changes)
        };
        assert!(eventually(PATIENCE, || changes().is_some_and(|found| found >= n)), "{}", self.daemon.log());
    }

    /// Waits for the alarm of a record that was set aside.
    fn alarm(&self) -> AlarmRow {
        let found = || {
            let alarms = Reader::open(&self.daemon.db()).ok()?.alarms(None, None).ok()?;
            alarms.into_iter().find(|alarm| alarm.subject.rule == Rule::RecordDamaged)
        };
        assert!(eventually(PATIENCE, || found().is_some()), "no alarm; the log: {}", self.daemon.log());
        found().unwrap()
    }

    /// The records that were set aside.
    fn aside(&self) -> Vec<PathBuf> {
        let mut aside = names(self.folder.path());
        aside.retain(|path| {
            path.to_string_lossy().contains("bench.db.damaged-") && path.to_string_lossy().ends_with('Z')
        });
        aside
    }

    fn stop(&mut self) {
        assert!(self.daemon.stop().success(), "{}", self.daemon.log());
    }

    /// The daily backup, once there is one.
    fn backup(&self) -> PathBuf {
        let found = || {
            names(&self.folder.path().join("backups"))
                .into_iter()
                .find(|path| path.extension().is_some_and(|ending| ending == "db"))
        };
        assert!(eventually(PATIENCE, || found().is_some()), "no backup; the log: {}", self.daemon.log());
        found().unwrap()
    }

    fn run(&self, arguments: &[&str]) -> Output {
        Command::new(PROGRAM).arg("--db").arg(self.daemon.db()).args(arguments).output().unwrap()
    }

    /// Runs what has to fail, and gives what it says.
    fn refuses(&self, arguments: &[&str]) -> String {
        let output = self.run(arguments);
        assert_eq!(output.status.code(), Some(1), "{arguments:?}: {}", said(&output));
        said(&output)
    }

    /// A start of the daemon that has to fail.
    fn does_not_start(&self) -> String {
        let config = self.folder.path().join("dwellwatch.toml");
        let output = Command::new(PROGRAM).arg("run").arg("--config").arg(config).output().unwrap();
        assert_eq!(output.status.code(), Some(1), "{}", said(&output));
        said(&output)
    }
}

fn said(output: &Output) -> String {
    String::from_utf8_lossy(&output.stderr).into_owned()
}

fn names(folder: &Path) -> Vec<PathBuf> {
    let Ok(entries) = fs::read_dir(folder) else { return Vec::new() };
    let mut names: Vec<_> = entries.map(|entry| entry.unwrap().path()).collect();
    names.sort();
    names
}

/// Overwrites every page but the first, which tells that it is a database.
fn garble(database: &Path) {
    let file = fs::OpenOptions::new().write(true).open(database).unwrap();
    let len = file.metadata().unwrap().len();
    for page in 1..len / PAGE {
        file.write_all_at(&[0xa5; 512], page * PAGE).unwrap();
    }
}

#[test]
fn a_record_damaged_at_the_start_is_set_aside_and_the_alarm_s_words_restore_the_backup() {
    let mut bench = Bench::new();
    bench.watched(2);
    bench.stop();
    bench.daemon.restart();
    let backup = bench.backup();
    let before = Reader::open(&backup).unwrap().prints(&PrintFilter::default()).unwrap();
    bench.stop();
    let len = fs::metadata(bench.daemon.db()).unwrap().len();
    garble(&bench.daemon.db());
    let damaged = fs::read(bench.daemon.db()).unwrap();

    bench.daemon.restart();
    let alarm = bench.alarm();
    let [aside] = bench.aside().try_into().unwrap();
    assert_eq!((fs::read(&aside).unwrap() == damaged, fs::metadata(&aside).unwrap().len()), (true, len), "whole");
    assert!(alarm.returned.is_none() && alarm.cause.contains(aside.to_str().unwrap()), "{alarm:?}");
    assert!(alarm.action.contains(backup.to_str().unwrap()), "{alarm:?}");
    assert!(eventually(PATIENCE, || bench.daemon.page().contains("record damaged")), "{}", bench.daemon.page());
    assert!(bench.daemon.page().contains(backup.to_str().unwrap()), "{}", bench.daemon.page());
    // It watches on, and knows nothing of before.
    bench.watched(2);
    let since = bench.daemon.record().prints(&PrintFilter::default()).unwrap();
    assert!(since.len() == 1 && since[0].started > before[0].started, "{since:?}");
    // Not in its own time: its log stays behind.
    bench.daemon.kill();
    let n_since = bench.daemon.readings("bench").len();

    let bin = tempfile::tempdir().unwrap();
    symlink(PROGRAM, bin.path().join("dwellwatch")).unwrap();
    let command = alarm.action.split('`').nth(1).unwrap();
    let path = format!("{}:{}", bin.path().display(), std::env::var("PATH").unwrap());
    let restored = Command::new("sh").args(["-c", command]).env("PATH", path).output().unwrap();
    assert!(restored.status.success(), "{command}: {}", said(&restored));
    let n_before = Reader::open(&backup).unwrap();
    let n_before = n_before.readings(&before[0].printer, None, None).unwrap().count();
    assert_eq!(bench.daemon.readings("bench").len(), n_before + n_since, "all from before and since");
    let prints = bench.daemon.record().prints(&PrintFilter::default()).unwrap();
    assert!(prints.iter().any(|print| print.started == before[0].started), "{prints:?}");
    assert!(bench.aside().is_empty());
    bench.daemon.restart();
    assert!(eventually(PATIENCE, || bench.daemon.log().matches("the record is sound").count() >= 2));
    assert!(
        bench.daemon.record().alarms(None, None).unwrap().iter().all(|row| row.subject.rule != Rule::RecordDamaged)
    );
    bench.stop();
}

#[test]
fn a_record_damaged_while_it_is_written_is_set_aside_and_watching_goes_on_in_the_same_process() {
    let mut bench = Bench::new();
    let port = bench.daemon.page();
    assert!(port.contains("200 OK"));
    // All that was written stands in the database itself then, and what the daemon holds of it is out of date.
    let other = rusqlite::Connection::open(bench.daemon.db()).unwrap();
    other.busy_timeout(Duration::from_secs(5)).unwrap();
    let emptied = || other.query_row("PRAGMA wal_checkpoint(TRUNCATE)", [], |row| row.get::<_, i64>(0)).unwrap() == 0;
    assert!(eventually(PATIENCE, emptied));
    garble(&bench.daemon.db());
    let alarm = bench.alarm();
    assert!(alarm.action.contains("no sound backup"), "{alarm:?}");
    assert!(bench.daemon.lives() && bench.daemon.log().matches("dashboard=").count() == 1, "{}", bench.daemon.log());
    bench.watched(2);
    assert!(eventually(PATIENCE, || bench.daemon.page().contains("record damaged")), "{}", bench.daemon.page());
    drop(other);
    // It returns when a person has moved what was set aside, by the next start at the latest.
    let [aside] = bench.aside().try_into().unwrap();
    bench.stop();
    fs::create_dir(bench.folder.path().join("away")).unwrap();
    fs::rename(&aside, bench.folder.path().join("away").join("bench.db")).unwrap();
    bench.daemon.restart();
    assert!(eventually(PATIENCE, || bench.alarm().returned.is_some()), "{}", bench.daemon.log());
    bench.stop();
}

#[test]
fn a_torn_or_unreadable_record_of_ours_is_set_aside_and_another_s_file_is_not() {
    let mut bench = Bench::new();
    bench.stop();
    let torn = fs::OpenOptions::new().write(true).open(bench.daemon.db()).unwrap();
    torn.set_len(torn.metadata().unwrap().len() - PAGE - PAGE / 3).unwrap();
    let reads = bench.refuses(&["prints"]);
    assert!(reads.contains("damaged") && reads.contains("dwellwatch run"), "{reads}");
    bench.daemon.restart();
    bench.watched(1);
    assert_eq!(bench.aside().len(), 1);
    bench.stop();
    // Not a database at all, where one of ours was.
    fs::write(bench.daemon.db(), "no pages at all\n".repeat(400)).unwrap();
    assert!(bench.refuses(&["spans"]).contains("damaged"));
    bench.daemon.restart();
    bench.watched(1);
    assert_eq!(bench.aside().len(), 2);
    bench.stop();
    // The same where no daemon has been: a wrong path in the configuration.
    for (name, ending) in [("bench.db", ""), ("bench.db.watched", ""), ("bench.db", "-wal"), ("bench.db", "-shm")] {
        drop(fs::remove_file(bench.folder.path().join(name.to_owned() + ending)));
    }
    let letter = "a letter\n".repeat(400);
    fs::write(bench.daemon.db(), &letter).unwrap();
    let before = names(bench.folder.path());
    for _ in 0..2 {
        let said = bench.does_not_start();
        assert!(said.contains("bench.db") && said.contains("no SQLite database"), "{said}");
    }
    assert!(bench.refuses(&["replay", "-"]).contains("no SQLite database"));
    assert_eq!((fs::read_to_string(bench.daemon.db()).unwrap(), names(bench.folder.path())), (letter, before));
}

#[test]
fn one_record_belongs_to_one_daemon_and_people_s_commands_work_beside_it() {
    let mut bench = Bench::new();
    bench.watched(2);
    let said = bench.does_not_start();
    assert!(said.contains("another daemon") && said.contains("bench.db"), "{said}");
    let journal = bench.folder.path().join("journal.ndjson");
    fs::write(&journal, "").unwrap();
    let said = bench.refuses(&["replay", journal.to_str().unwrap()]);
    assert!(said.contains("a daemon watches") && said.contains("--db"), "{said}");
    let copy = bench.folder.path().join("copy.db");
    for arguments in [
        &["note", "--print", "latest", "--clean"][..],
        &["part", "fitted", "--printer", "bench", "--tool", "1", "--part", "nozzle"],
        &["backup", copy.to_str().unwrap()],
        &["prints"],
        &["spans"],
        &["journal"],
        &["parts"],
    ] {
        let output = bench.run(arguments);
        assert!(output.status.success(), "{arguments:?}: {}", self::said(&output));
    }
    let copied = Reader::open(&copy).unwrap();
    assert_eq!((copied.parts(None).unwrap().len(), copied.prints(&PrintFilter::default()).unwrap().len()), (1, 1));
    assert!(bench.daemon.lives());
    bench.stop();
    let replayed = bench.run(&["replay", journal.to_str().unwrap()]);
    assert!(replayed.status.success(), "the record is free again: {}", self::said(&replayed));
}

#[test]
fn a_newer_record_is_refused_with_both_numbers_by_every_command() {
    let mut bench = Bench::new();
    bench.stop();
    let db = rusqlite::Connection::open(bench.daemon.db()).unwrap();
    let ours: i64 = db.pragma_query_value(None, "user_version", |row| row.get(0)).unwrap();
    db.pragma_update(None, "user_version", 70).unwrap();
    drop(db);
    for said in [bench.does_not_start(), bench.refuses(&["prints"]), bench.refuses(&["replay", "-"])] {
        assert!(said.contains("schema 70") && said.contains(&format!("schema {ours}")), "{said}");
    }
    assert!(bench.aside().is_empty());
}

#[test]
fn a_backup_without_room_leaves_nothing_behind() {
    let mut bench = Bench::new();
    bench.stop();
    // More than there will be room for.
    let db = rusqlite::Connection::open(bench.daemon.db()).unwrap();
    db.execute_batch("CREATE TABLE mine (body BLOB); INSERT INTO mine VALUES (randomblob(60000))").unwrap();
    drop(db);
    let before = names(bench.folder.path());
    let copy = bench.folder.path().join("copy.db");
    // A file may have 33 KiB then, as on a disk that is full after so much; what SQLite needs for reading has 32.
    assert!(fs::metadata(bench.daemon.db()).unwrap().len() > 34 * 1024);
    let command = format!(
        "trap '' XFSZ; ulimit -f 33; exec {PROGRAM} --db {} backup {}",
        bench.daemon.db().display(),
        copy.display()
    );
    let output = Command::new("bash").args(["-c", &command]).output().unwrap();
    assert_eq!(output.status.code(), Some(1), "{}", said(&output));
    assert!(said(&output).contains("backup") && said(&output).contains("copy.db"), "{}", said(&output));
    let mut after = names(bench.folder.path());
    after.retain(|path| !path.to_string_lossy().ends_with("-wal") && !path.to_string_lossy().ends_with("-shm"));
    assert_eq!(after, before);
}
