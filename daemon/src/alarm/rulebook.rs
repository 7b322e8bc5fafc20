//! How each rule is tuned: delays, deadband, bound and priority, by printer and material. Owns the defaults, and which
//! tuning is in force; the configuration says what differs from them.

use super::rule::{Priority, Rule};
use crate::entry::{PrinterName, ToolNumber};
use dwell_analysis::polymer::Materials;
use dwell_analysis::units::{Celsius, CelsiusDelta, Seconds};
use dwell_analysis::wear::LINER_CAUTIOUS;
use std::collections::BTreeMap;

/// What a rule's quantity is held against. The deadband is how far it must be back to count as back.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Bound {
    /// A temperature; `None` is the rule's own: the material's lowest print temperature, the liner's rating.
    Over {
        /// Over which it is too hot.
        at: Option<Celsius>,
        /// The deadband.
        deadband: CelsiusDelta,
    },
    /// So far from what it should be.
    OffBy {
        /// The distance.
        by: CelsiusDelta,
        /// The deadband.
        deadband: CelsiusDelta,
    },
    /// A share of a limit, 1 being the limit itself.
    Share {
        /// The share.
        at: f64,
        /// The deadband, as a share of that share.
        deadband: f64,
    },
    /// There is nothing to set.
    None,
}

impl Bound {
    fn with(self, change: Change) -> Self {
        let (kelvin, celsius) = (CelsiusDelta::new, Celsius::new);
        match self {
            Self::Over { at, deadband } => {
                Self::Over { at: change.bound.map(celsius).or(at), deadband: change.deadband.map_or(deadband, kelvin) }
            }
            Self::OffBy { by, deadband } => {
                Self::OffBy { by: change.bound.map_or(by, kelvin), deadband: change.deadband.map_or(deadband, kelvin) }
            }
            Self::Share { at, deadband } => {
                Self::Share { at: change.bound.unwrap_or(at), deadband: change.deadband.unwrap_or(deadband) }
            }
            Self::None => Self::None,
        }
    }
}

/// How one rule is tuned.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Tuning {
    /// How soon a person has to act.
    pub priority: Priority,
    /// How long the condition must hold, in contact, before the alarm is raised.
    pub on_delay: Seconds,
    /// How long it must be away, in contact, before the alarm returns.
    pub off_delay: Seconds,
    /// What the rule's quantity is held against.
    pub bound: Bound,
}

/// What a person sets of a rule's tuning; what is `None` stays.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Change {
    /// As in [`Tuning`].
    pub priority: Option<Priority>,
    /// As in [`Tuning`].
    pub on_delay: Option<Seconds>,
    /// As in [`Tuning`].
    pub off_delay: Option<Seconds>,
    /// What the rule's quantity is held against, in the unit of the rule's own bound: °C, K, or a share.
    pub bound: Option<f64>,
    /// The deadband, in the unit of the rule's own: K, or a share.
    pub deadband: Option<f64>,
}

/// A change, and for which printer and material; `None` is any. The more specific one wins: printer and material before
/// printer, before material, before neither; of two alike the later one in the configuration.
#[derive(Clone, Debug, PartialEq)]
pub struct Override {
    /// The rule.
    pub rule: Rule,
    /// The printer.
    pub printer: Option<PrinterName>,
    /// The material's name, as the tool's settings have it, in any case.
    pub material: Option<String>,
    /// What differs.
    pub change: Change,
}

/// The rules of every printer.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Rules {
    /// In the order of the configuration.
    pub overrides: Vec<Override>,
    /// Printers that are being set up: their alarms are recorded, and call nobody.
    pub commissioning: Vec<PrinterName>,
    /// What liners stand, where the configuration says so: printer, tool's index, temperature.
    pub liners: Vec<(PrinterName, usize, Celsius)>,
}

impl Rules {
    /// The rules of one printer.
    #[must_use]
    pub fn of(&self, printer: &PrinterName) -> Rulebook {
        self.book(Some(printer))
    }

    /// The rules of a printer of which nothing of its own is said.
    #[must_use]
    pub fn of_any(&self) -> Rulebook {
        self.book(None)
    }

    /// The tuning of a rule about the record, or of a printer as a whole.
    #[must_use]
    pub fn tuning(&self, rule: Rule, printer: Option<&PrinterName>) -> Tuning {
        self.book(printer).tuning(rule, None)
    }

    fn book(&self, printer: Option<&PrinterName>) -> Rulebook {
        let concerns = |other: &Override| other.printer.is_none() || other.printer.as_ref() == printer;
        // Stable: of two that are as specific, the later one in the configuration counts.
        let mut overrides: Vec<Override> = self.overrides.iter().filter(|other| concerns(other)).cloned().collect();
        overrides.sort_by_key(|other| (other.printer.is_some(), other.material.is_some()));
        let liners = self.liners.iter().filter(|(named, ..)| Some(named) == printer);
        Rulebook {
            overrides,
            is_commissioning: printer.is_some_and(|printer| self.commissioning.contains(printer)),
            liners: liners.map(|(_, tool, rating)| (*tool, *rating)).collect(),
        }
    }
}

/// The rules of one printer.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Rulebook {
    overrides: Vec<Override>,
    is_commissioning: bool,
    liners: BTreeMap<usize, Celsius>,
}

