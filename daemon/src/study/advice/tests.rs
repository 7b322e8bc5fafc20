//! What is gathered of a tool, from an invented record that can be reckoned by hand: prints of twenty minutes, in which
//! T0 works, waits five minutes for T1, and works again, while T1 waits ten minutes at first and five at the end.

use super::asked::{Asked, Liners, Record, asked_of};
use super::loss::{Taught, loss, taught};
use super::*;
use crate::alarm::Rules;
use crate::entry::{
    CentiCelsius, Entry, FileTool, Heater, HotEnd, Job, JobFile, JobFileFrom, JobState, Mode, Outcome, Part,
    PartChange, PartEvent, PrinterName, Reading, Settings, SettingsChange, Severity, ToolNumber,
};
use crate::replay::Replay;
use crate::store::Store;
use crate::study::Learning;
use crate::study::runs::runs_as;
use dwell_analysis::advice::LinerKnown;
use dwell_analysis::polymer::Material;
use dwell_analysis::risk::FailureMode;
use dwell_analysis::time::Timestamp;
use dwell_analysis::units::Celsius;
use std::collections::HashMap;
use std::sync::Arc;

const DAY: i64 = 86_400;
const T0: ToolNumber = ToolNumber::FIRST;

fn t1() -> ToolNumber {
    ToolNumber::new(1).unwrap()
}

fn at(second: i64) -> Timestamp {
    Timestamp::from_ms(1_770_000_000_000 + second * 1000)
}

fn bench() -> PrinterName {
    PrinterName::new("bench").unwrap()
}

/// A reading so long after its print's beginning; `n_tools` of them are told.
fn reading(began: i64, second: i64, n_tools: usize) -> Reading {
    let (state, active) = match second {
        ..600 | 900..1200 => (JobState::Printing, 0),
        600..900 => (JobState::Printing, usize::from(n_tools > 1)),
        _ => (JobState::Completed, 0),
    };
    let is_on = state == JobState::Printing;
    let heater = |tool: usize| {
        let (actual, target) = match (is_on, tool == active) {
            (true, true) => (210.0, 210.0),
            (true, false) => (172.0, 170.0),
            (false, _) => (20.0, 0.0),
        };
        let (actual, target) = (CentiCelsius::nearest(actual), CentiCelsius::nearest(target));
        Heater { actual, target, duty_thousandths: None, fan_thousandths: None }
    };
    let name = Some(Arc::from("lantern.gcode"));
    let job = Job { state, name, fraction_millionths: None, byte: None };
    Reading {
        at: at(began + second),
        after_gap: false,
        job,
        active_tool: is_on.then_some(active),
        tools: (0..n_tools).map(heater).collect(),
        bed: None,
    }
}

fn print(began: i64, n_tools: usize) -> Vec<(i64, Entry)> {
    (0..=1200).step_by(10).map(|second| (began + second, Entry::Reading(reading(began, second, n_tools)))).collect()
}

fn set(second: i64, tool: ToolNumber, settings: Settings) -> (i64, Entry) {
    (second, Entry::Settings(SettingsChange { at: at(second), tool, settings }))
}

fn holds(material: &str) -> Settings {
    Settings { material: Some(Arc::from(material)), print: Some(Celsius::new(210.0)), ..Settings::default() }
}

fn standby(degrees: f64) -> Settings {
    Settings { standby: Some(Celsius::new(degrees)), ..Settings::default() }
}

fn said(began: i64, tool: ToolNumber, mode: Mode, severity: Severity) -> (i64, Entry) {
    let (second, severity) = (began + 1300, Some(severity));
    let (job, started) = (Arc::from("lantern.gcode"), at(began));
    let outcome = Outcome { at: at(second), job, started, tool: Some(tool), mode, severity, note: None };
    (second, Entry::Outcome(outcome))
}

/// Three prints, a day each; T0 holds PLA and T1 PETG.
fn three_prints() -> Vec<(i64, Entry)> {
    let mut entries: Vec<_> = [0, DAY, 2 * DAY].into_iter().flat_map(|began| print(began, 2)).collect();
    entries.extend([set(-60, T0, holds("PLA")), set(-60, T0, standby(174.0)), set(-60, t1(), holds("PETG"))]);
    let event = PartEvent::Fitted;
    let fitted = PartChange { at: at(-100), tool: t1(), part: Part::Liner, event, reason: None, note: None };
    entries.push((-100, Entry::Part(fitted)));
    entries
}

