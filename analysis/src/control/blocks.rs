//! How much the sums of a series vary, over one reading, two, four and so on: of independent values the same for each
//! reading. Owns the running sums.

use crate::estimate::count;

/// Blocks up to 2^19 readings: six days of them, one a second.
const LEVELS: usize = 20;

/// Fewer blocks than this tell a variance to worse than 3 parts in 10, `sqrt(2 / n)`.
const BLOCKS_LEAST: usize = 24;

/// Sums of values over blocks of every power of two.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct Blocks([Level; LEVELS]);

/// Blocks of one length.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
struct Level {
    n: usize,
    squares: f64,
    /// The first half of a block of the next length.
    half: Option<f64>,
}

impl Blocks {
    pub(super) fn new() -> Self {
        Self([Level::default(); LEVELS])
    }

    pub(super) fn of(values: &[f64]) -> Self {
        let mut blocks = Self::new();
        for value in values {
            blocks.push(*value);
        }
        blocks
    }

    pub(super) fn push(&mut self, value: f64) {
        let mut sum = value;
        for level in &mut self.0 {
            level.n += 1;
            level.squares += sum * sum;
            let Some(half) = level.half.take() else {
                level.half = Some(sum);
                return;
            };
            sum += half;
        }
    }

    /// The most that the sums of blocks vary for each reading: their mean square over the length, of all lengths of which
    /// there are enough blocks. At least the mean square of single values.
    pub(super) fn most(&self) -> f64 {
        let mut long = 1.0;
        let mut most: f64 = 0.0;
        for level in self.0.iter().take_while(|level| level.n >= BLOCKS_LEAST) {
            most = most.max(level.squares / count(level.n) / long);
            long *= 2.0;
        }
        most
    }
}
