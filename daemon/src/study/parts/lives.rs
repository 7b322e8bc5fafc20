//! From part changes to lives: when each part was fitted, when and how it ended. Owns what a change of the whole hot end
//! does to the parts in it; how much a life comes to is `heat`'s.

use crate::entry::{Part, PartChange, PartEvent, PartReason, ToolNumber};
use dwell_analysis::survival::End;
use dwell_analysis::time::Timestamp;

/// A part's time in a tool.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct Stay {
    pub(super) tool: ToolNumber,
    pub(super) part: Part,
    pub(super) fitted: Timestamp,
    /// When it ended, and how; `None` while it is in use.
    pub(super) ended: Option<(Timestamp, End)>,
}

/// A part that is in: since when, and whether its own fitting was told or it came with the whole hot end.
#[derive(Clone, Copy, Debug)]
struct Fitted {
    at: Timestamp,
    with_hot_end: bool,
}

/// The stays of one kind of part in one tool, told by the printer's changes in time order. A part whose fitting was never
/// told has no age and leaves no stay. One that came with a hot end counts if its own end was told: whether a hot end
/// has a liner is not known otherwise. Without a word that it failed, a part was changed before it did.
pub(super) fn stays(changes: &[PartChange], tool: ToolNumber, part: Part) -> Vec<Stay> {
    let (mut stays, mut held) = (Vec::new(), None::<Fitted>);
    for change in changes.iter().filter(|change| change.tool == tool) {
        let is_own = change.part == part;
        if !is_own && change.part != Part::HotEnd {
            continue;
        }
        if let Some(fitted) = held.take().filter(|fitted| is_own || !fitted.with_hot_end) {
            let has_failed = is_own && change.reason == Some(PartReason::Failed);
            let end = if has_failed { End::Failed } else { End::Censored };
            stays.push(Stay { tool, part, fitted: fitted.at, ended: Some((change.at, end)) });
        }
        if change.event == PartEvent::Fitted {
            held = Some(Fitted { at: change.at, with_hot_end: !is_own });
        }
    }
    let in_use = held.filter(|fitted| !fitted.with_hot_end);
    stays.extend(in_use.map(|fitted| Stay { tool, part, fitted: fitted.at, ended: None }));
    stays
}
