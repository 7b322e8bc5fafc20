//! What a mode's risk may be with something done otherwise: pairs of mean chances over runs as they are and as they
//! would be. Owns how one belief is drawn for both; what would be otherwise is the caller's.

use super::effects::{Fitted, mean_row};
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
    /// be `after`; `None` where there is no model or no run, or not the same number of them.
    ///
    /// A pair is drawn by one explanation, which comes by its weight, and by one draw from what it believes of its
    /// coefficients; the running rate has its share. An explanation on few factors is as sure as if it knew that the
    /// others do not matter, so it is widened to what the regression on all of them leaves open: in the level, by what
    /// moves both sides alike, and in what the change does, if it says that it does anything. So runs that are the same
    /// before and after have the same chance to the last bit, and where nothing matters nothing changes. Pairs of the
    /// same number by other modes are drawn apart from these.
    #[must_use]
    pub fn draws(&self, now: &[Features], after: &[Features], n: usize) -> Option<Draws> {
        let is_paired = !now.is_empty() && now.len() == after.len();
        let mixture = self.ahead.mixture.as_ref().filter(|_| is_paired)?;
        let runs = [now, after].map(|runs| runs.iter().map(numbers).collect::<Vec<Numbers>>());
        let mut rng = ChaCha8Rng::seed_from_u64(SEED);
        rng.set_stream(stream(self.mode));
        let all = self.fitted.as_ref().ok().map(|fitted| All::of(fitted, &runs, n, &mut rng));
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
                Some(member) => {
                    let opinion = Opinion::of(mixture, member, &runs, all.as_ref());
                    for place in own {
                        (draws.now[*place], draws.after[*place]) = opinion.draw(*place, &mut rng);
                    }
                }
                None => self.by_rate(all.as_ref(), own, &mut draws, &mut rng)?,
            }
        }
        Some(draws)
    }

    /// By the running rate: Jeffreys' belief of a rate, whose mean it is.
    fn by_rate(&self, all: Option<&All>, places: &[usize], draws: &mut Draws, rng: &mut ChaCha8Rng) -> Option<()> {
        let past = &self.ahead.past;
        let belief = Beta::new(count(past.events) + 0.5, count(past.n - past.events) + 0.5).ok()?;
        let lacks = all.map(|all| all.lacks(1.0 / (count(past.events) + 0.5).sqrt(), 0.0));
        for place in places {
            let rate: f64 = belief.sample(rng);
            let shift = all.zip(lacks).map_or(0.0, |(all, lacks)| all.level(*place, lacks));
            let either = chance((-(-rate).ln_1p()).ln() + shift);
            (draws.now[*place], draws.after[*place]) = (either, either);
        }
        Some(())
    }
}

/// What the regression on all factors says, one draw of it a pair.
struct All {
    /// Standard deviation of the mean log-hazard of the runs as they are, and of what the change moves it by.
    spread: [f64; 2],
    /// For each pair, how far the level may be off.
    levels: Vec<f64>,
    /// For each run, what the change moves its log-hazard by, and for each run of each pair, how far that may be off.
    moves: Vec<f64>,
    off: Vec<f64>,
    /// The chance that it moves nothing.
    idles: f64,
}

/// How much of what is open to all factors a belief lacks: in the level, and in what the change does.
#[derive(Clone, Copy)]
struct Lacks {
    level: f64,
    moves: f64,
}

impl All {
    fn of(fitted: &Fitted, runs: &[Vec<Numbers>; 2], n: usize, rng: &mut ChaCha8Rng) -> Self {
        let posterior = fitted.posterior();
        let width = posterior.mode.len();
        let [now, after] = runs.each_ref().map(|runs| fitted.rows(runs));
        let moved = difference(&now, &after);
        let (level, far) = (mean_row(&now, width), mean_row(&moved, width));
        let by = |coefficients: &[f64]| -> Vec<f64> {
            moved.chunks_exact(width).map(|row| dot(row, coefficients)).collect()
        };
        let (mut levels, mut off) = (Vec::with_capacity(n), Vec::with_capacity(n * runs[0].len()));
        for _ in 0..n {
            let away = posterior.deviate(|| normal(rng));
            levels.push(dot(&level, &away));
            off.extend(by(&away));
        }
        let spread = [posterior.spread(&level), posterior.spread(&far)];
        let idles = if spread[1] > 0.0 { fitted.idles(&far) } else { 1.0 };
        Self { spread, levels, moves: by(&posterior.mode), off, idles }
    }

    /// What a belief of these standard deviations lacks.
    fn lacks(&self, level: f64, moves: f64) -> Lacks {
        let share = |all: f64, own: f64| if own < all { (1.0 - (own / all).powi(2)).sqrt() } else { 0.0 };
        Lacks { level: share(self.spread[0], level), moves: share(self.spread[1], moves) }
    }

    /// For the log-hazard of all runs of a pair; it leaves the hazard as high as it is on the mean.
    fn level(&self, pair: usize, lacks: Lacks) -> f64 {
        lacks.level * self.levels[pair] - 0.5 * (lacks.level * self.spread[0]).powi(2)
    }

    /// How far what the change does to each run of a pair may be off.
    fn off(&self, pair: usize) -> &[f64] {
        let n = self.moves.len();
        &self.off[pair * n..(pair + 1) * n]
    }
}

/// What one explanation says of the runs.
struct Opinion<'a> {
    member: &'a Member,
    now: Vec<f64>,
    after: Vec<f64>,
    /// What the regression on all factors adds.
    all: Option<(&'a All, Lacks)>,
    /// Whether it is of nothing that is changed.
    is_of_others: bool,
}

impl<'a> Opinion<'a> {
    fn of(mixture: &Mixture, member: &'a Member, runs: &[Vec<Numbers>; 2], all: Option<&'a All>) -> Self {
        let [now, after] = runs.each_ref().map(|runs| mixture.rows(member, runs));
        let moved = difference(&now, &after);
        let spread = |rows: &[f64]| member.posterior.spread(&mean_row(rows, member.posterior.mode.len()));
        let is_of_others = moved.iter().all(|moved| *moved == 0.0);
        let all = all.map(|all| (all, all.lacks(spread(&now), spread(&moved))));
        Self { member, now, after, all, is_of_others }
    }

    /// One pair.
    fn draw(&self, pair: usize, rng: &mut ChaCha8Rng) -> (f64, f64) {
        let posterior = &self.member.posterior;
        let coefficients = posterior.draw(|| normal(rng));
        let idles = self.all.is_none_or(|(all, _)| rng.random::<f64>() < all.idles);
        let level = self.all.map_or(0.0, |(all, lacks)| all.level(pair, lacks));
        let log_hazards = |rows: &[f64]| -> Vec<f64> {
            rows.chunks_exact(posterior.mode.len()).map(|row| dot(row, &coefficients) + level).collect()
        };
        let now = log_hazards(&self.now);
        let mut after = log_hazards(&self.after);
        if let Some((all, lacks)) = self.all {
            for ((after, moves), off) in after.iter_mut().zip(&all.moves).zip(all.off(pair)) {
                *after += match self.is_of_others {
                    true if idles => 0.0,
                    true => moves + off,
                    false => lacks.moves * off,
                };
            }
        }
        let mean = |of: &[f64]| of.iter().map(|at| chance(*at)).sum::<f64>() / count(of.len());
        (mean(&now), mean(&after))
    }
}

fn difference(now: &[f64], after: &[f64]) -> Vec<f64> {
    now.iter().zip(after).map(|(now, after)| after - now).collect()
}

fn normal(rng: &mut ChaCha8Rng) -> f64 {
    StandardNormal.sample(rng)
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
