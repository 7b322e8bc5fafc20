//! What is remembered of one document from poll to poll. Pure; owns when it may be asked for again.

use super::address::Document;
use super::backoff::DELAY_MAX;
use super::client::FetchError;
use dwell_analysis::time::Timestamp;
use dwell_analysis::units::Seconds;
use std::fmt::Write as _;
use std::time::Duration;

/// After a refused sign-in: one that fails again and again locks accounts. Common practice is a lock after 3 to 10
/// in a few minutes, no source.
const REFUSED_HOLD: Duration = Duration::from_mins(1);

/// Half of the shortest interval between polls: a poll that comes this much early is the one that was meant.
const EARLY: Duration = Duration::from_millis(100);

/// Keys named in one line; the rest is only said to be.
const NAMED_MAX: usize = 3;

/// One document's memory, but for its value.
#[derive(Clone, Debug, Default)]
pub(super) struct Memory {
    /// Goes with the value that is here.
    pub(super) tag: Option<String>,
    doubled: Vec<String>,
    fault: Option<FetchError>,
    due: Option<Timestamp>,
}

impl Memory {
    /// Whether it is to be asked for.
    pub(super) fn is_due(&self, now: Timestamp) -> bool {
        self.due.is_none_or(|due| now >= due)
    }

    /// It came, or was said to be unchanged.
    pub(super) fn came(&mut self, document: &Document, sent: Timestamp) {
        self.fault = None;
        self.due = document.every.map(|every| sent + seconds(every.saturating_sub(EARLY)));
    }

    /// A new body came.
    pub(super) fn changed(&mut self, tag: Option<String>, doubled: Vec<String>) {
        (self.tag, self.doubled) = (tag, doubled);
    }

    /// It did not come. A document that is asked for seldom is tried again soon: until then its fields are missing.
    pub(super) fn failed(&mut self, document: &Document, received: Timestamp, fault: FetchError) {
        let hold = hold(&fault).or_else(|| document.every.map(|every| every.min(DELAY_MAX)));
        let due = hold.map(|hold| received + seconds(hold));
        *self = Self { fault: Some(fault), due, ..Self::default() };
    }

    /// Why its value is not here.
    pub(super) fn fault(&self) -> Option<&FetchError> {
        self.fault.as_ref()
    }

    /// How long the host, or good manners, still want it left alone.
    pub(super) fn hold(&self, now: Timestamp) -> Option<Duration> {
        self.fault.as_ref().and_then(hold)?;
        let left = Duration::try_from_secs_f64((self.due? - now).get()).ok()?;
        (!left.is_zero()).then_some(left)
    }

    /// Keys that stand twice in the value, as a line.
    pub(super) fn doubled(&self) -> Option<String> {
        let (first, rest) = self.doubled.split_first()?;
        if rest.is_empty() {
            return Some(format!("key {} stands twice and is left out", first.escape_debug()));
        }
        let mut line = format!("keys {}", first.escape_debug());
        for key in rest.iter().take(NAMED_MAX - 1) {
            // Writing to a text can't fail.
            write!(line, ", {}", key.escape_debug()).ok();
        }
        let more = if self.doubled.len() > NAMED_MAX { " and more" } else { "" };
        Some(format!("{line}{more} stand twice and are left out"))
    }
}

/// How long such a fault wants the document left alone.
fn hold(fault: &FetchError) -> Option<Duration> {
    match fault {
        FetchError::Busy { retry_after, .. } => *retry_after,
        fault => fault.is_refusal().then_some(REFUSED_HOLD),
    }
}

fn seconds(duration: Duration) -> Seconds {
    Seconds::new(duration.as_secs_f64())
}
