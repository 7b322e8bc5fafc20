use super::*;
use crate::entry::{CentiCelsius, Heater, Job, JobState, PrinterName, Reading};
use crate::store::Commit;
use crate::tracker::Effect;
use dwell_analysis::units::Seconds;
use std::path::Path;

const START: Timestamp = Timestamp::from_ms(1_772_409_600_000);

/// Hundredths of a degree that no packing foresees.
fn noise(second: i64) -> i64 {
    (((second * 0x9E37_79B9) >> 13) ^ (second * second * 31)) % 700
}

/// Two hours of a day, from its tenth hour on, a reading every ten seconds.
fn day(number: i64) -> Vec<Reading> {
    let at = |second: i64| Timestamp::from_ms(START.as_ms() + number * DAY_MS + (36_000 + second) * 1000);
    let heater = |second: i64| Heater {
        actual: Some(CentiCelsius::from_hundredths(i32::try_from(20_000 + noise(second)).unwrap())),
        target: Some(CentiCelsius::from_hundredths(20_500)),
        duty_thousandths: None,
        fan_thousandths: None,
    };
    let reading = |second: i64| Reading {
        at: at(second),
        after_gap: false,
        job: Job { state: JobState::None, name: None, fraction_millionths: None, byte: None },
        active_tool: None,
        tools: vec![heater(second), Heater::default()],
        bed: None,
    };
    (0..7200).step_by(10).map(reading).collect()
}

fn record(path: &Path, days: &[i64]) -> (Store, PrinterName) {
    let (store, bench) = (Store::open(path).unwrap(), PrinterName::new("bench").unwrap());
    for reading in days.iter().flat_map(|number| day(*number)) {
        let effects = vec![Effect::Sample { reading, tools: Vec::new() }];
        store.commit(Commit { printer: bench.clone(), effects, alarms: Vec::new(), notices: false }).unwrap();
    }
    store.flush().unwrap();
    (store, bench)
}

fn keep_all(store: &Store, keep: Keep) -> usize {
    (0..1000).position(|_| !store.keep(keep).unwrap()).unwrap()
}

#[test]
fn old_days_become_minutes_and_then_hours_and_the_newest_stay_as_they_were() {
    let folder = tempfile::tempdir().unwrap();
    let (store, bench) = record(&folder.path().join("keep.db"), &[0, 1, 2, 3, 4, 5]);
    let before: Vec<Reading> =
        store.reader().unwrap().readings(&bench, None, None).unwrap().collect::<Result<_, _>>().unwrap();
    assert_eq!(keep_all(&store, Keep { readings_days: 6, minutes_days: 9 }), 0);
    assert!(keep_all(&store, Keep { readings_days: 2, minutes_days: 3 }) >= 5);
    let reader = store.reader().unwrap();
    let left: Vec<Reading> = reader.readings(&bench, None, None).unwrap().collect::<Result<_, _>>().unwrap();
    assert_eq!(left, [day(4), day(5)].concat());
    let steps = |step| reader.summaries(&bench, step, None, None).unwrap().collect::<Result<Vec<_>, _>>().unwrap();
    let (minutes, hours) = (steps(Step::Minute), steps(Step::Hour));
    assert_eq!((minutes.len(), hours.len()), (3 * 120, 4 * 2));
    // A minute again, by hand.
    let whole = &before[720..726];
    let told = || whole.iter().map(|reading| reading.tools[0].actual.unwrap().hundredths());
    let heat = minutes[0].tools[0].unwrap();
    assert_eq!(minutes[0].began, START + Seconds::new(86_400.0 + 36_000.0));
    assert_eq!((minutes[0].n, minutes[0].tools[1], minutes[0].bed), (6, None, None));
    assert_eq!(heat.min.hundredths(), told().min().unwrap());
    assert_eq!(heat.max.hundredths(), told().max().unwrap());
    assert!((f64::from(heat.mean.hundredths()) - f64::from(told().sum::<i32>()) / 6.0).abs() <= 0.5);
    assert_eq!(heat.target.unwrap().hundredths(), 20_500);
    // What is asked for of a time is of that time.
    let second_day = START + Seconds::new(86_400.0);
    let to = Some(second_day + Seconds::new(37_800.0));
    assert_eq!(reader.summaries(&bench, Step::Minute, Some(second_day), to).unwrap().count(), 30);
    // The record still begins where it began, and its journal where the readings do.
    assert_eq!(reader.oldest().unwrap(), Some(before[0].at));
    assert_eq!(reader.let_go_before(&bench).unwrap(), Some(left[0].at));
    assert!(reader.has_readings(START, second_day).unwrap());
    assert!(!reader.has_readings(second_day, second_day + Seconds::new(35_999.0)).unwrap());
    drop(reader);
    assert_eq!(keep_all(&store, Keep { readings_days: 2, minutes_days: 3 }), 0, "nothing is due twice");
}

#[test]
fn a_clock_that_jumps_a_year_lets_nothing_go() {
    let folder = tempfile::tempdir().unwrap();
    let (store, bench) = record(&folder.path().join("jump.db"), &[0, 1, 366]);
    assert_eq!(keep_all(&store, Keep { readings_days: 3, minutes_days: 3 }), 0);
    assert_eq!(store.reader().unwrap().readings(&bench, None, None).unwrap().count(), 3 * 720);
    assert_eq!(store.reader().unwrap().let_go_before(&bench).unwrap(), None);
}

#[test]
fn what_a_restart_has_to_follow_again_stays() {
    let folder = tempfile::tempdir().unwrap();
    let (store, bench) = record(&folder.path().join("open.db"), &[0, 1, 2, 3, 4, 5]);
    let started = day(3)[0].at;
    let effects = vec![Effect::PrintStarted { started, name: None }];
    store.commit(Commit { printer: bench.clone(), effects, alarms: Vec::new(), notices: false }).unwrap();
    let keep = Keep { readings_days: 1, minutes_days: 9 };
    assert_eq!(keep_all(&store, keep), 3, "the print began on the fourth day");
    let kept = store.reader().unwrap().resume(&bench).unwrap().unwrap().readings;
    assert_eq!(kept.first().map(|reading| reading.at), Some(started));
    let end = crate::entry::PrintEnd::Completed;
    let effects = vec![Effect::PrintEnded { started, at: day(5)[9].at, end, fraction_millionths: None }];
    store.commit(Commit { printer: bench, effects, alarms: Vec::new(), notices: false }).unwrap();
    assert_eq!(keep_all(&store, keep), 2);
}

#[test]
fn room_that_is_free_goes_back_to_the_disk() {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("room.db");
    let (store, _) = record(&path, &(0..30).collect::<Vec<_>>());
    let pages = || {
        let db = Connection::open(&path).unwrap();
        db.pragma_query_value::<i64, _>(None, "page_count", |row| row.get(0)).unwrap()
    };
    let before = pages();
    let n = keep_all(&store, Keep { readings_days: 1, minutes_days: 1 });
    assert!(n > 57, "29 days of readings, 28 of minutes, and then the room: {n}");
    assert!(n < 57 + 12, "many pages at a time: {n}");
    assert!(pages() * 4 < before * 3, "{} of {before} pages", pages());
}
