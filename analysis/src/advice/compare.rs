//! Two shares, or two rates, compared exactly: no approximation by a Normal, however few the events. Owns the tests and
//! the intervals of the two ratios; who is compared with whom is the caller's.

use crate::estimate::{Confidence, Estimate, Refusal, count, rate};
use statrs::distribution::{Binomial, Discrete, DiscreteCDF};
use statrs::function::gamma::ln_gamma;

/// Outcomes count as equally likely within this, relative to each other: they are sums of logarithms.
const ALIKE: f64 = 1e-7;
/// No odds ratio is looked for beyond e to this, or below its inverse.
const FAR: f64 = 40.0;
/// Halvings of that stretch: to the last bit.
const HALVINGS: usize = 70;

/// How two groups differ.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Compared {
    /// The first group's odds (or rate) over the second's; zero or infinite where one of them had no event. `n` counts
    /// the events of both.
    pub ratio: Estimate,
    /// How often chance alone would part them so far or further, either way.
    pub p: f64,
    /// How often chance alone would give the first so few or fewer.
    pub p_fewer: f64,
    /// How often chance alone would give the first so many or more.
    pub p_more: f64,
}

/// Compares two shares, each as events and occasions: Fisher's exact test, which takes the events of both as given, and
/// the odds ratio that makes what was seen likeliest under the same condition, with its exact interval (noncentral
/// hypergeometric law; Cornfield, Proc. 3rd Berkeley Symp. 4 (1956) 135). The two-sided p sums the outcomes that are no
/// likelier than the one seen.
///
/// # Errors
/// Without an occasion in a group, with more events than occasions, or where all outcomes are the same.
pub fn shares(first: (usize, usize), second: (usize, usize), confidence: Confidence) -> Result<Compared, Refusal> {
    for (events, n) in [first, second] {
        if n == 0 {
            return Err(Refusal::TooFew { have: 0, need: 1 });
        }
        if events > n {
            return Err(Refusal::MoreEventsThanOccasions { events, n });
        }
    }
    let events = first.0 + second.0;
    if events == 0 || events == first.1 + second.1 {
        return Err(Refusal::OneClassOnly);
    }
    let law = Conditional::of(first.1, second.1, events);
    let (seen, tail) = (first.0, confidence.tail());
    let (is_least, is_most) = (seen == law.least, seen == law.least + law.ln_ways.len() - 1);
    let value = match (is_least, is_most) {
        (true, _) => 0.0,
        (false, true) => f64::INFINITY,
        (false, false) => solve(|ln_odds| law.mean(ln_odds) - count(seen)),
    };
    let low = if is_least { 0.0 } else { solve(|ln_odds| law.or_more(seen, ln_odds) - tail) };
    let high = if is_most { f64::INFINITY } else { solve(|ln_odds| tail - law.or_fewer(seen, ln_odds)) };
    Ok(Compared {
        ratio: Estimate { value, low, high, n: events },
        p: no_likelier(&law.chances(0.0), seen - law.least),
        p_fewer: law.or_fewer(seen, 0.0),
        p_more: law.or_more(seen, 0.0),
    })
}

/// Compares two rates, each as events and what they happened in (hours, prints, failures expected): given the events of
/// both, the first's are binomial, and the exact interval of its share is one of the ratio (Przyborowski and Wilenski,
/// Biometrika 31 (1940) 313).
///
/// # Errors
/// Without events, or without exposure in a group.
pub fn rates(first: (usize, f64), second: (usize, f64), confidence: Confidence) -> Result<Compared, Refusal> {
    let is_some = |exposure: f64| exposure.is_finite() && exposure > 0.0;
    if !is_some(first.1) || !is_some(second.1) {
        return Err(Refusal::NoExposure);
    }
    let n = first.0 + second.0;
    if n == 0 {
        return Err(Refusal::NoEvents);
    }
    let (Ok(trials), Ok(seen)) = (u64::try_from(n), u64::try_from(first.0)) else {
        return Err(Refusal::OutOfReach);
    };
    let law = Binomial::new(first.1 / (first.1 + second.1), trials).map_err(|_| Refusal::NoExposure)?;
    let share = rate(first.0, n, confidence)?;
    let ratio = |share: f64| share / (1.0 - share) * second.1 / first.1;
    let chances: Vec<f64> = (0..=trials).map(|events| law.pmf(events)).collect();
    Ok(Compared {
        ratio: Estimate { value: ratio(share.value), low: ratio(share.low), high: ratio(share.high), n },
        p: no_likelier(&chances, first.0),
        p_fewer: law.cdf(seen),
        p_more: if seen == 0 { 1.0 } else { law.sf(seen - 1) },
    })
}

/// The first group's events where those of both are given.
struct Conditional {
    /// Fewest that it can have.
    least: usize,
    /// Logarithm of the number of ways to each number, from the fewest on.
    ln_ways: Vec<f64>,
}

impl Conditional {
    fn of(first: usize, second: usize, events: usize) -> Self {
        let least = events.saturating_sub(second);
        let ln_ways = |own: usize| ln_choose(first, own) + ln_choose(second, events - own);
        Self { least, ln_ways: (least..=first.min(events)).map(ln_ways).collect() }
    }

    /// Chance of each number at an odds ratio, given as ln.
    fn chances(&self, ln_odds: f64) -> Vec<f64> {
        let ln: Vec<f64> = self.ln_ways.iter().zip(0..).map(|(ways, extra)| ways + count(extra) * ln_odds).collect();
        let most = ln.iter().copied().fold(f64::NEG_INFINITY, f64::max);
        let weights: Vec<f64> = ln.iter().map(|ln| (ln - most).exp()).collect();
        let whole: f64 = weights.iter().sum();
        weights.iter().map(|weight| weight / whole).collect()
    }

