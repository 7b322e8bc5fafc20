//! What a tool-run's features are, from a recorded history that can be reckoned by hand: two prints, the first of them
//! cancelled, with a tool that waits twice and is cold between them.

use super::*;
use crate::alarm::Rules;
use crate::entry::{CentiCelsius, Entry, Heater, Job, JobState, Part, PartChange, PartEvent, Reading, SettingsChange};
use crate::replay::Replay;
use crate::store::Store;
use dwell_analysis::polymer::{Materials, dose_rate};
use dwell_analysis::units::{Celsius, CelsiusDelta, Seconds};

const BEGAN_MS: i64 = 1_770_000_000_000;

fn at(second: i64) -> Timestamp {
    Timestamp::from_ms(BEGAN_MS + second * 1000)
}

/// What is going on at a second: the job's state, the tool at work and T0's temperature, °C.
fn moment(second: i64) -> (JobState, usize, f64) {
    use JobState::{Cancelled, Completed, None as Nothing, Printing};
    match second {
        ..600 | 3000..3600 => (Nothing, 0, 220.0),
        2701..3000 => (Nothing, 0, 40.0),
        1200 | 2100 => (Printing, 1, 220.0),
        1201..1800 | 2101..2400 => (Printing, 1, 200.0),
        1800 => (Printing, 0, 205.0),
        2400 => (Printing, 0, 195.0),
        2700 => (Cancelled, 0, 220.0),
        ..4200 => (Printing, 0, 220.0),
        _ => (Completed, 0, 220.0),
    }
}

fn readings() -> impl Iterator<Item = Reading> {
    (0..=4200).step_by(10).map(|second| {
        let (state, active, first) = moment(second);
        let is_on = state == JobState::Printing;
        let heater = |degrees: f64| Heater {
            actual: CentiCelsius::nearest(degrees),
            target: None,
            duty_thousandths: None,
            fan_thousandths: None,
        };
        let fraction = u32::try_from(second).unwrap() * 200;
        Reading {
            at: at(second),
            after_gap: false,
            job: Job {
                state,
                name: is_on.then(|| Arc::from("lantern.gcode")),
                // One that has been cancelled tells of a new beginning.
                fraction_millionths: (state != JobState::None).then_some(if is_on { fraction } else { 0 }),
                byte: None,
            },
            active_tool: is_on.then_some(active),
            tools: vec![heater(first), heater(if (600..2700).contains(&second) { 230.0 } else { 20.0 })],
            bed: None,
        }
    })
}

/// The record's runs, and T0 and T1 as they stand at its end.
fn recorded() -> (Vec<Run>, [Standing; 2]) {
    let folder = tempfile::tempdir().unwrap();
    let store = Store::open_bulk(&folder.path().join("record.db")).unwrap();
    let bench = PrinterName::new("bench").unwrap();
    let mut replay = Replay::new(&store, Rules::default(), std::collections::HashMap::new());
    let first = ToolNumber::new(0).unwrap();
    let mut take = |entry| replay.take(&bench, entry).unwrap();
    let fitted = |second, part| {
        let event = PartEvent::Fitted;
        Entry::Part(PartChange { at: at(second), tool: first, part, event, reason: None, note: None })
    };
    let settings = Settings { print: Some(Celsius::new(220.0)), ..Settings::default() };
    take(Entry::Settings(SettingsChange { at: at(0), tool: first, settings }));
    take(fitted(-100, Part::Liner));
    take(fitted(2800, Part::Nozzle));
    for reading in readings() {
        take(Entry::Reading(reading));
    }
    replay.finish().unwrap();
    let reader = store.reader().unwrap();
    let stands = standing(&reader, &Materials::default(), &bench).unwrap();
    (runs(&reader, &Materials::default()).unwrap(), [first, ToolNumber::new(1).unwrap()].map(stands))
}

fn near(found: Option<f64>, wanted: f64) -> bool {
    found.is_some_and(|found| (found - wanted).abs() < 1e-9)
}

#[test]
fn a_run_s_waits_returns_and_share_done_are_those_of_its_print() {
    let (runs, _) = recorded();
    let told: Vec<_> = runs.iter().map(|run| (run.run.print, run.tool.idx())).collect();
    assert_eq!(told, [(0, 0), (0, 1), (1, 0)]);
    let (first, other, second) = (&runs[0].run.features, &runs[1].run.features, &runs[2].run.features);
    assert_eq!(first.idle_hot, Some(Seconds::new(900.0)));
    assert_eq!(first.wait_longest, Some(Seconds::new(600.0)));
    // 2100 + 116000 + 2025 and 2100 + 56000 + 1975 °C s.
    assert!(near(first.idle_mean.map(Celsius::get), (120_125.0 + 60_075.0) / 900.0));
    assert_eq!(first.idle_max, Some(Celsius::new(220.0)));
    // It came back at 205 and at 195 °C.
    assert!(near(first.restart_deficit.map(CelsiusDelta::get), 25.0), "{first:?}");
    assert_eq!((first.tool_changes, first.print_length), (Some(4), Some(Seconds::new(2100.0))));
    assert!(near(first.done, 0.538), "told last at 2690 s: {first:?}");
    assert_eq!(other.wait_longest, Some(Seconds::new(600.0)));
    assert_eq!(other.restart_deficit, None, "its print temperature is not known");
    assert_eq!((second.idle_hot, second.wait_longest), (Some(Seconds::ZERO), Some(Seconds::ZERO)));
    assert!(near(second.restart_deficit.map(CelsiusDelta::get), 0.0));
    assert_eq!((second.done, second.dose_max, second.idle_mean), (Some(1.0), None, None));
}

