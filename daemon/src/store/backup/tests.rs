use super::*;
use crate::entry::{HotEnd, Job, JobState, PrinterName, Reading, ToolNumber};
use crate::store::{Commit, SpanFilter, Store, StoreError, examine};
use crate::tracker::{Context, Effect};
use dwell_analysis::time::Timestamp;
use std::collections::BTreeSet;
use std::path::PathBuf;
use std::sync::atomic::{AtomicBool, Ordering};

/// A span that begins at a reading, as one commit.
fn span(bench: &PrinterName, second: i64) -> Commit {
    let at = Timestamp::from_ms(1_770_000_000_000 + second * 1000);
    let job = Job { state: JobState::None, name: None, fraction_millionths: None, byte: None };
    let reading = Reading { at, after_gap: false, job, active_tool: None, tools: Vec::new(), bed: None };
    let tool = ToolNumber::new(0).unwrap();
    let began = Effect::SpanBegan { tool, began: at, context: Context::NoPrint, print: None, target: None };
    let effects = vec![Effect::Sample { reading, tools: Vec::new() }, began];
    Commit { printer: bench.clone(), effects, alarms: Vec::new(), notices: false }
}

fn record(folder: &Path) -> (Store, PrinterName) {
    let (store, bench) = (Store::open(&folder.join("bench.db")).unwrap(), PrinterName::new("bench").unwrap());
    store.ensure_printer(&bench, HotEnd::Separate, 1).unwrap();
    (store, bench)
}

fn names(folder: &Path) -> Vec<PathBuf> {
    let mut names: Vec<_> = fs::read_dir(folder).unwrap().map(|entry| entry.unwrap().path()).collect();
    names.sort();
    names
}

/// How many events a copy holds, each with its reading.
fn events(copy: &Path, bench: &PrinterName) -> usize {
    let db = Connection::open(copy).unwrap();
    let whole: String = db.query_row("PRAGMA integrity_check", [], |row| row.get(0)).unwrap();
    assert_eq!(whole, "ok");
    assert!(!db.prepare("PRAGMA foreign_key_check").unwrap().exists([]).unwrap());
    drop(db);
    examine(copy, &Halt::default()).unwrap();
    let reader = Reader::open(copy).unwrap();
    let readings = reader.readings(bench, None, None).unwrap();
    let read: BTreeSet<_> = readings.map(|reading| reading.unwrap().at.as_ms()).collect();
    let spans = reader.spans(&SpanFilter::default()).unwrap();
    assert!(spans.iter().all(|span| read.contains(&span.began.as_ms())), "an event without its reading");
    spans.len()
}

#[test]
fn a_backup_beside_a_busy_writer_is_whole_and_has_no_event_without_its_readings() {
    let folder = tempfile::tempdir().unwrap();
    let (store, bench) = record(folder.path());
    for second in 0..500 {
        store.commit(span(&bench, second)).unwrap();
    }
    let is_done = AtomicBool::new(false);
    let mut counts = Vec::new();
    let n_written = std::thread::scope(|scope| {
        let writer = scope.spawn(|| {
            let mut second = 500;
            while !is_done.load(Ordering::Relaxed) {
                store.commit(span(&bench, second)).unwrap();
                second += 1;
            }
            second
        });
        for n in 0..8 {
            let copy = folder.path().join(format!("copy-{n}.db"));
            store.reader().unwrap().backup(&copy).unwrap();
            counts.push(events(&copy, &bench));
        }
        is_done.store(true, Ordering::Relaxed);
        writer.join().unwrap()
    });
    assert!(counts.iter().all(|count| i64::try_from(*count).unwrap() <= n_written), "made up: {counts:?}");
    assert!(counts[0] >= 500 && counts.is_sorted() && counts[0] < counts[7], "the writer stood still: {counts:?}");
    assert!(names(folder.path()).iter().all(|path| !path.to_string_lossy().ends_with(UNFINISHED)));
}

#[test]
fn a_backup_never_overwrites_and_one_that_fails_leaves_nothing() {
    let folder = tempfile::tempdir().unwrap();
    let (store, bench) = record(folder.path());
    for second in 0..200 {
        store.commit(span(&bench, second)).unwrap();
    }
    let copy = folder.path().join("copy.db");
    fs::write(&copy, "a letter").unwrap();
    let before = names(folder.path());
    let refused = store.reader().unwrap().backup(&copy).unwrap_err().to_string();
    assert!(refused.contains("copy.db") && refused.contains("never overwrites"), "{refused}");
    assert_eq!(fs::read_to_string(&copy).unwrap(), "a letter");
    let nowhere = folder.path().join("nowhere").join("copy.db");
    assert!(matches!(store.reader().unwrap().backup(&nowhere).unwrap_err(), StoreError::Backup { .. }));
    let halt = Halt::default();
    halt.tell();
    let other = folder.path().join("other.db");
    assert!(matches!(backup(store.path(), &other, &halt), Err(StoreError::Halted)));
    assert_eq!(names(folder.path()), before);
    // The same reader goes on after a backup that failed.
    let reader = store.reader().unwrap();
    assert!(reader.backup(&copy).is_err());
    reader.backup(&other).unwrap();
    assert_eq!(events(&other, &bench), reader.spans(&SpanFilter::default()).unwrap().len());
}

#[test]
fn a_log_that_is_torn_at_its_end_costs_the_last_commit_alone() {
    let folder = tempfile::tempdir().unwrap();
    let (store, bench) = record(folder.path());
    for second in 0..20 {
        store.commit(span(&bench, second)).unwrap();
    }
    let log = fs::read(folder.path().join("bench.db-wal")).unwrap();
    let frame = 512 + 24;
    assert!(log.len() > 20 * frame && (log.len() - 32).is_multiple_of(frame), "not yet in the database: {}", log.len());
    let garble = |at: usize| {
        let mut log = log.clone();
        log[at] ^= 0x10;
        log
    };
    for (told, torn) in [
        ("a byte of the last page", garble(log.len() - 500)),
        ("a byte of the last frame's head", garble(log.len() - frame + 3)),
        ("cut in the last frame", log[..log.len() - 700].to_vec()),
        ("cut before the last frame", log[..log.len() - frame].to_vec()),
    ] {
        let place = tempfile::tempdir().unwrap();
        let copy = place.path().join("bench.db");
        fs::copy(folder.path().join("bench.db"), &copy).unwrap();
        fs::write(place.path().join("bench.db-wal"), torn).unwrap();
        drop(Store::open(&copy).unwrap());
        assert_eq!(events(&copy, &bench), 19, "{told}");
    }
}
