//! The job file's way from the search into the record and the pipeline, and that a restart does not look again.

use super::*;
use crate::config::Config;
use crate::entry::{CentiCelsius, Entry, FileTurn, Heater, HotEnd, Job, JobFileFrom, JobState, Reading};
use crate::store::PrintFilter;
use crate::tracker::{Effect, ToolSource};
use std::sync::Arc;

const START: Timestamp = Timestamp::from_ms(1_772_438_400_000);

fn reading(second: i32, byte: u64) -> Reading {
    let heater = Heater { actual: CentiCelsius::nearest(200.0), ..Heater::default() };
    Reading {
        at: START + Seconds::new(f64::from(second)),
        after_gap: false,
        job: Job {
            state: JobState::Printing,
            name: Some(Arc::from("lantern.gcode")),
            fraction_millionths: None,
            byte: Some(byte),
        },
        active_tool: None,
        tools: vec![heater; 2],
        bed: None,
    }
}

fn printer(folder: &std::path::Path) -> Printer {
    let text = "[[printer]]\nname = \"bench\"\n[[printer.document]]\nname = \"all\"\nurl = \"http://127.0.0.1:9/\"\n\
        [printer.job.state]\npath = \"/state\"\n[printer.job_file]\nfolder = \".\"\n\
        [[printer.tool]]\nactual = { path = \"/t0\" }\n[[printer.tool]]\nactual = { path = \"/t1\" }\n";
    Config::parse(text, &folder.join("dwellwatch.toml")).unwrap().printers()[0].clone()
}

/// Ten seconds in ten thousand bytes: T0, and from byte 2500 on T1.
fn text() -> String {
    let padded = |text: &str, bytes: usize| format!("{text};{}\n", ".".repeat(bytes - text.len() - 2));
    let first = padded("M83\nT0\nG1 X50 E2 F1200\n", 2500);
    padded(&(first + "T1\nG1 X200 E6 F1200\n"), 10_000)
}

/// Seeks until the search is over.
async fn seek(watch: &mut Watch, pipeline: &mut Pipeline) {
    for _ in 0..500 {
        watch.seek_file(pipeline).await.unwrap();
        if pipeline.unplanned().is_none() || watch.files.as_ref().unwrap().trouble.is_some() {
            return;
        }
        tokio::time::sleep(Duration::from_millis(10)).await;
    }
}

fn changes(step: &Step) -> Vec<(i64, ToolSource)> {
    let change = |effect: &Effect| match effect {
        Effect::ToolChanged { at, source, .. } => Some((at.as_ms() - START.as_ms(), *source)),
        _ => None,
    };
    step.effects.iter().filter_map(change).collect()
}

#[tokio::test]
async fn what_is_found_is_in_the_record_before_it_is_followed_and_a_restart_does_not_look_again() {
    let folder = tempfile::tempdir().unwrap();
    let store = Store::open(&folder.path().join("bench.db")).unwrap();
    let (printer, clock) = (printer(folder.path()), Arc::new(Clock::rehearsal(START, 1.0)));
    store.ensure_printer(&printer.name, HotEnd::Separate, 2).unwrap();
    let client = Client::new(Duration::from_secs(1)).unwrap();
    let mut watch = Watch::new(&printer, client, &store, &clock);
    let mut pipeline = Pipeline::new(HotEnd::Separate, vec![Settings::default(); 2], Arc::default());
    for second in 0..2 {
        let step = pipeline.read(reading(second, 1000 * u64::try_from(second).unwrap()));
        watch.keep(step).await.unwrap();
    }
    // Not there: said, and not looked for again in this print.
    seek(&mut watch, &mut pipeline).await;
    std::fs::write(folder.path().join("lantern.gcode"), text()).unwrap();
    seek(&mut watch, &mut pipeline).await;
    let trouble = watch.files.as_ref().unwrap().trouble.clone();
    assert_eq!(trouble.as_deref(), Some("the job's file is not in the folder"));
    assert!(pipeline.unplanned().is_some());

    // As after a restart, which looks once more.
    watch.files.as_mut().unwrap().rest().await;
    seek(&mut watch, &mut pipeline).await;
    let reader = store.reader().unwrap();
    let print = reader.prints(&PrintFilter::default()).unwrap().remove(0);
    let row = reader.job_file(print.id).unwrap().unwrap();
    assert_eq!((row.file.at, row.file.from), (START + Seconds::new(1.0), JobFileFrom::Folder));
    assert_eq!(row.file.turns.iter().map(|turn: &FileTurn| turn.byte).collect::<Vec<_>>(), [4, 2500]);

    let mut found = Vec::new();
    for second in 2..5 {
        let step = pipeline.read(reading(second, 1000 * u64::try_from(second).unwrap()));
        found.extend(changes(&step));
        watch.keep(step).await.unwrap();
    }
    assert!(matches!(found[..], [(2450..=2550, ToolSource::JobFile)]), "{found:?}");
    store.flush().unwrap();
    let resume = store.reader().unwrap().resume(&printer.name).unwrap().unwrap();
    let mut resumed = Pipeline::resumed(Arc::default(), HotEnd::Separate, Arc::default(), resume);
    assert_eq!(resumed.unplanned(), None);
    let (mine, theirs) = (resumed.read(reading(5, 5000)), pipeline.read(reading(5, 5000)));
    assert_eq!(mine.effects, theirs.effects);
}

