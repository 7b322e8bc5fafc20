//! The Weibull law of lives: `S(t) = exp(-(t/scale)^shape)`; Weibull, J. Appl. Mech. 18 (1951) 293. Owns the law alone,
//! not how its parameters are found.

use statrs::function::gamma::ln_gamma;

/// A law of lives.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Weibull {
    shape: f64,
    scale: f64,
}

impl Weibull {
    /// A law; `None` unless both are finite and above nought. `scale` is in the unit of lives: 63 % fail by it. With a
    /// `shape` above one, parts wear out; at one they fail by chance, whatever their age.
    #[must_use]
    pub fn new(shape: f64, scale: f64) -> Option<Self> {
        let sound = |value: f64| value.is_finite() && value > 0.0;
        (sound(shape) && sound(scale)).then_some(Self { shape, scale })
    }

    /// How sharply parts fail around one age.
    #[must_use]
    pub const fn shape(&self) -> f64 {
        self.shape
    }

    /// The age by which 63 % have failed.
    #[must_use]
    pub const fn scale(&self) -> f64 {
        self.scale
    }

    /// Cumulative hazard up to an age.
    #[must_use]
    pub fn hazard(&self, age: f64) -> f64 {
        (age / self.scale).powf(self.shape)
    }

    /// Share that lasts longer than an age.
    #[must_use]
    pub fn survival(&self, age: f64) -> f64 {
        (-self.hazard(age)).exp()
    }

    /// Share of those that have lasted to `age` that lasts `more` beyond it.
    #[must_use]
    pub fn survival_beyond(&self, age: f64, more: f64) -> f64 {
        (self.hazard(age) - self.hazard(age + more)).exp()
    }

    /// The age by which this share has failed.
    #[must_use]
    pub fn age_at(&self, failed: f64) -> f64 {
        self.scale * (-(-failed).ln_1p()).powf(1.0 / self.shape)
    }

    /// The mean life, `scale Gamma(1 + 1/shape)`.
    #[must_use]
    pub fn mean(&self) -> f64 {
        self.scale * ln_gamma(1.0 + 1.0 / self.shape).exp()
    }
}
