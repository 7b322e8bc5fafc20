//! The two charts against printed series and against run lengths by integral equations.

use super::super::ewma::Ewma;
use super::super::{Cusum, Side, cusum_limit, cusum_run};
use super::noise::Noise;
use crate::estimate::count;

/// NIST/SEMATECH e-Handbook of Statistical Methods, 6.3.2.4.
const NIST_EWMA: [f64; 20] = [
    52.0, 47.0, 53.0, 49.3, 50.1, 47.0, 51.0, 50.1, 51.2, 50.5, 49.6, 47.6, 49.9, 51.3, 47.8, 51.2, 52.6, 52.4, 53.6,
    52.1,
];

/// The averages printed there, to two digits.
const NIST_EWMA_PRINTED: [f64; 20] = [
    50.60, 49.52, 50.56, 50.18, 50.16, 49.21, 49.75, 49.85, 50.26, 50.33, 50.11, 49.36, 49.52, 50.05, 49.38, 49.92,
    50.73, 51.23, 51.94, 51.99,
];

/// NIST/SEMATECH e-Handbook of Statistical Methods, 6.3.2.3.
const NIST_CUSUM: [f64; 20] = [
    324.925, 324.675, 324.725, 324.350, 325.350, 325.225, 324.125, 324.525, 325.225, 324.600, 324.625, 325.150,
    328.325, 327.250, 327.825, 328.500, 326.675, 327.775, 326.875, 328.350,
];

/// Montgomery, Introduction to Statistical Quality Control: mean 10 and standard deviation 1, one deviation more from the
/// 21st on.
const MONTGOMERY: [f64; 30] = [
    9.45, 7.99, 9.29, 11.66, 12.16, 10.18, 8.04, 11.46, 9.20, 10.34, 9.03, 11.47, 10.51, 9.40, 10.08, 9.37, 10.62,
    10.31, 8.52, 10.84, 10.90, 9.33, 12.29, 11.50, 10.60, 11.08, 10.38, 11.62, 11.31, 10.52,
];

fn near(found: f64, printed: f64, within: f64) {
    assert!((found - printed).abs() <= within, "{found} is not {printed}");
}

#[test]
fn the_average_and_its_limits_are_those_of_the_handbook() {
    let mut ewma = Ewma::new(0.3, 50.0);
    for (value, printed) in NIST_EWMA.into_iter().zip(NIST_EWMA_PRINTED) {
        near(ewma.push(value), printed, 0.005 + 1e-9);
        assert!((ewma.value() - 50.0).abs() < ewma.limit_at_length(2.0539, 3.0));
    }
    near(50.0 + ewma.limit_at_length(2.0539, 3.0), 52.588_432, 1e-5);
    near(50.0 - ewma.limit_at_length(2.0539, 3.0), 47.411_568, 1e-5);
}

#[test]
fn the_exact_limits_find_the_textbooks_shift_at_reading_29() {
    let mut ewma = Ewma::new(0.1, 10.0);
    let mut signals = Vec::new();
    for (idx, value) in MONTGOMERY.into_iter().enumerate() {
        let average = ewma.push(value);
        let limit = 10.0 + ewma.limit(1.0, 2.7);
        if average > limit {
            signals.push(idx + 1);
        }
        match idx + 1 {
            29 => [(average, 10.64682), (limit, 10.61873)].map(|(found, printed)| near(found, printed, 5e-6)),
            30 => [(average, 10.63414), (limit, 10.61887)].map(|(found, printed)| near(found, printed, 5e-6)),
            _ => continue,
        };
    }
    assert_eq!(signals, [29, 30]);
}

#[test]
fn the_sums_are_those_of_the_handbook() {
    let high = [
        (5, 0.0325),
        (13, 3.0075),
        (14, 4.94),
        (15, 7.4475),
        (16, 10.63),
        (17, 11.9875),
        (18, 14.445),
        (19, 16.0025),
        (20, 19.035),
    ];
    let low = [(2, 0.0075), (4, 0.3325), (7, 0.5575), (8, 0.7150), (9, 0.1725), (10, 0.2550), (11, 0.3125)];
    let printed = |of: &[(usize, f64)], n| of.iter().find(|(at, _)| *at == n).map_or(0.0, |(_, sum)| *sum);
    let mut cusum = Cusum::new(325.0, 0.3175, 4.1959);
    let mut first = None;
    for (idx, value) in NIST_CUSUM.into_iter().enumerate() {
        if cusum.push(value).is_some() {
            first = first.or(Some(idx + 1));
        }
        near(cusum.sum(Side::Up).value, printed(&high, idx + 1), 1e-9);
        near(cusum.sum(Side::Down).value, printed(&low, idx + 1), 1e-9);
    }
    assert_eq!(first, Some(14));
}

