//! What was worked out last of the whole record, for pages that can't wait for it. Owns which of it comes from which reading of
//! the record; when that is, is the schedule's.

use super::advice::{Liners, advice, settle_advice};
use super::learned::{Known, Study};
use super::overview::overview_of;
use super::parts::lives;
use super::trials::{brought_up_to_date, review_of};
use crate::store::{Reader, StoreError};
use dwell_analysis::polymer::Materials;
use dwell_analysis::time::Timestamp;
use dwell_dashboards::view::{AdviceView, LearnView, LivesView, ReviewView};

/// What was worked out of the record.
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
    /// What became of what was advised; newer than the rest once a person adopted or declined something.
    pub trials: ReviewView,
    /// How long parts of each kind last, and what those came to that are out.
    pub lives: Vec<LivesView>,
    /// The newest word on a print that is in it, as the record numbers them.
    pub last_word: i64,
    /// Names what there was to learn from.
    pub evidence: String,
    /// Names how suggestions and trials stood.
    stands: String,
}

impl Worked {
    /// Works it out of a record, by what is known of it and what was advised by that; both come from the same reading.
    /// `now` is a later reading, in which that advice stands.
    ///
    /// # Errors
    /// If the record can't be read.
    pub fn of(
        [reader, now]: [&Reader; 2],
        materials: &Materials,
        known: Known,
        advice: AdviceView,
        made: Timestamp,
    ) -> Result<Self, StoreError> {
        let learning = known.learning;
        let study = Study::of_known(known);
        let learned = overview_of(reader, materials, &study, learning)?;
        let trials = review_of(now, materials, &study.runs)?;
        let (last_word, evidence) = (reader.last_word()?, reader.evidence(None)?);
        let (lives, stands) = (lives(reader)?, now.advice_stands()?);
        Ok(Self { made, study, learned, advice, trials, lives, last_word, evidence, stands })
    }

    /// Works out all of it anew, from one reading of a record and what is known of it.
    ///
    /// # Errors
    /// If the record can't be read.
    pub fn anew(
        reader: &Reader,
        materials: &Materials,
        known: Known,
        liners: &Liners,
        made: Timestamp,
    ) -> Result<Self, StoreError> {
        let advice = advice(reader, materials, &known, liners)?;
        Self::of([reader, reader], materials, known, advice, made)
    }

    /// The same with suggestions and trials as they stand now; `None` if they stand as they did.
    ///
    /// # Errors
    /// If the record can't be read.
    pub fn renewed(&self, reader: &Reader, materials: &Materials) -> Result<Option<Self>, StoreError> {
        let stands = reader.advice_stands()?;
        if stands == self.stands {
            return Ok(None);
        }
        let trials = review_of(reader, materials, &self.study.runs)?;
        Ok(Some(Self { trials, stands, ..self.clone() }))
    }

    /// What is advised and on trial by what people said and did since: what pages, programs and reports tell. Takes a few
    /// reads of rows.
    ///
    /// # Errors
    /// If the record can't be read.
    pub fn as_it_stands(&self, reader: &Reader, materials: &Materials) -> Result<(AdviceView, ReviewView), StoreError> {
        let mut advice = self.advice.clone();
        settle_advice(&mut advice, reader)?;
        Ok((advice, brought_up_to_date(reader, materials, &self.trials)?))
    }
}
