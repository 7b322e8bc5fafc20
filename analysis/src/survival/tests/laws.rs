//! What must hold whatever the lives are.

use super::super::grid::moments;
use super::super::life::Record;
use super::super::maximum::information;
use super::super::{Basis, Curve, End, Life, Posterior, Prior, Weibull, days_left, fit, log_rank, wear_a_day};
use super::{censored, failed, near};
use crate::estimate::{Confidence, Estimate, Refusal, count};
use crate::units::Probability;

/// Lives at the middles of equal shares of a law, each seventh changed at half its life.
fn spread(law: &Weibull, n: usize) -> Vec<Life> {
    let life = |idx: usize| {
        let age = law.age_at((count(idx) + 0.5) / count(n));
        if idx % 7 == 3 { Life::new(0.0, 0.5 * age, End::Censored) } else { Life::new(0.0, age, End::Failed) }
    };
    (0..n).filter_map(life).collect()
}

#[test]
fn what_is_no_life_is_refused() {
    for (entry, exit) in [(0.0, 0.0), (5.0, 5.0), (-1.0, 3.0), (4.0, 3.0), (0.0, f64::INFINITY), (f64::NAN, 3.0)] {
        assert_eq!(Life::new(entry, exit, End::Failed), None);
    }
    assert!(Weibull::new(0.0, 3.0).is_none() && Weibull::new(1.0, f64::NAN).is_none());
}

#[test]
fn without_failures_there_is_no_curve_no_test_and_no_fit() {
    let kept = censored(&[100.0, 220.0]);
    assert_eq!(Curve::of(&kept, Confidence::Percent90), Err(Refusal::NoEvents));
    assert_eq!(log_rank(&kept, &kept), Err(Refusal::NoEvents));
    assert_eq!(fit(&kept), Err(Refusal::NoEvents));
    assert_eq!(fit(&failed(&[100.0])), Err(Refusal::TooFew { have: 1, need: 2 }));
    assert!(matches!(fit(&failed(&[100.0, 100.0, 100.0])), Err(Refusal::DidNotConverge { .. })));
}

#[test]
fn fit_is_the_highest_point_around_and_its_errors_are_the_curvature_there() {
    let mut lives = spread(&Weibull::new(2.3, 400.0).unwrap(), 40);
    lives.push(Life::new(120.0, 700.0, End::Failed).unwrap());
    lives.push(Life::new(250.0, 420.0, End::Censored).unwrap());
    let (found, record) = (fit(&lives).unwrap(), Record::of(&lives));
    let at = |by_shape: f64, by_scale: f64| {
        let shape = found.law.shape() * by_shape.exp();
        record.ln_likelihood(shape, &record.powers(shape), found.law.scale().ln() + by_scale)
    };
    let step = 1e-4;
    for (one, other) in [(step, 0.0), (-step, 0.0), (0.0, step), (0.0, -step), (step, step), (step, -step)] {
        assert!(at(one, other) < at(0.0, 0.0));
    }
    let info = information(&record, found.law.shape(), found.law.scale().ln() - record.ln_longest);
    let second = |a: f64, b: f64| -(at(a, b) - 2.0 * at(0.0, 0.0) + at(-a, -b)) / (step * step);
    near(second(step, 0.0), info[0], 1e-4);
    near(second(0.0, step), info[2], 1e-4);
    near((second(step, step) - info[0] - info[2]) / 2.0, info[1], 2e-3);
}

#[test]
fn many_lives_outweigh_the_prior_and_the_grid_meets_maximum_likelihood() {
    let lives = spread(&Weibull::new(3.0, 150.0).unwrap(), 400);
    let (likeliest, found) = (fit(&lives).unwrap(), Posterior::of(&lives, Prior::liner()));
    let [shape, scale] = [found.shape(Confidence::Percent90), found.scale(Confidence::Percent90)];
    near(shape.value, likeliest.law.shape(), 0.02);
    near(scale.value, likeliest.law.scale(), 0.002);
    let half = |of: &Estimate| (of.high / of.low).ln() / 2.0 / 1.644_853_6;
    near(half(&shape), likeliest.ln_shape_error, 0.03);
    near(half(&scale), likeliest.ln_scale_error, 0.01);
    assert_eq!(found.basis(), Basis::Record);
}

