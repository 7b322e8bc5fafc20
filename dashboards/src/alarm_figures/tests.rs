use super::*;
use crate::view::{AcknowledgeTimes, MarkedAlarms, PriorityShare, StaleAlarm, SubjectCount};
use dwell_analysis::estimate::Estimate;
use dwell_analysis::time::Timestamp;
use dwell_analysis::units::Seconds;

const START: Timestamp = Timestamp::from_ms(1_772_409_600_000); // 2026-03-02T00:00:00Z

fn subject(rule: &'static str, n: usize) -> SubjectCount {
    SubjectCount { printer: Some("bench".to_owned()), tool: Some(1), rule, n }
}

fn figures(days: f64) -> AlarmFigures {
    let estimate = |value, low, high| Ok(Estimate { value, low, high, n: 13 });
    let priority = |priority, n, share, benchmark| PriorityShare { priority, n, share, benchmark };
    AlarmFigures {
        from: START,
        to: START + Seconds::minutes(days * 1440.0),
        n_alarms: 13,
        quiet: QuietAlarms { n_suppressed: 2, n_shelved: 0, n_out_of_service: 1 },
        a_day: estimate(13.0 / 30.0, 0.21, 0.88),
        days: [vec![0; 27], vec![8, 4, 1]].concat(),
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
        most_frequent: vec![subject("heat_lost", 4), subject("idle_hot", 9)],
        most_frequent_share: Some(1.0),
        chattering: vec![subject("heat_lost", 4)],
        stale: vec![StaleAlarm {
            printer: None,
            tool: None,
            rule: "disk_low",
            raised: START + Seconds::minutes(600.0),
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

fn text(figures: &AlarmFigures) -> String {
    let text = render_alarm_figures_text(figures, &TimeZone::UTC);
    assert!(text.lines().all(|line| line.chars().count() <= COLUMNS), "{text}");
    text
}

fn said(figures: &AlarmFigures) -> String {
    text(figures).split_whitespace().collect::<Vec<_>>().join(" ")
}

#[test]
fn every_figure_stands_beside_what_is_wanted_of_it_and_whether_it_is_met() {
    let rows = figure_rows(&figures(30.0), &TimeZone::UTC);
    let of = |what: &str| {
        let found = rows.iter().find(|row| row.what == what).unwrap();
        (found.here.as_str(), found.wanted.as_str(), found.is_within)
    };
    assert_eq!(of("Alarms per day"), ("0.43 (0.21 to 0.88)", "150 acceptable, 300 the most: within", Some(true)));
    assert_eq!(of("… for a person at home").1, "1 at most (our proposal): within");
    assert_eq!(of("Most in 10 minutes"), ("3", "10 at most: within", Some(true)));
    assert_eq!(of("Hours with over 30"), ("2.0 %".replace(".0", "").as_str(), "under 1 %: not met", Some(false)));
    assert_eq!(of("Time in a flood").0, "8 min, under 0.1 %");
    assert_eq!(of("Priority low"), ("9: 69 % (43 % to 89 %)", "about 80 %: within", Some(true)));
    assert_eq!(of("Chattering"), ("bench T1: heat lost (4 in 30 min)", "none: not met", Some(false)));
    assert_eq!(of("Standing over 24 h"), ("disk low, since Mon 2 Mar, 10:00", "fewer than 5: within", Some(true)));
    // Two subjects raise all alarms, however well they do: that is not judged.
    assert_eq!(of("Ten most frequent"), ("all, of 2 subjects; most: bench T1: heat lost (4)", "1 to 5 %", None));
    let seen = "half within 3 min 12 s, 9 in 10 not yet; 2 of 12 never, counted as waiting; 1 gave way to a graver one";
    assert_eq!(of("Acknowledged").0, seen);
    assert_eq!(of("False").0, "1 of 4 marked: 25 % (1 % to 75 %); 9 not marked");
}

#[test]
fn under_thirty_days_nothing_is_judged_and_that_is_said() {
    let rows = figure_rows(&figures(29.9), &TimeZone::UTC);
    assert!(rows.iter().all(|row| row.is_within.is_none()));
    let early = said(&figures(12.0));
    assert!(early.contains("12 days of record is too short to judge by them."), "{early}");
    assert!(!early.contains("within:") && !early.contains(": not met"), "{early}");
    let found = said(&figures(30.0));
    assert!(found.contains("at least 30 days.") && !found.contains("nothing is judged"), "{found}");
}

#[test]
fn what_called_nobody_is_told_apart_and_days_are_drawn() {
    let found = said(&figures(30.0));
    for says in [
        "From Mon 2 Mar 2026, 00:00 to Wed 1 Apr 2026, 00:00 (30 days, UTC): 13 alarms called somebody.",
        "Not counted below, since they called nobody: 2 suppressed by design, 1 out of service.",
        "····█▄▁ 8 a day at most",
    ] {
        assert!(found.contains(says), "{says}: {found}");
    }
}

#[test]
fn without_an_alarm_there_are_reasons_and_no_numbers() {
    let none = |why: &str| Err(why.to_owned());
    let mut empty = AlarmFigures {
        n_alarms: 0,
        quiet: QuietAlarms::default(),
        a_day: none("less than two days are on record"),
        days: vec![0],
        most_in_ten_minutes: 0,
        busy_hours: None,
        in_flood: Seconds::ZERO,
        flood_share: Some(0.0),
        most_frequent: Vec::new(),
        most_frequent_share: None,
        chattering: Vec::new(),
        stale: Vec::new(),
        acknowledged: AcknowledgeTimes {
            n_asked: 0,
            n_never: 0,
            n_superseded: 0,
            median: Err("no alarm asked for it".to_owned()),
            nine_in_ten: Err("no alarm asked for it".to_owned()),
        },
        marked: MarkedAlarms { n_right: 0, n_false: 0, n_unmarked: 0, false_share: none("nobody has marked any") },
        ..figures(1.0)
    };
    for share in &mut empty.priorities {
        (share.n, share.share) = (0, none("no alarm was raised"));
    }
    let rows = figure_rows(&empty, &TimeZone::UTC);
    for (what, says) in [
        ("Alarms per day", "no alarms in all: less than two days are on record"),
        ("Priority low", "no alarm was raised"),
        ("Hours with over 30", "the time is too short"),
        ("Acknowledged", "no alarm asked for it"),
        ("False", "nobody has marked any; 0 not marked"),
    ] {
        assert!(rows.iter().any(|row| row.what == what && row.here == says), "{what}: {rows:?}");
    }
    let found = said(&empty);
    assert!(found.contains("no alarm called anybody."), "{found}");
    assert!(!found.contains('▁') && !found.contains("Not counted"), "{found}");
}
