//! What is shown of a part in use.

use super::{Frame, PageNotice};
use dwell_analysis::estimate::Estimate;
use dwell_analysis::survival::Lasting;
use dwell_analysis::time::Timestamp;
use dwell_analysis::units::{Celsius, Probability, Seconds};

/// A part in use, as the record stands.
#[derive(Clone, Debug)]
pub struct PartView {
    /// The printer's name.
    pub printer: String,
    /// The tool's number, from 0.
    pub tool: usize,
    /// The part's word, such as `liner`.
    pub part: &'static str,
    /// When it was fitted.
    pub fitted: Timestamp,
    /// The printer's newest reading: what is said holds as of then. `None` before the first.
    pub as_of: Option<Timestamp>,
    /// Time that it was hot since.
    pub hot: Seconds,
    /// Hours of wear since (an hour at 220 °C is one), or why that is not known.
    pub wear_h: Result<f64, String>,
    /// How often it was heated from cold since.
    pub heat_cycles: usize,
    /// What is expected of it, or why nothing is.
    pub expected: Result<PartExpected, String>,
}

/// What is expected of a part in use.
#[derive(Clone, Debug)]
pub struct PartExpected {
    /// Hours of wear that it still lasts: median and 90 % interval.
    pub left_h: Estimate,
    /// The same in days at the tool's recent use, or why there are none.
    pub left_days: Result<Estimate, String>,
    /// Hours of wear from new on up to which the chance to fail stays under the accepted one.
    pub limit_h: f64,
    /// The chance that is accepted.
    pub accepted: Probability,
    /// When it reaches that limit.
    pub replace: Replace,
    /// What it rests on: `prior`, `mixed` or `record`.
    pub basis: &'static str,
    /// Lives of such parts on record, those in use among them.
    pub n_lives: usize,
    /// Those that ended in failure.
    pub n_failures: usize,
}

/// When a part is to be replaced.
#[derive(Clone, Debug)]
pub enum Replace {
    /// It is past its limit.
    Due,
    /// Before this day (its beginning in UTC), and what that may as well be at the tool's recent use, 90 times in 100.
    Before {
        /// The day.
        at: Timestamp,
        /// Earliest.
        low: Timestamp,
        /// Latest.
        high: Timestamp,
    },
    /// No day can be said, and why.
    Unknown(String),
}

/// How long parts of one kind last, and what those on record that are out came to.
#[derive(Clone, Debug)]
pub struct LivesView {
    /// The part's word, such as `liner`.
    pub part: &'static str,
    /// The share of new ones that last to an age in hours of wear, with its 90 % interval; by age, from 0 on.
    pub curve: Vec<Lasting>,
    /// Those that are out, oldest first.
    pub past: Vec<PastPart>,
}

/// A part that is out.
#[derive(Clone, Debug)]
pub struct PastPart {
    /// The printer's name.
    pub printer: String,
    /// The tool's number, from 0.
    pub tool: usize,
    /// The part's word.
    pub part: &'static str,
    /// When it was fitted.
    pub fitted: Timestamp,
    /// When its life ended.
    pub ended: Timestamp,
    /// Whether somebody said that it had failed.
    pub has_failed: bool,
    /// Time that it was hot.
    pub hot: Seconds,
    /// Its hours of wear, or why they are not known.
    pub wear_h: Result<f64, String>,
    /// How often it was heated from cold.
    pub heat_cycles: usize,
}

/// The page *Parts*.
#[derive(Clone, Debug)]
pub struct PartsPage {
    /// What every page needs.
    pub frame: Frame,
    /// Now.
    pub at: Timestamp,
    /// Shown in our own forms alone.
    pub token: String,
    /// What is said of a form that was just sent.
    pub notice: Option<PageNotice>,
    /// What was typed into a form that was refused.
    pub typed: Option<PartTyped>,
    /// How long parts of each kind last.
    pub lives: Vec<LivesView>,
    /// One a printer.
    pub printers: Vec<PrinterParts>,
}

/// A printer's parts.
#[derive(Clone, Debug)]
pub struct PrinterParts {
    /// Its name.
    pub name: String,
    /// One a tool.
    pub tools: Vec<ToolParts>,
}

/// A tool's parts.
#[derive(Clone, Debug)]
pub struct ToolParts {
    /// The tool's number, from 0.
    pub number: usize,
    /// What its liner stands.
    pub liner: LinerStands,
    /// What is in use and was told.
    pub in_use: Vec<PartNow>,
    /// All that was told of its parts, newest first.
    pub changes: Vec<PartTold>,
}

/// What a tool's liner stands.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum LinerStands {
    /// Nobody told: this is taken.
    Assumed(Celsius),
    /// Its rating.
    Rated(Celsius),
    /// It has none.
    Absent,
}

/// A part in use.
#[derive(Clone, Debug)]
pub struct PartNow {
    /// The part's word.
    pub part: &'static str,
    /// When it was fitted.
    pub fitted: Timestamp,
    /// What it went through; `None` until that is worked out.
    pub figures: Option<PartView>,
}

/// A part change that was told.
#[derive(Clone, Debug)]
pub struct PartTold {
    /// When.
    pub at: Timestamp,
    /// The part's word.
    pub part: &'static str,
    /// `fitted` or `removed`.
    pub event: &'static str,
    /// `failed` or `preventive`.
    pub reason: Option<&'static str>,
    /// In the person's words.
    pub note: Option<String>,
    /// What the lives came to that it ended.
    pub ended: Vec<PastPart>,
}

/// The fields of the form that records a part change, as they were typed.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct PartTyped {
    /// The printer's name.
    pub printer: String,
    /// The tool's number.
    pub tool: String,
    /// The part's word.
    pub part: String,
    /// `fitted` or `removed`.
    pub event: String,
    /// `failed`, `preventive` or empty.
    pub reason: String,
    /// In the person's words.
    pub note: String,
    /// Day and time; empty is now.
    pub at: String,
}
