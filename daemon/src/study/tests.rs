//! What a record of a known heater and of known times comes to.

use super::{Asked, Known, Liners, Worked, heater_fits, pace, report, runs};
use crate::alarm::Rules;
use crate::entry::{
    CentiCelsius, Entry, FileTool, Heater, HotEnd, Job, JobFile, JobFileFrom, JobState, Part, PartChange, PartEvent,
    PrintEnd, PrinterName, Reading, Settings, SettingsChange, ToolNumber,
};
use crate::replay::Replay;
use crate::store::{Commit, PrintFilter, PrintRow, Store};
use crate::tracker::Effect;
use dwell_analysis::estimate::Refusal;
use dwell_analysis::polymer::{Band, Material, MaterialFacts, Materials, Source, Sourced};
use dwell_analysis::thermal::{AMBIENT, Heater as Process, HeaterState, Parameter};
use dwell_analysis::time::Timestamp;
use dwell_analysis::units::{Celsius, DoseMinutes, Millimetres, Seconds};
use dwell_dashboards::week::IsoWeek;
use jiff::tz::TimeZone;
use std::cell::Cell;
use std::collections::HashMap;
use std::sync::Arc;

/// Prints that warm a tool of a known heater from cold, work for two minutes and let it cool; a poll a second. In the
/// print numbered `gap` the host is away for a minute.
pub(super) fn prints(n: usize, gap: usize) -> Vec<Reading> {
    let mut state = HeaterState::new(Process::HOT_END, AMBIENT, AMBIENT);
    let (mut readings, mut second) = (Vec::new(), 0_u32);
    for print in 0..n {
        let warming = 2000..2060;
        let phases = [(JobState::None, 0..2000), (JobState::Heating, warming), (JobState::Printing, 2060..2180)];
        for (phase, seconds) in phases.into_iter().chain([(JobState::Completed, 2180..2400)]) {
            let target = if matches!(phase, JobState::Heating | JobState::Printing) { 210.0 } else { 0.0 };
            for at in seconds {
                state.set(Celsius::new(target));
                state.advance(Seconds::new(1.0));
                second += 1;
                if print == gap && (2100..2160).contains(&at) {
                    continue;
                }
                let tool = Heater {
                    actual: CentiCelsius::nearest(state.actual().get()),
                    target: CentiCelsius::nearest(target),
                    duty_thousandths: None,
                    fan_thousandths: None,
                };
                let name = (phase != JobState::None).then(|| Arc::from("lantern.gcode"));
                let job = Job { state: phase, name, fraction_millionths: None, byte: None };
                let at = Timestamp::from_ms(1_770_000_000_000 + 1000 * i64::from(second));
                readings.push(Reading {
                    at,
                    after_gap: false,
                    job,
                    active_tool: Some(0),
                    tools: vec![tool],
                    bed: None,
                });
            }
        }
    }
    readings
}

pub(super) fn recorded(readings: Vec<Reading>) -> (tempfile::TempDir, Store, PrinterName) {
    let folder = tempfile::tempdir().unwrap();
    let store = Store::open_bulk(&folder.path().join("record.db")).unwrap();
    let bench = PrinterName::new("bench").unwrap();
    let mut replay = Replay::new(&store, Rules::default(), HashMap::new());
    for reading in readings {
        replay.take(&bench, Entry::Reading(reading)).unwrap();
    }
    replay.finish().unwrap();
    (folder, store, bench)
}

#[test]
fn stored_readings_give_back_the_heater_that_made_them() {
    let (_folder, store, bench) = recorded(prints(4, 9));
    let fits = heater_fits(&store.reader().unwrap(), &bench).unwrap();
    let found = fits[0].as_ref().unwrap();
    let told = |parameter| found.of(parameter).unwrap().value;
    assert_eq!((found.n_cooldowns, found.n_heatups), (4, 4));
    assert!((told(Parameter::CoolingConstant) / 200.0 - 1.0).abs() < 0.01, "{found:?}");
    assert!((told(Parameter::Gain) / 700.0 - 1.0).abs() < 0.01, "{found:?}");
    // A reading is taken a second after its set point came, so the step is placed half a second early.
    assert!((told(Parameter::HeatingDeadTime) - 3.5).abs() < 1.0, "{found:?}");
}

