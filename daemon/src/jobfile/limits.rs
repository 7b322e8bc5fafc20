//! What a machine's motion can do, as far as it decides how long a move takes.

/// Limits of a printer's motion.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct MotionLimits {
    /// Acceleration along the path and of the filament alone, mm/s2.
    pub acceleration: f64,
    /// The largest sudden change of velocity at a corner, mm/s.
    pub corner: f64,
    /// The highest speed along the path, mm/s; `None` is as fast as the file asks.
    pub speed_max: Option<f64>,
}

impl Default for MotionLimits {
    /// A small desktop printer (common practice, no source).
    fn default() -> Self {
        Self { acceleration: 1500.0, corner: 8.0, speed_max: None }
    }
}
