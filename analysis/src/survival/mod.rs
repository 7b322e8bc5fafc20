//! How long parts last: what their lives so far say of the next one. Owns life curves, the Weibull law of lives and
//! its prior, and what they say of a part in use; which parts there were, and in what unit a life is counted, is the
//! caller's.

mod compare;
mod curve;
mod due;
mod grid;
mod lasting;
mod life;
mod maximum;
mod outlook;
mod posterior;
mod prior;
#[cfg(test)]
#[expect(clippy::unwrap_used, reason = "a test may stop")]
mod tests;
mod weibull;

pub use compare::{LogRank, log_rank};
pub use curve::{Curve, Median, Step};
pub use due::{days_left, wear_a_day};
pub use lasting::Lasting;
pub use life::{End, Life};
pub use maximum::{Fit, fit};
pub use outlook::Outlook;
pub use posterior::{Basis, Posterior};
pub use prior::Prior;
pub use weibull::Weibull;
