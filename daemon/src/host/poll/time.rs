//! When a reading is from: by the host's own time where it tells one that can be true, else by our clock.
//! Pure; owns what is remembered of the host's time from poll to poll.

use super::super::skew::Skew;
use crate::stamp;
use crate::tracker::SILENCE_MAX;
use dwell_analysis::time::Timestamp;
use dwell_analysis::units::Seconds;

/// Values older than the silence that counts as a gap are nobody's reading.
const AGE_MAX: Seconds = SILENCE_MAX;

/// How far the host's time may be off when its clock can't be compared otherwise: the clocks of two machines with a
/// time server agree far better, and a poll apart they would not differ by more.
const UNKNOWN_WITHIN: Seconds = Seconds::new(2.0);

/// What is remembered.
#[derive(Clone, Copy, Debug, Default)]
pub(super) struct Times {
    /// The host's time at the newest reading.
    stamp: Option<Timestamp>,
    /// The newest reading.
    newest: Option<Timestamp>,
}

/// When one poll was under way, by our clock.
#[derive(Clone, Copy, Debug)]
pub(super) struct Span {
    pub(super) sent: Timestamp,
    pub(super) received: Timestamp,
}

/// What the host's time says of one poll.
#[derive(Clone, Debug, PartialEq)]
pub(super) struct Placed {
    /// When the reading is from; `None`: nothing is newer than the reading before.
    pub(super) at: Option<Timestamp>,
    /// What is wrong with the host's time.
    pub(super) trouble: Option<String>,
}

impl Times {
    /// Places a poll whose host tells no time.
    pub(super) fn by_our_clock(&self, span: Span) -> Timestamp {
        self.after_the_newest(span.sent)
    }

    /// Places a poll by the host's own time.
    pub(super) fn place(&self, told: Timestamp, span: Span, skew: Option<Skew>) -> Placed {
        let ahead = skew.map_or(Seconds::ZERO, |skew| skew.ahead);
        let at = told - ahead;
        if self.stamp == Some(told) {
            // For a while that is a host that measures less often than it is asked.
            let still = span.sent - at > AGE_MAX;
            let line =
                || format!("the host's time stands still at {}; its values tell nothing new", stamp::write(told));
            return Placed { at: None, trouble: still.then(line) };
        }
        let (oldest, newest) = match skew {
            Some(skew) => (span.sent - AGE_MAX, span.received + skew.within),
            None => (span.sent - UNKNOWN_WITHIN, span.received + UNKNOWN_WITHIN),
        };
        let back = self.stamp.filter(|before| told < *before).map(|before| before - told);
        let trouble = if let Some(back) = back {
            Some(format!("the host's time went back by {}; our clock counts", apart(back)))
        } else if at > newest {
            Some(format!("the host's time is {} ahead of ours; our clock counts", apart(at - span.received)))
        } else if at <= oldest {
            Some(format!("the host's time is {} behind ours; our clock counts", apart(span.sent - at)))
        } else {
            None
        };
        // Nothing is measured after it is here.
        let at = if trouble.is_some() { span.sent } else { at.min(span.received) };
        Placed { at: Some(self.after_the_newest(at)), trouble }
    }

    /// Remembers a reading that was made.
    pub(super) fn made(&mut self, at: Timestamp, told: Option<Timestamp>) {
        self.newest = Some(at);
        self.stamp = told.or(self.stamp);
    }

    /// Readings never run backwards: where the bounds moved, a reading stands right after the one before.
    fn after_the_newest(&self, at: Timestamp) -> Timestamp {
        self.newest.map_or(at, |newest| at.max(newest + Seconds::new(0.001)))
    }
}

/// A length of time, coarse, so that a line about it does not change with every poll.
pub(super) fn apart(seconds: Seconds) -> String {
    match seconds.get() {
        s if s < 90.0 => format!("{s:.0} s"),
        s if s < 5400.0 => format!("{:.0} min", s / 60.0),
        s if s < 172_800.0 => format!("{:.0} h", s / 3600.0),
        s => format!("{:.0} days", s / 86_400.0),
    }
}

#[cfg(test)]
#[expect(clippy::unwrap_used, reason = "a test may stop")]
mod tests {
    use super::*;

    fn at(s: f64) -> Timestamp {
        Timestamp::from_ms(1_772_438_400_000) + Seconds::new(s)
    }

    /// A poll sent at that second, received 0.2 s later.
    fn span(s: f64) -> Span {
        Span { sent: at(s), received: at(s + 0.2) }
    }

    fn skew(ahead: f64) -> Skew {
        Skew { ahead: Seconds::new(ahead), within: Seconds::new(0.5) }
    }

    fn place(told: f64, skew: impl Into<Option<Skew>>) -> (Option<Timestamp>, Option<String>) {
        let placed = Times::default().place(at(told), span(100.0), skew.into());
        (placed.at, placed.trouble)
    }

    #[test]
    fn the_host_s_time_counts_by_its_known_difference_from_ours() {
        assert_eq!(place(3697.5, skew(3600.0)), (Some(at(97.5)), None));
        assert_eq!(place(-3519.9, skew(-3600.0)), (Some(at(80.1)), None));
        // Within the bound it is ours: nothing is measured after it is here.
        assert_eq!(place(3700.6, skew(3600.0)), (Some(at(100.2)), None));
    }

    #[test]
    fn what_cannot_be_is_told_and_our_clock_counts() {
        let (found, trouble) = place(3700.8, skew(3600.0));
        assert_eq!(found, Some(at(100.0)));
        assert_eq!(trouble.unwrap(), "the host's time is 1 s ahead of ours; our clock counts");
        let (found, trouble) = place(80.0, skew(0.0));
        assert_eq!(found, Some(at(100.0)));
        assert_eq!(trouble.unwrap(), "the host's time is 20 s behind ours; our clock counts");
        assert!(place(-1e9, skew(0.0)).1.unwrap().contains("11574 days behind"));
    }

    #[test]
    fn without_a_known_difference_it_counts_within_two_seconds_alone() {
        assert_eq!(place(98.1, None), (Some(at(98.1)), None));
        assert_eq!(place(102.1, None), (Some(at(100.2)), None));
        assert!(place(97.9, None).1.unwrap().contains("2 s behind"));
        assert!(place(102.3, None).1.unwrap().contains("2 s ahead"));
    }

    #[test]
    fn the_same_time_again_is_nothing_new_and_after_a_gap_s_length_it_is_told() {
        let mut times = Times::default();
        times.made(at(99.0), Some(at(99.0)));
        assert_eq!(times.place(at(99.0), span(100.0), Some(skew(0.0))), Placed { at: None, trouble: None });
        let stuck = times.place(at(99.0), span(120.0), Some(skew(0.0)));
        assert_eq!(stuck.at, None);
        assert_eq!(
            stuck.trouble.unwrap(),
            "the host's time stands still at 2026-03-02T08:01:39Z; its values tell nothing new"
        );
    }

    #[test]
    fn readings_never_run_backwards_or_stand_on_each_other() {
        let mut times = Times::default();
        times.made(at(100.0), Some(at(99.0)));
        // Newer by the host, and by the bounds of now from before the last reading.
        assert_eq!(times.place(at(99.5), span(100.2), Some(skew(0.0))).at, Some(at(100.001)));
        assert_eq!(times.by_our_clock(span(99.0)), at(100.001));
        let back = times.place(at(95.0), span(101.0), Some(skew(0.0)));
        assert_eq!(back.at, Some(at(101.0)));
        assert_eq!(back.trouble.unwrap(), "the host's time went back by 4 s; our clock counts");
    }
}
