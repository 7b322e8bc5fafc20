//! What must hold of every chart, whatever it is given; and a sheet of all of them to look at.

#![expect(clippy::unwrap_used, reason = "a test may stop")]

mod drawn;
mod sheet;

use super::curve::{Curve, CurvePoint, PrintMark, Vertical, curve};
use super::intervals::{IntervalRow, Intervals, Range, intervals};
use super::scale::{Scale, round_top};
use super::sparkline::{Sparkline, sparkline};
use drawn::{assert_inside, assert_no_nonsense, path_corners, table_of};
use proptest::prelude::*;

fn plain(value: f64) -> String {
    format!("{value:.4}")
}

fn scale(from: f64, to: f64, is_log: bool) -> Scale {
    Scale { from, to, name: "dose (min)".to_owned(), show: plain, is_log }
}

/// Any number that a computation may end in, also none.
fn any_number() -> impl Strategy<Value = f64> {
    prop_oneof![
        8 => -1e4..1e4_f64,
        1 => prop::sample::select(vec![f64::NAN, f64::INFINITY, f64::NEG_INFINITY, 0.0, -0.0, 1e300, -1e300, 1e-300]),
    ]
}

fn any_scale() -> impl Strategy<Value = Scale> {
    (any_number(), any_number(), any::<bool>()).prop_map(|(from, to, is_log)| scale(from, to, is_log))
}

fn any_point() -> impl Strategy<Value = CurvePoint> {
    (any_number(), any_number(), any_number(), any_number()).prop_map(|(x, low, value, high)| CurvePoint {
        x,
        low,
        value,
        high,
    })
}

fn marks(at: &[(f64, bool)]) -> Vec<PrintMark> {
    at.iter().map(|(x, happened)| PrintMark { x: *x, happened: *happened, words: "lantern".to_owned() }).collect()
}

fn drawn_curve(
    x: Scale,
    y: Scale,
    points: &[CurvePoint],
    marks: &[PrintMark],
    upright: &[f64],
    stepped: bool,
) -> String {
    let verticals: Vec<_> =
        upright.iter().map(|x| Vertical { x: *x, words: "a limit with words longer than fit".to_owned() }).collect();
    let of = Curve { id: "c", name: "n", told: "t", x, y, points, is_stepped: stepped, marks, verticals: &verticals };
    curve(&of).into_string()
}

proptest! {
    #![proptest_config(ProptestConfig { failure_persistence: None, ..ProptestConfig::default() })]

    #[test]
    fn places_are_monotone_in_value_and_lie_between_the_ends(on in any_scale(), a in any_number(), b in any_number()) {
        prop_assume!(!a.is_nan() && !b.is_nan());
        let (low, high) = (a.min(b), a.max(b));
        let (low, high) = (on.place(low).unwrap(), on.place(high).unwrap());
        prop_assert!((0.0..=1.0).contains(&low) && (0.0..=1.0).contains(&high));
        prop_assert!(low <= high, "{low} after {high}");
    }

    #[test]
    fn ticks_rise_lie_on_the_scale_and_are_told_apart(on in any_scale(), most in 1_usize..8) {
        let ticks = on.ticks(most);
        prop_assert!(ticks.len() <= most.max(1));
        prop_assert!(ticks.windows(2).all(|pair| pair[0] < pair[1] && plain(pair[0]) != plain(pair[1])));
        for tick in ticks {
            let place = on.place(tick).unwrap();
            prop_assert!((on.at(place) - tick).abs() <= 1e-6 * tick.abs().max(on.at(1.0) - on.at(0.0)), "{tick}");
        }
    }

    #[test]
    fn whatever_a_curve_is_given_its_marks_lie_inside_and_no_attribute_holds_what_is_no_number(
        x in any_scale(),
        y in any_scale(),
        points in prop::collection::vec(any_point(), 0..200),
        own in prop::collection::vec((any_number(), any::<bool>()), 0..90),
        upright in prop::collection::vec(any_number(), 0..3),
        stepped in any::<bool>(),
    ) {
        let drawn = drawn_curve(x, y, &points, &marks(&own), &upright, stepped);
        assert_no_nonsense(&drawn);
        assert_inside(&drawn);
        for path in path_corners(&drawn, "curve") {
            prop_assert!(path.windows(2).all(|pair| pair[0].0 <= pair[1].0), "a curve runs from left to right");
        }
    }

    #[test]
    fn the_table_behind_a_curve_holds_each_number_that_it_draws(
        points in prop::collection::vec((0.0..100.0_f64, 0.0..0.3_f64, 0.3..0.6_f64, 0.6..1.0_f64), 1..60),
        own in prop::collection::vec((0.0..100.0_f64, any::<bool>()), 0..60),
    ) {
        let points: Vec<_> =
            points.into_iter().map(|(x, low, value, high)| CurvePoint { x, low, value, high }).collect();
        let drawn = drawn_curve(scale(0.0, 100.0, false), scale(0.0, 1.0, false), &points, &marks(&own), &[12.25], false);
        let table = table_of(&drawn);
        for value in points.iter().flat_map(|at| [at.x, at.low, at.value, at.high]) {
            prop_assert!(table.contains(&format!(">{}<", plain(value))), "{value} is missing");
        }
        for (x, _) in own {
            prop_assert!(table.contains(&format!(">{}<", plain(x))), "the print at {x} is missing");
        }
        prop_assert!(table.contains(">12.2500<"));
    }

    #[test]
    fn whatever_intervals_are_given_they_lie_inside_and_the_table_holds_them(
        on in any_scale(),
        ranges in prop::collection::vec(prop::option::of((any_number(), any_number(), any_number())), 1..12),
    ) {
        let row = |range: &Option<(f64, f64, f64)>| IntervalRow {
            name: "waiting".to_owned(),
            prior: Some(Range { low: -1.0, value: 0.0, high: 1.0 }),
            posterior: range.map(|(low, value, high)| Range { low, value, high }),
            words: String::new(),
        };
        let rows: Vec<_> = ranges.iter().map(row).collect();
        let drawn = intervals(&Intervals { id: "i", name: "n", told: "t", scale: on, zero: Some(0.0), rows: &rows });
        let drawn = drawn.into_string();
        assert_no_nonsense(&drawn);
        assert_inside(&drawn);
        let table = table_of(&drawn);
        for (low, value, high) in ranges.into_iter().flatten() {
            for told in [low, value, high].into_iter().filter(|told| told.is_finite()) {
                prop_assert!(table.contains(&format!(">{}<", plain(told))), "{told} is missing");
            }
        }
    }

    #[test]
    fn whatever_a_sparkline_is_given_it_lies_inside_and_breaks_where_nothing_is_known(
        values in prop::collection::vec(prop::option::of(any_number()), 0..40),
    ) {
        let drawn = sparkline(&Sparkline { name: "n", values: &values, words: "w".to_owned() }).into_string();
        assert_no_nonsense(&drawn);
        assert_inside(&drawn);
        let known = |value: &Option<f64>| value.is_some_and(f64::is_finite);
        let runs = values.split(|value| !known(value)).filter(|run| !run.is_empty()).count();
        prop_assert_eq!(drawn.matches('M').count(), runs);
    }
}

