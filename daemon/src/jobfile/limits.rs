//! How fast the machine that runs a job file can move. Owns these limits and what is taken where none is told.

/// A machine's limits of motion.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct MotionLimits {
    /// Acceleration, mm/s2.
    pub acceleration: f64,
    /// The largest sudden change of velocity, as at a corner, mm/s.
    pub corner: f64,
    /// The highest speed, mm/s; `None` is whatever the file asks for.
    pub speed_max: Option<f64>,
}

impl Default for MotionLimits {
    /// What desktop printers are mostly set to: common practice, no source.
    fn default() -> Self {
        Self { acceleration: 1500.0, corner: 8.0, speed_max: None }
    }
}