#[test]
fn a_part_ages_by_all_its_hot_hours_from_its_fitting_on_and_one_of_unknown_age_has_none() {
    let (runs, stands) = recorded();
    let (first, other, second) = (&runs[0].run.features, &runs[1].run.features, &runs[2].run.features);
    assert!(near(first.liner_hours, 600.0 / 3600.0) && near(first.liner_wear, 600.0 / 3600.0), "{first:?}");
    assert_eq!((first.liner_cycles, first.nozzle_hours), (Some(1.0), None));
    assert_eq!((other.liner_hours, other.liner_wear, other.liner_cycles, other.nozzle_hours), (None, None, None, None));
    // Waiting before it, at work, waiting, until it was cold, waiting before the second print.
    assert!(near(second.liner_hours, (600.0 + 1200.0 + 900.0 + 10.0 + 600.0) / 3600.0), "{second:?}");
    let times = [
        (600.0, 220.0),
        (600.0, 220.0),
        (600.0, 120_125.0 / 600.0),
        (300.0, 219.75),
        (300.0, 60_075.0 / 300.0),
        (300.0, (2075.0 + 63_800.0) / 300.0),
        (10.0, 130.0),
        (600.0, 220.0),
    ];
    let weighted = |(lasted, mean): &(f64, f64)| lasted / 3600.0 * ((mean - 220.0) / 20.0).exp();
    assert!(near(second.liner_wear, times.iter().map(weighted).sum()), "{second:?}");
    assert_eq!(second.liner_cycles, Some(2.0));
    assert!(near(second.nozzle_hours, 600.0 / 3600.0), "{second:?}");
    assert!(near(stands[0].nozzle_hours, 1200.0 / 3600.0) && stands[0].liner_cycles == Some(2.0), "{:?}", stands[0]);
    assert_eq!(stands[1], Standing::default());
}

#[test]
fn a_stagnant_melt_ages_by_waits_and_work_since_the_nozzle_was_fitted_and_is_not_known_before() {
    let (runs, stands) = recorded();
    assert_eq!((runs[0].run.features.stagnant, runs[1].run.features.stagnant), (None, None));
    // Ten minutes of waiting at 220 °C, then ten of work, in which 2400 mm3 pass a hold-up of 7500.
    let minutes = 10.0 * dose_rate(Materials::default().of(None), Celsius::new(220.0));
    let left = (-0.32_f64).exp();
    let second = runs[2].run.features.stagnant.map(DoseMinutes::get);
    assert!(near(second, minutes * left + minutes * (1.0 - left) / 0.32), "{second:?}, {minutes} taken twice");
    assert_eq!(stands[0].stagnant, None, "it waits still, and what that comes to is recorded at its end");
}

/// What was known of a jam on a run of a print that ended at second 700, from which second on.
fn known(rows: &[(i64, Mode, Option<i64>)], silence_until: Option<i64>) -> Vec<(i64, Option<bool>)> {
    let (ended, tool) = (at(700), ToolNumber::new(0).unwrap());
    let row = |(said, mode, undone): &(i64, Mode, Option<i64>)| OutcomeRow {
        at: at(*said),
        tool: Some(tool),
        mode: *mode,
        severity: None,
        note: None,
        undone: undone.map(at),
    };
    let print = EndedPrint {
        id: 1,
        started: at(600),
        ended,
        end: PrintEnd::Completed,
        fraction: None,
        tool_changes: 0,
        outcomes: rows.iter().map(row).collect(),
        asked: Vec::new(),
    };
    let words: Arc<[Words]> = words(&print).into();
    let mut run = Run {
        print: 1,
        printer: PrinterName::new("bench").unwrap(),
        started: at(600),
        ended,
        tool,
        run: ToolRun { print: 0, features: Features::of(Settings::default().facts(&Materials::default()).kind) },
        tools: [tool].into(),
        is_reported: false,
        words,
    };
    if let Some(until) = silence_until {
        run.take_silence_as_clean(at(until));
    }
    run.tellings(Mode::Jam).map(|(from, happened)| ((from.as_ms() - BEGAN_MS) / 1000, happened)).collect()
}

#[test]
fn what_is_taken_back_was_known_until_then_and_is_not_since() {
    use Mode::{Clean, Jam};
    assert_eq!(known(&[(800, Jam, None)], None), [(800, Some(true))]);
    assert_eq!(known(&[(800, Jam, Some(900))], None), [(800, Some(true)), (900, None)]);
    // What it replaced stands again.
    let corrected = [(800, Jam, None), (850, Clean, Some(900))];
    assert_eq!(known(&corrected, None), [(800, Some(true)), (850, Some(false)), (900, Some(true))]);
}

#[test]
fn silence_is_a_word_a_day_after_the_end_wherever_none_stands() {
    let day = 86_400;
    assert_eq!(known(&[], Some(700 + day)), [(700 + day, Some(false))]);
    assert_eq!(known(&[], Some(699 + day)), []);
    let back = [(800, Mode::Jam, Some(900))];
    assert_eq!(known(&back, Some(2 * day)), [(800, Some(true)), (900, None), (700 + day, Some(false))]);
    let late = [(800, Mode::Jam, Some(2 * day))];
    assert_eq!(known(&late, Some(3 * day))[1..], [(2 * day, None), (2 * day, Some(false))]);
}
