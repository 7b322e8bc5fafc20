//! A job as tests need it: two tools that take turns. Owns one outline without a flaw; each test spoils what it is
//! about.
#![expect(clippy::unwrap_used, reason = "a test may stop")]

use super::{Habit, HeaterKnown, Known, Liner, ToolKnown};
use crate::entry::{HotEnd, PrinterName, ToolNumber};
use crate::jobfile::{
    JobOutline, MotionLimits, Purge, PurgePlace, Restart, Retractions, Spread, ToolOutline, Unread, Visit, Wait,
};
use dwell_analysis::idle::SpanMeasure;
use dwell_analysis::risk::Restarts;
use dwell_analysis::units::{Celsius, CubicMm, DoseMinutes, Millimetres, Seconds};
use std::sync::Arc;

pub(crate) fn tool(number: usize) -> ToolNumber {
    ToolNumber::new(number).unwrap()
}

fn seconds(value: f64) -> Seconds {
    Seconds::new(value)
}

/// All the same.
pub(crate) fn spread(n: u64, value: f64) -> Spread {
    let value = (n > 0).then_some(value);
    Spread { n, min: value, mode: value, max: value, mode_share: value.map(|_| 1.0), mean: value }
}

fn visit(number: usize, began: f64, ended: f64) -> Visit {
    Visit {
        tool: tool(number),
        byte: 1000,
        began: seconds(began),
        ended: seconds(ended),
        extruded: CubicMm::new(40.0),
        purge: Purge { volume: CubicMm::new(30.0), place: Some(PurgePlace::Spot([10.0, 200.0])) },
        restart: Some(Restart {
            at: seconds(began + 2.0),
            target: Some(Celsius::new(210.0)),
            expected: Celsius::new(209.0),
            waited: Seconds::ZERO,
            raised_ahead: Some(seconds(40.0)),
        }),
        standby: Some(Celsius::new(170.0)),
        left_hot: Some(false),
        n_retractions: 20,
        retract: Some(Millimetres::new(0.8)),
    }
}

fn wait(number: usize, began: f64, ended: f64, is_followed: bool) -> Wait {
    let idle = seconds(ended - began);
    let (mean, max) = (Some(Celsius::new(176.0)), Some(Celsius::new(210.0)));
    let measure =
        SpanMeasure { idle, gap: Seconds::ZERO, mean, max, dose: DoseMinutes::new(2.0), ooze: Some(CubicMm::new(0.4)) };
    let (began, ended) = (seconds(began), seconds(ended));
    let target = Some(Celsius::new(if is_followed { 170.0 } else { 0.0 }));
    Wait { tool: tool(number), began, ended, measure, dose: DoseMinutes::new(3.0), target, is_followed }
}

fn tool_outline(number: usize, waits: &[Wait]) -> ToolOutline {
    let lasts: Vec<f64> = waits.iter().map(|wait| (wait.ended - wait.began).get()).collect();
    ToolOutline {
        tool: tool(number),
        visits: 2,
        filament: Millimetres::new(3200.0),
        layers: 60,
        print: Some(Celsius::new(210.0)),
        target_max: Some(Celsius::new(215.0)),
        standby: spread(2, 170.0),
        left: if number == 0 { 2 } else { 1 },
        left_hot: 0,
        retractions: Retractions {
            n: 40,
            length: spread(40, 0.8),
            speed: spread(40, 35.0),
            extra: spread(40, 0.0),
            untold: 0,
            per_metre: Some(12.5),
            on_one_spot: 6,
        },
        purge: spread(2, 30.0),
        pushed: spread(2, 30.0),
        restart: spread(2, 209.0),
        waits: u32::try_from(waits.len()).unwrap(),
        waited: seconds(lasts.iter().sum()),
        waited_max: seconds(lasts.iter().copied().fold(0.0, f64::max)),
        waited_max_at: waits.first().map(|wait| wait.began),
        dose_max: DoseMinutes::new(3.0),
        wait_dose_max: DoseMinutes::new(2.5),
        dose_sum: DoseMinutes::new(4.0),
        restarts: Restarts { n: 1, load_max: 900.0, ..Restarts::default() },
        called_min: Some(Celsius::new(196.0)),
        stagnant: DoseMinutes::new(3.5),
        wait_mean: Some(Celsius::new(176.0)),
        wait_max: Some(Celsius::new(210.0)),
        ooze: CubicMm::new(0.8),
    }
}

/// T0 and T1 take turns, two each; the first filament comes after five minutes, the end after an hour and 35 minutes.
pub(crate) fn lantern() -> JobOutline {
    let waits = [
        wait(1, 300.0, 1500.0, true),
        wait(0, 1500.0, 2700.0, true),
        wait(1, 2700.0, 4500.0, true),
        wait(0, 4500.0, 5700.0, false),
    ];
    let of = |number: usize| waits.iter().filter(|wait| wait.tool == tool(number)).cloned().collect::<Vec<_>>();
    // T1 is heated up just before its first turn.
    let first = Wait { began: seconds(1380.0), ..waits[0].clone() };
    let waits = vec![first, waits[1].clone(), waits[2].clone(), waits[3].clone()];
    JobOutline {
        bytes: 123_456,
        lines: 4567,
        commands: 4000,
        begins: Some(seconds(300.0)),
        ends: seconds(5700.0),
        heating: seconds(240.0),
        layers: 60,
        moving: seconds(5160.0),
        moving_by_file: seconds(5160.0),
        visits: vec![
            visit(0, 10.0, 1500.0),
            visit(1, 1500.0, 2700.0),
            visit(0, 2700.0, 4500.0),
            visit(1, 4500.0, 5700.0),
        ],
        visits_left_out: 0,
        tools: vec![tool_outline(0, &of(0)), tool_outline(1, &of(1))],
        waits,
        homings: 0,
        pauses: 0,
        chamber_waits: 0,
        unread: Unread::default(),
    }
}

/// A printer of which everything is known.
pub(crate) fn bench(hot_end: HotEnd) -> Known {
    let mm = Millimetres::new;
    let tool = |material: &str| ToolKnown {
        material: Some(Arc::from(material)),
        liner: Liner::Rated(Celsius::new(250.0)),
        heater: HeaterKnown { fitted: Some(40), ..HeaterKnown::default() },
        retraction: Some(Habit { low: mm(0.6), median: mm(0.8), high: mm(1.0), n: 12 }),
    };
    Known {
        printer: PrinterName::new("bench"),
        hot_end: Some(hot_end),
        n_tools: Some(2),
        materials: Arc::default(),
        limits: MotionLimits::default(),
        tools: vec![tool("PLA"), tool("PETG")],
        pace: None,
        risks: Vec::new(),
    }
}
