//! Printer hosts that nobody has built: many ways to tell the same printer in JSON, and what each of them tells, so
//! that a search for fields can be judged on hosts that it was not written for. Owns the shapes and the windows of
//! time they are shown in; must not know how any search works, nor borrow a key from a host that exists.

mod judge;
mod lists;
mod moment;
mod noisy;
mod search;
mod second_keys;
mod second_parts;
mod second_rows;
mod terse;
mod third;
mod trees;

pub use judge::{Field, Judgement, judge};
pub use moment::{Moment, Window, windows};
pub use search::{HEADING, Proposed, Proposes, Row, counts, judged, searched};

use dwell_analysis::units::Seconds;
use dwellwatch::entry::{HotEnd, JobState};
use dwellwatch::host::Address;
use dwellwatch::host::discover::{Found, FoundDocument, Hint, Snapshot};
use serde_json::Value;

/// One invented host.
#[derive(Clone, Copy, Debug)]
pub struct HostShape {
    /// A word for it.
    pub name: &'static str,
    /// How the printer's hot end is built.
    pub hot_end: HotEnd,
    /// What it tells at a moment: path and document; the same paths in the same order each time.
    pub documents: fn(&Moment) -> Vec<(&'static str, Value)>,
    /// What a description of the host says, by index of the document.
    pub hints: fn() -> Vec<(usize, Hint)>,
    /// What of the reading can be had from it.
    pub truth: Truth,
}

/// What a shape tells of a reading, and how finely.
#[derive(Clone, Copy, Debug)]
pub struct Truth {
    /// The state as far as the shape tells states apart.
    pub state: fn(JobState) -> JobState,
    /// Whether the job's name is told.
    pub name: bool,
    /// Every way in which progress is told; understanding one of them is enough.
    pub progress: &'static [Progress],
    /// Whether the bytes read are told.
    pub byte: bool,
    /// Whether the tool at work is told.
    pub active_tool: bool,
    /// How many tools' heaters are told, T0 first. At a shared hot end it is the one heater.
    pub n_tools: usize,
    /// What is told of each tool.
    pub tool: HeaterTold,
    /// What is told of the bed.
    pub bed: HeaterTold,
}

/// A way to tell progress.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Progress {
    /// The reading's own share, told to half of this step.
    Share(f64),
    /// Layers done of all layers.
    Layers,
    /// Seconds passed of the seconds expected.
    Time,
}

/// What is told of a heater: the step of each number, in °C or as a share.
#[derive(Clone, Copy, Debug, Default)]
pub struct HeaterTold {
    /// Step of the measured temperature.
    pub actual: Option<f64>,
    /// Step of the set point.
    pub target: Option<f64>,
    /// Whether the set point of a heater that is off is null: nothing or 0 °C is right then.
    pub off_is_null: bool,
    /// Step of the duty.
    pub duty: Option<f64>,
}

impl HeaterTold {
    /// Measured and wanted, both in steps of `step_c`.
    #[must_use]
    pub const fn both(step_c: f64) -> Self {
        Self { actual: Some(step_c), target: Some(step_c), off_is_null: false, duty: None }
    }

    /// The same with the duty in steps of `step`.
    #[must_use]
    pub const fn duty(self, step: f64) -> Self {
        Self { duty: Some(step), ..self }
    }

    /// The same with null for the set point of a heater that is off.
    #[must_use]
    pub const fn null_when_off(self) -> Self {
        Self { off_is_null: true, ..self }
    }
}

/// Where the shapes would be served; nothing listens there.
pub const BASE: &str = "http://127.0.0.1:9";

impl HostShape {
    /// The first set of invented hosts: the search has been improved on them.
    #[must_use]
    pub fn first() -> Vec<Self> {
        [trees::SHAPES, lists::SHAPES, terse::SHAPES, noisy::SHAPES].concat()
    }

    /// The second set: written by someone who has not read the search, after it was improved on the first.
    #[must_use]
    pub fn second() -> Vec<Self> {
        [second_keys::SHAPES, second_rows::SHAPES, second_parts::SHAPES].concat()
    }

    /// The third set: written by someone who has not read the search, after it was improved on the first two.
    #[must_use]
    pub fn third() -> Vec<Self> {
        third::SHAPES.to_vec()
    }

    /// Every invented host.
    #[must_use]
    pub fn all() -> Vec<Self> {
        [Self::first(), Self::second(), Self::third()].concat()
    }

    /// What a search has found on the host before it watches.
    #[must_use]
    pub fn found(&self, moment: &Moment) -> Found {
        let document = |(idx, (path, _)): (usize, (&'static str, Value))| FoundDocument {
            name: path.trim_start_matches('/').replace('/', " "),
            address: Address::parse(&format!("{BASE}{path}")).unwrap(),
            origin: "given".to_owned(),
            hints: (self.hints)().into_iter().filter(|(of, _)| *of == idx).map(|(_, hint)| hint).collect(),
        };
        let documents = (self.documents)(moment).into_iter().enumerate().map(document).collect();
        Found { documents, ..Found::default() }
    }

    /// What a watch of the window sees.
    #[must_use]
    pub fn snapshots(&self, window: &Window) -> Vec<Snapshot> {
        let first = window.moments.first().map_or(0, |moment| moment.second);
        let snapshot = |moment: &Moment| Snapshot {
            after: Seconds::new(f64::from(moment.second - first)),
            documents: self.bodies(moment).into_iter().map(Some).collect(),
        };
        window.moments.iter().map(snapshot).collect()
    }

    /// The documents alone.
    #[must_use]
    pub fn bodies(&self, moment: &Moment) -> Vec<Value> {
        (self.documents)(moment).into_iter().map(|(_, body)| body).collect()
    }
}

/// For shapes whose host describes nothing.
fn no_hints() -> Vec<(usize, Hint)> {
    Vec::new()
}

/// For shapes that tell every state apart.
const fn every_state(state: JobState) -> JobState {
    state
}