/// Laplace: the mode by Newton's steps with the prior's curvature added, the inverse curvature there as covariance.
#[test]
fn grid_and_laplace_agree_where_there_are_failures() {
    // A prior off the lives that weighs about as much as they do.
    let prior = Prior::around(Weibull::new(2.0, 330.0).unwrap(), 1.1, 1.1).unwrap();
    let lives = spread(&Weibull::new(2.5, 300.0).unwrap(), 200);
    let record = Record::of(&lives);
    let ln_density =
        |u: f64, v: f64| prior.ln_density(u, v) + record.ln_likelihood(u.exp(), &record.powers(u.exp()), v);
    let (mut u, mut v, h) = (2.5_f64.ln(), 300.0_f64.ln(), 1e-4);
    let curvature = |u: f64, v: f64| {
        let off = |a: f64, b: f64| ln_density(u + a, v + b);
        let uu = (off(h, 0.0) - 2.0 * off(0.0, 0.0) + off(-h, 0.0)) / (h * h);
        let vv = (off(0.0, h) - 2.0 * off(0.0, 0.0) + off(0.0, -h)) / (h * h);
        let uv = (off(h, h) - off(h, -h) - off(-h, h) + off(-h, -h)) / (4.0 * h * h);
        (uu, uv, vv, uu * vv - uv * uv)
    };
    for _ in 0..20 {
        let (uu, uv, vv, determinant) = curvature(u, v);
        let du = (ln_density(u + h, v) - ln_density(u - h, v)) / (2.0 * h);
        let dv = (ln_density(u, v + h) - ln_density(u, v - h)) / (2.0 * h);
        (u, v) = (u - (vv * du - uv * dv) / determinant, v - (uu * dv - uv * du) / determinant);
    }
    let (uu, _, vv, determinant) = curvature(u, v);
    let grid = &Posterior::of(&lives, prior).grid;
    let (shape, scale) = (moments(&grid.first, &grid.of_first()), moments(&grid.second, &grid.of_second()));
    let [shape_sd, scale_sd] = [(-vv / determinant).sqrt(), (-uu / determinant).sqrt()];
    assert!((shape.0 - u).abs() < 0.1 * shape_sd && (scale.0 - v).abs() < 0.1 * scale_sd);
    near(shape.1.sqrt(), shape_sd, 0.03);
    near(scale.1.sqrt(), scale_sd, 0.03);
}

#[test]
fn without_lives_the_posterior_is_the_prior() {
    let prior = Prior::liner();
    let found = Posterior::of(&[], prior);
    let (shape, scale) = (found.shape(Confidence::Percent90), found.scale(Confidence::Percent90));
    for (value, expected) in [(shape.value, 2.0), (shape.low, 1.0), (shape.high, 4.0)] {
        near(value, expected, 2e-3);
    }
    for (value, expected) in [(scale.value, 429.0), (scale.low, 429.0 / 4.0), (scale.high, 4.0 * 429.0)] {
        near(value, expected, 5e-3);
    }
    assert_eq!((found.basis(), found.n(), found.failures()), (Basis::Prior, 0, 0));
}

#[test]
fn parts_that_last_raise_the_prior_and_stay_labelled_as_prior_while_one_failure_makes_it_mixed() {
    let prior = Prior::liner();
    let (none, kept) = (Posterior::of(&[], prior), Posterior::of(&censored(&[900.0, 800.0]), prior));
    let scale = |of: &Posterior| of.scale(Confidence::Percent90).value;
    assert!(scale(&kept) > 1.5 * scale(&none), "{} {}", scale(&kept), scale(&none));
    assert_eq!(kept.basis(), Basis::Prior);
    let mixed = Posterior::of(&[censored(&[900.0]), failed(&[120.0])].concat(), prior);
    assert_eq!((mixed.basis(), mixed.failures(), mixed.n()), (Basis::Mixed, 1, 2));
}

#[test]
fn lives_far_from_the_prior_are_followed() {
    let lives = spread(&Weibull::new(2.0, 60_000.0).unwrap(), 60);
    near(Posterior::of(&lives, Prior::liner()).scale(Confidence::Percent90).value, 60_000.0, 0.1);
}

