use super::*;
use crate::entry::HotEnd;
use crate::store::{Commit, Reader, Store};
use crate::tracker::Effect;

const STARTED: Timestamp = Timestamp::from_ms(1_772_438_400_000);

fn bench() -> PrinterName {
    PrinterName::new("bench").unwrap()
}

fn at(second: i64) -> Timestamp {
    Timestamp::from_ms(STARTED.as_ms() + second * 1000)
}

/// A record with one print, number 1.
fn record() -> (tempfile::TempDir, Store) {
    let folder = tempfile::tempdir().unwrap();
    let store = Store::open(&folder.path().join("record.db")).unwrap();
    store.ensure_printer(&bench(), HotEnd::Separate, 2).unwrap();
    let effects = vec![Effect::PrintStarted { started: STARTED, name: Some("lantern.gcode".into()) }];
    store.commit(Commit { printer: bench(), effects, alarms: Vec::new(), notices: false }).unwrap();
    (folder, store)
}

fn word(second: i64, tool: Option<usize>, mode: Mode) -> Outcome {
    let (job, tool) = ("lantern.gcode".into(), tool.and_then(ToolNumber::new));
    Outcome { at: at(second), job, started: STARTED, tool, mode, severity: None, note: None }
}

fn taken_back(second: i64, word: &Outcome) -> Undo {
    let Outcome { at: said, tool, mode, .. } = *word;
    Undo { at: at(second), job: "lantern.gcode".into(), started: STARTED, said, tool, mode }
}

fn stands(reader: &Reader) -> Vec<(Option<usize>, Mode)> {
    in_force(&reader.outcomes(1).unwrap()).iter().map(|row| (row.tool.map(ToolNumber::idx), row.mode)).collect()
}

#[test]
fn what_is_taken_back_keeps_its_row_and_what_it_replaced_stands_again() {
    let (_folder, store) = record();
    let (jam, clean) = (word(10, Some(0), Mode::Jam), word(20, None, Mode::Clean));
    store.say(&bench(), &jam).unwrap();
    store.say(&bench(), &clean).unwrap();
    assert_eq!(stands(&store.reader().unwrap()), [(None, Mode::Clean)]);
    store.undo(&bench(), &taken_back(30, &clean)).unwrap();
    let reader = store.reader().unwrap();
    assert_eq!(stands(&reader), [(Some(0), Mode::Jam)]);
    let rows: Vec<_> = reader.outcomes(1).unwrap().iter().map(|row| (row.mode, row.at, row.undone)).collect();
    assert_eq!(rows, [(Mode::Jam, at(10), None), (Mode::Clean, at(20), Some(at(30)))]);
    // What stood at each time is still known.
    let stood = |second| in_force_at(&reader.outcomes(1).unwrap(), at(second)).first().map(|row| row.mode);
    assert_eq!([5, 15, 25, 35].map(stood), [None, Some(Mode::Jam), Some(Mode::Clean), Some(Mode::Jam)]);
}

#[test]
fn a_second_tap_changes_nothing_whether_it_says_or_takes_back() {
    let (_folder, store) = record();
    let clean = word(10, None, Mode::Clean);
    store.say(&bench(), &clean).unwrap();
    store.say(&bench(), &word(11, None, Mode::Clean)).unwrap();
    assert_eq!(store.reader().unwrap().outcomes(1).unwrap().len(), 1);
    store.undo(&bench(), &taken_back(20, &clean)).unwrap();
    let evidence = store.reader().unwrap().evidence(None).unwrap();
    store.undo(&bench(), &taken_back(25, &clean)).unwrap();
    let rows = store.reader().unwrap().outcomes(1).unwrap();
    assert_eq!((rows.len(), rows[0].undone), (1, Some(at(20))));
    assert_eq!(store.reader().unwrap().evidence(None).unwrap(), evidence);
    // Once it is taken back, the same said again is a word of its own.
    store.say(&bench(), &word(30, None, Mode::Clean)).unwrap();
    assert_eq!(stands(&store.reader().unwrap()), [(None, Mode::Clean)]);
    // Another severity or note is no second tap.
    store.say(&bench(), &Outcome { note: Some("on the lid".to_owned()), ..word(31, None, Mode::Clean) }).unwrap();
    assert_eq!(store.reader().unwrap().outcomes(1).unwrap().len(), 3);
}

#[test]
fn a_clock_that_was_set_back_does_not_bring_a_word_before_the_one_that_it_corrects() {
    let (_folder, store) = record();
    store.say(&bench(), &word(100, Some(0), Mode::Jam)).unwrap();
    store.say(&bench(), &word(10, None, Mode::Clean)).unwrap();
    assert_eq!(stands(&store.reader().unwrap()), [(None, Mode::Clean)]);
}

#[test]
fn nothing_is_taken_back_that_was_not_said() {
    let (_folder, store) = record();
    let refused = store.undo(&bench(), &taken_back(20, &word(10, Some(1), Mode::Jam))).unwrap_err().to_string();
    assert!(refused.contains("`jam` of print 1") && refused.contains("2026-03-02T08:00:10"), "{refused}");
}

#[test]
fn taking_back_changes_what_is_learned_from() {
    let (_folder, store) = record();
    let jam = word(10, Some(0), Mode::Jam);
    store.say(&bench(), &jam).unwrap();
    let before = store.reader().unwrap().evidence(None).unwrap();
    store.undo(&bench(), &taken_back(20, &jam)).unwrap();
    assert_ne!(store.reader().unwrap().evidence(None).unwrap(), before);
}
