//! The failure modes and what the trade expects of each beforehand. Owns the priors; what the record makes of them is
//! the learner's.
//!
//! All of it is common practice without a source, but for the figures that `measure` takes from the physics.

use super::posterior::Prior;
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
    /// The word for it.
    #[must_use]
    pub const fn name(self) -> &'static str {
        match self {
            Self::Jam => "jam",
            Self::Stringing => "stringing",
            Self::Liner => "liner",
            Self::Blob => "blob",
            Self::UnderExtrusion => "under_extrusion",
            Self::Scrape => "scrape",
            Self::Misalignment => "misalignment",
            Self::Adhesion => "adhesion",
            Self::Other => "other",
        }
    }

    /// What is believed of a run's log-hazard where nothing matters: 12 % of runs on the mean fail in a mode that
    /// occurs, 6 % by their liner, give or take a factor of 3. 26 % of the prints of an open studio failed by people and 15 % by
    /// machines (Procedia CIRP, causes of desktop FDM failures in an open studio); a tuned machine fails less.
    pub(super) const fn usual(self) -> Prior {
        let mean = match self {
            Self::Liner => -3.6,
            _ => -2.8,
        };
        Prior::Normal { mean, deviation: 1.2 }
    }

    /// How likely each group is to be what carries the mode, given that one does. They add up to one.
    pub(super) const fn share(self, group: Group) -> f64 {
        // In the order of `Group::ALL`: idle heat, retraction, print heat, wear, changes, material, drying.
        let [idle, retraction, print, wear, changes, material, drying] = match self {
            Self::Jam | Self::UnderExtrusion => [0.35, 0.22, 0.08, 0.12, 0.08, 0.10, 0.05],
            Self::Stringing | Self::Blob => [0.28, 0.35, 0.10, 0.05, 0.07, 0.08, 0.07],
            Self::Liner => [0.15, 0.04, 0.15, 0.50, 0.05, 0.08, 0.03],
            Self::Scrape | Self::Misalignment | Self::Adhesion | Self::Other => [1.0 / 7.0; 7],
        };
        match group {
            Group::IdleHeat => idle,
            Group::Retraction => retraction,
            Group::PrintHeat => print,
            Group::Wear => wear,
            Group::Changes => changes,
            Group::Material => material,
            Group::Drying => drying,
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
