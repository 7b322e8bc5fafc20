//! Statistical process control: whether readings that should stay as they are still do.
//!
//! Owns: a chart of known limits (`cusum`; `ewma` for the tests alone), how long it runs until it signals (`run_length`), and detectors that
//! learn what is normal reading by reading: a shift of the level (`baseline`, `drift`), a value that no longer flickers
//! (`frozen`), a change that no heater can make (`jump`). Each tells what it can't see. Must not: read a clock, or know
//! which alarm comes of a signal.

mod baseline;
mod blocks;
mod cusum;
mod drift;
#[cfg(test)]
mod ewma;
mod frozen;
mod gathered;
mod jump;
mod run_length;
mod watch;

pub use baseline::{Baseline, Reading};
pub use cusum::{Cusum, Side, Sum};
pub use drift::{Drift, DriftPlan, Signal};
pub use frozen::{Expected, Freeze, Frozen, FrozenPlan};
pub use jump::{Jump, JumpKind, JumpLimits, JumpSeen};
pub use run_length::{cusum_limit, cusum_run};

#[cfg(test)]
#[expect(clippy::unwrap_used, clippy::print_stdout, reason = "a test may stop, and prints what it measured")]
mod tests;
