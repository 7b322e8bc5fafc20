//! The report of an invented week, and of one before anything was recorded.

use super::{alarm, alarms, at, print, span, week, zone};
use dwell_analysis::advice::{Basis, Change, Design, ModeEffect, Plan, RiskMove, Step, Suggestion};
use dwell_analysis::estimate::Estimate;
use dwell_analysis::risk::{FailureMode, Group, Settling, State};
use dwell_analysis::units::{Celsius, DoseMinutes, Probability, Seconds};
use dwell_dashboards::view::*;

pub(crate) fn report(name: &str) -> ReportView {
    let (from, to) = week().bounds(&zone()).unwrap();
    ReportView {
        period: week().into(),
        learned_at: at(0.0),
        zone: zone(),
        from,
        to,
        as_of: at(0.0),
        first_reading: Some(at(-30_000.0)),
        rehearsal: true,
        days: days(),
        prints: failures(3, 8, (0.111, 0.375, 0.711)),
        runs: failures(3, 16, (0.053, 0.1875, 0.417)),
        before: Some(Before {
            period: week().previous().unwrap().into(),
            prints: failures(4, 31, (0.045, 0.129, 0.273)),
            runs: failures(5, 62, (0.032, 0.081, 0.163)),
        }),
        modes: modes(),
        idle: idle(),
        worst: vec![span(-31.0, Some(71.3)), span(-3000.0, Some(41.0)), span(-4100.0, Some(12.2))],
        settings: vec![ToolSettings {
            printer: "bench".to_owned(),
            tool: 1,
            print: 11,
            name: Some(name.to_owned()),
            settings: print(name).tools[1].settings.clone(),
            n: 9,
            n_files: 7,
        }],
        disagreements: 2,
        alarms: vec![alarm(Some(at(-20.0))), alarm(None)],
        n_quiet_alarms: 4,
        alarm_figures: Some(alarms::figures(7.0)),
        standing: vec![alarm(None)],
        gaps: GapSum { n: 3, total: Seconds::minutes(27.0) },
        contact: vec![ContactRow {
            printer: "bench".to_owned(),
            span: Seconds::minutes(8600.0),
            gap: Seconds::minutes(27.0),
            n: 3,
        }],
        refused: vec![Refused { reason: "out_of_order", n: 2 }, Refused { reason: "tool_out_of_range", n: 1 }],
        unreported: vec![UnreportedPrint {
            id: 12,
            printer: "bench".to_owned(),
            name: Some(name.to_owned()),
            started: at(-95.0),
        }],
        recorded: Recorded { prints: 52, reported: 40 },
        learned: vec![
            learned("jam", State::TooLittle, (2, 44), Settling::Runs(60)),
            learned("stringing", State::Leaning, (9, 44), Settling::Runs(22)),
        ],
        suggestion: Some(suggestion(name)),
        trials: Vec::new(),
        open_trials: Vec::new(),
        parts: vec![liner()],
        silence: SilenceView { means_clean: false, prints: 12, readings: Vec::new() },
        if_silent: Some(IfSilent {
            n: 3,
            clean: interval((0.079, 0.273, 0.564)),
            failed: interval((0.271, 0.545, 0.8)),
        }),
    }
}

fn days() -> Vec<DayRecord> {
    let day = |completed, failed, with_failure, unreported| {
        DayRecord::Counted(DayCounts { completed, failed, with_failure, unreported, ..DayCounts::default() })
    };
    vec![
        day(2, 0, 1, 0),
        DayRecord::NoRecord,
        day(1, 1, 2, 0),
        day(0, 0, 0, 0),
        day(3, 0, 0, 2),
        DayRecord::Counted(DayCounts {
            completed: 2,
            cancelled: 1,
            unknown: 1,
            running: 1,
            unreported: 1,
            ..DayCounts::default()
        }),
        DayRecord::NotYet,
    ]
}

fn modes() -> Vec<ModeRow> {
    let p = |value| Probability::new(value).unwrap();
    vec![
        ModeRow {
            mode: "stringing",
            events: 2,
            unplaced: 0,
            n: 16,
            rate: Ok(RateInterval { low: p(0.0227), value: p(0.125), high: p(0.344) }),
        },
        ModeRow {
            mode: "jam",
            events: 1,
            unplaced: 0,
            n: 16,
            rate: Ok(RateInterval { low: p(0.0032), value: p(0.0625), high: p(0.264) }),
        },
        ModeRow {
            mode: "under_extrusion",
            events: 0,
            unplaced: 0,
            n: 0,
            rate: Err("no tool-run with a known outcome".to_owned()),
        },
    ]
}

fn idle() -> Vec<ToolIdle> {
    let minutes = |value: f64| Some(Seconds::minutes(value));
    vec![
        ToolIdle {
            printer: "bench".to_owned(),
            tool: 0,
            days: vec![minutes(41.0), None, minutes(12.5), minutes(0.0), minutes(88.0), minutes(7.0), None],
            dose: Some(DoseMinutes::new(113.4)),
            spans: 21,
            over: 0,
        },
        ToolIdle {
            printer: "bench".to_owned(),
            tool: 1,
            days: vec![minutes(112.0), None, minutes(64.0), minutes(0.0), minutes(131.0), minutes(44.0), None],
            dose: Some(DoseMinutes::new(342.7)),
            spans: 33,
            over: 1,
        },
    ]
}

