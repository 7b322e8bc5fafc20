//! How far the host's clock is from ours. Pure: instants in, a difference with its bounds out.

use dwell_analysis::units::Seconds;

/// The host's clock against ours.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Skew {
    /// How far the host's clock is ahead; negative is behind.
    pub ahead: Seconds,
    /// It is true to this, either way.
    pub within: Seconds,
}
