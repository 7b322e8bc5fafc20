//! The share of new parts that last to each age, with its interval: the curve that weighed laws come to. Owns the mixture
//! at an age and the quantiles over laws; what is said of one part in use is `outlook`'s.

use super::outlook::WeighedLaw;
use super::posterior::Posterior;
use crate::estimate::Confidence;

/// The share of new parts that last to an age.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Lasting {
    /// The age, in the unit of lives.
    pub age: f64,
    /// The share, 0 to 1: the mean over laws, so that the age limit of an accepted chance lies where it says.
    pub share: f64,
    /// Its interval over laws.
    pub low: f64,
    /// See `low`.
    pub high: f64,
}

impl Posterior {
    /// The curve at these ages.
    #[must_use]
    pub fn lasting(&self, ages: &[f64], confidence: Confidence) -> Vec<Lasting> {
        let laws = self.laws();
        ages.iter().map(|age| at(&laws, *age, confidence)).collect()
    }
}

fn at(laws: &[WeighedLaw], age: f64, confidence: Confidence) -> Lasting {
    if age <= 0.0 {
        return Lasting { age: 0.0, share: 1.0, low: 1.0, high: 1.0 };
    }
    let ln_age = age.ln();
    let mut shares: Vec<(f64, f64)> = laws.iter().map(|law| ((-law.hazard(ln_age)).exp(), law.weight)).collect();
    shares.sort_by(|a, b| a.0.total_cmp(&b.0));
    let whole: f64 = shares.iter().map(|(_, weight)| weight).sum();
    let mean = shares.iter().map(|(share, weight)| share * weight).sum::<f64>() / whole;
    // The share under which so much of the laws' weight lies.
    let under = |tail: f64| {
        let mut weighs = 0.0;
        let found = shares.iter().find(|(_, weight)| {
            weighs += weight;
            weighs >= tail * whole
        });
        found.map_or(mean, |(share, _)| *share)
    };
    Lasting { age, share: mean, low: under(confidence.tail()), high: under(1.0 - confidence.tail()) }
}