/// Of five prints three came after the hot end was changed; a liner makes no other heater.
#[test]
fn a_changed_hot_end_is_another_heater() {
    let (_folder, store, bench) = recorded(prints(5, 9));
    let n = || heater_fits(&store.reader().unwrap(), &bench).unwrap()[0].as_ref().unwrap().n_cooldowns;
    assert_eq!(n(), 5);
    let at = Timestamp::from_ms(1_770_000_000_000) + Seconds::new(2.0 * 2400.0);
    let tool = ToolNumber::new(0).unwrap();
    for (part, left) in [(Part::Liner, 5), (Part::HotEnd, 3)] {
        let change = PartChange { at, tool, part, event: PartEvent::Fitted, reason: None, note: None };
        store.record_part(&bench, &change).unwrap();
        assert_eq!(n(), left, "{part:?}");
    }
}

/// The settings of T0 in the record's one print: 175 °C and 0.8 mm were typed in, the file asks for 160 °C.
#[test]
fn what_the_job_file_asks_for_counts_over_what_was_typed_in_and_leaves_the_rest() {
    let asked = Settings { standby: Some(Celsius::new(160.0)), ..Settings::default() };
    let typed =
        Settings { standby: Some(Celsius::new(175.0)), retract: Some(Millimetres::new(0.8)), ..Settings::default() };
    for (file, standby) in [(None, 175.0), (Some(asked), 160.0)] {
        let mut readings = prints(1, 9).into_iter();
        let (folder, store, bench) = recorded(Vec::new());
        let mut replay = Replay::new(&store, Rules::default(), HashMap::new());
        let tool = ToolNumber::new(0).unwrap();
        let change = SettingsChange { at: Timestamp::from_ms(1_770_000_000_000), tool, settings: typed.clone() };
        replay.take(&bench, Entry::Settings(change)).unwrap();
        let is_on = |reading: &Reading| reading.job.state == JobState::Printing;
        let started = readings.find(|reading| {
            replay.take(&bench, Entry::Reading(reading.clone())).unwrap();
            is_on(reading)
        });
        let started = started.unwrap().at;
        if let Some(settings) = file {
            let tools = vec![FileTool { tool, settings, left: 0, left_hot: 0 }];
            let (name, from) = (Arc::from("lantern.gcode"), JobFileFrom::Folder);
            let (at, expected) = (started + Seconds::new(1.0), Seconds::new(100.0));
            let file = JobFile { at, name, started, from, bytes: 1000, expected, turns: Vec::new(), tools };
            replay.take(&bench, Entry::JobFile(file)).unwrap();
        }
        for reading in readings {
            replay.take(&bench, Entry::Reading(reading)).unwrap();
        }
        replay.finish().unwrap();
        let runs = runs(&store.reader().unwrap(), &Materials::default()).unwrap();
        assert_eq!(runs.len(), 1);
        let features = runs[0].run.features;
        assert_eq!((features.standby, features.retract), (Some(Celsius::new(standby)), typed.retract));
        drop(folder);
    }
}

#[test]
fn pace_counts_prints_that_were_seen_whole_and_told_what_to_expect() {
    let (_folder, store, bench) = recorded(prints(6, 2));
    let reader = store.reader().unwrap();
    let found = pace(&reader, &bench, |_| Some(Seconds::new(100.0))).unwrap().unwrap();
    assert!(found.n == 5 && (found.value - 1.2).abs() < 0.011, "{found:?}");
    assert_eq!(pace(&reader, &bench, |_| None).unwrap(), Err(Refusal::TooFew { have: 0, need: 5 }));
}