impl Rulebook {
    /// The tuning of a rule for what holds that material; `None` is any, or not known.
    #[must_use]
    pub fn tuning(&self, rule: Rule, material: Option<&str>) -> Tuning {
        let concerns = |other: &&Override| {
            let is_held = |named: &str| material.is_some_and(|held| held.trim().eq_ignore_ascii_case(named.trim()));
            other.rule == rule && other.material.as_deref().is_none_or(is_held)
        };
        self.overrides.iter().filter(concerns).fold(Tuning::usual(rule), |tuning, other| tuning.with(other.change))
    }

    /// Over which temperature a tool that holds that material is too hot by a rule; `None` where temperature is not what
    /// the rule is about.
    #[must_use]
    pub fn too_hot_over(
        &self,
        rule: Rule,
        tool: ToolNumber,
        material: Option<&str>,
        materials: &Materials,
    ) -> Option<Celsius> {
        let Bound::Over { at, .. } = self.tuning(rule, material).bound else { return None };
        // No other rule has a temperature for its bound.
        let own = if rule == Rule::OverLiner {
            self.liner_max(tool.idx()).unwrap_or(LINER_CAUTIOUS.value)
        } else {
            materials.of(material).print_low.value
        };
        Some(at.unwrap_or(own))
    }

    /// Whether the printer is being set up.
    #[must_use]
    pub fn is_commissioning(&self) -> bool {
        self.is_commissioning
    }

    /// What a tool's liner stands, where the configuration says so.
    #[must_use]
    pub fn liner_max(&self, tool: usize) -> Option<Celsius> {
        self.liners.get(&tool).copied()
    }
}

/// Usual in alarm practice for temperatures (from memory).
const TEMPERATURE_DELAY: Seconds = Seconds::new(60.0);
/// 1 % of a 250 K range, rounded up.
const DEADBAND: CelsiusDelta = CelsiusDelta::new(3.0);

impl Tuning {
    /// The tuning of a rule that nobody has changed.
    #[must_use]
    pub fn usual(rule: Rule) -> Self {
        let tuning = |priority, on_delay, off_delay, bound| Self { priority, on_delay, off_delay, bound };
        let share = |at| Bound::Share { at, deadband: 0.1 };
        let off_by = |by, deadband| Bound::OffBy { by: CelsiusDelta::new(by), deadband: CelsiusDelta::new(deadband) };
        let over = Bound::Over { at: None, deadband: DEADBAND };
        let (now, minute) = (Seconds::ZERO, TEMPERATURE_DELAY);
        let minutes = Seconds::minutes;
        match rule {
            // Shares of the residence limit: 10, 25 and 60 of PLA's 60 equivalent minutes (proposals, no source).
            // A wait that the tool's own turn ends within that time needs nobody, and a note that a warning follows within
            // it is one call too many: on the rehearsal's eight weeks 167 of both became 38.
            Rule::ResidenceNote => tuning(Priority::Low, minutes(10.0), minute, share(10.0 / 60.0)),
            Rule::ResidenceWarn => tuning(Priority::Medium, minutes(5.0), minute, share(25.0 / 60.0)),
            Rule::ResidenceBudget => tuning(Priority::High, now, minute, share(1.0)),
            // Ten idle minutes are "too long" to those who asked for a time-out (common practice, no source).
            Rule::IdleHot => tuning(Priority::Medium, minutes(10.0), minute, over),
            // A hot end that is switched off is cool in ten minutes, a bed in half an hour (common practice, no source).
            Rule::HotNoPrint => tuning(Priority::Medium, minutes(30.0), minute, Bound::None),
            Rule::PausedHot => tuning(Priority::Medium, minutes(15.0), minute, Bound::None),
            Rule::HeatLate | Rule::BedLate => tuning(Priority::High, now, minute, off_by(5.0, 2.0)),
            Rule::HeatLost | Rule::BedLost => tuning(Priority::High, Seconds::new(30.0), minute, off_by(10.0, 3.0)),
            Rule::TempJump | Rule::BedJump => tuning(Priority::High, now, minute, off_by(15.0, 0.0)),
            Rule::TempFrozen | Rule::BedFrozen => tuning(Priority::High, now, minute, Bound::None),
            Rule::TempDrift | Rule::DutyUnlike => tuning(Priority::Medium, now, minutes(10.0), Bound::None),
            Rule::OverLiner => tuning(Priority::High, Seconds::new(10.0), minute, over),
            Rule::HostSilent | Rule::RecordDamaged => tuning(Priority::High, now, now, Bound::None),
            Rule::HostRefuses | Rule::DiskLow | Rule::BackupFailed | Rule::SignInFailures => {
                tuning(Priority::Medium, now, now, Bound::None)
            }
            Rule::PartDue | Rule::OutcomeMissing => tuning(Priority::Low, now, now, Bound::None),
            // Longer than another process may hold the record (5 s) and be waited for: what does not pass by itself.
            Rule::RecordFull => tuning(Priority::High, Seconds::new(10.0), now, Bound::None),
        }
    }

    fn with(self, change: Change) -> Self {
        Self {
            priority: change.priority.unwrap_or(self.priority),
            on_delay: change.on_delay.unwrap_or(self.on_delay),
            off_delay: change.off_delay.unwrap_or(self.off_delay),
            bound: self.bound.with(change),
        }
    }
}
