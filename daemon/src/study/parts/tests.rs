//! Part changes and hot times of which the lives are known.

use super::super::tests::prints;
use super::heat::{Heat, Hot};
use super::lives::{Stay, stays};
use super::{parts, replace};
use crate::alarm::Rules;
use crate::entry::{Entry, Part, PartChange, PartEvent, PartReason, PrinterName, ToolNumber};
use crate::replay::Replay;
use crate::store::Store;
use dwell_analysis::estimate::Estimate;
use dwell_analysis::survival::End;
use dwell_analysis::time::Timestamp;
use dwell_analysis::units::{Celsius, Probability, Seconds};
use dwell_dashboards::view::{PartView, Replace};
use std::collections::HashMap;

const HOUR: i64 = 3_600_000;
const DAY: i64 = 24 * HOUR;

fn tool(n: usize) -> ToolNumber {
    ToolNumber::new(n).unwrap()
}

fn change(at: i64, part: Part, event: PartEvent, reason: Option<PartReason>) -> PartChange {
    PartChange { at: Timestamp::from_ms(at), tool: tool(0), part, event, reason, note: None }
}

fn ends(changes: &[PartChange], part: Part) -> Vec<(i64, Option<(i64, End)>)> {
    let bare = |stay: Stay| (stay.fitted.as_ms(), stay.ended.map(|(at, end)| (at.as_ms(), end)));
    stays(changes, tool(0), part).into_iter().map(bare).collect()
}

#[test]
fn a_stay_ends_in_failure_only_where_somebody_said_so() {
    use PartEvent::{Fitted, Removed};
    use PartReason::{Failed, Preventive};
    let changes = [
        change(5, Part::Liner, Removed, Some(Failed)),
        change(10, Part::Liner, Fitted, None),
        change(20, Part::Liner, Removed, Some(Failed)),
        change(21, Part::Liner, Fitted, None),
        change(30, Part::Liner, Removed, Some(Preventive)),
        change(31, Part::Liner, Fitted, None),
        change(40, Part::Liner, Fitted, None),
        change(50, Part::Nozzle, Removed, Some(Failed)),
    ];
    // The first one's age is not known, and the nozzle's removal is not the liner's.
    let expected =
        [(10, Some((20, End::Failed))), (21, Some((30, End::Censored))), (31, Some((40, End::Censored))), (40, None)];
    assert_eq!(ends(&changes, Part::Liner), expected);
    assert_eq!(ends(&changes, Part::Nozzle), []);
    assert_eq!(stays(&changes, tool(1), Part::Liner), []);
}

#[test]
fn a_hot_end_ends_the_stay_of_what_is_in_it_and_brings_parts_that_count_once_their_end_is_told() {
    use PartEvent::{Fitted, Removed};
    let changes = [
        change(10, Part::Liner, Fitted, None),
        change(20, Part::HotEnd, Removed, Some(PartReason::Failed)),
        change(21, Part::HotEnd, Fitted, None),
        change(30, Part::Liner, Removed, Some(PartReason::Failed)),
    ];
    assert_eq!(ends(&changes[..3], Part::Liner), [(10, Some((20, End::Censored)))]);
    assert_eq!(ends(&changes[..3], Part::HotEnd), [(21, None)]);
}

fn hot(began_h: i64, hours: i64, mean: Option<f64>) -> Hot {
    Hot {
        began: Timestamp::from_ms(began_h * HOUR),
        ended: Timestamp::from_ms((began_h + hours) * HOUR),
        lasted: Seconds::from_ms(3_600_000.0),
        mean: mean.map(Celsius::new),
        from_cold: true,
    }
}

fn hours(from: i64, to: i64) -> (Timestamp, Timestamp) {
    (Timestamp::from_ms(from * HOUR), Timestamp::from_ms(to * HOUR))
}

fn is_near(found: f64, expected: f64) -> bool {
    (found - expected).abs() < 1e-9
}

#[test]
fn a_hot_time_counts_as_far_as_it_lies_within_the_stay() {
    // Two hours long, one of them in contact.
    let heat = Heat::new(vec![hot(0, 2, Some(220.0)), hot(10, 2, Some(240.0))]);
    let (from, to) = hours(1, 20);
    let used = heat.used(from, to);
    assert!(is_near(used.hot.get(), 1.5 * 3600.0) && used.cycles == 1, "{used:?}");
    assert!(is_near(used.wear_h.unwrap(), 0.5 + std::f64::consts::E), "{used:?}");
    let (from, to) = hours(3, 9);
    assert_eq!(heat.used(from, to).wear_h, Some(0.0));
}

