//! A tool's restart after waiting: how much too cold its melt is. Owns the two distances; whether they harm is learned.

use super::MaterialFacts;
use crate::units::{Celsius, CelsiusDelta};

/// How a melt stands when its tool goes to work again.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Restart {
    /// How much colder it is than it prints at; none if it is hotter.
    pub deficit: CelsiusDelta,
    /// How far it is over its first flow; negative under it.
    pub over_first_flow: CelsiusDelta,
}

/// A melt at `melt` that is to print at `print`.
#[must_use]
pub fn restart(facts: &MaterialFacts, print: Celsius, melt: Celsius) -> Restart {
    Restart { deficit: print - melt.min(print), over_first_flow: melt - facts.first_flow.value }
}
