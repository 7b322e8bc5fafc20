//! Alarms of the invented week: what stands, what is held, and figures.

use super::{HOSTILE, alarm, at, frame, zone};
use dwell_analysis::estimate::Estimate;
use dwell_analysis::units::Seconds;
use dwell_dashboards::view::*;

/// The figures of so many days.
pub(crate) fn figures(days: f64) -> AlarmFigures {
    let estimate = |value, low, high| Ok(Estimate { value, low, high, n: 13 });
    let priority = |priority, n, share, benchmark| PriorityShare { priority, n, share, benchmark };
    let subject = |rule, n| SubjectCount { printer: Some("bench".to_owned()), tool: Some(1), rule, n };
    AlarmFigures {
        from: at(-days * 1440.0),
        to: at(0.0),
        n_alarms: 13,
        quiet: QuietAlarms { n_suppressed: 2, n_shelved: 0, n_out_of_service: 1 },
        a_day: estimate(13.0 / 30.0, 0.21, 0.88),
        days: vec![0, 8, 0, 0, 0, 4, 1],
        most_in_ten_minutes: 3,
        busy_ten_minutes: Some(0.0),
        busy_hours: Some(0.02),
        in_flood: Seconds::minutes(8.0),
        flood_share: Some(8.0 / 43_200.0),
        priorities: [
            priority("low", 9, estimate(0.69, 0.43, 0.89), 0.8),
            priority("medium", 4, estimate(0.31, 0.11, 0.57), 0.15),
            priority("high", 0, estimate(0.0, 0.0, 0.21), 0.05),
        ],
        most_frequent: vec![subject("idle_hot", 9), subject("heat_lost", 4)],
        most_frequent_share: Some(1.0),
        chattering: vec![subject("heat_lost", 4)],
        stale: vec![StaleAlarm {
            printer: None,
            tool: None,
            rule: "disk_low",
            raised: at(-9000.0),
            stood: Seconds::minutes(9000.0),
        }],
        acknowledged: AcknowledgeTimes {
            n_asked: 12,
            n_never: 2,
            n_superseded: 1,
            median: Ok(Seconds::new(192.0)),
            nine_in_ten: Err("2 of 12 are not acknowledged yet".to_owned()),
        },
        marked: MarkedAlarms { n_right: 3, n_false: 1, n_unmarked: 9, false_share: estimate(0.25, 0.013, 0.75) },
    }
}

/// One alarm of that rule, priority and state.
pub(crate) fn of(id: i64, rule: &'static str, priority: &'static str, state: &'static str) -> AlarmView {
    let gone = matches!(state, "returned unacknowledged" | "normal").then(|| at(-20.0));
    AlarmView { id: Some(id), rule, priority, state, ..alarm(gone) }
}

pub(crate) fn shelved(who: &str) -> HoldView {
    HoldView {
        printer: Some("bench".to_owned()),
        tool: Some(0),
        rule: "temp_drift",
        kind: "shelved",
        began: at(-10.0),
        until: Some(at(50.0)),
        by: who.to_owned(),
        why: Some(who.to_owned()),
        alarm: Some(3),
    }
}

/// The whole page, with that name wherever a person may write one.
pub(crate) fn page(who: &str) -> AlarmsView {
    let change = |minutes, to, by: &str| AlarmChangeView {
        at: at(minutes),
        to,
        by: by.to_owned(),
        why: (by != "dwellwatch").then(|| who.to_owned()),
    };
    let past = PastAlarm {
        alarm: AlarmView {
            is_right: Some(false),
            acknowledged: Some(at(-30.0)),
            ..of(2, "heat_late", "high", "normal")
        },
        changes: vec![
            change(-45.0, "unacknowledged", "dwellwatch"),
            change(-30.0, "acknowledged", who),
            change(-20.0, "normal", "dwellwatch"),
        ],
    };
    AlarmsView {
        frame: frame(),
        at: at(0.0),
        token: "c0ffee".to_owned(),
        is_unwritten: false,
        stuck: Vec::new(),
        open: vec![
            of(5, "outcome_missing", "low", "unacknowledged"),
            of(6, "idle_hot", "medium", "returned unacknowledged"),
            of(7, "idle_hot", "medium", "acknowledged"),
            of(8, "heat_lost", "high", "unacknowledged"),
            of(3, "temp_drift", "medium", "shelved"),
        ],
        holds: vec![
            shelved(who),
            HoldView { kind: "out of service", until: None, rule: "duty_unlike", ..shelved(who) },
        ],
        figures: Some(figures(30.0)),
        past: vec![past, PastAlarm { alarm: of(1, "idle_hot", "low", "normal"), changes: Vec::new() }],
        n_more: 12,
        n_quiet: 31,
    }
}

/// A page of a link.
pub(crate) fn link(stage: LinkStage) -> LinkView {
    let alarm = AlarmView { cause: HOSTILE.to_owned(), ..of(8, "heat_lost", "high", "unacknowledged") };
    LinkView { zone: zone(), at: at(0.0), alarm, act: LinkActView::Shelve(60), stage, shelved_until: None }
}