fn interval((low, value, high): (f64, f64, f64)) -> RateInterval {
    let [low, value, high] = [low, value, high].map(|of| Probability::new(of).unwrap());
    RateInterval { low, value, high }
}

pub(crate) fn failures(events: u32, n: u32, rate: (f64, f64, f64)) -> Failures {
    Failures { events, n, rate: Ok(interval(rate)) }
}

fn learned(mode: &'static str, state: State, (events, n): (u32, u32), settling: Settling) -> LearnedRow {
    let groups = vec![(Group::IdleHeat, 0.62), (Group::Retraction, 0.17)];
    LearnedRow { mode, state, n, events, unplaced: 0, groups, nothing: 0.21, settling, more_prints: Some(31) }
}

fn estimate(value: f64, low: f64, high: f64) -> Estimate {
    Estimate { value, low, high, n: 60 }
}

fn suggestion(material: &str) -> SuggestionView {
    let (now, after) = (estimate(0.223, 0.121, 0.342), estimate(0.107, 0.042, 0.211));
    let effect = ModeEffect {
        mode: FailureMode::Stringing,
        now,
        after,
        falls: 0.97,
        state: State::Leaning,
        n: 44,
        events: 9,
        own_n: 22,
        own_events: 8,
    };
    SuggestionView {
        id: "bench-t1-pla-standby_c".to_owned(),
        setting: "standby_c",
        printer: "bench".to_owned(),
        tool: 1,
        material: Some(material.to_owned()),
        beside: None,
        middle: None,
        meant: None,
        plan: None,
        is_adopted: false,
        suggestion: Suggestion {
            change: standby(),
            meant: vec![FailureMode::Stringing],
            risk: Some(RiskMove { now, after, sure: 0.97 }),
            effects: vec![effect],
            minutes: estimate(1.3, 0.8, 2.1),
            gain: Some(estimate(12.4, 2.2, 24.1)),
            basis: Basis::Learned,
            rule: None,
            n_courses: 60,
            n_waits: 61,
            n_long_waits: 41,
        },
    }
}

fn standby() -> Change {
    Change::Standby(Step { from: Some(Celsius::new(205.0)), to: Celsius::new(155.0) })
}

/// A trial of that change, as it stands.
pub(crate) fn trial(state: TrialState) -> TrialView {
    TrialView {
        id: "bench-t1-pla-standby_c".to_owned(),
        printer: "bench".to_owned(),
        tool: 1,
        material: Some("PLA".to_owned()),
        change: standby(),
        adopted: at(-4000.0),
        plan: Plan { design: Design::BeforeAfter, prints: 24, ratio: 0.4, power: 0.82, detects: None },
        modes: vec!["stringing"],
        prints: Vec::new(),
        figures: Some(TrialFigures {
            n_changed: 7,
            seen: 1,
            n_as_before: 0,
            seen_as_before: 0,
            expected: estimate(1.6, 0.9, 2.4),
            ratio: estimate(0.61, 0.2, 1.7),
            sure: 0.79,
            exact: None,
        }),
        ratio_as_applied: None,
        held: None,
        state,
    }
}

fn liner() -> PartView {
    let replace = Replace::Before { at: at(26_000.0), low: at(19_000.0), high: at(44_000.0) };
    PartView {
        printer: "bench".to_owned(),
        tool: 1,
        part: "liner",
        fitted: at(-90_000.0),
        as_of: Some(at(0.0)),
        hot: Seconds::minutes(60.0 * 82.0),
        wear_h: Ok(61.4),
        heat_cycles: 47,
        expected: Ok(PartExpected {
            left_h: estimate(130.0, 8.2, 410.0),
            left_days: Ok(estimate(61.0, 4.0, 200.0)),
            limit_h: 98.0,
            accepted: Probability::new(0.1).unwrap(),
            replace,
            basis: "mixed",
            n_lives: 3,
            n_failures: 1,
        }),
    }
}

/// A week before anything was recorded.
pub(crate) fn first_week() -> ReportView {
    ReportView {
        days: vec![DayRecord::NoRecord; 7],
        prints: none(),
        runs: none(),
        before: None,
        first_reading: None,
        modes: Vec::new(),
        idle: Vec::new(),
        worst: Vec::new(),
        settings: Vec::new(),
        disagreements: 0,
        alarms: Vec::new(),
        n_quiet_alarms: 0,
        alarm_figures: None,
        standing: Vec::new(),
        contact: Vec::new(),
        gaps: GapSum::default(),
        refused: Vec::new(),
        unreported: Vec::new(),
        recorded: Recorded::default(),
        learned: Vec::new(),
        suggestion: None,
        trials: Vec::new(),
        open_trials: Vec::new(),
        parts: Vec::new(),
        silence: SilenceView { means_clean: false, prints: 0, readings: Vec::new() },
        if_silent: None,
        ..report("lantern.gcode")
    }
}

fn none() -> Failures {
    Failures { events: 0, n: 0, rate: Err("no print with a known outcome".to_owned()) }
}
