//! The share of parts that last to each age, without a law: Kaplan and Meier, J. Am. Stat. Assoc. 53 (1958) 457, and
//! the cumulative hazard of Nelson and Aalen. Late entry is allowed.

use super::life::{Life, at_risk_and_failed, failure_ages};
use crate::estimate::{Confidence, Refusal, count};
use statrs::distribution::{ContinuousCDF, Normal};

/// Shares are products of fractions: a half that is reached exactly may come out this much above.
const ROUNDING: f64 = 1e-12;

/// The curve's value from one failure age on to the next.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Step {
    /// The age.
    pub at: f64,
    /// Parts followed at that age; one censored at it still counts.
    pub at_risk: usize,
    /// Parts that failed at it.
    pub failed: usize,
    /// Share that lasts longer.
    pub survival: f64,
    /// Its standard error by Greenwood's formula, `S sqrt(sum d / (n (n - d)))`; `None` where the share is nought.
    pub standard_error: Option<f64>,
    /// Its interval on the scale of log(-log S), which stays within 0 and 1; `None` where the share is nought.
    pub band: Option<(f64, f64)>,
    /// Cumulative hazard, `sum d / n`.
    pub hazard: f64,
}

/// A median and the ages between which it lies; an end that the lives do not reach is `None`.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Median {
    /// The smallest age by which half have failed.
    pub value: Option<f64>,
    /// The smallest age at which the band's lower limit is a half or less.
    pub low: Option<f64>,
    /// The same of its upper limit.
    pub high: Option<f64>,
}

/// How many parts last how long.
#[derive(Clone, Debug, PartialEq)]
pub struct Curve {
    /// One a failure age, in order.
    pub steps: Vec<Step>,
    /// Lives it rests on.
    pub n: usize,
}

impl Curve {
    /// The curve of lives, with bands of this confidence. With late entry a share that reaches nought while nobody
    /// old is followed stays there, whoever is followed later: that is the estimator's, not a finding.
    ///
    /// # Errors
    /// Without a life, or if none ended in failure.
    pub fn of(lives: &[Life], confidence: Confidence) -> Result<Self, Refusal> {
        if lives.is_empty() {
            return Err(Refusal::TooFew { have: 0, need: 1 });
        }
        let ages = failure_ages(lives.iter());
        if ages.is_empty() {
            return Err(Refusal::NoEvents);
        }
        let z = Normal::standard().inverse_cdf(1.0 - confidence.tail());
        let (mut survival, mut hazard, mut greenwood) = (1.0, 0.0, 0.0);
        let step = |at: f64| {
            let (at_risk, failed) = at_risk_and_failed(lives, at);
            let (n, d) = (count(at_risk), count(failed));
            survival *= (n - d) / n;
            hazard += d / n;
            greenwood += d / (n * (n - d));
            let root = (survival > 0.0).then(|| greenwood.sqrt());
            let band = root.map(|root| log_log_band(survival, z * root));
            Step { at, at_risk, failed, survival, standard_error: root.map(|root| survival * root), band, hazard }
        };
        Ok(Self { steps: ages.into_iter().map(step).collect(), n: lives.len() })
    }

    /// The median life.
    #[must_use]
    pub fn median(&self) -> Median {
        let reaches_half = |share: Option<f64>| share.is_some_and(|share| share <= 0.5 + ROUNDING);
        let first = |share: &dyn Fn(&Step) -> Option<f64>| {
            self.steps.iter().find(|step| reaches_half(share(step))).map(|step| step.at)
        };
        Median {
            value: first(&|step| Some(step.survival)),
            low: first(&|step| step.band.map(|band| band.0)),
            high: first(&|step| step.band.map(|band| band.1)),
        }
    }
}

/// `S^exp(+-half / ln S)`, `half` being the half-width for ln S.
fn log_log_band(survival: f64, half: f64) -> (f64, f64) {
    let by = half / survival.ln();
    (survival.powf((-by).exp()), survival.powf(by.exp()))
}
