//! The tracker with a job file: what it places between two polls, what it leaves alone, and whom it believes.

use super::*;
use crate::entry::{
    CentiCelsius, FileTool, FileTurn, Heater, HotEnd, Job, JobFile, JobFileFrom, JobState, Reading, Settings,
    SettingsChange, ToolNumber,
};
use dwell_analysis::polymer::{Band, Material, MaterialFacts, Materials, Source, Sourced};
use dwell_analysis::time::Timestamp;
use dwell_analysis::units::{Celsius, CubicMm, DoseMinutes, Millimetres};
use std::sync::Arc;

const START: Timestamp = Timestamp::from_ms(1_772_438_400_000);

fn tool(number: usize) -> ToolNumber {
    ToolNumber::new(number).unwrap()
}

/// A file of 100,000 bytes, a second to a thousand of them, with these turns (tool, byte).
fn file(turns: &[(usize, u64)]) -> JobFile {
    let turn = |(number, byte): &(usize, u64)| {
        let at = Seconds::new(f64::from(u32::try_from(*byte).unwrap()) / 1000.0);
        FileTurn { tool: tool(*number), byte: *byte, at }
    };
    JobFile {
        at: START,
        name: Arc::from("lantern.gcode"),
        started: START,
        from: JobFileFrom::Host,
        bytes: 100_000,
        expected: Seconds::new(100.0),
        turns: turns.iter().map(turn).collect(),
        tools: Vec::new(),
    }
}

fn reading(second: f64, byte: u64, host: Option<usize>) -> Reading {
    let heater = |degrees| Heater {
        actual: CentiCelsius::nearest(degrees),
        target: CentiCelsius::nearest(degrees),
        duty_thousandths: None,
        fan_thousandths: None,
    };
    Reading {
        at: START + Seconds::new(second),
        after_gap: false,
        job: Job { state: JobState::Printing, name: None, fraction_millionths: None, byte: Some(byte) },
        active_tool: host,
        tools: vec![heater(200.0), heater(200.0)],
        bed: None,
    }
}

/// The effects after the first reading, after which the file comes.
fn follow(file: &JobFile, readings: Vec<Reading>) -> Vec<Effect> {
    let mut tracker = Tracker::new(HotEnd::Separate, vec![Settings::default(); 2]);
    let mut readings = readings.into_iter();
    tracker.read(readings.next().unwrap());
    tracker.plan(file);
    readings.flat_map(|reading| tracker.read(reading)).collect()
}

/// Tool changes: milliseconds from the start, to which tool, how known.
fn changes(effects: &[Effect]) -> Vec<(i64, usize, &'static str)> {
    let change = |effect: &Effect| match effect {
        Effect::ToolChanged { at, to, source, .. } => Some((at.as_ms() - START.as_ms(), to.idx(), source.word())),
        _ => None,
    };
    effects.iter().filter_map(change).collect()
}

#[test]
fn without_a_word_of_the_host_the_file_tells_the_tool_at_its_place_and_when_it_changed() {
    let file = file(&[(0, 0), (1, 1400), (0, 1800)]);
    let told = follow(&file, vec![reading(0.0, 0, None), reading(1.0, 1000, None), reading(2.0, 2000, None)]);
    assert_eq!(changes(&told), [(1400, 1, "job_file"), (1800, 0, "job_file")]);
    // The same by the share alone, whose steps count as they are told.
    let share = |second, millionths| {
        let mut reading = reading(second, 0, None);
        (reading.job.byte, reading.job.fraction_millionths) = (None, Some(millionths));
        reading
    };
    let told = follow(&file, vec![share(0.0, 0), share(1.0, 10_000), share(2.0, 10_000), share(3.0, 20_000)]);
    assert_eq!(changes(&told), [(2400, 1, "job_file"), (2800, 0, "job_file")]);
}

