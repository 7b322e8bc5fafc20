use super::*;
use crate::entry::{HotEnd, Job, JobState, PrinterName, Reading};
use crate::store::{Commit, Reader, Store};
use crate::tracker::Effect;
use dwell_analysis::time::Timestamp;
use std::fs;
use std::path::PathBuf;

/// A record of a few batches, closed.
fn record(folder: &Path) -> PathBuf {
    let path = folder.join("bench.db");
    let (store, bench) = (Store::open(&path).unwrap(), PrinterName::new("bench").unwrap());
    store.ensure_printer(&bench, HotEnd::Separate, 1).unwrap();
    let sample = |second: i64| {
        let at = Timestamp::from_ms(1_770_000_000_000 + second * 1000);
        let job = Job { state: JobState::None, name: None, fraction_millionths: None, byte: None };
        let reading = Reading { at, after_gap: false, job, active_tool: None, tools: Vec::new(), bed: None };
        Effect::Sample { reading, tools: Vec::new() }
    };
    let effects = (0..3600).map(sample).collect();
    let began = Effect::PrintStarted { started: Timestamp::from_ms(1_770_000_000_000), name: Some("gull".into()) };
    let commit = |effects| Commit { printer: bench.clone(), effects, alarms: Vec::new(), notices: false };
    store.commit(commit(effects)).unwrap();
    store.commit(commit(vec![began])).unwrap();
    path
}

#[test]
fn each_kind_of_damage_is_found_and_a_sound_record_is_sound() {
    let folder = tempfile::tempdir().unwrap();
    let path = record(folder.path());
    let sound = fs::read(&path).unwrap();
    let examined = || examine(&path, &Halt::default());
    examined().unwrap();
    let sql = |text: &str| {
        let db = Connection::open(&path).unwrap();
        db.execute_batch("PRAGMA foreign_keys = OFF; PRAGMA ignore_check_constraints = ON").unwrap();
        db.execute_batch(text).unwrap();
    };
    let garbage = |from: usize, len: usize| {
        let mut bytes = sound.clone();
        bytes[from..from + len].fill(0xa5);
        fs::write(&path, bytes).unwrap();
    };
    let body = "UPDATE sample SET body = ";
    let makers: [(&str, &dyn Fn()); 8] = [
        ("times", &|| sql("UPDATE sample SET ended_ms = ended_ms + 1 WHERE began_ms = 1770000000000")),
        ("packed readings", &|| sql(&format!("{body} substr(body, 1, 9)"))),
        ("packed readings", &|| sql(&format!("{body} x''"))),
        ("names no printer", &|| sql("UPDATE print SET printer = 3")),
        ("CHECK constraint", &|| sql("UPDATE printer SET hot_end = 'sepbrate'")),
        ("", &|| garbage(sound.len() / 2048 * 1024, 1024)),
        ("", &|| garbage(0, 100)),
        ("", &|| fs::write(&path, &sound[..sound.len() - 300]).unwrap()),
    ];
    for (n, (said, make)) in makers.iter().enumerate() {
        make();
        let Err(error) = examined() else { unreachable!("{n}: {said} was not found") };
        let StoreError::Damaged { path: Some(named), found } = &error else { unreachable!("{n}: {error}") };
        assert!(*named == path && found.contains(said), "{n}: {found}");
        fs::write(&path, &sound).unwrap();
    }
    examined().unwrap();
    let refused = Reader::open(&folder.path().join("none.db")).unwrap_err();
    assert!(matches!(refused, StoreError::Absent { .. }));
}

#[test]
fn a_check_that_is_told_to_stop_stops() {
    let folder = tempfile::tempdir().unwrap();
    let path = record(folder.path());
    let halt = Halt::default();
    halt.tell();
    assert!(matches!(examine(&path, &halt), Err(StoreError::Halted)));
}
