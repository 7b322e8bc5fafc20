//! Published lives and what was computed of them elsewhere; laws of the estimators; calibration by simulation.

mod calibration;
mod laws;
mod references;

use super::{End, Life};

/// Lives from new on that all ended in failure.
fn failed(ages: &[f64]) -> Vec<Life> {
    ages.iter().map(|age| Life::new(0.0, *age, End::Failed).unwrap()).collect()
}

/// Lives from new on that had not failed.
fn censored(ages: &[f64]) -> Vec<Life> {
    ages.iter().map(|age| Life::new(0.0, *age, End::Censored).unwrap()).collect()
}

fn near(found: f64, expected: f64, relative: f64) {
    let off = (found - expected).abs();
    assert!(off <= relative * expected.abs().max(1e-300), "{found} against {expected}");
}
