//! What *Now* expects of a running print, and how well it was heard, from a real record.

use super::*;
use crate::entry::{FileTool, FileTurn, JobFile, JobFileFrom, ToolNumber};
use dwell_analysis::units::Celsius;
use dwell_dashboards::view::{Ahead, NowView};

/// The site at 601 s of its print, which the host says is 30 % done.
fn running(file: Option<JobFile>) -> (tempfile::TempDir, Site) {
    let folder = tempfile::tempdir().unwrap();
    let store = Store::open(&folder.path().join("record.sqlite")).unwrap();
    let printer = PrinterName::new("bench").unwrap();
    let mut pipeline = Pipeline::new(HotEnd::Separate, vec![Settings::default(); 2], Arc::default());
    for seconds in (0..=600).step_by(5) {
        let mut reading = reading(seconds);
        reading.job.fraction_millionths = Some(seconds * 500);
        let step = pipeline.read(reading);
        let (effects, alarms) = (step.effects, step.alarms);
        store.commit(Commit { printer: printer.clone(), effects, alarms, notices: false }).unwrap();
    }
    if let Some(file) = file {
        store.record_job_file(&printer, &file).unwrap();
    }
    let configured = Known { printer: Some(printer), ..Known::default() };
    (folder, Site::new(store, vec![configured], TimeZone::UTC, Arc::new(Clock::rehearsal(at(601), 1.001)), false))
}

/// 2000 s by itself: T1 from half of it on, T0 again for the last quarter.
fn lantern() -> JobFile {
    let tool = |number| ToolNumber::new(number).unwrap();
    let turn = |number, byte, at| FileTurn { tool: tool(number), byte, at: Seconds::new(at) };
    let settings = |print, standby| Settings {
        print: Some(Celsius::new(print)),
        standby: Some(Celsius::new(standby)),
        ..Settings::default()
    };
    let asks = |number, print, standby| FileTool {
        tool: tool(number),
        settings: settings(print, standby),
        left: 1,
        left_hot: 0,
    };
    JobFile {
        at: at(4),
        name: Arc::from("lantern.gcode"),
        started: at(0),
        from: JobFileFrom::Host,
        bytes: 1000,
        expected: Seconds::new(2000.0),
        turns: vec![turn(0, 0, 0.0), turn(1, 500, 1000.0), turn(0, 750, 1500.0)],
        tools: vec![asks(0, 210.0, 170.0), asks(1, 235.0, 175.0)],
    }
}

fn next(view: &NowView, tool: usize) -> Vec<(LaneKind, f64, f64, Option<f64>)> {
    let pieces = view.printers[0].tools[tool].next.iter();
    pieces
        .map(|piece| (piece.kind, (piece.from - at(0)).get(), (piece.to - at(0)).get(), piece.mean.map(Celsius::get)))
        .collect()
}

/// At 30 % of 2000 s it is 600 s in, as it is by the clock: T1 is due in 400 s and T0 again in 900 s.
#[test]
fn a_job_file_places_what_comes_from_where_the_host_is_in_it() {
    let (_folder, site) = running(Some(lantern()));
    let view = views::now(&site).unwrap();
    assert_eq!(view.printers[0].ahead, Ahead::JobFile { ends: at(2000), pace: None });
    assert_eq!(view.printers[0].tools[1].works, Some(at(1000)));
    assert_eq!(view.printers[0].tools[0].works, Some(at(1500)));
    // Ends in whole minutes.
    assert_eq!(
        next(&view, 1),
        [(LaneKind::Waiting, 600.0, 1020.0, Some(175.0)), (LaneKind::Working, 1000.0, 1500.0, Some(235.0))]
    );
    assert_eq!(
        next(&view, 0),
        [
            (LaneKind::Working, 600.0, 1020.0, Some(210.0)),
            (LaneKind::Waiting, 1000.0, 1500.0, Some(170.0)),
            (LaneKind::Working, 1500.0, 1980.0, Some(210.0)),
        ]
    );
}

#[test]
fn without_a_job_file_nothing_is_expected_but_that_who_waits_goes_on_until_its_limit() {
    let (_folder, site) = running(None);
    let view = views::now(&site).unwrap();
    let tools = &view.printers[0].tools;
    assert_eq!(view.printers[0].ahead, Ahead::NoFile);
    assert!(next(&view, 0).is_empty(), "who works may stop at any time");
    let left = tools[1].time_left.unwrap().get();
    assert!(matches!(next(&view, 1)[..], [(LaneKind::Waiting, 600.0, to, Some(175.0))] if to <= 600.0 + left + 30.0));
    assert_eq!((tools[0].works, tools[1].works), (None, None));
}

#[test]
fn contact_is_the_time_without_gaps_and_a_silence_that_goes_on_is_one() {
    let (_folder, heard) = site(801);
    let heard = views::now(&heard).unwrap().printers[0].heard.unwrap();
    assert_eq!((heard.gaps, heard.longest), (1, Seconds::new(105.0)));
    assert!((heard.over - heard.contact - Seconds::new(105.0)).get().abs() < 1e-6, "{heard:?}");
    let (_folder, silent) = site(1000);
    let silent = views::now(&silent).unwrap().printers[0].heard.unwrap();
    assert_eq!(silent.gaps, 2);
    assert!((silent.longest - Seconds::new(200.0)).get().abs() < 1.0, "{silent:?}");
}

/// What was told of past readings is kept, and is the same as if they were read again.
#[test]
fn a_lane_that_goes_on_from_what_was_kept_is_the_one_of_a_fresh_look() {
    let folder = tempfile::tempdir().unwrap();
    let store = Store::open(&folder.path().join("record.sqlite")).unwrap();
    let printer = PrinterName::new("bench").unwrap();
    let mut pipeline = Pipeline::new(HotEnd::Separate, vec![Settings::default(); 2], Arc::default());
    let look = |kept: Option<Site>, now: u32| {
        let known = Known { printer: Some(PrinterName::new("bench").unwrap()), ..Known::default() };
        let clock = Arc::new(Clock::rehearsal(at(now), 1.001));
        let fresh = Site::new(store.clone(), vec![known], TimeZone::UTC, clock, false);
        match kept {
            Some(kept) => Site { past: kept.past, ..fresh },
            None => fresh,
        }
    };
    let mut kept = look(None, 0);
    for seconds in (0..9600_u32).step_by(5).filter(|second| !(2000..2100).contains(second)) {
        let mut reading = reading(seconds % 800);
        (reading.at, reading.job.name) = (at(seconds), Some(Arc::from(format!("lantern-{}.gcode", seconds / 800))));
        let step = pipeline.read(reading);
        store
            .commit(Commit { printer: printer.clone(), effects: step.effects, alarms: step.alarms, notices: false })
            .unwrap();
        if seconds % 655 == 0 {
            kept = look(Some(kept), seconds + 1);
            let (kept, fresh) = (views::now(&kept).unwrap(), views::now(&look(None, seconds + 1)).unwrap());
            for (kept, fresh) in kept.printers[0].tools.iter().zip(&fresh.printers[0].tools) {
                let (kept, fresh) = (&kept.history, &fresh.history);
                assert_eq!(shape(kept), shape(fresh), "{seconds}");
                let far = kept.iter().zip(fresh).filter_map(|(a, b)| Some((a.mean? - b.mean?).get().abs()));
                // A stretch that reaches in from before keeps the readings of before, too.
                assert!(far.skip(1).all(|far| far < 1e-6), "{seconds}: {kept:?} {fresh:?}");
            }
        }
    }
}