    fn mean(&self, ln_odds: f64) -> f64 {
        self.chances(ln_odds).iter().zip(self.least..).map(|(chance, events)| chance * count(events)).sum()
    }

    fn or_fewer(&self, seen: usize, ln_odds: f64) -> f64 {
        self.chances(ln_odds).iter().take(seen - self.least + 1).sum()
    }

    fn or_more(&self, seen: usize, ln_odds: f64) -> f64 {
        self.chances(ln_odds).iter().skip(seen - self.least).sum()
    }
}

fn ln_choose(n: usize, k: usize) -> f64 {
    ln_gamma(count(n) + 1.0) - ln_gamma(count(k) + 1.0) - ln_gamma(count(n - k) + 1.0)
}

fn no_likelier(chances: &[f64], seen: usize) -> f64 {
    let bar = chances[seen] * (1.0 + ALIKE);
    chances.iter().filter(|chance| **chance <= bar).sum::<f64>().min(1.0)
}

/// e to where a rising function of the ln of the odds ratio crosses zero.
fn solve(rising: impl Fn(f64) -> f64) -> f64 {
    let (mut low, mut high) = (-FAR, FAR);
    for _ in 0..HALVINGS {
        let middle = f64::midpoint(low, high);
        if rising(middle) < 0.0 { low = middle } else { high = middle }
    }
    f64::midpoint(low, high).exp()
}

#[cfg(test)]
#[expect(clippy::unwrap_used, reason = "a test may stop")]
mod tests {
    use super::*;

    fn near(found: f64, expected: f64, what: &str) {
        // Published with six figures.
        assert!((found - expected).abs() <= 5e-6 * expected.abs(), "{what}: {found} against {expected}");
    }

    /// Two groups (events, occasions); p two-sided; p one-sided to the side on which the first lies; odds ratio, low,
    /// high (95 %). The first three as R's `fisher.test` prints them in its examples and own tests, the last two computed with R.
    type Row = ((usize, usize), (usize, usize), f64, f64, [f64; 3]);
    const TABLES: [Row; 5] = [
        ((3, 4), (1, 4), 0.485_714, 0.242_857, [6.408_320, 0.211_736, 626.243_5]),
        ((2, 12), (15, 18), 0.000_536_724, 0.000_465_181, [0.046_936_6, 0.003_317_16, 0.363_189_6]),
        ((8, 10), (1, 6), 0.034_965_0, 0.024_475_5, [15.465_82, 1.008_849, 1_059.639]),
        ((1, 20), (6, 20), 0.091_476_1, 0.045_738_0, [0.128_836, 0.002_539_48, 1.246_140]),
        ((0, 20), (5, 20), 0.047_124_0, 0.023_562_0, [0.0, 0.0, 0.976_458]),
    ];

    #[test]
    fn shares_agree_with_published_exact_tests() {
        for (first, second, p, one_sided, [value, low, high]) in TABLES {
            let found = shares(first, second, Confidence::Percent95).unwrap();
            let what = format!("{first:?} {second:?}");
            near(found.p, p, &what);
            near(if value > 1.0 { found.p_more } else { found.p_fewer }, one_sided, &what);
            near(found.ratio.value, value, &what);
            near(found.ratio.low, low, &what);
            near(found.ratio.high, high, &what);
        }
        // The twins' table again: its one-sided 95 % upper end is that of the two-sided 90 % interval.
        let twins = shares((2, 12), (15, 18), Confidence::Percent90).unwrap();
        near(twins.ratio.high, 0.284_959_5, "one-sided");
    }

    /// 11 in 800 against 21 in 3011: the example of R's `poisson.test`.
    #[test]
    fn rates_agree_with_the_published_exact_test() {
        let found = rates((11, 800.0), (21, 3011.0), Confidence::Percent95).unwrap();
        near(found.ratio.value, 1.971_488, "ratio");
        near(found.p, 0.079_668_6, "p");
        near(found.ratio.low, 0.858_426, "low");
        near(found.ratio.high, 4.277_266, "high");
    }

    #[test]
    fn swapping_the_groups_turns_the_ratio_over() {
        let (one, other) = ((3, 17), (9, 23));
        let found = shares(one, other, Confidence::Percent90).unwrap();
        let swapped = shares(other, one, Confidence::Percent90).unwrap();
        near(swapped.ratio.low, 1.0 / found.ratio.high, "shares");
        near(swapped.p_more, found.p_fewer, "shares");
        let found = rates((3, 17.0), (9, 23.0), Confidence::Percent90).unwrap();
        let swapped = rates((9, 23.0), (3, 17.0), Confidence::Percent90).unwrap();
        near(swapped.ratio.low, 1.0 / found.ratio.high, "rates");
        near(swapped.p_more, found.p_fewer, "rates");
    }

    #[test]
    fn nothing_to_compare_is_refused() {
        let at = Confidence::Percent90;
        assert_eq!(shares((0, 0), (1, 3), at), Err(Refusal::TooFew { have: 0, need: 1 }));
        assert_eq!(shares((4, 3), (1, 3), at), Err(Refusal::MoreEventsThanOccasions { events: 4, n: 3 }));
        assert_eq!(shares((0, 5), (0, 9), at), Err(Refusal::OneClassOnly));
        assert_eq!(shares((5, 5), (9, 9), at), Err(Refusal::OneClassOnly));
        assert_eq!(rates((0, 2.0), (0, 3.0), at), Err(Refusal::NoEvents));
        assert_eq!(rates((1, 0.0), (0, 3.0), at), Err(Refusal::NoExposure));
    }
}
