//! What is taken of a part's life before any failed. Owns the figures and where each is from: of liners the interval at
//! which people inspect, of all others common practice without a source. All are wide, and lives soon outweigh them.
//!
//! Unit: hours of wear (`wear::wear_hours`, an hour at 220 °C is one).

use super::weibull::Weibull;

/// What is taken of shape and scale, each log-normal and apart from the other.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Prior {
    /// The middle law.
    pub middle: Weibull,
    /// Standard deviation of ln shape.
    pub shape_spread: f64,
    /// Standard deviation of ln scale.
    pub scale_spread: f64,
}

/// `ln` of the factor between the middle and either end of a 90 % interval, in standard deviations.
const NINETY: f64 = 1.644_853_626_951_472_7;

impl Prior {
    /// A prior around a law, with the factors between which and the middle shape and scale lie 90 times in 100.
    /// `None` unless both factors are above one.
    #[must_use]
    pub fn around(middle: Weibull, shape_factor: f64, scale_factor: f64) -> Option<Self> {
        let spread = |factor: f64| (factor > 1.0 && factor.is_finite()).then(|| factor.ln() / NINETY);
        Some(Self { middle, shape_spread: spread(shape_factor)?, scale_spread: spread(scale_factor)? })
    }

    /// A PTFE liner. Its life law was found nowhere; people inspect it every 500 to 1,000 print hours, taken here for
    /// hours at 210 °C: 707 h in the geometric mean, 429 hours of wear, within a factor of 4 (108 to 1,700). It
    /// creeps, so it wears out: shape 2, within a factor of 2.
    #[must_use]
    pub fn liner() -> Self {
        Self::literal(2.0, 429.0, 2.0, 4.0)
    }

    /// A nozzle: common practice, no source. Some months of use, 600 hours of wear within a factor of 5, since
    /// filled filament wears it in a tenth of the time that plain filament takes; shape 1.5, within a factor of 2.
    #[must_use]
    pub fn nozzle() -> Self {
        Self::literal(1.5, 600.0, 2.0, 5.0)
    }

    /// A heat break or a heater: common practice, no source. Some years of use, 2,000 hours of wear within a
    /// factor of 5; it fails by handling as well as by age: shape 1.3, within a factor of 2.
    #[must_use]
    pub fn lasting() -> Self {
        Self::literal(1.3, 2000.0, 2.0, 5.0)
    }

    #[expect(clippy::expect_used, reason = "the callers' figures are above zero and their factors above one")]
    fn literal(shape: f64, scale: f64, shape_factor: f64, scale_factor: f64) -> Self {
        let middle = Weibull::new(shape, scale).expect("figures above zero");
        Self::around(middle, shape_factor, scale_factor).expect("factors above one")
    }

    /// ln of its density at ln shape and ln scale, but for a constant.
    pub(super) fn ln_density(&self, ln_shape: f64, ln_scale: f64) -> f64 {
        let off_shape = (ln_shape - self.middle.shape().ln()) / self.shape_spread;
        let off_scale = (ln_scale - self.middle.scale().ln()) / self.scale_spread;
        -0.5 * (off_shape * off_shape + off_scale * off_scale)
    }
}
