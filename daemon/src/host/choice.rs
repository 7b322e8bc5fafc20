//! What a host may tell in one of several places: the job's state and the tool at work. Owns which place counts.
//! Knows nothing of the rest of a reading.

use super::field::{Field, Missing, kind, one_of, word};
use super::number::whole;
use crate::entry::JobState;
use serde_json::Value;
use std::collections::BTreeMap;

/// Where the job's state stands: the first place that tells it counts; never empty.
///
/// What an earlier place would have told is not known when its document did not come. A later place then still counts
/// by one of its words, which the host does say, but not by its `absent` or `other`, which only follow from silence.
#[derive(Clone, Debug)]
pub struct StateField(pub Vec<StatePlace>);

/// One place of the job's state and what the host's words there mean.
#[derive(Clone, Debug)]
pub struct StatePlace {
    /// Where.
    pub field: Field,
    /// The host's words.
    pub words: BTreeMap<String, JobState>,
    /// The state when the document came and nothing, or null, is there.
    pub absent: Option<JobState>,
    /// The state for any value that is not in `words`, lists and objects too.
    pub other: Option<JobState>,
}

/// Where the tool at work stands: the first place that tells it counts; never empty.
#[derive(Clone, Debug)]
pub struct ToolField(pub Vec<ToolPlace>);

/// One place of the tool at work.
#[derive(Clone, Debug)]
pub struct ToolPlace {
    /// Where.
    pub field: Field,
    /// The host's words for its tools; when empty, the host tells the tool's number.
    pub words: BTreeMap<String, usize>,
}

impl StateField {
    /// What each place tells, or why it tells nothing, up to the first that counts.
    pub(super) fn told(&self, documents: &[Option<Value>]) -> Vec<(&StatePlace, Result<JobState, Missing>)> {
        let mut is_blind = false;
        until_told(&self.0, |place| {
            let told = place.told(documents, is_blind);
            is_blind |= told == Err(Missing::NoDocument);
            told
        })
    }
}

impl StatePlace {
    fn told(&self, documents: &[Option<Value>], is_blind: bool) -> Result<JobState, Missing> {
        let instead = |state: Option<JobState>| state.filter(|_| !is_blind);
        match self.field.value(documents) {
            Ok(value) => self.of(value).or_else(|why| instead(self.other).ok_or(why)),
            Err(why @ (Missing::NothingThere | Missing::Null)) => instead(self.absent).ok_or(why),
            Err(why) => Err(why),
        }
    }

    fn of(&self, value: &Value) -> Result<JobState, Missing> {
        let word = word(value).ok_or(Missing::Kind { found: kind(value), right: "a word" })?;
        self.words.get(&word).copied().ok_or_else(|| Missing::word(&word, self.known()))
    }

    fn known(&self) -> String {
        if self.words.is_empty() { "absent".to_owned() } else { one_of(self.words.keys()) }
    }
}

impl ToolField {
    /// What each place tells, or why it tells nothing, up to the first that counts. The tool's number may be out of
    /// range: whether the printer has that tool is for the tracker to say.
    pub(super) fn told(&self, documents: &[Option<Value>]) -> Vec<(&ToolPlace, Result<usize, Missing>)> {
        until_told(&self.0, |place| place.told(documents))
    }

    /// The tool's number.
    pub(super) fn read(&self, documents: &[Option<Value>]) -> Option<usize> {
        self.told(documents).pop().and_then(|(_, told)| told.ok())
    }
}

impl ToolPlace {
    fn told(&self, documents: &[Option<Value>]) -> Result<usize, Missing> {
        if self.words.is_empty() {
            let found = whole(self.field.number(documents)?)?;
            return Ok(usize::try_from(found).unwrap_or(usize::MAX));
        }
        let word = self.field.word(documents)?;
        self.words.get(&word).copied().ok_or_else(|| Missing::word(&word, one_of(self.words.keys())))
    }
}

/// What each place tells, up to and with the first that tells something.
fn until_told<P, T>(places: &[P], mut told: impl FnMut(&P) -> Result<T, Missing>) -> Vec<(&P, Result<T, Missing>)> {
    let mut all = Vec::with_capacity(places.len());
    for place in places {
        let result = told(place);
        let is_told = result.is_ok();
        all.push((place, result));
        if is_told {
            break;
        }
    }
    all
}
