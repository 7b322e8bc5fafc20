//! Columns of whole numbers as the differences from a guess: the same number always, one step on from the one before, or
//! the line through the two before, whichever leaves the least. Knows nothing of readings.

use super::packed::Damaged;
use serde::{Deserialize, Serialize};

/// A column of numbers, each divided by `unit`: `order` says what is guessed, `base` what is usually left then, and
/// `rest` what is left beyond that.
#[derive(Debug, Serialize, Deserialize)]
pub(super) struct Column {
    order: u8,
    unit: i64,
    base: i64,
    rest: Vec<i64>,
}

/// A column some of whose numbers may not be told: how many are told, then how many are not, and so on in turn.
#[derive(Debug, Serialize, Deserialize)]
pub(super) struct Told {
    runs: Vec<u32>,
    told: Column,
}

impl Column {
    pub(super) fn pack(mut numbers: Vec<i64>) -> Self {
        // A host that tells tenths has hundredths that are all multiples of ten.
        let unit = numbers.iter().fold(0, |unit, number| common(unit, *number)).max(1);
        for number in &mut numbers {
            *number /= unit;
        }
        let columns = [0, 1, 2].map(|order| {
            let mut rest = rest(&numbers, order);
            let base = middle(rest.clone());
            for number in &mut rest {
                *number = number.wrapping_sub(base);
            }
            Self { order, unit, base, rest }
        });
        let [first, second, third] = columns;
        [second, third].into_iter().fold(first, |best, other| if other.cost() < best.cost() { other } else { best })
    }

    pub(super) fn unpack(self) -> Result<Vec<i64>, Damaged> {
        if self.order > 2 {
            return Err(Damaged("an unknown order"));
        }
        let mut numbers: Vec<i64> = Vec::with_capacity(self.rest.len());
        for rest in &self.rest {
            let guess = guess(&numbers, self.order);
            numbers.push(guess.wrapping_add(self.base).wrapping_add(*rest));
        }
        for number in &mut numbers {
            *number = number.wrapping_mul(self.unit);
        }
        Ok(numbers)
    }

    /// About how many bits it takes, but for the first number.
    fn cost(&self) -> u64 {
        self.rest.iter().skip(1).map(|number| u64::from(64 - number.unsigned_abs().leading_zeros())).sum()
    }
}

impl Told {
    pub(super) fn pack(numbers: impl Iterator<Item = Option<i64>>) -> Self {
        let (mut runs, mut told) = (Vec::new(), Vec::new());
        let mut is_told = false;
        for number in numbers {
            if runs.is_empty() || is_told != number.is_some() {
                if runs.is_empty() && number.is_none() {
                    runs.push(0);
                }
                runs.push(0_u32);
                is_told = number.is_some();
            }
            if let Some(run) = runs.last_mut() {
                *run += 1;
            }
            told.extend(number);
        }
        Self { runs, told: Column::pack(told) }
    }

    pub(super) fn unpack(self) -> Result<Vec<Option<i64>>, Damaged> {
        let numbers = self.told.unpack()?;
        let total: u64 = self.runs.iter().map(|run| u64::from(*run)).sum();
        let n_told: u64 = self.runs.iter().step_by(2).map(|run| u64::from(*run)).sum();
        // What is not told takes no room, so that a damaged count could ask for any amount of it.
        if usize::try_from(n_told) != Ok(numbers.len()) || total > UNTOLD_MAX {
            return Err(Damaged("a column's runs are not its numbers"));
        }
        let mut numbers = numbers.into_iter();
        let mut column = Vec::new();
        for (idx, run) in self.runs.iter().enumerate() {
            let is_told = idx % 2 == 0;
            column.extend((0..*run).map(|_| if is_told { numbers.next() } else { None }));
        }
        Ok(column)
    }
}

/// More rows than an hour at five a second has, with room.
const UNTOLD_MAX: u64 = 1 << 20;

fn rest(numbers: &[i64], order: u8) -> Vec<i64> {
    (0..).zip(numbers).map(|(idx, number)| number.wrapping_sub(guess(&numbers[..idx], order))).collect()
}

/// What the next number is guessed to be.
fn guess(before: &[i64], order: u8) -> i64 {
    match (order, before) {
        (0, _) | (_, []) => 0,
        (2, [.., one, last]) => last.wrapping_add(last.wrapping_sub(*one)),
        (_, [.., last]) => *last,
    }
}

/// The median; 0 of none.
fn middle(mut numbers: Vec<i64>) -> i64 {
    let at = numbers.len() / 2;
    if numbers.is_empty() { 0 } else { *numbers.select_nth_unstable(at).1 }
}

/// The greatest common divisor.
fn common(a: i64, b: i64) -> i64 {
    let (mut a, mut b) = (a.unsigned_abs(), b.unsigned_abs());
    while b != 0 {
        (a, b) = (b, a % b);
    }
    i64::try_from(a).unwrap_or(1)
}

#[cfg(test)]
#[expect(clippy::unwrap_used, reason = "a test may stop")]
mod tests {
    use super::*;

    #[test]
    fn columns_of_every_kind_come_back_and_take_the_order_that_leaves_least() {
        let noise = |idx: i64| (idx * idx * 7919 + idx * 31) % 1009 % 13 - 6;
        let cases: [(Vec<i64>, u8, i64); 6] = [
            ((0..100).map(|idx| 21_000 + 60 * (idx % 2)).collect(), 0, 60),
            ((0..100).map(|idx| 1_770_000_000_000 + 1000 * idx + noise(idx)).collect(), 1, 1),
            ((0..100).map(|idx| 1_770_000_000_000 + 1000 * idx).collect(), 1, 1000),
            (vec![7; 50], 0, 7),
            (vec![i64::MIN, i64::MAX, 0, i64::MIN, -1], 0, 1),
            (Vec::new(), 0, 1),
        ];
        for (numbers, order, unit) in cases {
            let column = Column::pack(numbers.clone());
            assert!(numbers.len() < 10 || (column.order, column.unit) == (order, unit), "{column:?}");
            assert_eq!(column.unpack().unwrap(), numbers);
        }
    }

    #[test]
    fn what_is_not_told_stays_untold() {
        for pattern in 0..512_u32 {
            let numbers: Vec<Option<i64>> =
                (0..9).map(|bit| (pattern >> bit & 1 == 1).then_some(i64::from(bit) * 3)).collect();
            assert_eq!(Told::pack(numbers.iter().copied()).unpack().unwrap(), numbers, "{pattern:b}");
        }
        assert!(Told { runs: vec![1, u32::MAX], told: Column::pack(vec![1]) }.unpack().is_err());
        assert!(Told { runs: vec![2], told: Column::pack(vec![1]) }.unpack().is_err());
    }
}