#[test]
fn one_law_gives_its_own_remaining_life_and_age_limit() {
    // A prior that is one law to a thousandth.
    let law = Weibull::new(2.0, 400.0).unwrap();
    let prior = Prior::around(law, 1.001, 1.001).unwrap();
    let outlook = Posterior::of(&[], prior).outlook(150.0);
    let left = outlook.remaining(Confidence::Percent90);
    let exact = |failed: f64| {
        let hazard = law.hazard(150.0) - (1.0 - failed).ln();
        400.0 * hazard.sqrt() - 150.0
    };
    for (value, share) in [(left.low, 0.05), (left.value, 0.5), (left.high, 0.95)] {
        near(value, exact(share), 2e-3);
        assert!((outlook.fails_within(value) - share).abs() < 1e-6);
    }
    near(outlook.age_limit(Probability::new(0.1).unwrap()), law.age_at(0.1), 2e-3);
}

#[test]
fn a_longer_lasting_part_is_expected_to_reach_a_greater_age_and_a_lower_risk_means_an_earlier_change() {
    let prior = Prior::liner();
    let reaches =
        |age: f64| age + Posterior::of(&censored(&[age]), prior).outlook(age).remaining(Confidence::Percent90).value;
    assert!(reaches(10.0) < reaches(300.0) && reaches(300.0) < reaches(900.0));
    let outlook = Posterior::of(&[], prior).outlook(0.0);
    let limit = |risk: f64| outlook.age_limit(Probability::new(risk).unwrap());
    assert!(limit(0.01) < limit(0.1) && limit(0.1) < limit(0.5));
}

#[test]
fn parts_that_fail_by_chance_are_told_from_those_that_wear_out() {
    let wears_out =
        |shape: f64| Posterior::of(&spread(&Weibull::new(shape, 100.0).unwrap(), 60), Prior::nozzle()).wears_out();
    assert!(wears_out(0.6) < 0.01 && wears_out(2.0) > 0.99, "{} {}", wears_out(0.6), wears_out(2.0));
    assert!(Posterior::of(&[], Prior::nozzle()).wears_out() > 0.8);
}

#[test]
fn days_left_carry_both_errors_and_a_record_without_wear_has_no_pace() {
    let estimate = |value, low, high| Estimate { value, low, high, n: 3 };
    let found = days_left(&estimate(100.0, 50.0, 200.0), &estimate(4.0, 2.0, 8.0));
    let half = 2.0_f64.ln().hypot(2.0_f64.ln()).exp();
    near(found.value, 25.0, 1e-12);
    near(found.low, 25.0 / half, 1e-12);
    near(found.high, 25.0 * half, 1e-12);
    let days = |n: usize, wear: f64| wear_a_day(&vec![wear; n], Confidence::Percent90);
    assert_eq!(days(6, 2.0), Err(Refusal::TooFew { have: 6, need: 7 }));
    assert_eq!(days(14, 0.0), Err(Refusal::NoExposure));
    near(days(14, 2.0).unwrap().high, 2.0, 1e-9);
}

#[test]
fn the_curve_of_a_posterior_falls_from_one_within_its_band_and_meets_the_age_limit() {
    let posterior = Posterior::of(&spread(&Weibull::new(2.0, 300.0).unwrap(), 9), Prior::liner());
    let limit = posterior.outlook(0.0).age_limit(Probability::new(0.1).unwrap());
    let curve = posterior.lasting(&[0.0, 0.5 * limit, limit, 3.0 * limit], Confidence::Percent90);
    assert_eq!((curve[0].share, curve[0].low, curve[0].high), (1.0, 1.0, 1.0));
    assert!(curve.windows(2).all(|pair| pair[1].share < pair[0].share && pair[1].low < pair[0].low));
    assert!(curve[1..].iter().all(|at| at.low < at.share && at.share < at.high), "{curve:?}");
    near(curve[2].share, 0.9, 1e-5);
    let more = posterior.lasting(&[limit], Confidence::Percent90)[0];
    let less = Posterior::of(&spread(&Weibull::new(2.0, 300.0).unwrap(), 200), Prior::liner());
    let less = less.lasting(&[limit], Confidence::Percent90)[0];
    assert!(less.high - less.low < 0.5 * (more.high - more.low), "more lives say it more closely");
}
