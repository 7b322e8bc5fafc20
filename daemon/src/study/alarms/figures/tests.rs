use super::*;
use crate::alarm::Rule;

const START: Timestamp = Timestamp::from_ms(1_772_409_600_000); // 2026-03-02T00:00:00Z

fn at(minutes: f64) -> Timestamp {
    START + Seconds::minutes(minutes)
}

/// An alarm of T1 that called somebody at once, stands, and nobody has looked at.
fn alarm(rule: Rule, minutes: f64) -> Told {
    Told {
        printer: PrinterName::new("bench"),
        subject: Subject { rule, tool: ToolNumber::new(1) },
        priority: Priority::Low,
        raised: at(minutes),
        returned: None,
        call: Call::Called(at(minutes)),
        seen: None,
        is_over: false,
        is_right: None,
    }
}

fn over_days(told: &[Told], days: f64) -> AlarmFigures {
    figures(told, START, at(days * 1440.0))
}

#[test]
fn alarms_a_day_are_the_mean_and_clusters_widen_its_interval() {
    // Thirty in thirty days, one a day: as independent ones, 30 events in 30 days. The ends are where
    // 30 or more, and 30 or fewer, are seen 1 time in 20 (solved from the Poisson sums with Python 3.11).
    let steady: Vec<Told> = (0..30).map(|day| alarm(Rule::IdleHot, f64::from(day) * 1440.0 + 7.0)).collect();
    let found = over_days(&steady, 30.0).a_day.unwrap();
    assert_eq!((found.value.to_bits(), found.n), (1.0_f64.to_bits(), 30));
    assert!((found.low - 0.719_79).abs() < 1e-4 && (found.high - 1.356_35).abs() < 1e-4, "{found:?}");
    // The same thirty in three days tell less: variance 9.31 over mean 1, so three independent ones.
    let clustered: Vec<Told> =
        (0..30).map(|n| alarm(Rule::IdleHot, f64::from(n / 10) * 14_400.0 + f64::from(n))).collect();
    let wide = over_days(&clustered, 30.0).a_day.unwrap();
    assert_eq!(wide.value.to_bits(), 1.0_f64.to_bits());
    assert!(wide.low < 0.35 && wide.high > 2.3 && wide.low <= 1.0, "{wide:?}");
    // None at all still says up to how many there may be: 3.0 in 30 days.
    let none = over_days(&[], 30.0).a_day.unwrap();
    assert!(none.value.abs() < 1e-12 && (none.high - 0.099_86).abs() < 1e-4, "{none:?}");
    assert!(over_days(&steady, 1.9).a_day.unwrap_err().contains("less than two days"));
}

#[test]
fn a_flood_begins_with_ten_in_ten_minutes_and_ends_under_five() {
    // One a minute from 00:00 to 00:11, so 12: the tenth is at minute 9. From minute 10 on one leaves with each that
    // comes (10 stay); after minute 11 they leave alone: 9 at 12, …, 4 at 17.
    let told: Vec<Told> = (0..12).map(|minute| alarm(Rule::IdleHot, f64::from(minute))).collect();
    let found = over_days(&told, 2.0);
    assert_eq!((found.n_alarms, found.most_in_ten_minutes), (12, 10));
    assert_eq!(found.in_flood, Seconds::minutes(8.0));
    assert!((found.flood_share.unwrap() - 8.0 / 2880.0).abs() < 1e-12);
    // Ten and two in their spans of ten minutes, and no span over ten.
    assert_eq!(found.busy_ten_minutes, Some(0.0));
    let more: Vec<Told> = told.iter().cloned().chain([alarm(Rule::HeatLate, 3.5)]).collect();
    assert_eq!(over_days(&more, 2.0).busy_ten_minutes, Some(1.0 / 288.0));
    // Nine are none; a flood that lasts is counted to the end of the time.
    assert_eq!(over_days(&told[..9], 2.0).in_flood, Seconds::ZERO);
    assert_eq!(figures(&told, START, at(11.5)).in_flood, Seconds::minutes(2.5));
}

#[test]
fn hours_count_when_over_thirty_and_a_time_too_short_for_one_tells_nothing() {
    let told: Vec<Told> = (0..31).map(|n| alarm(Rule::IdleHot, 60.0 + f64::from(n) * 1.9)).collect();
    assert_eq!(over_days(&told, 2.0).busy_hours, Some(1.0 / 48.0));
    assert_eq!(over_days(&told[..30], 2.0).busy_hours, Some(0.0));
    assert_eq!(figures(&told, START, at(59.0)).busy_hours, None);
    assert_eq!(figures(&told, START, START).flood_share, None);
}

#[test]
fn three_of_one_subject_within_thirty_minutes_chatter_and_three_of_several_do_not() {
    let told = [
        alarm(Rule::HeatLost, 0.0),
        alarm(Rule::HeatLost, 15.0),
        alarm(Rule::HeatLost, 30.0),
        // Within 31 minutes, and of two rules within 2.
        alarm(Rule::TempJump, 100.0),
        alarm(Rule::TempJump, 115.0),
        alarm(Rule::TempJump, 131.0),
        alarm(Rule::IdleHot, 131.0),
    ];
    let found = over_days(&told, 2.0);
    let chattering: Vec<_> = found.chattering.iter().map(|subject| (subject.rule, subject.n)).collect();
    assert_eq!(chattering, [("heat_lost", 3)]);
    let frequent: Vec<_> = found.most_frequent.iter().map(|subject| (subject.rule, subject.n)).collect();
    assert_eq!(frequent, [("heat_lost", 3), ("temp_jump", 3), ("idle_hot", 1)]);
}

