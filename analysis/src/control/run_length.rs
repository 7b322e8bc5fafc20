//! How many values a chart sees until it signals. Owns the reckoning for independent normal values; a detector that reads
//! others has to whiten or widen them first.

/// What the discrete sum overshoots a limit by, both ends together, as more limit (Siegmund, Sequential Analysis (1985)).
const OVERSHOOT: f64 = 1.166;

/// The mean number of values until one side of a cumulative sum with this slack signals, beginning at zero; slack, limit
/// and shift in standard deviations of independent normal values, shift counted towards the side. Siegmund's
/// approximation `(exp(-2 D b) + 2 D b - 1) / (2 D^2)`, `D = shift - slack`, `b = limit + 1.166`.
#[must_use]
pub fn cusum_run(slack: f64, limit: f64, shift: f64) -> f64 {
    let (drift, wide) = (shift - slack, limit + OVERSHOOT);
    let bent = 2.0 * drift * wide;
    if bent.abs() < 1e-4 {
        return wide * wide;
    }
    ((-bent).exp_m1() + bent) / (2.0 * drift * drift)
}

/// The limit at which one side of a cumulative sum with this slack (above zero) sees `run` values in the mean until it
/// signals for nothing; in standard deviations. Zero where even that is more.
#[must_use]
pub fn cusum_limit(slack: f64, run: f64) -> f64 {
    // The run grows with the limit, at least by the exponential's slope.
    let (mut low, mut high) = (0.0, (run.max(1.0) * 2.0 * slack * slack).ln_1p() / slack + 10.0 / slack);
    while high - low > 1e-9 * high {
        let middle = f64::midpoint(low, high);
        if cusum_run(slack, middle, 0.0) < run {
            low = middle;
        } else {
            high = middle;
        }
    }
    f64::midpoint(low, high)
}