#[test]
fn pace_is_that_of_the_newest_thirty_prints() {
    let (_folder, store, bench) = recorded(prints(36, 99));
    let reader = store.reader().unwrap();
    let newest = reader.prints(&PrintFilter { printer: Some(bench.clone()), ..PrintFilter::default() }).unwrap();
    let changed = newest[29].started;
    // What the older ones let expect is of another motion.
    let expected = |print: &PrintRow| Some(Seconds::new(if print.started < changed { 30.0 } else { 100.0 }));
    let found = pace(&reader, &bench, expected).unwrap().unwrap();
    assert!(found.n == 30 && (found.high - 1.2).abs() < 0.011, "{found:?}");
}

#[test]
fn pace_looks_through_a_bounded_number_of_prints_however_few_tell_what_to_expect() {
    let (_folder, store, bench) = recorded(Vec::new());
    store.ensure_printer(&bench, HotEnd::Separate, 1).unwrap();
    for nth in 0..250 {
        let started = Timestamp::from_ms(1_770_000_000_000 + nth * 3_600_000);
        let (at, end) = (started + Seconds::new(1800.0), PrintEnd::Completed);
        let ended = Effect::PrintEnded { started, at, end, fraction_millionths: None };
        let effects = vec![Effect::PrintStarted { started, name: None }, ended];
        store.commit(Commit { printer: bench.clone(), effects, alarms: Vec::new(), notices: false }).unwrap();
    }
    let n = Cell::new(0);
    let expected = |_: &PrintRow| {
        n.set(n.get() + 1);
        None
    };
    assert!(pace(&store.reader().unwrap(), &bench, expected).unwrap().is_err());
    assert_eq!(n.get(), 200);
}

/// A tool of a material that only a configuration knows is warmed to 210 °C once.
#[test]
fn replays_runs_and_reports_ask_the_table_in_force_what_a_named_material_is() {
    let mut own = Materials::default();
    let felt = MaterialFacts {
        residence_limit: Sourced::new(DoseMinutes::new(45.0), Source::Configuration),
        degradation: Sourced::new(Band::exact(170_000.0), Source::Configuration),
        ..Material::Petg.built_in()
    };
    assert_eq!(own.set("FELT", felt), Ok(()));
    let mut doses = Vec::new();
    for (materials, kind, limit) in [(Materials::default(), Material::Other, 60.0), (own, Material::Petg, 45.0)] {
        let (_folder, store, bench) = recorded(Vec::new());
        let materials = Arc::new(materials);
        let mut replay = Replay::new(&store, Rules::default(), HashMap::new()).knowing(Arc::clone(&materials));
        let settings = Settings { material: Some(Arc::from("felt")), ..Settings::default() };
        let (at, tool) = (Timestamp::from_ms(1_770_000_000_000), ToolNumber::new(0).unwrap());
        replay.take(&bench, Entry::Settings(SettingsChange { at, tool, settings })).unwrap();
        for reading in prints(1, 9) {
            replay.take(&bench, Entry::Reading(reading)).unwrap();
        }
        replay.finish().unwrap();
        let reader = store.reader().unwrap();
        assert_eq!(runs(&reader, &materials).unwrap()[0].run.features.material, kind);
        let (period, zone) = (IsoWeek::of(at, &TimeZone::UTC).unwrap().into(), TimeZone::UTC);
        let as_of = at + Seconds::new(3000.0);
        let known = Known::of(&reader, &materials, None).unwrap();
        let worked = Worked::anew(&reader, &materials, known, &Liners::default(), as_of).unwrap();
        let view = report(&reader, &materials, &worked, &Asked { period, zone, as_of, rehearsal: false }).unwrap();
        assert!(!view.worst.is_empty() && view.worst.iter().all(|span| span.limit == DoseMinutes::new(limit)));
        doses.push(view.worst[0].dose.unwrap().get());
    }
    // It waits under 200 °C for most of the time, where a higher energy ages less.
    assert!(doses[1] < 0.9 * doses[0] && doses[1] > 0.5 * doses[0], "{doses:?}");
}
