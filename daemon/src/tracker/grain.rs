//! How finely the place in a job file is told. Owns when it can be believed; which tool is where is `plan`'s.

use super::plan::Stretch;
use crate::entry::JobState;
use dwell_analysis::units::Seconds;

/// A place that moves on once in more polls than this is told in steps too coarse to say when a tool changed.
const POLLS_MAX: f64 = 2.0;

/// What is known of the steps that the place is told in.
#[derive(Clone, Debug)]
pub(super) struct Grain {
    /// The smallest move forward so far, bytes: no coarse place moves by less than its step.
    smallest: Option<u64>,
    /// Printing time for which the place has stood; `None` until it has moved: it had stood before it was looked at.
    stood: Option<Seconds>,
    /// The longer one of the newest two times between readings.
    poll: Seconds,
    newest: Seconds,
    /// How long one such step takes, of printing.
    step: Seconds,
    is_coarse: bool,
}

impl Grain {
    /// One of which nothing is known. The place is believed at once if it is told in `bytes`; a share may be anything.
    pub(super) const fn new(is_in_bytes: bool) -> Self {
        Self {
            smallest: None,
            stood: None,
            poll: Seconds::ZERO,
            newest: Seconds::ZERO,
            step: Seconds::ZERO,
            is_coarse: !is_in_bytes,
        }
    }

    pub(super) const fn is_coarse(&self) -> bool {
        self.is_coarse
    }

    /// How much longer than a poll the place may lie behind.
    pub(super) fn lag(&self) -> Seconds {
        Seconds::new((self.step - self.poll).get().max(0.0))
    }

    /// Takes the way from one reading to the next. `expected` says how long the file expects the way between two places
    /// to take.
    pub(super) fn take(&mut self, stretch: Stretch, state: JobState, expected: impl Fn(u64, u64) -> Seconds) {
        let (before, here) = stretch.places;
        let lasted = stretch.to - stretch.from;
        self.poll = Seconds::new(lasted.get().max(self.newest.get()));
        self.newest = lasted;
        let longest = Seconds::new(POLLS_MAX * self.poll.get());
        if here > before {
            let moved = here - before;
            let smallest = self.smallest.map_or(moved, |smallest| smallest.min(moved));
            let by_file = expected(before, here);
            // A heating wait is no coarse step, nor is a stretch of which the file expects more time than it takes.
            let way = self.stood.map_or(by_file.get(), |stood| by_file.get().min((stood + lasted).get()));
            self.step = Seconds::new(way * crate::entry::share(smallest, moved));
            self.is_coarse = self.step > longest;
            (self.smallest, self.stood) = (Some(smallest), Some(Seconds::ZERO));
        } else if here == before && state == JobState::Printing {
            self.stood = self.stood.map(|stood| stood + lasted);
            // It stands for as long as the file expects one step to take.
            self.is_coarse |=
                self.smallest.is_some_and(|smallest| expected(here, here.saturating_add(smallest)) > longest);
        }
    }
}
