//! The worlds: which law, which person, which way of telling. Owns their numbers.

use super::person::{Habits, Pace, Tie, Tube};
use super::truth::Law;
use super::words::Telling;

/// What is at work in a world.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Family {
    /// Hot waiting brings jams.
    IdleHeat,
    /// Over-long retraction brings jams.
    LongRetraction,
    /// Too short retraction brings strings.
    ShortRetraction,
    /// A worn liner fails.
    Liner,
    /// Nothing: constant rates.
    Nothing,
    /// Retraction or material: from the record nobody can tell.
    Collinear,
}

impl Family {
    /// Every family.
    pub const ALL: [Self; 6] =
        [Self::IdleHeat, Self::LongRetraction, Self::ShortRetraction, Self::Liner, Self::Nothing, Self::Collinear];

    /// The failure mode that its law brings.
    #[must_use]
    pub fn mode(self) -> &'static str {
        match self {
            Self::IdleHeat | Self::LongRetraction | Self::Nothing | Self::Collinear => "jam",
            Self::ShortRetraction => "stringing",
            Self::Liner => "liner",
        }
    }

    /// The groups of factors that an honest judgement ranks first: one, or those that can't be told apart.
    #[must_use]
    pub fn groups(self) -> &'static [&'static str] {
        match self {
            Self::IdleHeat => &["idle_heat"],
            Self::LongRetraction | Self::ShortRetraction => &["retraction"],
            Self::Liner => &["wear"],
            Self::Nothing => &[],
            Self::Collinear => &["material", "retraction"],
        }
    }
}

/// A world with a law of its own.
#[derive(Clone, Copy, Debug)]
pub struct World {
    /// What tables call it.
    pub name: &'static str,
    /// What is at work.
    pub family: Family,
    /// How.
    pub law: Law,
    /// What the law can add to a tool-run's probability at most: drawn between these, a history.
    pub strength: (f64, f64),
    /// Who prints.
    pub habits: Habits,
    /// How outcomes are told.
    pub telling: Telling,
    /// Between polls, s.
    pub poll_s: f64,
    /// Of a print's length, minutes.
    pub median_min: f64,
}

/// Polled every 5 s.
const SLOW: (f64, f64) = (5.0, 20.0);
/// The same with prints long enough for waits of many minutes.
const SLOW_AND_LONG: (f64, f64) = (5.0, 28.0);
/// Polled every second, with short prints.
const FAST: (f64, f64) = (1.0, 7.0);

impl World {
    /// Every world.
    #[must_use]
    pub fn all() -> Vec<Self> {
        use Law::{
            HotMinutes, LinerHinge, LinerSteep, LinerStep, LongRamp, LongStep, LongTimesRestarts, Nothing, Petg,
            SaturatingWarmth, ShortHinge, ShortStep, ShortTimesWet, WarmthProduct,
        };
        use Pace::{Often, Regimes};
        use Telling::{Fading, FailuresFirst, Plain};
        use Tie::{Free, HotWithPetg, LongWithPetg, SameDay};
        use Tube::{Long, Short};
        let one = |name, family, law, strength, (pace, tie, tube), telling, (poll_s, median_min)| {
            let habits = Habits { pace, tie, tube };
            Self { name, family, law, strength, habits, telling, poll_s, median_min }
        };
        let idle = |name, law, strength, habits, telling| {
            one(name, Family::IdleHeat, law, strength, habits, telling, SLOW_AND_LONG)
        };
        let long = |name, law, habits, telling, polls| {
            one(name, Family::LongRetraction, law, (0.08, 0.4), habits, telling, polls)
        };
        let short = |name, law, strength, habits, telling, polls| {
            one(name, Family::ShortRetraction, law, strength, habits, telling, polls)
        };
        let liner = |name, law, habits, telling| one(name, Family::Liner, law, (0.3, 0.6), habits, telling, SLOW);
        let none =
            |name, habits, telling, polls| one(name, Family::Nothing, Nothing, (0.0, 0.0), habits, telling, polls);
        let twins = |name, law, pace, telling| {
            one(name, Family::Collinear, law, (0.15, 0.35), (pace, LongWithPetg, Long), telling, SLOW)
        };
        vec![
            idle("idle: minutes over 195 C beyond 8", HotMinutes, (0.4, 0.8), (Often, Free, Long), Plain),
            idle("idle: saturating; PETG waits hot", SaturatingWarmth, (0.12, 0.5), (Often, HotWithPetg, Long), Fading),
            idle(
                "idle: heat x time; changed same day",
                WarmthProduct,
                (0.25, 0.7),
                (Regimes, SameDay, Long),
                FailuresFirst,
            ),
            long("long: step at 5 mm", LongStep, (Often, Free, Long), Plain, SLOW),
            long("long: ramp; changed same day", LongRamp, (Regimes, SameDay, Long), Fading, SLOW),
            long(
                "long: x restarts; PETG waits hot",
                LongTimesRestarts,
                (Often, HotWithPetg, Long),
                FailuresFirst,
                FAST,
            ),
            short("short: hinge at 1.2 mm", ShortHinge, (0.12, 0.5), (Often, Free, Short), Plain, SLOW),
            short("short: step; changed same day", ShortStep, (0.08, 0.3), (Regimes, SameDay, Short), Fading, SLOW),
            short(
                "short: x wet; PETG waits hot",
                ShortTimesWet,
                (0.15, 0.6),
                (Often, HotWithPetg, Short),
                FailuresFirst,
                FAST,
            ),
            liner("liner: steep in hours", LinerSteep, (Often, Free, Long), Plain),
            liner("liner: step in weighted hours", LinerStep, (Regimes, HotWithPetg, Long), Fading),
            liner("liner: hinge in hours", LinerHinge, (Often, SameDay, Short), FailuresFirst),
            none("nothing", (Often, Free, Long), Plain, SLOW),
            none("nothing; regimes, telling fades", (Regimes, HotWithPetg, Short), Fading, SLOW),
            none("nothing; same day, failures told", (Regimes, SameDay, Long), FailuresFirst, FAST),
            twins("twins: retraction does it", LongStep, Often, Plain),
            twins("twins: material does it", Petg, Regimes, Fading),
            twins("twins: retraction, failures told", LongStep, Regimes, FailuresFirst),
        ]
    }

    /// Whether what a print goes through has nothing to do with what those some prints away went through, so that
    /// outcomes shifted by some prints say nothing.
    #[must_use]
    pub fn is_memoryless(&self) -> bool {
        match self.family {
            Family::IdleHeat | Family::LongRetraction | Family::ShortRetraction => self.habits.pace == Pace::Often,
            Family::Nothing => true,
            Family::Liner | Family::Collinear => false,
        }
    }

    /// Failure modes that come at constant rates, a tool-run.
    #[must_use]
    pub fn background(&self) -> &'static [(&'static str, f64)] {
        match self.family {
            Family::Nothing => &[
                ("stringing", 0.08),
                ("liner", 0.03),
                ("blob", 0.05),
                ("under_extrusion", 0.03),
                ("adhesion", 0.04),
                ("misalignment", 0.02),
            ],
            Family::IdleHeat | Family::LongRetraction | Family::Liner | Family::Collinear | Family::ShortRetraction => {
                &[("blob", 0.012), ("under_extrusion", 0.01), ("adhesion", 0.012), ("scrape", 0.006)]
            }
        }
    }
}