#[test]
fn a_detour_between_two_words_of_the_host_is_placed_and_booked_and_the_host_s_own_change_stays_its_own() {
    // T0 cools from 200 °C to 190 °C within the second; T1 works from 1.4 s to 1.8 s.
    let mut later = reading(2.0, 2000, Some(0));
    later.tools[0].actual = CentiCelsius::nearest(190.0);
    let readings = vec![reading(0.0, 0, Some(0)), reading(1.0, 1000, Some(0)), later, reading(3.0, 3000, Some(1))];
    let told = follow(&file(&[(0, 0), (1, 1400), (0, 1800), (1, 2500)]), readings);
    assert_eq!(changes(&told), [(1400, 1, "job_file"), (1800, 0, "job_file"), (3000, 1, "host")]);
    let visits: Vec<_> = told
        .iter()
        .filter_map(|effect| match effect {
            Effect::VisitEnded { tool, began, ended, .. } => {
                Some((tool.idx(), began.as_ms() - START.as_ms(), ended.as_ms() - START.as_ms()))
            }
            _ => None,
        })
        .collect();
    assert_eq!(visits, [(0, 0, 1400), (1, 1400, 1800), (0, 1800, 3000)]);
    let spans: Vec<_> = told
        .iter()
        .filter_map(|effect| match effect {
            Effect::SpanEnded { tool, measure, .. } => Some((tool.idx(), measure.idle, measure.mean)),
            _ => None,
        })
        .collect();
    // T0 waits 0.4 s between 196 °C and 192 °C.
    assert!(spans.contains(&(0, Seconds::new(0.4), Some(Celsius::new(194.0)))), "{spans:?}");
}

#[test]
fn a_longer_way_to_the_host_s_tool_is_placed_up_to_the_host_s_own_change() {
    let readings = vec![reading(0.0, 0, Some(0)), reading(1.0, 1000, Some(0)), reading(2.0, 2000, Some(1))];
    let told = follow(&file(&[(0, 0), (1, 1200), (0, 1500), (1, 1900)]), readings);
    assert_eq!(changes(&told), [(1200, 1, "job_file"), (1500, 0, "job_file"), (2000, 1, "host")]);
}

#[test]
fn changes_are_placed_by_expected_times_and_by_bytes_where_these_do_not_differ() {
    let mut by_time = file(&[(0, 0), (1, 1400), (0, 1800)]);
    // The visit is expected in the last tenth of the second, the bytes before it take the rest.
    (by_time.turns[1].at, by_time.turns[2].at) = (Seconds::new(1.9), Seconds::new(1.95));
    let readings = || vec![reading(0.0, 0, None), reading(1.0, 1000, None), reading(2.0, 1801, None)];
    let told = changes(&follow(&by_time, readings()));
    assert!(told[0].0 > 1900 && told[1].0 > told[0].0 && told[1].0 < 2000, "{told:?}");
    let mut flat = file(&[(0, 0), (1, 1400), (0, 1800)]);
    (flat.turns[1].at, flat.turns[2].at, flat.expected) = (Seconds::ZERO, Seconds::ZERO, Seconds::ZERO);
    // 400 of 801 bytes, and 800 of 801.
    assert_eq!(changes(&follow(&flat, readings())), [(1499, 1, "job_file"), (1999, 0, "job_file")]);
    // Two at one byte's distance keep their order and a millisecond between them.
    let close = file(&[(0, 0), (1, 1500), (0, 1501), (1, 1502)]);
    let told =
        changes(&follow(&close, vec![reading(0.0, 0, None), reading(1.0, 1000, None), reading(1.01, 2000, None)]));
    assert!(told.is_sorted() && told.windows(2).all(|pair| pair[0].0 < pair[1].0) && told.len() == 3, "{told:?}");
}

#[test]
fn nothing_is_placed_in_a_silence_a_pause_or_a_step_too_coarse() {
    let file = file(&[(0, 0), (1, 30_400), (0, 30_800)]);
    let with = |after_gap, state| {
        let mut last = reading(2.0, 31_000, Some(0));
        (last.after_gap, last.job.state) = (after_gap, state);
        changes(&follow(&file, vec![reading(0.0, 29_000, Some(0)), reading(1.0, 30_000, Some(0)), last]))
    };
    assert_eq!(with(false, JobState::Printing).len(), 2);
    assert_eq!(with(true, JobState::Printing), []);
    assert_eq!(with(false, JobState::Heating), []);
    // Thirty seconds of the file in one.
    assert_eq!(changes(&follow(&file, vec![reading(0.0, 1000, Some(0)), reading(1.0, 31_000, Some(0))])), []);
    // Progress that falls back a little brings no tool back.
    let places = [29_900, 30_000, 30_500, 30_300];
    let back = (0..4_u32).zip(places).map(|(second, place)| reading(f64::from(second), place, None)).collect();
    assert_eq!(changes(&follow(&file, back)).len(), 1);
}

