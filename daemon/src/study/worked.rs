//! What was worked out last of the whole record, for pages that can't wait for it. Owns that all of it comes from one
//! reading of the record; when that is, is the schedule's.

use super::advice::{Liners, advice};
use super::learned::{Known, Study};
use super::overview::overview_of;
use super::parts::lives;
use super::trials::review;
use crate::store::{Reader, StoreError};
use dwell_analysis::polymer::Materials;
use dwell_analysis::time::Timestamp;
use dwell_dashboards::view::{AdviceView, LearnView, LivesView, ReviewView};

/// What was worked out of the record, all of it from the same reading of it.
#[derive(Clone, Debug)]
pub struct Worked {
    /// When it was made. What people said and did later is not in it.
    pub made: Timestamp,
    /// The record's tool-runs, and what was learned from them.
    pub study: Study,
    /// What that says of each failure mode.
    pub learned: LearnView,
    /// What is worth a change.
    pub advice: AdviceView,
    /// What became of what was advised.
    pub trials: ReviewView,
    /// How long parts of each kind last, and what those came to that are out.
    pub lives: Vec<LivesView>,
}

impl Worked {
    /// Works it out of a record, by what is known of it.
    ///
    /// # Errors
    /// If the record can't be read.
    pub fn of(
        reader: &Reader,
        materials: &Materials,
        known: Known,
        liners: &Liners,
        made: Timestamp,
    ) -> Result<Self, StoreError> {
        let learning = known.learning;
        let advice = advice(reader, materials, &known, liners)?;
        let trials = review(reader, materials, Some(learning))?;
        let study = Study::of_known(known);
        let learned = overview_of(reader, materials, &study, learning)?;
        Ok(Self { made, study, learned, advice, trials, lives: lives(reader)? })
    }
}
