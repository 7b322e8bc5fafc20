//! What is kept is what would be learned, and it is asked for as long as it holds.

use super::*;
use crate::entry::{HotEnd, Job, JobState, Mode, Outcome, PrintEnd, PrinterName, Reading, ToolNumber};
use crate::store::{Commit, Kept, OutcomeRow, PrintFilter, Store};
use crate::study::runs::Run;
use crate::study::{foreseen, learned};
use crate::tracker::{Context, Effect};
use dwell_analysis::idle::SpanMeasure;
use dwell_analysis::time::Timestamp;
use dwell_analysis::units::{Celsius, CubicMm, DoseMinutes};
use dwell_dashboards::view::{Foreseen, ForeseenRow};
use tempfile::TempDir;

const BEGINS: Timestamp = Timestamp::from_ms(1_772_438_400_000);
const HOUR: Seconds = Seconds::minutes(60.0);
const N: u32 = 60;

fn bench() -> PrinterName {
    PrinterName::new("bench").unwrap()
}

fn tool(number: usize) -> ToolNumber {
    ToolNumber::new(number).unwrap()
}

fn started(nth: u32) -> Timestamp {
    BEGINS + Seconds::minutes(120.0 * f64::from(nth))
}

fn reading(at: Timestamp) -> Reading {
    let job = Job { state: JobState::Completed, name: None, fraction_millionths: None, byte: None };
    Reading { at, after_gap: false, job, active_tool: None, tools: Vec::new(), bed: None }
}

/// A print of an hour in which T1 waits, hot and long every second time.
fn print(nth: u32) -> Vec<Effect> {
    let (began, ended) = (started(nth), started(nth) + HOUR);
    let mean = Some(Celsius::new(if nth.is_multiple_of(2) { 215.0 } else { 170.0 + f64::from(nth % 5) }));
    let dose = DoseMinutes::new(if nth.is_multiple_of(2) { 40.0 } else { 1.0 + f64::from(nth % 7) });
    let measure = SpanMeasure { idle: HOUR, gap: Seconds::ZERO, mean, max: mean, dose, ooze: Some(CubicMm::new(1.0)) };
    let (end, mode) = (PrintEnd::Completed, Context::InPrint);
    vec![
        Effect::PrintStarted { started: began, name: None },
        Effect::VisitBegan { started: began, tool: tool(0), began },
        Effect::SpanBegan { tool: tool(1), began, context: mode, print: Some(began), target: mean },
        Effect::VisitEnded { tool: tool(0), began, ended, gap: Seconds::ZERO, mean, max: mean },
        Effect::SpanEnded { tool: tool(1), began, ended, measure, end: mean, target: mean },
        Effect::PrintEnded { started: began, at: ended, end, fraction_millionths: None },
        Effect::Sample { reading: reading(ended), tools: Vec::new() },
    ]
}

/// Says it of T1 so many hours after the print's end.
fn say(store: &Store, nth: u32, mode: Mode, after_h: f64) {
    let at = started(nth) + HOUR + Seconds::minutes(60.0 * after_h);
    let (job, tool) = ("lantern.gcode".into(), Some(tool(1)));
    let outcome = Outcome { at, job, started: started(nth), tool, mode, severity: None, note: None };
    store.record_outcome(&bench(), &outcome).unwrap();
}

/// Prints of which the hot ones jam twice in three times; the last `silent` of them are not reported.
fn record(silent: u32) -> (TempDir, Store) {
    let folder = tempfile::tempdir().unwrap();
    let store = Store::open_bulk(&folder.path().join("record.db")).unwrap();
    store.ensure_printer(&bench(), HotEnd::Separate, 2).unwrap();
    for nth in 0..N {
        store.commit(Commit { printer: bench(), effects: print(nth), alarms: Vec::new(), notices: false }).unwrap();
        let mode = if nth.is_multiple_of(2) && nth % 3 > 0 { Mode::Jam } else { Mode::Clean };
        if nth + silent < N {
            say(&store, nth, mode, 0.1);
        }
    }
    (folder, store)
}

fn fit(reader: &Reader) -> (String, Vec<u8>) {
    let materials = Materials::default();
    fitted(reader, &materials, &Known::of(reader, &materials, Some(Learning::default())).unwrap()).unwrap()
}

fn keep(store: &Store, source: String, body: Vec<u8>) {
    store.keep_learned(Kept { source, made: started(N), body }).unwrap();
}

fn jams(store: &Store) -> (usize, usize) {
    let study = studied(&store.reader().unwrap(), &Materials::default(), None).unwrap();
    let jam = study.lessons.iter().find(|lesson| lesson.mode == Mode::Jam).unwrap();
    (jam.learned.n, jam.learned.events)
}

#[test]
fn what_is_kept_is_to_the_last_digit_what_would_be_learned() {
    let (_folder, store) = record(0);
    let reader = store.reader().unwrap();
    let learned = study(&reader, &Materials::default(), Learning::default()).unwrap();
    let jam = learned.lessons.iter().find(|lesson| lesson.mode == Mode::Jam).unwrap();
    assert!(!jam.learned.factors.is_empty() && jam.learned.skill.is_some(), "too little to show anything of it");
    assert!(learned.lessons.iter().any(|lesson| lesson.learned.refused.is_some()));
    let (_, body) = fit(&reader);
    let kept = form::unpack(&body).unwrap();
    assert!(
        kept.iter()
            .map(|(mode, learned)| (*mode, learned))
            .eq(learned.lessons.iter().map(|one| (one.mode, &one.learned)))
    );
    assert_eq!(form::unpack(&body[..body.len() / 2]).map(|_| ()), None);
    // As whoever asks sees it.
    drop(reader);
    let (source, body) = fit(&store.reader().unwrap());
    keep(&store, source, body);
    let seen = studied(&store.reader().unwrap(), &Materials::default(), None).unwrap();
    let happened = |study: &Study| study.lessons.iter().map(|lesson| lesson.happened.clone()).collect::<Vec<_>>();
    assert_eq!(happened(&seen), happened(&learned));
    assert_eq!(seen.runs.len(), learned.runs.len());
}