#[test]
fn a_host_that_tells_late_gets_no_visit_twice_and_soon_no_detour_at_all() {
    // T1 works for 0.4 s from 2.3 s on; the host names it three seconds late.
    let file = file(&[(0, 0), (1, 2300), (0, 2700), (1, 8300), (0, 8700)]);
    let lag = |second: u32| Some(usize::from(matches!(second, 6 | 12)));
    let readings = (0..15).map(|second| reading(f64::from(second), u64::from(second) * 1000, lag(second))).collect();
    let told = follow(&file, readings);
    // The first visit is placed and its echo is known as one; what follows is the host's alone.
    assert_eq!(
        changes(&told),
        [(2300, 1, "job_file"), (2700, 0, "job_file"), (12_000, 1, "host"), (13_000, 0, "host")]
    );
}

#[test]
fn a_file_whose_way_does_not_begin_at_the_tool_at_work_places_nothing() {
    let readings = vec![reading(0.0, 0, Some(0)), reading(1.0, 1000, Some(0)), reading(2.0, 2000, Some(0))];
    assert_eq!(changes(&follow(&file(&[(1, 0), (0, 1400), (1, 1700)]), readings)), []);
}

#[test]
fn the_host_wins_and_a_lasting_disagreement_is_told_once_an_episode() {
    let file = file(&[(0, 0), (1, 1000), (0, 20_000), (1, 21_000)]);
    let readings =
        (0..40_u32).map(|second| reading(f64::from(second), u64::from(second) * 1000 + 1, Some(0))).collect();
    let told = follow(&file, readings);
    assert_eq!(changes(&told), []);
    let disagreed = |effect: &Effect| match effect {
        Effect::ToolDisagreed { started, at, host, file } => {
            assert_eq!((*started, host.idx(), file.idx()), (START, 0, 1));
            Some((at.as_ms() - START.as_ms()) / 1000)
        }
        _ => None,
    };
    assert_eq!(told.iter().filter_map(disagreed).collect::<Vec<_>>(), [7, 27]);
}

#[test]
fn a_file_that_ends_before_the_host_does_or_names_a_tool_too_many_is_dropped() {
    let dropped =
        |effects: &[Effect]| effects.iter().filter(|effect| matches!(effect, Effect::JobFileDropped { .. })).count();
    let short = file(&[(0, 0), (1, 2000)]);
    let beyond = vec![reading(0.0, 0, None), reading(1.0, 100_001, None), reading(2.0, 3000, None)];
    let told = follow(&short, beyond);
    assert_eq!((dropped(&told), changes(&told)), (1, vec![]));
    let told = follow(&file(&[(0, 0), (2, 1400)]), vec![reading(0.0, 0, None), reading(2.0, 2000, None)]);
    assert_eq!((dropped(&told), changes(&told)), (1, vec![]));
    // One of another print is not taken.
    let other = JobFile { started: START + Seconds::new(-5.0), ..short };
    let told = follow(&other, vec![reading(0.0, 0, None), reading(3.0, 3000, None)]);
    assert_eq!((dropped(&told), changes(&told)), (0, vec![]));
}

/// What T1's spans are expected to let out, one of a minute in a print with this file and with that typed in, and one of
/// 40 s after it.
fn ooze(of_file: Option<f64>, typed: f64) -> [CubicMm; 2] {
    let retract = |length| Settings { retract: Some(Millimetres::new(length)), ..Settings::default() };
    let mut tracker = Tracker::new(HotEnd::Separate, vec![Settings::default(); 2]);
    tracker.read(reading(0.0, 0, Some(0)));
    let tools = of_file.map(|length| FileTool { tool: tool(1), settings: retract(length), left: 0, left_hot: 0 });
    tracker.plan(&JobFile { tools: tools.into_iter().collect(), ..file(&[(0, 0)]) });
    tracker.set(&SettingsChange { at: START, tool: tool(1), settings: retract(typed) });
    let mut effects = Vec::new();
    for step in 1..=10_u32 {
        let mut reading = reading(f64::from(step * 10), 0, Some(0));
        if step >= 6 {
            reading.job.state = JobState::Completed;
        }
        if step == 10 {
            reading.tools = vec![Heater { actual: CentiCelsius::nearest(20.0), ..Heater::default() }; 2];
        }
        effects.extend(tracker.read(reading));
    }
    let of_t1 = |effect: &Effect| match effect {
        Effect::SpanEnded { tool: of, measure, .. } if of.idx() == 1 => measure.ooze,
        _ => None,
    };
    effects.iter().filter_map(of_t1).collect::<Vec<_>>().try_into().unwrap()
}

