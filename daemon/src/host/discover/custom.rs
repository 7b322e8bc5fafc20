//! What two keys mean in every heater of a document, by the vote of all of them. Must not: look at words.

use super::leaf::Step;
use super::pair::{Motion, Side, motion, moves_alone};

/// What the same two keys, or places in a row, are in all the heaters of a document: one heater that moves tells for
/// those that stand still.
pub(super) struct Custom<'l> {
    votes: Vec<(Keys<'l>, i32)>,
}

/// Document, depth and the two last steps, measured first.
type Keys<'l> = (usize, usize, &'l Step, &'l Step);

impl<'l> Custom<'l> {
    pub(super) fn of(sides: &[Side<'l>]) -> Self {
        let mut votes: Vec<(Keys<'l>, i32)> = Vec::new();
        for actual in sides {
            for target in sides.iter().filter(|target| target.idx != actual.idx) {
                let Some(keys) = Self::keys(actual, target) else { continue };
                let both = actual.leaf.series.as_ref().zip(target.leaf.series.as_ref());
                let vote = match both.and_then(|(a, t)| motion(a, t)) {
                    Some(Motion::Follows) => 2,
                    Some(Motion::Fits) if moves_alone(actual.leaf, target.leaf) => 1,
                    Some(Motion::Fits | Motion::Open) => 0,
                    Some(Motion::Against) => -1,
                    None => -2,
                };
                match votes.iter_mut().find(|(known, _)| *known == keys) {
                    Some((_, sum)) => *sum += vote,
                    None => votes.push((keys, vote)),
                }
            }
        }
        Self { votes }
    }

    /// Only for two values of one object or row.
    fn keys(actual: &Side<'l>, target: &Side<'l>) -> Option<Keys<'l>> {
        let (a, t) = (actual.leaf, target.leaf);
        let is_beside = a.document == t.document && a.steps.len() > 1 && a.parent() == t.parent();
        is_beside.then_some((a.document, a.steps.len(), a.steps.last()?, t.steps.last()?))
    }

    /// Whether the first is the measured one by custom.
    pub(super) fn fits(&self, actual: &Side<'l>, target: &Side<'l>) -> bool {
        let sum = |keys: Option<Keys<'l>>| {
            self.votes.iter().find(|(known, _)| Some(*known) == keys).map_or(0, |(_, sum)| *sum)
        };
        let voted = sum(Self::keys(actual, target));
        voted >= 1 && voted > sum(Self::keys(target, actual)) + 1
    }
}