#[test]
fn a_little_time_without_a_temperature_was_as_warm_as_the_rest_and_much_of_it_leaves_wear_unknown() {
    let with_untold = |n: i64| {
        let untold = hot(1000, 1, None);
        Heat::new((0..n).map(|at| hot(2 * at, 1, Some(220.0))).chain([untold]).collect())
    };
    let (from, to) = hours(0, 2000);
    assert!(is_near(with_untold(19).used(from, to).wear_h.unwrap(), 20.0));
    let much = with_untold(18).used(from, to);
    assert!(much.wear_h.is_none() && is_near(much.hot.get(), 19.0 * 3600.0));
}

#[test]
fn days_are_whole_and_idle_ones_count() {
    let heat = Heat::new(vec![hot(30, 1, Some(220.0)), hot(54, 1, Some(220.0))]);
    let days = |until_h: i64, n: usize| {
        let (since, until) = hours(0, until_h);
        heat.days(since, until, n)
    };
    assert_eq!(days(4 * 24 + 23, 28), [0.0, 0.0, 1.0, 1.0]);
    assert_eq!(days(4 * 24, 2), [0.0, 1.0]);
    assert!(days(23, 28).is_empty());
}

#[test]
fn what_is_left_at_the_recent_use_becomes_the_day_before_which_to_replace() {
    let as_of = Timestamp::from_ms(100 * DAY + 7 * HOUR);
    let a_day = |value: f64| Estimate { value, low: value / 2.0, high: value * 2.0, n: 28 };
    let Replace::Before { at, low, high } = replace(as_of, 30.0, &a_day(1.5)) else { unreachable!() };
    assert_eq!([at, low, high].map(Timestamp::as_ms), [120 * DAY, 110 * DAY, 140 * DAY]);
    assert!(matches!(replace(as_of, 30.0, &a_day(0.001)), Replace::Unknown(_)));
}

/// Four prints alike; a liner that was fitted before them failed after the second, and another took its place.
fn in_use() -> Vec<PartView> {
    let folder = tempfile::tempdir().unwrap();
    let store = Store::open_bulk(&folder.path().join("record.db")).unwrap();
    let bench = PrinterName::new("bench").unwrap();
    let mut replay = Replay::new(&store, Rules::default(), HashMap::new());
    let readings = prints(4, 9);
    let begins = readings[0].at.as_ms();
    let replaced = begins + 2 * 2_400_000;
    let mut part = |at: i64, event, reason| {
        let change = change(at, Part::Liner, event, reason);
        replay.take(&bench, Entry::Part(change)).unwrap();
    };
    part(begins - 1, PartEvent::Fitted, None);
    part(replaced, PartEvent::Removed, Some(PartReason::Failed));
    part(replaced, PartEvent::Fitted, None);
    for reading in readings {
        replay.take(&bench, Entry::Reading(reading)).unwrap();
    }
    replay.finish().unwrap();
    parts(&store.reader().unwrap(), Probability::new(0.1).unwrap()).unwrap()
}

#[test]
fn a_part_in_use_went_through_what_was_recorded_since_it_was_fitted_and_the_failed_one_counts() {
    let found = in_use();
    let [part] = found.as_slice() else { unreachable!("{found:?}") };
    assert_eq!((part.printer.as_str(), part.tool, part.part), ("bench", 0, "liner"));
    assert_eq!(part.heat_cycles, 2);
    // The rest of the second print's cooling to 45 °C, 225 s (time constant 200 s); a whole print, 60 s of heating, 120 s
    // of work and 445 s of cooling; and the last one, whose cooling still lasts.
    let hot = part.hot.get();
    assert!((hot - (225.0 + 625.0 + 180.0)).abs() < 30.0, "{hot}");
    // The two prints' work at 205 to 210 °C, and hardly anything of the rest.
    let wear = part.wear_h.clone().unwrap() * 3600.0;
    assert!((240.0 * (-0.75_f64).exp()..4.0 + 240.0 * (-0.5_f64).exp()).contains(&wear), "{wear}");
    let expected = part.expected.as_ref().unwrap();
    assert_eq!((expected.basis, expected.n_lives, expected.n_failures), ("mixed", 2, 1));
    assert!(expected.left_h.low < expected.left_h.value && expected.left_h.value < expected.left_h.high);
    // A record of less than a day has no use a day.
    assert!(expected.left_days.as_ref().unwrap_err().contains("7 are needed"), "{expected:?}");
    assert!(matches!(expected.replace, Replace::Unknown(_) | Replace::Due), "{expected:?}");
}
