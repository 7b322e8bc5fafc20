//! A notice stands in the outbox, committed, within two polls of the moment at which its rule's limit and delay are over,
//! and not before.
#![expect(clippy::unwrap_used, reason = "a test may stop")]

use dwell_analysis::polymer::{Material, dose_rate};
use dwell_analysis::time::Timestamp;
use dwell_analysis::units::{Celsius, Seconds};
use dwellwatch::alarm::Rules;
use dwellwatch::entry::{CentiCelsius, Heater, HotEnd, Job, JobState, PrinterName, Reading, Settings};
use dwellwatch::pipeline::{Pipeline, Step};
use dwellwatch::store::{Commit, Store};
use rusqlite::Connection;
use std::sync::Arc;

const START: Timestamp = Timestamp::from_ms(1_772_438_400_000);

/// What the printer shows all the time: its job, T0 waiting, T1 at work, and the bed; set points where they are told.
#[derive(Clone, Copy)]
struct Scene {
    job: JobState,
    t0: f64,
    t1: f64,
    target: Option<f64>,
    bed: f64,
}

const PRINTS: Scene = Scene { job: JobState::Printing, t0: 100.0, t1: 205.0, target: None, bed: 60.0 };

fn reading(scene: Scene, second: f64) -> Reading {
    let heater = |actual| Heater {
        actual: CentiCelsius::nearest(actual),
        target: scene.target.and_then(CentiCelsius::nearest),
        ..Heater::default()
    };
    Reading {
        at: START + Seconds::new(second),
        after_gap: false,
        job: Job { state: scene.job, name: None, fraction_millionths: None, byte: None },
        active_tool: Some(1),
        tools: vec![heater(scene.t0), heater(scene.t1)],
        bed: Some(heater(scene.bed)),
    }
}

/// Second of the poll after which a notice of that rule first stood in the outbox.
fn noticed(rule: &str, scene: Scene, poll: f64, until: f64) -> Option<f64> {
    let folder = tempfile::tempdir().unwrap();
    let file = folder.path().join("bench.db");
    let (store, printer) = (Store::open(&file).unwrap(), PrinterName::new("bench").unwrap());
    store.ensure_printer(&printer, HotEnd::Separate, 2).unwrap();
    let settings = Settings { material: Some(Arc::from("PLA")), ..Settings::default() };
    let rules = Arc::new(Rules::default().of(&printer));
    let mut pipeline = Pipeline::new(HotEnd::Separate, vec![settings; 2], rules);
    let outbox = Connection::open(&file).unwrap();
    let stands = || {
        let sql = "SELECT count(*) FROM outbox WHERE body LIKE '%' || ?1 || '%'";
        outbox.query_row(sql, [rule], |row| row.get::<_, u32>(0)).unwrap() > 0
    };
    let mut second = 0.0;
    while second < until {
        let Step { effects, alarms } = pipeline.read(reading(scene, second));
        let is_news = !alarms.is_empty();
        store.commit(Commit { printer: printer.clone(), effects, alarms, notices: true }).unwrap();
        if is_news && stands() {
            return Some(second);
        }
        second += poll;
    }
    None
}

#[test]
fn each_rule_s_notice_stands_in_the_outbox_within_two_polls() {
    // PLA's limit is 60 equivalent minutes; its levels lie at 10, 25 and 60 of them.
    let level = |level: f64, at| 60.0 * level / dose_rate(&Material::Pla.built_in(), Celsius::new(at));
    let waits = |at| Scene { t0: at, ..PRINTS };
    let off = Scene { job: JobState::None, t0: 24.0, t1: 24.0, target: Some(60.0), bed: 60.0 };
    let paused = Scene { job: JobState::Paused, t0: 100.0, t1: 100.0, target: Some(100.0), bed: 60.0 };
    let hot = Scene { t1: 251.0, ..PRINTS };
    for (rule, scene, due) in [
        // The hotter, the sooner a warning follows the note.
        ("residence_note", waits(185.0), level(10.0, 185.0) + 600.0),
        ("residence_warn", waits(215.0), level(25.0, 215.0) + 300.0),
        ("residence_budget", waits(215.0), level(60.0, 215.0)),
        ("idle_hot", waits(192.0), 600.0),
        ("hot_no_print", off, 1800.0),
        ("paused_hot", paused, 900.0),
        ("over_liner", hot, 10.0),
    ] {
        for poll in [1.0, 5.0] {
            let found = noticed(rule, scene, poll, due + 60.0);
            let found = found.unwrap_or_else(|| unreachable!("{rule} was never noticed, due after {due:.1} s"));
            assert!(
                (due - 1e-6..=due + 2.0 * poll).contains(&found),
                "{rule}: {found} s, due {due:.1} s, poll {poll} s"
            );
        }
    }
}
