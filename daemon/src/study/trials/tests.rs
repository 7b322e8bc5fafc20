//! What is known of what was set in a trial's prints, from a record with one print after another.

use super::*;
use crate::alarm::Rules;
use crate::entry::{
    CentiCelsius, Entry, Heater, Job, JobState, Part, PartChange, PartEvent, PrinterName, Reading, Settings,
    SettingsChange, ToolNumber,
};
use crate::replay::Replay;
use crate::store::{NewTrial, SaidSuggestion};
use dwell_analysis::advice::{Change, PartKind, Plan, Step};
use dwell_analysis::estimate::Estimate;
use dwell_analysis::units::{Celsius, Millimetres, Seconds};
use dwell_dashboards::view::{KnownBy, WasSet};
use std::collections::HashMap;
use std::sync::Arc;

const BEGAN: Timestamp = Timestamp::from_ms(1_770_000_000_000);
/// A print of ten minutes begins every so often.
const EVERY: Seconds = Seconds::minutes(60.0);

fn at(prints: f64) -> Timestamp {
    BEGAN + Seconds::new(EVERY.get() * prints)
}

/// T0 prints; T1 waits, at no set point that is told.
fn readings(print: u32) -> impl Iterator<Item = Reading> {
    (0..=60).map(move |step| {
        let heater = |degrees| Heater {
            actual: CentiCelsius::nearest(degrees),
            target: None,
            duty_thousandths: None,
            fan_thousandths: None,
        };
        let state = if step < 60 { JobState::Printing } else { JobState::Completed };
        Reading {
            at: at(f64::from(print)) + Seconds::new(f64::from(step) * 10.0),
            after_gap: false,
            job: Job { state, name: Some(Arc::from("gull.gcode")), fraction_millionths: None, byte: None },
            active_tool: Some(0),
            tools: vec![heater(210.0), heater(200.0)],
            bed: None,
        }
    })
}

/// A record of one print, a trial of this change on T1, and three prints more; `told` are words in between.
fn tried(change: Change, told: Vec<Entry>) -> Vec<(WasSet, KnownBy)> {
    let folder = tempfile::tempdir().unwrap();
    let store = Store::open(&folder.path().join("record.db")).unwrap();
    let (bench, tool) = (PrinterName::new("bench").unwrap(), ToolNumber::new(1).unwrap());
    let mut entries = vec![Entry::Settings(SettingsChange {
        at: at(-0.5),
        tool,
        settings: Settings {
            material: Some(Arc::from("PLA")),
            retract: Some(Millimetres::new(0.8)),
            ..Settings::default()
        },
    })];
    entries.extend(readings(0).map(Entry::Reading));
    let replay = |entries: Vec<Entry>| {
        let mut replay = Replay::new(&store, Rules::default(), HashMap::new());
        for entry in entries {
            replay.take(&bench, entry).unwrap();
        }
        replay.finish().unwrap();
    };
    replay(entries);
    let said = SaidSuggestion {
        id: "it".to_owned(),
        printer: bench.clone(),
        tool,
        material: Some("PLA".to_owned()),
        change,
        body: "{}".to_owned(),
    };
    let suggestion = said.id.clone();
    store.keep_suggestions(vec![said], at(0.5)).unwrap();
    let plan = Plan { design: Design::BeforeAfter, prints: 20, ratio: 0.5, power: 0.8, detects: None };
    let trial = NewTrial {
        suggestion,
        at: at(0.5),
        plan,
        modes: vec![Mode::Jam],
        risk: Estimate { value: 0.2, low: 0.1, high: 0.3, n: 0 },
        baseline: "1".to_owned(),
        draws: vec![Arm::Changed; 20],
    };
    assert!(store.adopt(trial).unwrap());
    replay(told);
    replay((1..4).flat_map(readings).map(Entry::Reading).collect());
    let view = review(&store.reader().unwrap(), &Materials::default(), None).unwrap();
    let prints = &view.trials[0].prints;
    assert_eq!(prints.iter().map(|print| print.nth).collect::<Vec<_>>(), [1, 2, 3], "the first began before it");
    prints.iter().map(|print| (print.applied.set, print.applied.by)).collect()
}

fn settings(prints: f64, settings: Settings) -> Entry {
    Entry::Settings(SettingsChange { at: at(prints), tool: ToolNumber::new(1).unwrap(), settings })
}

#[test]
fn what_was_typed_in_tells_from_which_print_on_it_was_set_and_what_nobody_told_is_not_known() {
    let retract = |to| Settings { retract: Some(Millimetres::new(to)), ..Settings::default() };
    let shorter = Change::Retract(Step { from: Some(Millimetres::new(0.8)), to: Millimetres::new(0.6) });
    let told = vec![settings(1.5, retract(0.61)), settings(2.5, retract(0.7))];
    let typed = |set| (set, KnownBy::TypedIn);
    assert_eq!(tried(shorter, told), [typed(WasSet::AsBefore), typed(WasSet::Changed), typed(WasSet::Neither)]);
    let standby = Change::Standby(Step { from: None, to: Celsius::new(155.0) });
    let lower = Settings { standby: Some(Celsius::new(155.0)), ..Settings::default() };
    let unknown = (WasSet::NotKnown, KnownBy::NotKnown);
    assert_eq!(tried(standby, vec![settings(2.5, lower)]), [unknown, unknown, typed(WasSet::Changed)]);
}

#[test]
fn a_part_is_new_from_the_first_print_after_its_fitting_and_a_cleaning_leaves_no_trace() {
    let fitted = |prints, part, tool| {
        let tool = ToolNumber::new(tool).unwrap();
        Entry::Part(PartChange { at: at(prints), tool, part, event: PartEvent::Fitted, reason: None, note: None })
    };
    let told = vec![fitted(0.7, Part::Liner, 0), fitted(0.8, Part::Nozzle, 1), fitted(2.5, Part::Liner, 1)];
    let by = |set| (set, KnownBy::PartsTold);
    let sets = tried(Change::Replace(PartKind::Liner), told.clone());
    assert_eq!(sets, [by(WasSet::AsBefore), by(WasSet::AsBefore), by(WasSet::Changed)]);
    assert_eq!(tried(Change::Replace(PartKind::Nozzle), told.clone()), [by(WasSet::Changed); 3]);
    assert_eq!(tried(Change::Clean, told), [(WasSet::NotKnown, KnownBy::NotKnown); 3]);
}
