//! Rows that are alike, counted as one of their joint weight: a step, or a factor that people set, has few different
//! values, and a fit's sums over a long record become sums over those. Owns the counting; what a row means is the
//! caller's.

/// Looking for more different rows than this costs more than it saves.
const DIFFERENT_MAX: usize = 32;

/// Different rows of a record, each with the weight of all that are like it.
#[derive(Debug)]
pub(super) struct Alike {
    pub(super) rows: Vec<f64>,
    pub(super) happened: Vec<bool>,
    pub(super) weights: Vec<f64>,
}

impl Alike {
    /// Counts rows of `width` values; two of different outcomes are never alike. `None` where too many are different.
    pub(super) fn of(rows: &[f64], width: usize, happened: &[bool], weights: &[f64]) -> Option<Self> {
        let mut found = Self { rows: Vec::new(), happened: Vec::new(), weights: Vec::new() };
        for ((row, yes), weight) in rows.chunks_exact(width).zip(happened).zip(weights) {
            if let Some(at) = found.place(row, *yes) {
                found.weights[at] += weight;
            } else if found.weights.len() < DIFFERENT_MAX {
                found.rows.extend_from_slice(row);
                found.happened.push(*yes);
                found.weights.push(*weight);
            } else {
                return None;
            }
        }
        Some(found)
    }

    fn place(&self, row: &[f64], yes: bool) -> Option<usize> {
        let is_same = |other: &[f64]| other.iter().zip(row).all(|(a, b)| a.to_bits() == b.to_bits());
        let mut each = self.rows.chunks_exact(row.len()).zip(&self.happened);
        each.position(|(other, told)| *told == yes && is_same(other))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn rows_alike_carry_their_joint_weight_and_outcomes_stay_apart() {
        let rows = [1.0, 0.5, 1.0, -0.5, 1.0, 0.5, 1.0, 0.5];
        let found = Alike::of(&rows, 2, &[true, false, true, false], &[1.0, 0.25, 0.5, 0.125]);
        let found = found.map(|found| (found.rows, found.happened, found.weights));
        let right = (vec![1.0, 0.5, 1.0, -0.5, 1.0, 0.5], vec![true, false, false], vec![1.5, 0.25, 0.125]);
        assert_eq!(found, Some(right));
    }

    #[test]
    fn too_many_different_rows_are_left_as_they_are() {
        let rows: Vec<f64> = (0..33_u8).map(f64::from).collect();
        assert!(Alike::of(&rows[..32], 1, &[false; 32], &[1.0; 32]).is_some());
        assert!(Alike::of(&rows, 1, &[false; 33], &[1.0; 33]).is_none());
    }
}
