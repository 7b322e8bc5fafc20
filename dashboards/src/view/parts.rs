//! What is shown of a part in use.

use dwell_analysis::estimate::Estimate;
use dwell_analysis::time::Timestamp;
use dwell_analysis::units::{Probability, Seconds};

/// A part in use, as the record stands.
#[derive(Clone, Debug)]
pub struct PartView {
    /// The printer's name.
    pub printer: String,
    /// The tool's number, from 0.
    pub tool: usize,
    /// The part's word, such as `liner`.
    pub part: &'static str,
    /// When it was fitted.
    pub fitted: Timestamp,
    /// The printer's newest reading: what is said holds as of then. `None` before the first.
    pub as_of: Option<Timestamp>,
    /// Time that it was hot since.
    pub hot: Seconds,
    /// Hours of wear since (an hour at 220 °C is one), or why that is not known.
    pub wear_h: Result<f64, String>,
    /// How often it was heated from cold since.
    pub heat_cycles: usize,
    /// What is expected of it, or why nothing is.
    pub expected: Result<PartExpected, String>,
}

/// What is expected of a part in use.
#[derive(Clone, Debug)]
pub struct PartExpected {
    /// Hours of wear that it still lasts: median and 90 % interval.
    pub left_h: Estimate,
    /// The same in days at the tool's recent use, or why there are none.
    pub left_days: Result<Estimate, String>,
    /// Hours of wear from new on up to which the chance to fail stays under the accepted one.
    pub limit_h: f64,
    /// The chance that is accepted.
    pub accepted: Probability,
    /// When it reaches that limit.
    pub replace: Replace,
    /// What it rests on: `prior`, `mixed` or `record`.
    pub basis: &'static str,
    /// Lives of such parts on record, those in use among them.
    pub n_lives: usize,
    /// Those that ended in failure.
    pub n_failures: usize,
}

/// When a part is to be replaced.
#[derive(Clone, Debug)]
pub enum Replace {
    /// It is past its limit.
    Due,
    /// Before this day (its beginning in UTC), and what that may as well be at the tool's recent use, 90 times in 100.
    Before {
        /// The day.
        at: Timestamp,
        /// Earliest.
        low: Timestamp,
        /// Latest.
        high: Timestamp,
    },
    /// No day can be said, and why.
    Unknown(String),
}
