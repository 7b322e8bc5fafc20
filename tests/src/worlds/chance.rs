//! Chance: seeded streams of random numbers, one a purpose, so that one more draw here moves nothing there.

use rand::{RngExt, SeedableRng};
use rand_chacha::ChaCha8Rng;

/// A stream of random numbers.
#[derive(Clone)]
pub(super) struct Chance(ChaCha8Rng);

impl Chance {
    /// The stream of a history for one purpose.
    pub(super) fn new(seed: u64, purpose: u64) -> Self {
        let mut stream = ChaCha8Rng::seed_from_u64(seed);
        stream.set_stream(purpose);
        Self(stream)
    }

    /// From 0 to 1.
    pub(super) fn unit(&mut self) -> f64 {
        self.0.random_range(0.0..1.0)
    }

    /// Whether what has this probability happens.
    pub(super) fn happens(&mut self, probability: f64) -> bool {
        self.unit() < probability
    }

    /// Evenly between two numbers.
    pub(super) fn between(&mut self, low: f64, high: f64) -> f64 {
        low + (high - low) * self.unit()
    }

    /// A whole number between two, both possible.
    pub(super) fn whole(&mut self, low: usize, high: usize) -> usize {
        self.0.random_range(low..=high)
    }

    /// Of mean 0 and deviation 1 (Box and Muller 1958).
    pub(super) fn normal(&mut self) -> f64 {
        let radius = (-2.0 * (1.0 - self.unit()).ln()).sqrt();
        radius * (std::f64::consts::TAU * self.unit()).cos()
    }

    /// Around a median, by factors of which the logarithm has this deviation.
    pub(super) fn around(&mut self, median: f64, deviation: f64) -> f64 {
        median * (deviation * self.normal()).exp()
    }

    /// One of these.
    pub(super) fn one_of<T: Copy>(&mut self, choices: &[T]) -> T {
        choices[self.whole(0, choices.len() - 1)]
    }

    /// Mixed in place, every order as likely (Fisher and Yates).
    pub(super) fn shuffle<T>(&mut self, items: &mut [T]) {
        for last in (1..items.len()).rev() {
            let other = self.whole(0, last);
            items.swap(last, other);
        }
    }
}
