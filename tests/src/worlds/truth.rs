//! The laws by which tool-runs fail: steps, hinges, saturation, products. None is a hazard whose logarithm is a sum.

use super::exposure::Exposure;

/// A law: which exposure brings failure.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Law {
    /// Minutes above 195 °C in the longest wait: nothing up to 8 min, then soon all that can come.
    HotMinutes,
    /// Warmth of all waits, saturating (Hill, exponent 2).
    SaturatingWarmth,
    /// Temperature times minutes of the worst wait, in proportion up to a ceiling.
    WarmthProduct,
    /// Retraction over 5 mm.
    LongStep,
    /// Retraction from 4.2 mm on, rising to a ceiling at 6.2 mm.
    LongRamp,
    /// Retraction over 5 mm, with each of the first few restarts.
    LongTimesRestarts,
    /// Retraction under 1.2 mm: in proportion to what is lacking.
    ShortHinge,
    /// Retraction under 0.9 mm.
    ShortStep,
    /// Under 1.2 mm, and twice as much with a spool that was not dried.
    ShortTimesWet,
    /// Hours of heat of the liner: nearly nothing, then within a few hours nearly all.
    LinerSteep,
    /// Weighted hours of heat of the liner beyond a limit.
    LinerStep,
    /// Hours of heat beyond a limit, each adding as much.
    LinerHinge,
    /// Nothing brings it.
    Nothing,
    /// PETG.
    Petg,
}

impl Law {
    /// From 0 to 1: how much of what the law can do it does here.
    #[must_use]
    pub fn share(self, seen: &Exposure) -> f64 {
        let retract_mm = seen.settings.retract_mm;
        let lacking = ((1.2 - retract_mm) / 0.8).clamp(0.0, 1.0);
        match self {
            Self::HotMinutes => -(-(seen.hot_min - 8.0).max(0.0) / 2.0).exp_m1(),
            Self::SaturatingWarmth => seen.warmth.powi(2) / (seen.warmth.powi(2) + 16.0),
            Self::WarmthProduct => (seen.worst_warmth / 8.0).min(1.0),
            Self::LongStep => f64::from(retract_mm > 5.0),
            Self::LongRamp => ((retract_mm - 4.2) / 2.0).clamp(0.0, 1.0),
            Self::LongTimesRestarts if retract_mm > 5.0 => 0.4 + 0.6 * (seen.restarts / 4.0).min(1.0),
            Self::LongTimesRestarts | Self::Nothing => 0.0,
            Self::ShortHinge => lacking,
            Self::ShortStep => f64::from(retract_mm < 0.9),
            Self::ShortTimesWet => lacking * if seen.settings.dried { 0.5 } else { 1.0 },
            Self::LinerSteep => -(-(seen.liner_h / 11.0).powi(8)).exp_m1(),
            Self::LinerStep => f64::from(seen.liner_weighted_h > 9.0),
            Self::LinerHinge => ((seen.liner_h - 8.0) / 4.0).clamp(0.0, 1.0),
            Self::Petg => f64::from(seen.is_petg()),
        }
    }
}
