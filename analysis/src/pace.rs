//! How a printer's real times compare with those that its job files let expect. Owns the scale between the two and its
//! interval; what time a print was paused or unseen is the caller's to take off.

use crate::estimate::{Estimate, Refusal};
use crate::units::Seconds;
use statrs::distribution::{Binomial, DiscreteCDF};

/// With fewer prints not even their whole range holds the median 90 times in 100: 2 · 0.5⁴ = 0.125.
const PRINTS_LEAST: usize = 5;
/// What may lie beyond each end of a 90 % interval.
const TAIL: f64 = 0.05;

/// Real over expected time: the median over prints, each told as (real, expected), so that one odd print does not
/// decide. Its 90 % interval is exact whatever the spread: the ends are the prints of rank k and n + 1 - k with the
/// largest k for which P(Binomial(n, 1/2) < k) is at most 5 % (order statistics; the sign test turned round). A pair
/// without a positive time on either side is not counted.
///
/// # Errors
/// With fewer than five prints.
pub fn pace(prints: &[(Seconds, Seconds)]) -> Result<Estimate, Refusal> {
    let is_time = |time: Seconds| time.get() > 0.0 && time.get().is_finite();
    let counted = prints.iter().filter(|(real, expected)| is_time(*real) && is_time(*expected));
    let mut ratios: Vec<f64> = counted.map(|(real, expected)| real.get() / expected.get()).collect();
    let n = ratios.len();
    if n < PRINTS_LEAST {
        return Err(Refusal::TooFew { have: n, need: PRINTS_LEAST });
    }
    ratios.sort_by(f64::total_cmp);
    let beyond = beyond(n);
    let value = f64::midpoint(ratios[(n - 1) / 2], ratios[n / 2]);
    Ok(Estimate { value, low: ratios[beyond], high: ratios[n - 1 - beyond], n })
}

/// How many of `n` prints lie beyond each end.
fn beyond(n: usize) -> usize {
    let below = Binomial::new(0.5, n.try_into().unwrap_or(u64::MAX));
    let chance = |k: usize| below.as_ref().map_or(1.0, |below| below.cdf(k.try_into().unwrap_or(u64::MAX)));
    (1..n / 2).take_while(|k| chance(*k) <= TAIL).last().unwrap_or(0)
}

#[cfg(test)]
#[expect(clippy::unwrap_used, reason = "a test may stop")]
mod tests {
    use super::*;
    use rand::{RngExt, SeedableRng};
    use rand_chacha::ChaCha8Rng;

    fn pairs(ratios: &[f64]) -> Vec<(Seconds, Seconds)> {
        ratios.iter().map(|ratio| (Seconds::new(1000.0 * ratio), Seconds::new(1000.0))).collect()
    }

    /// Ranks of the 90 % interval from whole-number sums of Binomial(n, 1/2): 1/32 for 5, 9/256 = 3.5 % for 8, 11/1024 =
    /// 1.1 % for 10 where 56/1024 = 5.5 % is too much, and so on.
    #[test]
    fn ranks_agree_with_the_sign_test() {
        for (n, k) in [(5, 1), (7, 1), (8, 2), (10, 2), (20, 6), (50, 19)] {
            assert_eq!(beyond(n) + 1, k, "{n}");
        }
    }

    #[test]
    fn one_odd_print_does_not_move_the_pace() {
        let found = pace(&pairs(&[1.1, 1.2, 1.15, 9.0, 1.05])).unwrap();
        assert!((found.value - 1.15).abs() < 1e-12 && found.n == 5, "{found:?}");
        assert!((found.low - 1.05).abs() < 1e-12 && (found.high - 9.0).abs() < 1e-12, "{found:?}");
    }

    #[test]
    fn four_prints_are_too_few_and_one_without_a_time_is_none() {
        let mut told = pairs(&[1.0, 1.1, 1.2, 1.3]);
        told.push((Seconds::new(100.0), Seconds::ZERO));
        told.push((Seconds::new(f64::NAN), Seconds::new(5.0)));
        assert_eq!(pace(&told), Err(Refusal::TooFew { have: 4, need: 5 }));
    }

    /// Skewed ratios; the interval is exact and rounds to the careful side, so it may hold more often, never less:
    /// Binomial(2000, 0.9) lies above 1777 nineteen times in twenty.
    #[test]
    fn interval_holds_the_median_at_least_ninety_times_in_a_hundred() {
        let mut rng = ChaCha8Rng::seed_from_u64(4);
        for n in [5, 9, 24] {
            let mut held = 0;
            for _ in 0..2000 {
                let ratios: Vec<f64> = (0..n).map(|_| 1.0 - rng.random::<f64>().ln()).collect();
                let found = pace(&pairs(&ratios)).unwrap();
                held += u32::from((found.low..=found.high).contains(&(1.0 + 2.0_f64.ln())));
            }
            assert!((1778..=1980).contains(&held), "{n} prints: {held} of 2000");
        }
    }
}
