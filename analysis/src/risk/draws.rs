//! What a mode's risk may be with something done otherwise: pairs of mean chances over runs as they are and as they
//! would be. Owns how one belief is drawn for both; what would be otherwise is the caller's.

use super::effects::mean_row;
use super::learn::Learner;
use super::measure::{Numbers, numbers};
use super::mixture::{Member, Mixture};
use super::mode::FailureMode;
use super::posterior::{chance, dot};
use super::run::Features;
use crate::estimate::count;
use rand::seq::SliceRandom;
use rand::{RngExt, SeedableRng};
use rand_chacha::ChaCha8Rng;
use rand_distr::{Beta, Distribution, StandardNormal};

/// The same for every question, so that two changes are told apart by what they do and not by chance. Any would do.
const SEED: u64 = 0x0064_7265_6c6c;

/// Chances that a run fails, on the mean of some runs: each pair by one belief.
#[derive(Clone, Debug, PartialEq)]
pub struct Draws {
    /// As it is.
    pub now: Vec<f64>,
    /// As it would be.
    pub after: Vec<f64>,
}

impl Learner {
    /// Draws `n` pairs of what the mean chance of a run may be over the runs `now`, and over the same runs as they would
    /// be `after`; `None` where there is no model or no run.
    ///
    /// A pair is drawn by one explanation, which comes by its weight, and by one draw from what it believes of its
    /// coefficients; the running rate has its share, by which nothing changes. So runs that are the same before and
    /// after have the same chance to the last bit. No explanation is taken as surer of the level than the regression on
    /// all factors, as in a forecast: what is missing moves both sides of a pair alike. Pairs of the same number by
    /// other modes are drawn apart from these.
    #[must_use]
    pub fn draws(&self, now: &[Features], after: &[Features], n: usize) -> Option<Draws> {
        let mixture = self.ahead.mixture.as_ref().filter(|_| !now.is_empty() && !after.is_empty())?;
        let runs = Runs { now: now.iter().map(numbers).collect(), after: after.iter().map(numbers).collect() };
        let least = self.fitted.as_ref().map_or(0.0, |fitted| fitted.spread_over(&runs.now));
        let mut rng = ChaCha8Rng::seed_from_u64(SEED);
        rng.set_stream(stream(self.mode));
        let mut draws = Draws { now: vec![0.0; n], after: vec![0.0; n] };
        // Explanations are drawn one after the other, and what is drawn by each stands anywhere among the pairs.
        let mut places: Vec<usize> = (0..n).collect();
        places.shuffle(&mut rng);
        let heard: Vec<&Member> = mixture.heard().collect();
        let picked = picks(&heard, self.ahead.trust.share(), n, rng.random());
        let mut places = &places[..];
        for same in picked.chunk_by(|a, b| a == b) {
            let (own, rest) = places.split_at(same.len());
            places = rest;
            match same.first().and_then(|which| heard.get(*which)) {
                Some(member) => runs.by_explanation(mixture, member, least, own, &mut draws, &mut rng),
                None => self.by_rate(least, own, &mut draws, &mut rng)?,
            }
        }
        Some(draws)
    }

    /// By the running rate: Jeffreys' belief of a rate, whose mean it is.
    fn by_rate(&self, least: f64, places: &[usize], draws: &mut Draws, rng: &mut ChaCha8Rng) -> Option<()> {
        let past = &self.ahead.past;
        let belief = Beta::new(count(past.events) + 0.5, count(past.n - past.events) + 0.5).ok()?;
        let wider = Wider::of(1.0 / (count(past.events) + 0.5).sqrt(), least);
        for place in places {
            let rate: f64 = belief.sample(rng);
            let either = chance((-(-rate).ln_1p()).ln() + wider.shift(rng));
            (draws.now[*place], draws.after[*place]) = (either, either);
        }
        Some(())
    }
}

/// Which explanation each of `n` pairs is drawn by, in rising order; one more than there are is the running rate. They
/// are spaced evenly from `start` on, so that each has its share of the pairs but for a part of one.
fn picks(heard: &[&Member], share: f64, n: usize, start: f64) -> Vec<usize> {
    let all: f64 = heard.iter().map(|member| member.weight).sum();
    let mut end = 0.0;
    let end_of = |member: &&Member| {
        end += share * member.weight / all;
        end
    };
    let ends: Vec<f64> = heard.iter().map(end_of).collect();
    (0..n).map(|nth| ends.partition_point(|end| *end <= (count(nth) + start) / count(n))).collect()
}

/// What a belief's standard deviation lacks.
struct Wider(f64);

impl Wider {
    fn of(own: f64, least: f64) -> Self {
        Self((least * least - own * own).max(0.0).sqrt())
    }

    /// A draw for the log-hazard of all runs that leaves the hazard as high as it is on the mean.
    fn shift(&self, rng: &mut ChaCha8Rng) -> f64 {
        self.0 * normal(rng) - 0.5 * self.0 * self.0
    }
}

fn normal(rng: &mut ChaCha8Rng) -> f64 {
    StandardNormal.sample(rng)
}

struct Runs {
    now: Vec<Numbers>,
    after: Vec<Numbers>,
}

impl Runs {
    fn by_explanation(
        &self,
        mixture: &Mixture,
        member: &Member,
        least: f64,
        places: &[usize],
        draws: &mut Draws,
        rng: &mut ChaCha8Rng,
    ) {
        let posterior = &member.posterior;
        let width = posterior.mode.len();
        let (now, after) = (mixture.rows(member, &self.now), mixture.rows(member, &self.after));
        let wider = Wider::of(posterior.spread(&mean_row(&now, width)), least);
        for place in places {
            let coefficients = posterior.draw(|| normal(rng));
            let shift = wider.shift(rng);
            let mean = |rows: &[f64]| {
                let rows = rows.chunks_exact(width);
                let n = count(rows.len());
                rows.map(|row| chance(dot(row, &coefficients) + shift)).sum::<f64>() / n
            };
            draws.now[*place] = mean(&now);
            // Most explanations are of what no change touches.
            draws.after[*place] = if after == now { draws.now[*place] } else { mean(&after) };
        }
    }
}

/// Each mode's own random numbers.
const fn stream(mode: FailureMode) -> u64 {
    match mode {
        FailureMode::Jam => 0,
        FailureMode::Stringing => 1,
        FailureMode::Liner => 2,
        FailureMode::Blob => 3,
        FailureMode::UnderExtrusion => 4,
        FailureMode::Scrape => 5,
        FailureMode::Misalignment => 6,
        FailureMode::Adhesion => 7,
        FailureMode::Other => 8,
    }
}
