//! Seeded series with a first-order memory. Owns their making; says nothing of what is found in them.

use rand::RngExt;
use rand_chacha::ChaCha8Rng;
use rand_chacha::rand_core::SeedableRng;
use rand_distr::StandardNormal;

/// Deviations with a standard deviation of `spread`, of which `correlation` is left a reading later.
pub(super) struct Noise {
    rng: ChaCha8Rng,
    spread: f64,
    correlation: f64,
    now: f64,
}

impl Noise {
    pub(super) fn new(seed: u64, spread: f64, correlation: f64) -> Self {
        let mut rng = ChaCha8Rng::seed_from_u64(seed);
        let now = spread * rng.sample::<f64, _>(StandardNormal);
        Self { rng, spread, correlation, now }
    }

    pub(super) fn next(&mut self) -> f64 {
        let fresh: f64 = self.rng.sample(StandardNormal);
        let own = (1.0 - self.correlation * self.correlation).sqrt();
        self.now = self.correlation * self.now + self.spread * own * fresh;
        self.now
    }
}