#[test]
fn the_ten_most_frequent_are_ten_of_however_many() {
    // Twelve rules: one raised three times, one twice, ten once: the ten are 3 + 2 + 8 of 15.
    let rules = &Rule::ALL[..12];
    let mut told: Vec<Told> = rules.iter().zip(0..).map(|(rule, n)| alarm(*rule, f64::from(n) * 60.0)).collect();
    told.extend([alarm(rules[4], 2000.0), alarm(rules[4], 2100.0), alarm(rules[7], 2200.0)]);
    let found = over_days(&told, 2.0);
    assert_eq!((found.most_frequent.len(), found.most_frequent[0].n, found.most_frequent[1].n), (10, 3, 2));
    assert!((found.most_frequent_share.unwrap() - 13.0 / 15.0).abs() < 1e-12);
    assert_eq!(over_days(&[], 2.0).most_frequent_share, None);
}

#[test]
fn an_alarm_that_stands_for_more_than_a_day_is_stale_though_it_was_raised_before_the_time() {
    let before = Told { raised: at(-10_000.0), call: Call::Called(at(-10_000.0)), ..alarm(Rule::PartDue, 0.0) };
    let told = [
        before,
        alarm(Rule::IdleHot, 1439.0),
        alarm(Rule::HeatLost, 1440.0),
        Told { returned: Some(at(5.0)), ..alarm(Rule::TempJump, 1.0) },
        Told { call: Call::Shelved, ..alarm(Rule::TempDrift, 1.0) },
    ];
    let found = over_days(&told, 2.0);
    let stale: Vec<_> = found.stale.iter().map(|alarm| alarm.rule).collect();
    assert_eq!(stale, ["part_due", "idle_hot"]);
    assert_eq!((found.n_alarms, found.quiet.n_shelved), (3, 1));
}

#[test]
fn those_that_nobody_acknowledged_count_as_waiting_and_not_as_quick() {
    let seen = |minutes: f64, after: f64| Told { seen: Some(at(minutes + after)), ..alarm(Rule::IdleHot, minutes) };
    // Five, seen after 1, 2, 3, 4 min and never: 1 − 4/5·3/4·2/3 = 0.6 are acknowledged within 3 min.
    let mut told: Vec<Told> = [1.0, 2.0, 3.0, 4.0].iter().map(|after| seen(after * 100.0, *after)).collect();
    told.push(alarm(Rule::HeatLost, 50.0));
    let found = over_days(&told, 2.0).acknowledged;
    assert_eq!((found.n_asked, found.n_never, found.n_superseded), (5, 1, 0));
    assert_eq!(found.median, Ok(Seconds::minutes(3.0)));
    assert_eq!(found.nine_in_ten, Err("1 of 5 are not acknowledged yet".to_owned()));
    // One that is too young to tell (censored after 90 s) halves nobody's chance: 4 min is where 9 in 10 are.
    told.pop();
    told.push(alarm(Rule::HeatLost, 2878.5));
    let found = over_days(&told, 2.0).acknowledged;
    assert_eq!((found.n_never, found.median), (1, Ok(Seconds::minutes(3.0))));
    assert_eq!(found.nine_in_ten, Ok(Seconds::minutes(4.0)));
    // What a graver alarm took the place of was not to be acknowledged.
    let superseded = Told { returned: Some(at(9.0)), is_over: true, ..alarm(Rule::ResidenceNote, 5.0) };
    let found = over_days(&[superseded], 2.0).acknowledged;
    assert_eq!((found.n_asked, found.n_superseded), (0, 1));
    assert!(found.median.unwrap_err().contains("no alarm"));
    // What ended its shelving counts from when it called.
    let late = Told { call: Call::Called(at(60.0)), seen: Some(at(62.0)), ..alarm(Rule::IdleHot, 0.0) };
    assert_eq!(over_days(&[late], 2.0).acknowledged.median, Ok(Seconds::minutes(2.0)));
}

#[test]
fn priorities_and_marks_are_shares_of_what_called_with_exact_intervals() {
    let marked = |is_right, priority| Told { priority, is_right, ..alarm(Rule::IdleHot, 1.0) };
    let told = [
        marked(Some(true), Priority::Low),
        marked(Some(true), Priority::Low),
        marked(Some(false), Priority::High),
        marked(None, Priority::Medium),
        Told { call: Call::Suppressed, ..marked(Some(false), Priority::High) },
        Told { call: Call::OutOfService, ..marked(None, Priority::High) },
    ];
    let found = over_days(&told, 2.0);
    assert_eq!(
        found.priorities.each_ref().map(|share| (share.priority, share.n)),
        [("low", 2), ("medium", 1), ("high", 1)]
    );
    assert_eq!((found.quiet.n_suppressed, found.quiet.n_out_of_service), (1, 1));
    let marks = found.marked;
    assert_eq!((marks.n_right, marks.n_false, marks.n_unmarked), (2, 1, 1));
    // Clopper and Pearson for 1 of 3 at 90 %: 1 − 0.95^(1/3) below.
    let share = marks.false_share.unwrap();
    assert!((share.value - 1.0 / 3.0).abs() < 1e-12 && (share.low - 0.016_952).abs() < 1e-5, "{share:?}");
    assert!(over_days(&[], 2.0).marked.false_share.is_err());
    assert!(over_days(&[], 2.0).priorities[0].share.is_err());
}
