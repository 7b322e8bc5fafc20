//! The rules that raise alarms: their words, what each is about, and how urgent. Owns the list; when a rule's condition
//! holds is the rule's own file's.

use std::fmt;

/// How soon a person has to act, as alarm practice grades it (IEC 62682; EEMUA 191 wants about 80, 15 and 5 of 100 alarms
/// low, medium and high).
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, PartialOrd, Ord)]
pub enum Priority {
    /// Within the day.
    Low,
    /// Within the hour.
    Medium,
    /// Now.
    High,
}

impl Priority {
    /// Every priority, the least urgent first.
    pub const ALL: [Self; 3] = [Self::Low, Self::Medium, Self::High];

    /// The word that tables, JSON, the configuration and pages use.
    #[must_use]
    pub const fn word(self) -> &'static str {
        match self {
            Self::Low => "low",
            Self::Medium => "medium",
            Self::High => "high",
        }
    }

    /// The priority of that word, or `None`.
    #[must_use]
    pub fn of_word(word: &str) -> Option<Self> {
        Self::ALL.into_iter().find(|priority| priority.word() == word)
    }
}

impl fmt::Display for Priority {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(self.word())
    }
}

/// What a rule's alarms are about.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub enum Concern {
    /// One tool of a printer.
    Tool,
    /// A printer as a whole.
    Printer,
    /// The record, or dwellwatch itself.
    Record,
}

/// Which rule raised an alarm.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, PartialOrd, Ord)]
pub enum Rule {
    /// The waiting melt's dose is worth a note.
    ResidenceNote,
    /// The waiting melt's dose is worth a warning.
    ResidenceWarn,
    /// The waiting melt's dose is over its material's residence limit.
    ResidenceBudget,
    /// The tool has waited over a temperature for longer than allowed.
    IdleHot,
    /// Heaters are on and nothing prints.
    HotNoPrint,
    /// The print is paused with heaters on.
    PausedHot,
    /// The set point is not reached in the time that the heater needs.
    HeatLate,
    /// The set point is not held.
    HeatLost,
    /// The temperature has jumped further than a heater can take it.
    TempJump,
    /// The temperature has been the same to the last digit for too long.
    TempFrozen,
    /// The held temperature creeps away from its set point.
    TempDrift,
    /// The heater's duty is unlike what holds that temperature.
    DutyUnlike,
    /// The hot end is over what its liner stands.
    OverLiner,
    /// As [`Self::HeatLate`], of the bed.
    BedLate,
    /// As [`Self::HeatLost`], of the bed.
    BedLost,
    /// As [`Self::TempJump`], of the bed.
    BedJump,
    /// As [`Self::TempFrozen`], of the bed.
    BedFrozen,
    /// The host has fallen silent while a heater was hot.
    HostSilent,
    /// The host wants a sign-in, or another one: nothing is watched until a person puts that right.
    HostRefuses,
    /// A part is as old as the accepted risk lets it get.
    PartDue,
    /// Nobody has said how prints came out.
    OutcomeMissing,
    /// The disk takes nothing: what is seen is kept in memory alone.
    RecordFull,
    /// The record was found damaged and set aside.
    RecordDamaged,
    /// The disk of the record is nearly full.
    DiskLow,
    /// No backup was taken when one was due.
    BackupFailed,
    /// Somebody tries to act on the dashboard without the right to.
    SignInFailures,
}

impl Rule {
    /// Every rule.
    pub const ALL: [Self; 26] = [
        Self::ResidenceNote,
        Self::ResidenceWarn,
        Self::ResidenceBudget,
        Self::IdleHot,
        Self::HotNoPrint,
        Self::PausedHot,
        Self::HeatLate,
        Self::HeatLost,
        Self::TempJump,
        Self::TempFrozen,
        Self::TempDrift,
        Self::DutyUnlike,
        Self::OverLiner,
        Self::BedLate,
        Self::BedLost,
        Self::BedJump,
        Self::BedFrozen,
        Self::HostSilent,
        Self::HostRefuses,
        Self::PartDue,
        Self::OutcomeMissing,
        Self::RecordFull,
        Self::RecordDamaged,
        Self::DiskLow,
        Self::BackupFailed,
        Self::SignInFailures,
    ];

    /// Those about heaters themselves: whether they do as they are set, and their sensors tell the truth.
    pub const OF_HEATERS: [Self; 10] = [
        Self::HeatLate,
        Self::HeatLost,
        Self::TempJump,
        Self::TempFrozen,
        Self::TempDrift,
        Self::DutyUnlike,
        Self::BedLate,
        Self::BedLost,
        Self::BedJump,
        Self::BedFrozen,
    ];

    /// The word that tables, JSON, the configuration and pages use.
    #[must_use]
    pub const fn word(self) -> &'static str {
        match self {
            Self::ResidenceNote => "residence_note",
            Self::ResidenceWarn => "residence_warn",
            Self::ResidenceBudget => "residence_budget",
            Self::IdleHot => "idle_hot",
            Self::HotNoPrint => "hot_no_print",
            Self::PausedHot => "paused_hot",
            Self::HeatLate => "heat_late",
            Self::HeatLost => "heat_lost",
            Self::TempJump => "temp_jump",
            Self::TempFrozen => "temp_frozen",
            Self::TempDrift => "temp_drift",
            Self::DutyUnlike => "duty_unlike",
            Self::OverLiner => "over_liner",
            Self::BedLate => "bed_late",
            Self::BedLost => "bed_lost",
            Self::BedJump => "bed_jump",
            Self::BedFrozen => "bed_frozen",
            Self::HostSilent => "host_silent",
            Self::HostRefuses => "host_refuses",
            Self::PartDue => "part_due",
            Self::OutcomeMissing => "outcome_missing",
            Self::RecordFull => "record_full",
            Self::RecordDamaged => "record_damaged",
            Self::DiskLow => "disk_low",
            Self::BackupFailed => "backup_failed",
            Self::SignInFailures => "sign_in_failures",
        }
    }

    /// The rule of that word, or `None`.
    #[must_use]
    pub fn of_word(word: &str) -> Option<Self> {
        Self::ALL.into_iter().find(|rule| rule.word() == word)
    }

    /// What its alarms are about.
    #[must_use]
    pub const fn concern(self) -> Concern {
        match self {
            Self::ResidenceNote
            | Self::ResidenceWarn
            | Self::ResidenceBudget
            | Self::IdleHot
            | Self::HeatLate
            | Self::HeatLost
            | Self::TempJump
            | Self::TempFrozen
            | Self::TempDrift
            | Self::DutyUnlike
            | Self::OverLiner
            | Self::PartDue => Concern::Tool,
            Self::HotNoPrint
            | Self::PausedHot
            | Self::BedLate
            | Self::BedLost
            | Self::BedJump
            | Self::BedFrozen
            | Self::HostSilent
            | Self::HostRefuses
            | Self::OutcomeMissing => Concern::Printer,
            Self::RecordFull | Self::RecordDamaged | Self::DiskLow | Self::BackupFailed | Self::SignInFailures => {
                Concern::Record
            }
        }
    }

    /// Whether it waits until its condition has held, and has been away, for a time. A record that lies aside does not come
    /// and go.
    #[must_use]
    pub const fn has_delays(self) -> bool {
        !matches!(self, Self::RecordDamaged)
    }

    /// Whether it can be tuned for what a tool holds: a part's age does not ask.
    #[must_use]
    pub const fn knows_material(self) -> bool {
        matches!(self.concern(), Concern::Tool) && !matches!(self, Self::PartDue)
    }
}