#[test]
fn what_is_kept_is_not_learned_again_until_something_new_is_recorded() {
    let (_folder, store) = record(1);
    let (source, body) = fit(&store.reader().unwrap());
    let mut marked = form::unpack(&body).unwrap();
    let known = jams(&store);
    // A mark that no fit would leave: it is seen as long as none is made.
    for (_, learned) in &mut marked {
        learned.events += 1000;
    }
    keep(&store, source, form::pack(marked.iter().map(|(mode, learned)| (*mode, learned))));
    assert_eq!(jams(&store), (known.0, known.1 + 1000));
    assert_eq!(jams(&store), (known.0, known.1 + 1000));
    let reader = store.reader().unwrap();
    assert_eq!(reader.learned_from().unwrap().map(|(_, made)| made), Some(started(N)));
    drop(reader);
    say(&store, N - 1, Mode::Jam, 0.1);
    // Whoever names what went wrong on one tool says that it did not on the other.
    assert_eq!(jams(&store), (known.0 + 2, known.1 + 1));
}

#[test]
fn a_silence_of_a_day_is_clean_only_where_the_settings_say_so() {
    let (_folder, store) = record(20);
    let reader = store.reader().unwrap();
    let quiet = Learning { silence_means_clean: true, ..Learning::default() };
    let n = |learning| {
        let runs = runs_as(&reader, &Materials::default(), learning).unwrap();
        runs.iter().filter(|run| run.happened(Mode::Jam) == Some(false)).count()
    };
    // Of the last twenty, two hours apart, eight have been over for a day; each has two tools.
    assert_eq!(n(quiet) - n(Learning::default()), 8 * 2);
    let named = |learning| source(&store.reader().unwrap(), &Materials::default(), learning).unwrap();
    let before = [quiet, Learning::default()].map(named);
    assert_ne!(before[0], before[1]);
    drop(reader);
    // Two hours on: one print more has been over for a day, and nothing was recorded but a reading.
    let sample = Effect::Sample { reading: reading(started(N) + HOUR), tools: Vec::new() };
    store.commit(Commit { printer: bench(), effects: vec![sample], alarms: Vec::new(), notices: false }).unwrap();
    store.flush().unwrap();
    let after = [quiet, Learning::default()].map(named);
    assert!(after[0] != before[0] && after[1] == before[1], "{before:?}, {after:?}");
    // A word in time, and one that comes after the day.
    say(&store, N - 20, Mode::Jam, 1.0);
    say(&store, N - 19, Mode::Jam, 30.0);
    let runs = runs_as(&store.reader().unwrap(), &Materials::default(), quiet).unwrap();
    let told = |nth| {
        let run = runs.iter().find(|run| run.started == started(nth) && run.tool == tool(1)).unwrap();
        run.tellings(Mode::Jam).map(|(_, jammed)| jammed).collect::<Vec<_>>()
    };
    assert_eq!(told(N - 20), [Some(true)]);
    assert_eq!(told(N - 19), [Some(false), Some(true)]);
    assert_eq!(told(N - 1), []);
}

/// What is told of a jam of T1 in the 20th print, with the words on it that stand now.
fn told_of_jam(study: &Study, held: &[OutcomeRow]) -> ForeseenRow {
    let print = study.runs.iter().find(|run| run.started == started(20)).unwrap().print;
    let Foreseen::Known(rows) = foreseen(study, print, started(20), held) else { unreachable!() };
    rows.into_iter().find(|row| row.tool == 1 && row.mode == Mode::Jam.word()).unwrap()
}

#[test]
fn a_word_that_was_taken_back_since_is_not_what_happened() {
    let (_folder, store) = record(5);
    let reader = store.reader().unwrap();
    let learning = Learning { silence_means_clean: true, ..Learning::default() };
    let study = learned::study(&reader, &Materials::default(), learning).unwrap();
    let held = reader.prints(&PrintFilter { from: Some(started(20)), to: Some(started(21)), ..PrintFilter::default() });
    let held = held.unwrap().remove(0).outcomes;
    assert_eq!((told_of_jam(&study, &held).happened, told_of_jam(&study, &[]).happened), (Some(true), None));
    // Of the last prints nobody spoke.
    let silent = study.runs.iter().find(|run| run.started == started(N - 5)).unwrap();
    let Foreseen::Known(rows) = foreseen(&study, silent.print, silent.started, &[]) else { unreachable!() };
    assert!(study.runs.iter().filter(|run| !run.is_reported).count() > 0);
    assert_eq!(rows[0].happened, silent.happened(Mode::Jam));
}

#[test]
fn the_rate_until_a_print_is_of_what_was_known_when_it_began() {
    let (_folder, store) = record(0);
    let study = learned::study(&store.reader().unwrap(), &Materials::default(), Learning::default()).unwrap();
    // Six of the twenty before it jammed, which says all of both runs; the others were called clean of T1 alone.
    let row = told_of_jam(&study, &[]);
    assert_eq!((row.n, row.events), (26, 6));
    let slow = |run: &Run| run.tellings(Mode::Jam).take_while(|(from, _)| *from < started(20)).last()?.1;
    let known: Vec<bool> = study.runs.iter().filter_map(slow).collect();
    assert_eq!((known.len(), known.iter().filter(|yes| **yes).count()), (row.n, row.events));
    assert!((row.base - 6.5 / 27.0).abs() < 1e-12, "{row:?}");
}
