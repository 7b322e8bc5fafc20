//! Every regression that the learner fits, for a bench that fits them again with something else. Owns the noting, on
//! one thread and while somebody asks; no result may depend on it.

use super::posterior::Problem;
use std::cell::RefCell;

/// What one regression was fitted to.
#[derive(Clone, Debug, PartialEq)]
pub struct Fit {
    /// Values in a row, the first of which is a one.
    pub width: usize,
    /// Row after row.
    pub rows: Vec<f64>,
    /// Whether the mode happened, for each row.
    pub happened: Vec<bool>,
    /// How much each row counts.
    pub weights: Vec<f64>,
}

thread_local! {
    static NOTED: RefCell<Option<Vec<Fit>>> = const { RefCell::new(None) };
}

/// Does the work and says what was fitted meanwhile on this thread, in order.
pub fn fits_of<T>(work: impl FnOnce() -> T) -> (T, Vec<Fit>) {
    NOTED.replace(Some(Vec::new()));
    let done = work();
    (done, NOTED.take().unwrap_or_default())
}

pub(super) fn note(problem: &Problem<'_>) {
    add(|| Fit {
        width: problem.priors.len(),
        rows: problem.rows.to_vec(),
        happened: problem.happened.to_vec(),
        weights: problem.weights.to_vec(),
    });
}

/// The same of a fit whose rows have no one before them.
pub(super) fn note_plain(rows: &[Vec<f64>], happened: &[bool]) {
    add(|| Fit {
        width: 1 + rows.first().map_or(0, Vec::len),
        rows: rows.iter().flat_map(|row| std::iter::once(1.0).chain(row.iter().copied())).collect(),
        happened: happened.to_vec(),
        weights: vec![1.0; rows.len()],
    });
}

fn add(fit: impl FnOnce() -> Fit) {
    NOTED.with_borrow_mut(|noted| {
        if let Some(noted) = noted {
            noted.push(fit());
        }
    });
}
