//! How long to wait after polls that failed. Pure: the chance comes in as a number.

use std::time::Duration;

/// The longest wait between two polls of a host that does not answer. With the client's deadline before it a host
/// that comes back is seen within 10 s, well inside the 20 s of silence that count as a gap.
pub const DELAY_MAX: Duration = Duration::from_secs(5);

/// The wait before the next poll after so many misses in a row: the printer's interval after a success, else a
/// chance between the interval and the interval doubled once a miss, at most [`DELAY_MAX`]. Never below the
/// interval, so that a host in trouble is not asked more often than a sound one.
///
/// `jitter` is the chance, 0 to 1 (any other number counts as 1); it keeps several daemons from asking a host that
/// comes back all at once.
#[must_use]
pub fn delay(interval: Duration, misses: u32, jitter: f64) -> Duration {
    let doubled = 2_u32.checked_pow(misses).and_then(|factor| interval.checked_mul(factor)).unwrap_or(DELAY_MAX);
    let spread = doubled.min(DELAY_MAX).saturating_sub(interval);
    let chance = if (0.0..=1.0).contains(&jitter) { jitter } else { 1.0 };
    interval.min(DELAY_MAX) + spread.mul_f64(chance)
}

#[cfg(test)]
mod tests {
    use super::*;

    const INTERVAL: Duration = Duration::from_millis(500);

    #[test]
    fn a_success_brings_the_interval_back_at_once() {
        for jitter in [0.0, 0.7, 1.0] {
            assert_eq!(delay(INTERVAL, 0, jitter), INTERVAL);
        }
    }

    #[test]
    fn each_miss_doubles_the_longest_wait_up_to_the_ceiling() {
        let longest: Vec<u128> = [1, 2, 3, 4, u32::MAX].map(|n| delay(INTERVAL, n, 1.0).as_millis()).to_vec();
        assert_eq!(longest, [1000, 2000, 4000, 5000, 5000]);
        assert_eq!(delay(INTERVAL, 2, 0.5), Duration::from_millis(1250));
    }

    #[test]
    fn no_interval_and_no_jitter_leads_out_of_bounds() {
        for (interval, jitter) in [(5000, 1.0), (5000, 0.0), (200, -3.0), (200, f64::NAN)] {
            let interval = Duration::from_millis(interval);
            let wait = delay(interval, 7, jitter);
            assert!((interval..=DELAY_MAX).contains(&wait), "{wait:?}");
        }
    }
}
