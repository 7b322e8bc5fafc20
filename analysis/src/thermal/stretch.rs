//! A stretch of a heater's record: readings in order, and what was asked of the heater meanwhile. Owns these shapes;
//! how they are cut out of a record is told by `steps`, what curve they follow by `curve`.

/// What a stretch shows.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Kind {
    /// A fall without duty.
    Fall,
    /// A climb at full duty.
    Climb,
    /// Hardly any movement, without duty.
    Rest,
}

impl Kind {
    pub(super) const ALL: [Self; 3] = [Self::Fall, Self::Climb, Self::Rest];
}

/// One reading: seconds from the stretch's step, and kelvin above the given surroundings.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct Sample {
    pub(super) at: f64,
    pub(super) rise: f64,
    pub(super) neighbour: Option<f64>,
    pub(super) bed: Option<f64>,
}

/// What is asked of the heater from some instant on.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct Act {
    /// From when on, s.
    pub(super) from: f64,
    /// Duty; `None` is one that is not known and did not change.
    pub(super) duty: Option<f64>,
    /// Whether it warms: its time constant and dead time are those of heating.
    pub(super) is_warming: bool,
}

/// Whether the part fan blew.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Fan {
    Untold,
    Off,
    On,
    /// Neither clearly off nor clearly on.
    Between,
}

impl Fan {
    /// Shares of its full speed up to which it is off, and from which on it is on (common practice, no source: a fan
    /// does not turn at a few per cent).
    const OFF: f64 = 0.05;
    const ON: f64 = 0.5;

    pub(super) fn of(share: Option<f64>) -> Self {
        match share {
            None => Self::Untold,
            Some(share) if share <= Self::OFF => Self::Off,
            Some(share) if share >= Self::ON => Self::On,
            Some(_) => Self::Between,
        }
    }
}

/// Readings over which it is known what was asked of the heater.
#[derive(Clone, Debug)]
pub(super) struct Stretch {
    pub(super) kind: Kind,
    pub(super) samples: Vec<Sample>,
    /// In order; the first holds from before the first reading.
    pub(super) acts: Vec<Act>,
    /// The first sample at which its step has surely been felt.
    pub(super) felt: usize,
    /// Half of the time between the two readings that the step lies between, s.
    pub(super) vague: f64,
    /// How late its step is felt, s: the dead time and how far the step lies from where it was placed.
    pub(super) late: f64,
    pub(super) fan: Fan,
    /// Stretches of one group share what the surroundings were like.
    pub(super) group: usize,
}

impl Stretch {
    /// A step at the instant 0, from what was before to `duty`.
    pub(super) fn step(kind: Kind, before: Vec<Sample>, vague: f64, (fan, group): (Fan, usize)) -> Self {
        let is_warming = kind == Kind::Climb;
        let acts = vec![
            Act { from: f64::NEG_INFINITY, duty: None, is_warming: !is_warming },
            Act { from: 0.0, duty: Some(if is_warming { 1.0 } else { 0.0 }), is_warming },
        ];
        Self { kind, samples: before, acts, felt: 0, vague, late: 0.0, fan, group }
    }

    /// No duty at all.
    pub(super) fn rest(fan: Fan, group: usize) -> Self {
        let acts = vec![Act { from: f64::NEG_INFINITY, duty: Some(0.0), is_warming: false }];
        Self { kind: Kind::Rest, samples: Vec::new(), acts, felt: 0, vague: 0.0, late: 0.0, fan, group }
    }

    /// Samples from before the step.
    pub(super) fn n_before(&self) -> usize {
        if self.acts.len() < 2 { 0 } else { self.samples.iter().take_while(|sample| sample.at < 0.0).count() }
    }

    /// Whether it tells when its own step was felt.
    pub(super) fn tells_dead_time(&self) -> bool {
        self.acts.len() == 2 && self.acts.iter().take(1).all(|act| act.duty.is_none())
    }

    /// Leaves out everything before the step was surely felt, so that it tells no dead time.
    pub(super) fn forget_step(&mut self) {
        self.samples.drain(..self.felt.min(self.samples.len()));
        self.felt = 0;
        if let Some(last) = self.acts.pop() {
            self.acts = vec![Act { from: f64::NEG_INFINITY, ..last }];
        }
    }

    /// How far it moves from its step on, K.
    pub(super) fn moved(&self) -> f64 {
        let counted = self.samples.get(self.n_before()..).unwrap_or_default();
        let (low, high) = counted
            .iter()
            .fold((f64::INFINITY, f64::NEG_INFINITY), |(low, high), one| (low.min(one.rise), high.max(one.rise)));
        (high - low).max(0.0)
    }

    /// The time that it covers, s.
    pub(super) fn lasts(&self) -> f64 {
        self.samples.first().zip(self.samples.last()).map_or(0.0, |(first, last)| last.at - first.at)
    }
}
