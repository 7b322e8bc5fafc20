//! What a person decides about learning. Owns the settings' defaults.

/// Settings of `[learning]`.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Learning {
    /// Whether a print that nobody said a word of counts as clean, a day after it ended; else nothing is known of it.
    pub silence_means_clean: bool,
    /// Chance that a part fails before it is replaced, 0 to 1.
    pub accepted_risk: f64,
}

impl Default for Learning {
    fn default() -> Self {
        // One part in ten: a proposal, no source.
        Self { silence_means_clean: false, accepted_risk: 0.1 }
    }
}
