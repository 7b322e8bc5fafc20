//! Counts attempts to act on the dashboard without the right to. Owns when they are many; whoever turns one away notes it
//! here, and whoever raises alarms asks.

use dwell_analysis::time::Timestamp;
use dwell_analysis::units::Seconds;
use std::collections::VecDeque;
use std::sync::{Mutex, PoisonError};
use tokio::sync::Notify;

/// So many within [`WITHIN`] are more than a page that was left open over a restart brings about (common practice for
/// sign-ins, no source).
pub const MANY: usize = 10;
/// As told at [`MANY`].
pub const WITHIN: Seconds = Seconds::minutes(10.0);
/// The log tells of them no more often than this: whoever makes them could else fill it.
const LOG_EVERY: Seconds = Seconds::minutes(1.0);
/// After so long without one they are over.
const QUIET: Seconds = Seconds::minutes(60.0);

/// What was turned away.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Attempt {
    /// A form that another site's page sent.
    ForeignForm,
    /// A form without the token that our own pages show.
    WrongToken,
    /// A link whose signature is not ours.
    ForgedLink,
    /// A sign-in with a wrong password, or a request with a wrong token.
    SignIn,
}

impl Attempt {
    /// In words, as the end of a sentence.
    #[must_use]
    pub const fn words(self) -> &'static str {
        match self {
            Self::ForeignForm => "a form that another site's page sent",
            Self::WrongToken => "a form that did not come from one of its own pages",
            Self::ForgedLink => "a link whose signature is not its own",
            Self::SignIn => "a sign-in with a wrong password or token",
        }
    }
}

/// The attempts of late. Pure: the present comes in.
#[derive(Clone, Debug, Default)]
struct Recent {
    /// The newest [`MANY`], in order of time.
    newest: VecDeque<(Timestamp, Attempt)>,
    /// They were many, and have not been over since; the newest attempt that is known of then.
    many_until: Option<Timestamp>,
    /// When the log told of any, and how many came since.
    logged: Option<Timestamp>,
    n_unlogged: u64,
}

impl Recent {
    /// How many the log is to tell of with this one; `None` while it told of others just now.
    fn take_count(&mut self, at: Timestamp) -> Option<u64> {
        self.n_unlogged += 1;
        // A clock that was set back holds nothing up.
        let just_now = |last: Timestamp| (0.0..LOG_EVERY.get()).contains(&(at - last).get());
        if self.logged.is_some_and(just_now) {
            return None;
        }
        self.logged = Some(at);
        Some(std::mem::take(&mut self.n_unlogged))
    }

    /// Says whether they have become many with this one.
    fn note(&mut self, attempt: Attempt, at: Timestamp) -> bool {
        let was_many = self.are_many(at);
        self.newest.push_back((at, attempt));
        if self.newest.len() > MANY {
            self.newest.pop_front();
        }
        let is_crowd = self.newest.len() == MANY && self.newest.front().is_some_and(|(first, _)| at - *first <= WITHIN);
        if was_many || is_crowd {
            self.many_until = Some(at);
        }
        is_crowd && !was_many
    }

    fn are_many(&self, now: Timestamp) -> bool {
        self.many_until.is_some_and(|newest| now - newest < QUIET)
    }
}

/// The attempts of late, for whoever turns them away and whoever raises alarms.
#[derive(Debug, Default)]
pub struct Attempts {
    recent: Mutex<Recent>,
    many: Notify,
}

impl Attempts {
    /// One was turned away.
    pub fn note(&self, attempt: Attempt, at: Timestamp) {
        let (told, are_many) = {
            let mut recent = self.recent.lock().unwrap_or_else(PoisonError::into_inner);
            (recent.take_count(at), recent.note(attempt, at))
        };
        if let Some(n) = told {
            tracing::warn!(newest = attempt.words(), n, "turned away since this was last told");
        }
        if are_many {
            self.many.notify_one();
        }
    }

    /// They were many at that time, before a restart: of what came since nothing is known.
    pub fn were_many(&self, at: Timestamp) {
        let mut recent = self.recent.lock().unwrap_or_else(PoisonError::into_inner);
        recent.many_until = recent.many_until.max(Some(at));
    }

    /// Whether they are many, and the newest one, if it is known.
    #[must_use]
    pub fn are_many(&self, now: Timestamp) -> Option<Option<Attempt>> {
        let recent = self.recent.lock().unwrap_or_else(PoisonError::into_inner);
        recent.are_many(now).then(|| recent.newest.back().map(|(_, attempt)| *attempt))
    }

    /// Waits until they become many.
    pub async fn become_many(&self) {
        self.many.notified().await;
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn at(minutes: f64) -> Timestamp {
        Timestamp::from_ms(1_772_438_400_000) + Seconds::minutes(minutes)
    }

    fn noted(minutes: impl IntoIterator<Item = f64>) -> (Recent, usize) {
        let mut recent = Recent::default();
        let told = minutes.into_iter().filter(|minute| recent.note(Attempt::WrongToken, at(*minute))).count();
        (recent, told)
    }

    #[test]
    fn ten_within_ten_minutes_are_many_and_nine_or_slower_ones_are_not() {
        let minutes = |n: u32, apart: f64| (0..n).map(move |nth| f64::from(nth) * apart);
        let (recent, told) = noted(minutes(10, 10.0 / 9.0));
        assert!(recent.are_many(at(10.0)) && told == 1);
        assert!(!noted(minutes(9, 0.1)).0.are_many(at(1.0)));
        assert!(!noted(minutes(40, 1.2)).0.are_many(at(47.0)));
        // However many there are, it is told once.
        assert_eq!(noted(minutes(500, 0.1)).1, 1);
    }

    #[test]
    fn the_log_tells_of_a_thousand_in_a_minute_twice_and_leaves_none_out() {
        let mut recent = Recent::default();
        let told: Vec<u64> = (0..=1000).filter_map(|nth| recent.take_count(at(f64::from(nth) / 1000.0))).collect();
        assert_eq!(told, [1, 1000]);
        // A clock that was set back by an hour holds nothing up.
        assert_eq!((recent.take_count(at(-59.0)), recent.take_count(at(-58.5))), (Some(1), None));
    }

    #[test]
    fn they_are_over_after_an_hour_without_one() {
        let (mut recent, _) = noted((0..10).map(f64::from));
        assert!(recent.are_many(at(68.9)) && !recent.are_many(at(69.1)));
        // A single one in that hour puts the end off.
        assert!(!recent.note(Attempt::ForeignForm, at(60.0)));
        assert!(recent.are_many(at(119.0)) && !recent.are_many(at(120.5)));
        // And one after it is one of few again.
        assert!(!recent.note(Attempt::ForeignForm, at(121.0)) && !recent.are_many(at(121.0)));
    }

    #[test]
    fn what_stood_before_a_restart_is_over_an_hour_after_it_was_raised() {
        let attempts = Attempts::default();
        assert_eq!(attempts.are_many(at(1.0)), None);
        attempts.were_many(at(0.0));
        assert_eq!((attempts.are_many(at(59.0)), attempts.are_many(at(61.0))), (Some(None), None));
    }
}
