//! The tabular cumulative sum, both sides (NIST/SEMATECH e-Handbook, 6.3.2.3). Owns the sums; what is normal, how much is
//! let pass and where it signals are told to it.

/// Which way a series went.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Side {
    /// Above what is normal.
    Up,
    /// Below what is normal.
    Down,
}

impl Side {
    /// Both of them.
    pub const BOTH: [Self; 2] = [Self::Up, Self::Down];

    /// 1 upwards, -1 downwards.
    #[must_use]
    pub const fn sign(self) -> f64 {
        match self {
            Self::Up => 1.0,
            Self::Down => -1.0,
        }
    }
}

/// One side's sum.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Sum {
    /// What has gathered, in the series' unit; never below zero.
    pub value: f64,
    /// Values since it was last zero.
    pub n: usize,
}

impl Sum {
    fn push(&mut self, excess: f64) {
        self.value = (self.value + excess).max(0.0);
        self.n = if self.value > 0.0 { self.n + 1 } else { 0 };
    }
}

/// Sums of what lies further from the target than the slack, one for each side.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Cusum {
    target: f64,
    slack: f64,
    limit: f64,
    up: Sum,
    down: Sum,
}

impl Cusum {
    /// A chart that signals once a sum is over `limit` (h), of deviations from `target` less `slack` (k), all in the series'
    /// unit. It goes on after a signal until it is told to `restart`.
    #[must_use]
    pub fn new(target: f64, slack: f64, limit: f64) -> Self {
        Self { target, slack, limit, up: Sum::default(), down: Sum::default() }
    }

    /// Takes in a value; which side is over the limit then. The further one, if both are.
    pub fn push(&mut self, value: f64) -> Option<Side> {
        self.push_guarded(value, 0.0)
    }

    /// The same with so much more slack for this value: where the target is only known to within it.
    pub fn push_guarded(&mut self, value: f64, guard: f64) -> Option<Side> {
        let slack = self.slack + guard;
        self.up.push(value - self.target - slack);
        self.down.push(self.target - value - slack);
        self.signal()
    }

    /// Which side is over the limit.
    #[must_use]
    pub fn signal(&self) -> Option<Side> {
        let side = if self.up.value >= self.down.value { Side::Up } else { Side::Down };
        (self.sum(side).value > self.limit).then_some(side)
    }

    /// A side's sum.
    #[must_use]
    pub const fn sum(&self, side: Side) -> Sum {
        match side {
            Side::Up => self.up,
            Side::Down => self.down,
        }
    }

    /// The slack, in the series' unit.
    #[must_use]
    pub const fn slack(&self) -> f64 {
        self.slack
    }

    /// The limit, in the series' unit.
    #[must_use]
    pub const fn limit(&self) -> f64 {
        self.limit
    }

    /// Both sums begin again at zero.
    pub fn restart(&mut self) {
        (self.up, self.down) = (Sum::default(), Sum::default());
    }

    /// No sum is more than `most` from here on, so that it comes back soon after what raised it is over.
    pub fn cap(&mut self, most: f64) {
        self.up.value = self.up.value.min(most);
        self.down.value = self.down.value.min(most);
    }
}