#[test]
fn the_sums_find_the_textbooks_shift_at_reading_29() {
    let mut cusum = Cusum::new(10.0, 0.5, 5.0);
    let mut signals = Vec::new();
    let mut down: Vec<f64> = Vec::new();
    for (idx, value) in MONTGOMERY.into_iter().enumerate() {
        if cusum.push(value) == Some(Side::Up) {
            signals.push(idx + 1);
        }
        down.push(cusum.sum(Side::Down).value);
        if let Some(printed) = [3.47, 3.35, 4.47, 5.28, 5.30].get((idx + 1).wrapping_sub(26)) {
            near(cusum.sum(Side::Up).value, *printed, 0.005 + 1e-9);
        }
    }
    assert_eq!(signals, [29, 30]);
    near(down[2], 1.77, 0.005);
    assert!(down.iter().all(|sum| *sum <= down[2]));
    assert_eq!(cusum.sum(Side::Up).n, 8, "the book counts 7 at reading 29");
    cusum.restart();
    assert_eq!(cusum.push(10.0), None);
}

/// The mean run to a signal over so many runs of a chart that begins anew each time.
fn mean_run(runs: u64, shift: f64, mut signals: impl FnMut(bool, f64) -> bool) -> f64 {
    let mut noise = Noise::new(11, 1.0, 0.0);
    let mut pushed = 0_usize;
    for _ in 0..runs {
        let mut is_new = true;
        loop {
            pushed += 1;
            if signals(is_new, noise.next() + shift) {
                break;
            }
            is_new = false;
        }
    }
    count(pushed) / f64::from(u32::try_from(runs).unwrap())
}

const SHIFTS: [f64; 8] = [0.0, 0.25, 0.5, 0.75, 1.0, 1.5, 2.0, 3.0];
/// Runs a row; a run's standard deviation is at most its mean, so that a mean is off by 0.7 % at most (one standard error).
const RUNS: u64 = 20_000;
/// Three and a half standard errors: one comparison in two thousand is further out by chance.
const WITHIN: f64 = 0.025;

#[test]
fn sums_run_as_long_as_the_integral_equations_say() {
    let printed = [
        (4.0, [167.684, 74.224, 26.630, 13.285, 8.383, 4.747, 3.343, 2.194]),
        (5.0, [465.444, 139.494, 37.996, 17.048, 10.376, 5.747, 4.009, 2.573]),
    ];
    for (limit, runs) in printed {
        for (shift, run) in SHIFTS.into_iter().zip(runs) {
            let mut cusum = Cusum::new(0.0, 0.5, limit);
            let found = mean_run(RUNS, shift, |is_new, value| {
                if is_new {
                    cusum.restart();
                }
                cusum.push(value).is_some()
            });
            near(found / run, 1.0, WITHIN);
        }
    }
}

#[test]
fn averages_run_as_long_as_the_integral_equations_say() {
    let printed = [
        (0.1, 2.814, [499.58, 106.32, 31.30, 15.85, 10.33, 6.08, 4.36, 2.87]),
        (0.25, 2.998, [499.84, 170.30, 48.29, 20.11, 11.14, 5.46, 3.61, 2.26]),
        (1.0, 3.0, [370.398, f64::NAN, 155.22, f64::NAN, 43.89, f64::NAN, 6.30, 2.00]),
    ];
    for (weight, widths, runs) in printed {
        for (shift, run) in SHIFTS.into_iter().zip(runs).filter(|(_, run)| run.is_finite()) {
            let mut ewma = Ewma::new(weight, 0.0);
            let found = mean_run(RUNS, shift, |is_new, value| {
                if is_new {
                    ewma = Ewma::new(weight, 0.0);
                }
                ewma.push(value).abs() > ewma.limit_at_length(1.0, widths)
            });
            near(found / run, 1.0, WITHIN);
        }
    }
}

#[test]
fn limits_are_those_of_the_published_run_lengths() {
    // One side alone, by integral equations; two sides at zero signal twice as often.
    near(cusum_run(0.5, 5.0, 0.0) / 930.887, 1.0, 0.01);
    for (slack, limit, both) in
        [(0.25, 8.01, 370.33), (0.5, 4.77, 368.56), (0.75, 3.34, 370.57), (1.0, 2.52, 372.82), (1.5, 1.61, 376.34)]
    {
        let found = cusum_limit(slack, 2.0 * both);
        // The closed form is the weakest where limits are short.
        near(found / limit, 1.0, 0.05);
        near(cusum_run(slack, found, 0.0) / (2.0 * both), 1.0, 1e-6);
    }
    // At the edge between drifting up and down the closed form is 0 / 0.
    near(cusum_run(0.5, 5.0, 0.5), 6.166 * 6.166, 1e-9);
    near(cusum_run(0.5, 5.0, 0.500_01), cusum_run(0.5, 5.0, 0.5), 0.01);
}
