//! What people said of prints, what was taken back, and what they are asked for.

use super::OutcomeRow;
use dwell_analysis::time::Timestamp;

/// A word on a print with what became of it.
#[derive(Clone, Debug)]
pub struct WordRow {
    /// The word.
    pub said: OutcomeRow,
    /// What became of it.
    pub fate: WordFate,
}

/// What became of a word.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum WordFate {
    /// It stands.
    Stands,
    /// A later word replaced it then.
    Replaced(Timestamp),
    /// It was taken back then.
    TakenBack(Timestamp),
}

/// What the forms on outcomes need.
#[derive(Clone, Debug, Default)]
pub struct OutcomeForm {
    /// Proves that the form came from a page of this daemon.
    pub token: String,
    /// The failure modes' words, without `clean`.
    pub modes: Vec<&'static str>,
}

/// What a form has just done, as the page that follows it says.
#[derive(Clone, Debug)]
pub struct JustDone {
    /// Of which print.
    pub print: i64,
    /// The job's name.
    pub name: Option<String>,
    /// The newest word that stands on it; `None` if none does.
    pub newest: Option<OutcomeRow>,
    /// Whether a word was taken back, not said.
    pub is_undo: bool,
}

/// Prints that have ended and that nobody has spoken of.
#[derive(Clone, Debug, Default)]
pub struct SilentPrints {
    /// The newest of them.
    pub rows: Vec<SilentPrint>,
    /// How many there are.
    pub n: u32,
}

/// A print that nobody has spoken of.
#[derive(Clone, Debug)]
pub struct SilentPrint {
    /// Its id.
    pub id: i64,
    /// The printer's name.
    pub printer: String,
    /// The job's name.
    pub name: Option<String>,
    /// Its first `printing` reading.
    pub started: Timestamp,
    /// Its end.
    pub ended: Timestamp,
    /// The end's word.
    pub end: &'static str,
    /// How many tools its printer has.
    pub n_tools: usize,
}