#[test]
fn the_file_s_retraction_counts_over_the_typed_one_while_its_print_is_on_and_ends_with_it() {
    let ([long, long_after], [short, short_after]) = (ooze(None, 8.0), ooze(None, 0.0));
    assert!(long != short && long_after != short_after);
    assert_eq!(ooze(Some(8.0), 0.0), [long, short_after]);
    assert_eq!(ooze(Some(0.0), 8.0), [short, long_after]);
}

/// T1 waits at 220 °C. With 119.4 kJ/mol a second there is 3.424305 s of dose, with 170 kJ/mol 5.769213 s: reckoned apart.
#[test]
fn dose_and_limit_are_those_of_the_table_in_force_and_another_material_is_fresh() {
    let mut materials = Materials::default();
    let felt = MaterialFacts {
        degradation: Sourced::new(Band::exact(170_000.0), Source::Configuration),
        residence_limit: Sourced::new(DoseMinutes::new(90.0), Source::Configuration),
        ..Material::Pla.built_in()
    };
    assert_eq!(materials.set("FELT", felt), Ok(()));
    let settings = |material| Settings { material: Some(Arc::from(material)), ..Settings::default() };
    let mut tracker = Tracker::knowing(Arc::new(materials), HotEnd::Separate, vec![settings("PLA"), settings("felt")]);
    let mut at = 0.0;
    let mut read = |tracker: &mut Tracker| {
        let mut reading = reading(at, 0, Some(0));
        at += 1.0;
        reading.tools[1].actual = CentiCelsius::nearest(220.0);
        let effects = tracker.read(reading);
        let tools = effects.into_iter().find_map(|effect| match effect {
            Effect::Sample { tools, .. } => Some(tools),
            _ => None,
        });
        let tool = tools.unwrap()[1];
        (tool.dose.get() * 60.0, tool.limit.get())
    };
    let near = |(dose, limit): (f64, f64), right: (f64, f64)| {
        assert!((dose - right.0).abs() < 1e-5 && (limit - right.1).abs() < 1e-9, "{dose} s, {limit} min");
    };
    near(read(&mut tracker), (0.0, 90.0));
    near(read(&mut tracker), (5.769_213, 90.0));
    let load = |name| SettingsChange { at: START, tool: tool(1), settings: settings(name) };
    tracker.set(&load("Felt"));
    near(read(&mut tracker), (2.0 * 5.769_213, 90.0));
    tracker.set(&load("PLA"));
    near(read(&mut tracker), (3.424_305, 60.0));
}

/// T1 waits at 170 °C; what it reads at one second, and from another one on.
fn dose_after(wild: Option<(u32, f64)>, from: Option<(u32, f64)>, every: u32) -> f64 {
    let mut tracker = Tracker::new(HotEnd::Separate, vec![Settings::default(); 2]);
    let mut dose = None;
    for second in (0..=60).step_by(usize::try_from(every).unwrap()) {
        let mut reading = reading(f64::from(second), 0, Some(0));
        let lasting = from.filter(|(from, _)| second >= *from).map_or(170.0, |(_, degrees)| degrees);
        let degrees = wild.filter(|(at, _)| second == *at).map_or(lasting, |(_, degrees)| degrees);
        reading.tools[1].actual = CentiCelsius::nearest(degrees);
        dose = tracker.read(reading).into_iter().find_map(|effect| match effect {
            Effect::Sample { tools, .. } => Some(tools[1].dose.get()),
            _ => None,
        });
    }
    dose.unwrap()
}

#[test]
fn a_single_wild_reading_ages_no_melt_and_what_lasts_counts_from_the_next_one_on() {
    for every in [1, 5] {
        let quiet = dose_after(None, None, every);
        for wild in [400.0, 999.0] {
            let aged = dose_after(Some((30, wild)), None, every) - quiet;
            assert!((0.0..0.5).contains(&aged), "{wild} °C at polls of {every} s: {aged} min");
        }
        // 240 °C from the half minute on: all of it but the leap's own interval.
        let lasting = dose_after(None, Some((30, 240.0)), every) / dose_after(None, Some((0, 240.0)), every);
        let counted = (30.0 - f64::from(every)) / 60.0;
        assert!((counted..0.52).contains(&lasting), "{lasting} of it at polls of {every} s");
    }
}
