//! The exponentially weighted moving average of a series and its control limits (NIST/SEMATECH e-Handbook, 6.3.2.4). Owns
//! the sum; what is normal is told to it. The sums that find shifts (`cusum`) are held against it in the tests, and nothing
//! else needs it.

/// An average in which the newest value has the weight `lambda`, the one before it `lambda (1 - lambda)`, and so on.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct Ewma {
    weight: f64,
    value: f64,
    /// What is left of the start's weight, squared: `(1 - lambda)^(2 i)`.
    fading: f64,
}

impl Ewma {
    /// An average that begins at `start`, the series' normal value, and gives the newest value the weight `weight`, above
    /// 0 and at most 1.
    #[must_use]
    pub(super) const fn new(weight: f64, start: f64) -> Self {
        Self { weight, value: start, fading: 1.0 }
    }

    /// Takes in a value; the average with it.
    pub(super) fn push(&mut self, value: f64) -> f64 {
        self.value += self.weight * (value - self.value);
        self.fading *= (1.0 - self.weight) * (1.0 - self.weight);
        self.value
    }

    /// The average, in the series' unit.
    #[must_use]
    pub(super) const fn value(&self) -> f64 {
        self.value
    }

    /// How far the average may lie from the start after as many values as there were: `widths` of its own standard
    /// deviations, of independent values whose standard deviation is `spread`.
    #[must_use]
    pub(super) fn limit(&self, spread: f64, widths: f64) -> f64 {
        self.limit_at_length(spread, widths) * (1.0 - self.fading).sqrt()
    }

    /// The same after very many values: `L s sqrt(lambda / (2 - lambda))`.
    #[must_use]
    pub(super) fn limit_at_length(&self, spread: f64, widths: f64) -> f64 {
        widths * spread * (self.weight / (2.0 - self.weight)).sqrt()
    }
}
