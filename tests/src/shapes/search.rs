//! Shapes put to a search and judged, as rows that a test or a bench prints. Claims nothing.

use super::{Field, HostShape, Judgement, judge, windows};
use dwellwatch::host::discover::{Answers, Certainty, Found, Kind, Snapshot, propose};
use std::fmt;

/// A configuration as a search proposes it.
#[derive(Clone, Debug)]
pub struct Proposed {
    /// The printer's section.
    pub toml: String,
    /// Fields that it calls sure.
    pub sure: Vec<Field>,
}

/// What proposes a configuration for a shape that was found and watched.
pub type Proposes<'p> = &'p dyn Fn(&HostShape, &Found, &[Snapshot]) -> Proposed;

/// One shape in one window.
#[derive(Clone, Debug)]
pub struct Row {
    /// The shape's name.
    pub shape: &'static str,
    /// The window's name.
    pub window: &'static str,
    /// How the proposal did.
    pub judgement: Judgement,
}

/// Over the columns of a [`Row`].
pub const HEADING: &str = "shape         window            right/of  wrong  wrong and sure";

/// What the search proposes when nobody answers anything.
#[must_use]
pub fn searched(found: &Found, snapshots: &[Snapshot]) -> Proposed {
    let proposal = propose(found, snapshots, &Answers::default());
    let sure = proposal.fields.iter().filter(|field| field.certainty == Certainty::Sure);
    let sure = sure.filter_map(|proposed| field(proposed.kind)).collect();
    Proposed { toml: proposal.toml(), sure }
}

/// Every shape in every window.
#[must_use]
pub fn judged(shapes: &[HostShape], propose: Proposes<'_>) -> Vec<Row> {
    let mut rows = Vec::new();
    for shape in shapes {
        for window in windows(shape.hot_end) {
            let proposed = propose(shape, &shape.found(&window.moments[0]), &shape.snapshots(&window));
            let judgement = judge(shape, &window, &proposed.toml, &|field| proposed.sure.contains(&field));
            rows.push(Row { shape: shape.name, window: window.name, judgement });
        }
    }
    rows
}

/// How many shapes are right, a line a window, and in all of them.
#[must_use]
pub fn counts(rows: &[Row]) -> Vec<String> {
    let n_shapes = rows.iter().filter(|row| row.window == "tool change").count();
    let mut lines = Vec::new();
    for name in ["tool change", "steady printing", "heating up"] {
        let of_window = || rows.iter().filter(|row| row.window == name);
        assert_eq!(of_window().count(), n_shapes, "every shape has one row for each window: {name}");
        let n_right = of_window().filter(|row| row.judgement.is_right()).count();
        let what = if name == "tool change" { "a tool change" } else { name };
        lines.push(format!("{n_right} of {n_shapes} shapes are right in the window of {what}"));
    }
    let has_wrong = |shape: &str| rows.iter().any(|row| row.shape == shape && !row.judgement.is_right());
    let n_right = rows.iter().filter(|row| row.window == "tool change" && !has_wrong(row.shape)).count();
    lines.push(format!("{n_right} of {n_shapes} shapes are right in every window"));
    lines
}

impl fmt::Display for Row {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let Judgement { right, wrong, wrong_and_sure, remarks, .. } = &self.judgement;
        write!(
            f,
            "{:<13} {:<16} {:>4}/{:<4}  {:>5}  {:>14}",
            self.shape,
            self.window,
            right.len(),
            self.judgement.n_told(),
            wrong.len(),
            wrong_and_sure.len(),
        )?;
        remarks.iter().try_for_each(|remark| write!(f, "\n    {remark}"))
    }
}

/// The field that the search means.
fn field(kind: Kind) -> Option<Field> {
    Some(match kind {
        Kind::Time => return None,
        Kind::State => Field::State,
        Kind::Name => Field::Name,
        Kind::Fraction => Field::Fraction,
        Kind::Byte => Field::Byte,
        Kind::ActiveTool => Field::ActiveTool,
        Kind::ToolActual(tool) => Field::Actual(tool),
        Kind::ToolTarget(tool) => Field::Target(tool),
        Kind::ToolDuty(tool) => Field::Duty(tool),
        Kind::BedActual => Field::BedActual,
        Kind::BedTarget => Field::BedTarget,
    })
}