#[test]
fn prints_that_are_too_many_for_dots_are_counted_in_places_and_none_is_lost() {
    let own: Vec<_> = (0..500).map(|idx| (f64::from(idx) / 5.0, idx % 10 == 0)).collect();
    let drawn = drawn_curve(scale(0.0, 100.0, false), scale(0.0, 1.0, false), &[], &marks(&own), &[], false);
    let (_, table) = table_of(&drawn).split_once("Own prints").map(|(a, b)| (a.to_owned(), b.to_owned())).unwrap();
    let numbers = table.split("<td>").skip(1).map(|cell| cell.split('<').next().unwrap().parse::<u32>().unwrap());
    assert_eq!(numbers.sum::<u32>(), 500);
    assert!(drawn.matches("class=\"clean-run\"").count() <= 41);
}

#[test]
fn a_stepped_curve_holds_its_value_until_the_next_point() {
    let at = |x: f64, value: f64| CurvePoint { x, low: f64::NAN, value, high: f64::NAN };
    let points = [at(0.0, 1.0), at(50.0, 0.5), at(100.0, 0.0)];
    let drawn = drawn_curve(scale(0.0, 100.0, false), scale(0.0, 1.0, false), &points, &[], &[], true);
    let corners = path_corners(&drawn, "curve").pop().unwrap();
    assert_eq!(corners, [(0.0, 0.0), (500.0, 0.0), (500.0, 95.0), (1000.0, 95.0), (1000.0, 190.0)]);
    assert!(!drawn.contains("class=\"band\""), "where no interval is known, none is drawn");
}

#[test]
fn round_numbers_stand_beside_fractions_and_factors_too() {
    let of = |from, to, is_log| scale(from, to, is_log).ticks(5);
    assert_eq!(of(0.0, 0.034, false), [0.0, 0.01, 0.02, 0.03]);
    assert_eq!(of(-2.0, 2.0, false), [-2.0, -1.0, 0.0, 1.0, 2.0]);
    assert_eq!(of(180.0, 260.0, false), [180.0, 200.0, 220.0, 240.0, 260.0]);
    assert_eq!(of(0.5, 8.0, true), [0.5, 1.0, 2.0, 5.0]);
    assert_eq!(of(1.0, 1e4, true), [1.0, 10.0, 100.0, 1000.0, 10_000.0]);
    let tops = [0.034, 0.41, 1.0, 7.0, 0.0].map(round_top).map(plain);
    assert_eq!(tops, [0.04, 0.6, 1.0, 8.0, 1.0].map(plain));
}
