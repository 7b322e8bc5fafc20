//! The failure modes and what the trade expects of each beforehand. Owns the priors; what the record makes of them is
//! the learner's.
//!
//! All of it is common practice without a source, but for the figures that `measure` takes from the physics.

use super::run::Group;

/// A way to fail, as reports name it.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, PartialOrd, Ord)]
pub enum FailureMode {
    /// The nozzle plugged.
    Jam,
    /// Strings between parts of the print.
    Stringing,
    /// The PTFE liner failed.
    Liner,
    /// A blob on the print.
    Blob,
    /// Too little came out.
    UnderExtrusion,
    /// The waiting nozzle touched the print.
    Scrape,
    /// The two materials do not meet where they should.
    Misalignment,
    /// The print came off.
    Adhesion,
    /// Anything else.
    Other,
}

/// Which way a quantity is expected to move a risk.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Expect {
    More,
    Less,
    Either,
}

impl FailureMode {
    /// How likely each group is to be what carries the mode, given that one does. They add up to one.
    pub(super) const fn share(self, group: Group) -> f64 {
        match (self, group) {
            (Self::Jam | Self::UnderExtrusion, Group::IdleHeat) => 0.35,
            (Self::Jam | Self::UnderExtrusion, Group::Retraction) => 0.22,
            (Self::Jam | Self::UnderExtrusion, Group::Wear) => 0.12,
            (Self::Jam | Self::UnderExtrusion, Group::Material) => 0.10,
            (Self::Jam | Self::UnderExtrusion, Group::PrintHeat | Group::Changes) => 0.08,
            (Self::Jam | Self::UnderExtrusion, Group::Drying) => 0.05,
            (Self::Stringing | Self::Blob, Group::IdleHeat) => 0.28,
            (Self::Stringing | Self::Blob, Group::Retraction) => 0.35,
            (Self::Stringing | Self::Blob, Group::PrintHeat) => 0.10,
            (Self::Stringing | Self::Blob, Group::Wear) => 0.05,
            (Self::Stringing | Self::Blob, Group::Changes | Group::Drying) => 0.07,
            (Self::Stringing | Self::Blob, Group::Material) => 0.08,
            (Self::Liner, Group::Wear) => 0.50,
            (Self::Liner, Group::IdleHeat | Group::PrintHeat) => 0.15,
            (Self::Liner, Group::Material) => 0.08,
            (Self::Liner, Group::Changes) => 0.05,
            (Self::Liner, Group::Retraction) => 0.04,
            (Self::Liner, Group::Drying) => 0.03,
            (Self::Scrape | Self::Misalignment | Self::Adhesion | Self::Other, _) => 1.0 / 7.0,
        }
    }

    /// Which way more of a factor is expected to move the risk.
    pub(super) fn expects(self, factor: &str) -> Expect {
        match self {
            Self::Jam | Self::UnderExtrusion => match factor {
                "dose_max" | "dose_sum" | "idle_hot" | "heat_load" | "restart_dose_max" | "restart_dose_sum"
                | "restart_load" | "restart_load_sum" | "wait_over_180" | "wait_over_195" | "wait_over_210"
                | "wait_longest" | "idle_mean" | "idle_max" | "stagnant" | "restart_deficit" | "retract"
                | "retract_departure" | "liner_hours" | "liner_wear" | "liner_cycles" | "nozzle_hours"
                | "tool_changes" | "print_length" => Expect::More,
                "prime" => Expect::Less,
                _ => Expect::Either,
            },
            Self::Stringing | Self::Blob => match factor {
                "dose_max" | "dose_sum" | "idle_hot" | "heat_load" | "restart_dose_max" | "restart_dose_sum"
                | "restart_load" | "restart_load_sum" | "wait_over_180" | "wait_over_195" | "wait_over_210"
                | "wait_longest" | "idle_mean" | "idle_max" | "ooze" | "standby" | "print_temperature"
                | "tool_changes" | "print_length" => Expect::More,
                "retract" | "retract_mm_s" | "ooze_shield" | "dried" => Expect::Less,
                _ => Expect::Either,
            },
            Self::Liner => match factor {
                "dose_max" | "dose_sum" | "idle_hot" | "heat_load" | "restart_dose_max" | "restart_dose_sum"
                | "restart_load" | "restart_load_sum" | "wait_over_180" | "wait_over_195" | "wait_over_210"
                | "idle_mean" | "idle_max" | "print_temperature" | "liner_hours" | "liner_wear" | "liner_cycles" => {
                    Expect::More
                }
                _ => Expect::Either,
            },
            Self::Scrape | Self::Misalignment | Self::Adhesion | Self::Other => Expect::Either,
        }
    }
}
