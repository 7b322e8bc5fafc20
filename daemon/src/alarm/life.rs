//! The life of an alarm by IEC 62682: its states and what moves it from one to another. Owns the table; stores nothing.

use std::fmt;

/// Where an alarm is in its life.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub enum State {
    /// Nothing is the matter.
    Normal,
    /// Its condition stands, and nobody has looked at it.
    Unacknowledged,
    /// Its condition stands, and somebody has looked at it.
    Acknowledged,
    /// Its condition is gone, and nobody has looked at it.
    ReturnedUnacknowledged,
    /// A person wants to hear nothing of it for a time.
    Shelved,
    /// By design nobody is to hear of it now: its printer is being set up, or the same was said lately.
    SuppressedByDesign,
    /// A person has taken it out of use.
    OutOfService,
}

/// What happens to an alarm.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub enum Event {
    /// Its condition is found to hold.
    Comes,
    /// Its condition is found to be gone.
    Goes,
    /// A graver alarm on the same thing has taken its place.
    Superseded,
    /// A person has seen it.
    Acknowledge,
    /// A person wants to hear nothing of it for a time.
    Shelve,
    /// That time is up, or a person has ended it.
    Unshelve,
    /// A person takes it out of use.
    TakeOutOfService,
    /// A person brings it back into use.
    ReturnToService,
    /// By design nobody is to hear of it from now on.
    Suppress,
    /// It may be heard of again.
    EndSuppression,
}

/// Where an event leads.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Step {
    /// The state from then on; it may be the one of before.
    pub to: State,
    /// Whether those who want to hear of the alarm are told.
    pub tells: bool,
}

/// Why an alarm can't have an event now.
#[derive(Clone, Copy, Debug, PartialEq, Eq, thiserror::Error)]
pub enum NotNow {
    /// It has nothing that a person has yet to see.
    #[error("it is normal, so there is nothing to acknowledge")]
    Normal,
    /// Nobody is to hear of it for a time.
    #[error("it is shelved and calls nobody; `unshelve` would bring it back, to be acknowledged then")]
    Shelved,
    /// A person has taken it out of use.
    #[error("it is out of service and calls nobody; `return-to-service` would be right first")]
    OutOfService,
    /// By design nobody is to hear of it.
    #[error(
        "it is suppressed by design, since its printer is being set up or the same was said lately; it calls nobody, and needs nothing done"
    )]
    Suppressed,
    /// There is no shelving to end.
    #[error("it is {0}, not shelved")]
    NotShelved(State),
    /// It is in use.
    #[error("it is {0}, not out of service")]
    InService(State),
    /// There is no suppression to end.
    #[error("it is {0}, not suppressed by design")]
    NotSuppressed(State),
}

impl State {
    /// Every state.
    pub const ALL: [Self; 7] = [
        Self::Normal,
        Self::Unacknowledged,
        Self::Acknowledged,
        Self::ReturnedUnacknowledged,
        Self::Shelved,
        Self::SuppressedByDesign,
        Self::OutOfService,
    ];

    /// The word that tables, JSON and pages use.
    #[must_use]
    pub const fn word(self) -> &'static str {
        match self {
            Self::Normal => "normal",
            Self::Unacknowledged => "unacknowledged",
            Self::Acknowledged => "acknowledged",
            Self::ReturnedUnacknowledged => "returned unacknowledged",
            Self::Shelved => "shelved",
            Self::SuppressedByDesign => "suppressed by design",
            Self::OutOfService => "out of service",
        }
    }

    /// The state of that word, or `None`.
    #[must_use]
    pub fn of_word(word: &str) -> Option<Self> {
        Self::ALL.into_iter().find(|state| state.word() == word)
    }

    /// Whether nobody is to hear of it, whatever its condition does.
    #[must_use]
    pub const fn is_held(self) -> bool {
        match self {
            Self::Shelved | Self::SuppressedByDesign | Self::OutOfService => true,
            Self::Normal | Self::Unacknowledged | Self::Acknowledged | Self::ReturnedUnacknowledged => false,
        }
    }

    /// Where an event leads from here. `is_standing` is whether the condition holds at that moment: what ends a hold asks
    /// for it, since the alarm then goes to the state that its condition calls for.
    ///
    /// # Errors
    /// [`NotNow`] if an alarm of this state can't have that event.
    pub fn step(self, event: Event, is_standing: bool) -> Result<Step, NotNow> {
        let quietly = |to| Ok(Step { to, tells: false });
        let telling = |to| Ok(Step { to, tells: true });
        let over = || if is_standing { telling(Self::Unacknowledged) } else { quietly(Self::Normal) };
        match (event, self) {
            // What is suppressed by design asks for nobody, and ends with its condition.
            (Event::Goes | Event::Superseded, Self::SuppressedByDesign) => quietly(Self::Normal),
            // What is held is looked at all the same, and what a person holds stays held.
            (Event::Comes | Event::Goes | Event::Superseded, _) if self.is_held() => quietly(self),
            (Event::Comes, Self::Normal | Self::ReturnedUnacknowledged) => telling(Self::Unacknowledged),
            (Event::Goes, Self::Unacknowledged) => telling(Self::ReturnedUnacknowledged),
            (Event::Goes, Self::Acknowledged) => telling(Self::Normal),
            // The same again is nothing new; and what a person said of it goes before what is so by design.
            (Event::Comes | Event::Goes, _) | (Event::Suppress, Self::Shelved | Self::OutOfService) => quietly(self),
            (Event::Superseded, _) | (Event::Acknowledge, Self::ReturnedUnacknowledged) => quietly(Self::Normal),
            (Event::Acknowledge, Self::Unacknowledged | Self::Acknowledged) => quietly(Self::Acknowledged),
            (Event::Acknowledge, Self::Normal) => Err(NotNow::Normal),
            (Event::Acknowledge, Self::Shelved) => Err(NotNow::Shelved),
            (Event::Acknowledge | Event::Shelve, Self::OutOfService) => Err(NotNow::OutOfService),
            (Event::Acknowledge | Event::Shelve | Event::TakeOutOfService, Self::SuppressedByDesign) => {
                Err(NotNow::Suppressed)
            }
            (Event::Shelve, _) => quietly(Self::Shelved),
            (Event::TakeOutOfService, _) => quietly(Self::OutOfService),
            (Event::Suppress, _) => quietly(Self::SuppressedByDesign),
            (Event::Unshelve, Self::Shelved)
            | (Event::ReturnToService, Self::OutOfService)
            | (Event::EndSuppression, Self::SuppressedByDesign) => over(),
            (Event::Unshelve, _) => Err(NotNow::NotShelved(self)),
            (Event::ReturnToService, _) => Err(NotNow::InService(self)),
            (Event::EndSuppression, _) => Err(NotNow::NotSuppressed(self)),
        }
    }
}

impl fmt::Display for State {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(self.word())
    }
}
