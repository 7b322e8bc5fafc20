//! Whoever knew the law's form, and had to learn only how strong it is: a bound of what any learner could make of the
//! same record. Must not be judged by: it is printed beside the figures, so that people see what was to be had.

use super::truth::Law;
use dwell_analysis::estimate::count;

const BASES: usize = 14;
const STRENGTHS: usize = 21;

/// Beliefs about the rate without the law and what the law adds at most.
pub(super) struct Oracle {
    law: Law,
    /// Rate, strength, log weight.
    beliefs: Vec<(f64, f64, f64)>,
}

impl Oracle {
    pub(super) fn new(law: Law) -> Self {
        let bases = (0..BASES).map(|idx| 0.002 * 1.4_f64.powf(count(idx)));
        let all = bases.flat_map(|base| (0..STRENGTHS).map(move |idx| (base, count(idx) / 20.0, 0.0)));
        Self { law, beliefs: all.collect() }
    }

    /// What a run that meets this share of the law comes to, before it is known.
    pub(super) fn probability(&self, share: f64) -> f64 {
        let most = self.beliefs.iter().map(|belief| belief.2).fold(f64::NEG_INFINITY, f64::max);
        let weighed =
            self.beliefs.iter().map(|(base, strength, log)| ((log - most).exp(), one(*base, *strength, share)));
        let (total, mean) = weighed.fold((0.0, 0.0), |(total, mean), (weight, p)| (total + weight, mean + weight * p));
        mean / total
    }

    /// What came of it.
    pub(super) fn learn(&mut self, share: f64, happened: bool) {
        for (base, strength, log) in &mut self.beliefs {
            let p = one(*base, *strength, share).min(0.999);
            *log += if happened { p.ln() } else { (1.0 - p).ln() };
        }
    }

    /// The law that it knows.
    pub(super) fn law(&self) -> Law {
        self.law
    }
}

fn one(base: f64, strength: f64, share: f64) -> f64 {
    base + (1.0 - base) * strength * share
}