#[tokio::test]
async fn what_is_told_of_a_heater_holds_from_the_newest_reading_on_and_after_a_restart() {
    let folder = tempfile::tempdir().unwrap();
    let store = Store::open(&folder.path().join("bench.db")).unwrap();
    let (printer, clock) = (printer(folder.path()), Arc::new(Clock::rehearsal(START, 1.0)));
    let (tell, told) = channel::channel(Vec::new());
    let client = Client::new(Duration::from_secs(1)).unwrap();
    let mut watch = Watch::new(&printer, client, &store, &clock).told_of_heaters(told);
    let mut pipeline = Pipeline::new(HotEnd::Separate, vec![Settings::default(); 2], Arc::default());
    let fact = HeaterFact {
        at: START + Seconds::new(9_999.0),
        tool: ToolNumber::new(1).unwrap(),
        heater: dwell_analysis::thermal::Heater::HOT_END,
        surroundings: dwell_analysis::units::Celsius::new(31.25),
        heating_spread: 0.1,
        n: 12,
    };
    tell.send(vec![fact]).unwrap();
    // Without a reading there is no instant that stands in the record.
    watch.learn_heaters(&mut pipeline).await.unwrap();
    assert!(store.reader().unwrap().heater_facts(&printer.name).unwrap().is_empty());
    for second in 0..3 {
        let step = pipeline.read(reading(second, 0));
        watch.keep(step).await.unwrap();
        watch.learn_heaters(&mut pipeline).await.unwrap();
    }
    let recorded = HeaterFact { at: START, ..fact };
    let reader = store.reader().unwrap();
    assert_eq!(reader.heater_facts(&printer.name).unwrap(), [recorded]);
    assert_eq!(reader.resume(&printer.name).unwrap().unwrap().heaters, [recorded]);
    store.flush().unwrap();
    let entries = store.reader().unwrap();
    let entries: Vec<Entry> = entries.entries(&printer.name, None, None).unwrap().map(Result::unwrap).collect();
    let places: Vec<usize> = (0..entries.len()).filter(|idx| entries[*idx] == Entry::Heater(recorded)).collect();
    assert_eq!((entries.len(), places), (4, vec![1]), "{entries:?}");
}

/// The length may stand in a document that is polled seldom, and still be the last job's when a print begins.
#[tokio::test]
async fn a_file_refused_by_a_length_that_the_host_takes_back_is_looked_for_again() {
    let folder = tempfile::tempdir().unwrap();
    let store = Store::open(&folder.path().join("bench.db")).unwrap();
    let (printer, clock) = (printer(folder.path()), Arc::new(Clock::rehearsal(START, 1.0)));
    store.ensure_printer(&printer.name, HotEnd::Separate, 2).unwrap();
    std::fs::write(folder.path().join("lantern.gcode"), text()).unwrap();
    let mut watch = Watch::new(&printer, Client::new(Duration::from_secs(1)).unwrap(), &store, &clock);
    let mut pipeline = Pipeline::new(HotEnd::Separate, vec![Settings::default(); 2], Arc::default());
    let step = pipeline.read(reading(0, 0));
    watch.keep(step).await.unwrap();
    watch.files.as_mut().unwrap().bytes = Some(7);
    seek(&mut watch, &mut pipeline).await;
    assert!(watch.files.as_ref().unwrap().trouble.as_ref().unwrap().contains("the host tells 7"));
    watch.files.as_mut().unwrap().bytes = Some(u64::try_from(text().len()).unwrap());
    for _ in 0..500 {
        watch.seek_file(&mut pipeline).await.unwrap();
        if pipeline.unplanned().is_none() {
            return;
        }
        tokio::time::sleep(Duration::from_millis(10)).await;
    }
    unreachable!("not looked for again: {:?}", watch.files.as_ref().unwrap().trouble);
}