/// Hands what is gathered of a record to a look at it.
fn gathered<T>(mut entries: Vec<(i64, Entry)>, hot_end: HotEnd, look: impl FnOnce(&[Asked<'_>], &[Run]) -> T) -> T {
    entries.sort_by_key(|(second, _)| *second);
    let folder = tempfile::tempdir().unwrap();
    let store = Store::open_bulk(&folder.path().join("record.db")).unwrap();
    let mut replay = Replay::new(&store, Rules::default(), HashMap::from([(bench(), hot_end)]));
    for (_, entry) in entries {
        replay.take(&bench(), entry).unwrap();
    }
    replay.finish().unwrap();
    let (reader, materials) = (store.reader().unwrap(), Materials::default());
    let liners: Liners = HashMap::from([((bench(), t1()), Celsius::new(240.0))]);
    let runs = runs_as(&reader, &materials, Learning::default()).unwrap();
    let accepted = Probability::new(0.1).unwrap();
    let record = Record { reader: &reader, materials: &materials, liners: &liners, runs: &runs, accepted };
    let printer = reader.printers().unwrap().remove(0);
    look(&asked_of(&record, &printer).unwrap(), &runs)
}

#[test]
fn each_wait_stands_by_itself_and_says_whether_a_turn_ended_it() {
    let waits = gathered(three_prints(), HotEnd::Separate, |asked, _| {
        let of = |tool: &Asked<'_>| {
            assert_eq!(tool.courses.len(), 3);
            let waits = &tool.courses[1].waits;
            waits.iter().map(|wait| (wait.lasted.get(), wait.is_followed)).collect::<Vec<_>>()
        };
        let (first, second) = (&asked[0], &asked[1]);
        // From the last reading of the print to the cold one it is 96 °C on the mean.
        let wait = second.courses[1].waits[1];
        assert!((wait.mean.get() - (290.0 * 172.0 + 10.0 * 96.0) / 300.0).abs() < 1e-6, "{wait:?}");
        assert_eq!((wait.max, wait.end), (Celsius::new(172.0), Some(Celsius::new(20.0))));
        assert!(wait.dose.get() > 0.0 && wait.ooze.is_some(), "{wait:?}");
        [of(first), of(second)]
    });
    assert_eq!(waits, [vec![(300.0, true)], vec![(600.0, true), (300.0, false)]]);
}

#[test]
fn sums_of_single_waits_are_those_of_the_run() {
    gathered(three_prints(), HotEnd::Separate, |asked, _| {
        for course in asked.iter().flat_map(|tool| &tool.courses) {
            let restarts = course.features.restarts.unwrap();
            let followed = || course.waits.iter().filter(|wait| wait.is_followed);
            assert_eq!(restarts.n, followed().count());
            let dose: f64 = followed().map(|wait| wait.dose.get()).sum();
            assert!((restarts.dose_sum.get() - dose).abs() < 1e-9, "{course:?}");
        }
    });
}

#[test]
fn settings_come_from_what_was_typed_in_and_the_standby_of_waits_stands_where_nobody_told_it() {
    gathered(three_prints(), HotEnd::Separate, |asked, _| {
        let (first, second) = (asked[0].situation(&[]), asked[1].situation(&[]));
        assert_eq!((first.material(), second.material()), (Material::Pla, Material::Petg));
        assert_eq!((first.held.standby, second.held.standby), (Some(Celsius::new(174.0)), Some(Celsius::new(170.0))));
        assert_eq!((first.held.print, first.held.retract), (Some(Celsius::new(210.0)), None));
        assert_eq!((first.liner, second.liner), (LinerKnown::Assumed, LinerKnown::Rated(Celsius::new(240.0))));
    });
}

#[test]
fn a_standby_that_the_waits_contradict_is_not_in_force_and_a_print_temperature_that_nobody_told_is_measured() {
    let mut entries = three_prints();
    entries.push(set(-50, T0, standby(130.0)));
    let untold = Settings { material: Some(Arc::from("PLA")), ..Settings::default() };
    entries.retain(|(_, entry)| !matches!(entry, Entry::Settings(change) if change.settings == holds("PETG")));
    entries.push(set(-40, t1(), untold));
    gathered(entries, HotEnd::Separate, |asked, _| {
        let (first, second) = (asked[0].situation(&[]), asked[1].situation(&[]));
        assert_eq!(first.held.standby, Some(Celsius::new(170.0)));
        // The first ten seconds of its visit it warms from 172 °C: 209.4 on the mean.
        assert_eq!(second.held.print, Some(Celsius::new(209.0)));
    });
    // Told after the newest print but one, one print contradicts it, which may be of an older file.
    let mut entries = three_prints();
    entries.push(set(DAY + 1300, T0, standby(130.0)));
    gathered(entries, HotEnd::Separate, |asked, _| {
        assert_eq!(asked[0].situation(&[]).held.standby, Some(Celsius::new(130.0)));
    });
}

#[test]
fn settings_of_a_job_file_that_was_printed_with_another_material_are_not_in_force() {
    let settings = Settings { print: Some(Celsius::new(205.0)), ..Settings::default() };
    let tools = vec![FileTool { tool: T0, settings, left: 0, left_hot: 0 }];
    let (name, from, expected) = (Arc::from("lantern.gcode"), JobFileFrom::Folder, Seconds::new(100.0));
    let (at, started) = (at(2 * DAY + 5), at(2 * DAY));
    let file = JobFile { at, name, started, from, bytes: 1000, expected, turns: Vec::new(), tools };
    let print_of = |loaded: i64| {
        let mut entries = three_prints();
        entries.push((2 * DAY + 5, Entry::JobFile(file.clone())));
        let other = Settings { material: Some(Arc::from("PLA-CF")), ..Settings::default() };
        entries.push(set(loaded, T0, other));
        gathered(entries, HotEnd::Separate, |asked, _| asked[0].situation(&[]).held.print)
    };
    // Loaded before the print with that file, or after it.
    assert_eq!(print_of(2 * DAY - 60), Some(Celsius::new(205.0)));
    assert_eq!(print_of(2 * DAY + 1300), Some(Celsius::new(210.0)));
}

#[test]
fn the_newest_job_file_counts_over_what_was_typed_in_before_it_and_not_over_what_was_typed_in_since() {
    let file = |began: i64| {
        let settings = Settings { retract: Some(dwell_analysis::units::Millimetres::new(0.8)), ..standby(160.0) };
        let tools = vec![FileTool { tool: T0, settings, left: 0, left_hot: 0 }];
        let (name, from, expected) = (Arc::from("lantern.gcode"), JobFileFrom::Folder, Seconds::new(100.0));
        let (at, started) = (at(began + 5), at(began));
        let file = JobFile { at, name, started, from, bytes: 1000, expected, turns: Vec::new(), tools };
        (began + 5, Entry::JobFile(file))
    };
    let held = |later: Option<(i64, Entry)>| {
        let mut entries = three_prints();
        entries.push(file(2 * DAY));
        entries.extend(later);
        gathered(entries, HotEnd::Separate, |asked, _| asked[0].situation(&[]).held)
    };
    let (file, since) = (held(None), held(Some(set(2 * DAY + 1300, T0, standby(150.0)))));
    assert_eq!((file.standby, since.standby), (Some(Celsius::new(160.0)), Some(Celsius::new(150.0))));
    assert_eq!(file.retract, since.retract);
    assert_eq!(since.retract, Some(dwell_analysis::units::Millimetres::new(0.8)));
}

#[test]
fn the_neighbour_is_the_other_tool_with_the_share_of_the_prints_that_either_waits() {
    gathered(three_prints(), HotEnd::Separate, |asked, _| {
        let (first, second) = (asked[0].situation(&[]).neighbour.unwrap(), asked[1].situation(&[]).neighbour.unwrap());
        assert_eq!((first.facts.kind, second.facts.kind), (Material::Petg, Material::Pla));
        assert_eq!((first.waits, second.waits), ([0.25, 0.75], [0.75, 0.25]));
        assert_eq!((first.liner, asked[0].beside_name()), (LinerKnown::Rated(Celsius::new(240.0)), Some("PETG")));
    });
}

#[test]
fn a_printer_with_one_tool_has_no_neighbour_and_one_whose_material_nobody_told_is_none() {
    let mut alone = print(0, 1);
    alone.push(set(-60, T0, holds("PLA")));
    gathered(alone, HotEnd::Separate, |asked, _| {
        assert_eq!(asked.len(), 1);
        assert!(asked[0].situation(&[]).neighbour.is_none());
        assert_eq!(asked[0].courses[0].waits, Vec::new());
    });
    let mut untold = print(0, 2);
    untold.push(set(-60, T0, holds("PLA")));
    gathered(untold, HotEnd::Separate, |asked, _| {
        assert!(asked[0].situation(&[]).neighbour.is_none());
        assert!(asked[1].situation(&[]).neighbour.is_some_and(|beside| beside.facts.kind == Material::Pla));
        assert_eq!((asked[1].material.as_deref(), asked[1].facts.kind), (None, Material::Other));
    });
}

#[test]
fn a_shared_hot_end_is_told() {
    for (hot_end, is_shared) in [(HotEnd::Separate, false), (HotEnd::Shared, true)] {
        gathered(three_prints(), hot_end, |asked, _| assert_eq!(asked[0].situation(&[]).is_shared, is_shared));
    }
}

#[test]
fn parts_have_the_age_that_they_have_now_and_only_a_recorded_liner_an_outlook() {
    gathered(three_prints(), HotEnd::Separate, |asked, _| {
        let (first, second) = (asked[0].situation(&[]), asked[1].situation(&[]));
        assert_eq!((first.ages.liner_hours, first.liner_outlook.is_some()), (None, false));
        // Three prints of twenty minutes.
        assert!((second.ages.liner_hours.unwrap() - 1.0).abs() < 0.02, "{:?}", second.ages);
        assert_eq!((second.ages.nozzle_hours, second.liner_outlook.is_some()), (None, true));
    });
}

#[test]
fn a_material_that_no_print_had_and_a_tool_of_long_ago_are_not_asked_of() {
    let mut changed = three_prints();
    changed.push(set(3 * DAY, t1(), holds("PLA")));
    gathered(changed, HotEnd::Separate, |asked, _| {
        assert_eq!(asked.iter().map(|tool| tool.tool).collect::<Vec<_>>(), [T0]);
    });
    let mut old = three_prints();
    old.extend(print(70 * DAY, 1));
    gathered(old, HotEnd::Separate, |asked, _| {
        assert_eq!(asked.iter().map(|tool| (tool.tool, tool.courses.len())).collect::<Vec<_>>(), [(T0, 1)]);
        assert_eq!(asked[0].situation(&[]).tried.len(), 4, "what was tried never grows old");
    });
}

#[test]
fn at_most_sixty_runs_are_asked_of_the_newest_ones() {
    let mut many: Vec<_> = (0..63).flat_map(|nth| print(nth * 3600, 1)).collect();
    many.push(set(-60, T0, holds("PLA")));
    many.push(set(2 * 3600 + 1800, T0, standby(150.0)));
    gathered(many, HotEnd::Separate, |asked, _| {
        let standby: Vec<_> = asked[0].courses.iter().filter_map(|course| course.features.standby).collect();
        assert_eq!((asked[0].courses.len(), standby.len()), (60, 60));
    });
}

#[test]
fn a_lesson_counts_all_runs_and_those_of_the_tool_with_its_material_by_themselves() {
    let mut entries = three_prints();
    entries.push(said(0, T0, Mode::Jam, Severity::Grave));
    entries.push(said(DAY, t1(), Mode::Jam, Severity::Slight));
    gathered(entries, HotEnd::Separate, |asked, runs| {
        let known = Known::from_runs(runs.to_vec(), Learning::default());
        let taught = taught(&known);
        assert_eq!(taught.len(), 9);
        let jam = |tool: &Asked<'_>| {
            let lessons = tool.lessons(&taught, runs);
            let jam = lessons.iter().find(|lesson| lesson.mode == FailureMode::Jam).unwrap();
            // 20 minutes again, 20 of clearing and 120 of repair; or a blemish's ten.
            assert!((jam.loss.as_minutes() - f64::midpoint(160.0, 10.0)).abs() < 1e-9, "{}", jam.loss.as_minutes());
            (jam.n, jam.events, jam.own_n, jam.own_events)
        };
        assert_eq!([jam(&asked[0]), jam(&asked[1])], [(4, 2, 2, 1), (4, 2, 2, 1)]);
        assert_eq!([asked[0].outcomes(runs), asked[1].outcomes(runs)], [(2, 1), (2, 1)]);
    });
}

#[test]
fn a_mode_whose_severity_nobody_told_costs_what_it_usually_does() {
    gathered(three_prints(), HotEnd::Separate, |_, runs| {
        let known = Known::from_runs(runs.to_vec(), Learning::default());
        let taught = taught(&known);
        let minutes = |mode: FailureMode| {
            let of = taught.iter().find(|taught: &&Taught<'_>| taught.failure == mode).unwrap();
            assert_eq!((of.n, of.events), (0, 0));
            loss(of, Seconds::minutes(60.0))
        };
        let modes = [FailureMode::Stringing, FailureMode::Jam, FailureMode::Liner];
        assert_eq!(modes.map(minutes), [10.0, 80.0, 200.0].map(Seconds::minutes));
    });
}

#[test]
fn words_of_failure_modes_are_the_journal_s() {
    for mode in Mode::ALL.iter().copied() {
        let Some(failure) = crate::study::learned::failure_mode(mode) else { continue };
        assert_eq!(failure.name(), mode.word());
    }
}
