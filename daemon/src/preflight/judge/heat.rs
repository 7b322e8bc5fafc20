//! Rules on one tool's heat: cold pushes, standby, liner, residence, and heat without use.

use super::{Case, ToolBudget, counted, place};
use crate::entry::ToolNumber;
use crate::jobfile::{JobOutline, Restart, Visit, Wait};
use crate::preflight::finding::{Matter, Path};
use crate::preflight::known::{HeaterKnown, Liner};
use dwell_analysis::units::{Celsius, CelsiusDelta, Seconds};
use dwell_analysis::wear::LINER_PRACTICE;

/// So much under its set point a hot end is not back yet (common practice, no source).
const NOT_BACK: CelsiusDelta = CelsiusDelta::new(10.0);

/// So much over its first flow a melt is pushed without force (common practice, no source).
const EASY_FLOW: CelsiusDelta = CelsiusDelta::new(20.0);

/// A standby so far under first flow is deep (a proposal, no source).
const DEEP: CelsiusDelta = CelsiusDelta::new(20.0);

/// A shorter halt is the controller's settling.
const HALT: Seconds = Seconds::new(2.0);

/// Heat without use that lasts no longer is how a job begins or ends.
const BRIEF_BEFORE: Seconds = Seconds::minutes(5.0);
const BRIEF_AFTER: Seconds = Seconds::minutes(2.0);

/// Set points under this do not melt anything.
const HOT: Celsius = Celsius::new(50.0);

/// How a file switches a heater off.
const OFF: Celsius = Celsius::new(0.0);

/// The share of the residence limit that is worth a note.
const HALF: f64 = 0.5;

impl Case<'_> {
    pub(super) fn cold_push(&self) -> Option<Matter> {
        let restarts: Vec<_> = self.restarts().collect();
        let is_cold = |(_, restart): &(&Visit, &Restart)| restart.target.is_none_or(|target| target < HOT);
        let (first, _) = *restarts.iter().find(|one| is_cold(one))?;
        let has_macros = !self.outline.unread.macros.is_empty();
        Some(Matter::ColdPush { counted: counted(&restarts, is_cold), first: place(first), has_macros })
    }

    pub(super) fn cold_restart(&self) -> Option<Matter> {
        let floor = self.facts().first_flow.value + EASY_FLOW;
        let set = |(visit, restart): (_, _)| told(restart).map(|target| (visit, restart, target));
        let restarts: Vec<(&Visit, &Restart, Celsius)> = self.restarts().filter_map(set).collect();
        let is_cold = |(_, restart, target): &(&Visit, &Restart, Celsius)| {
            restart.expected < *target - NOT_BACK || restart.expected < floor
        };
        let cold = restarts.iter().filter(|one| is_cold(one));
        let coldest = |(_, a, _): &&(_, &Restart, _), (_, b, _): &&(_, &Restart, _)| {
            a.expected.get().total_cmp(&b.expected.get())
        };
        let (visit, restart, target) = *cold.min_by(coldest)?;
        Some(Matter::ColdRestart {
            counted: counted(&restarts, is_cold),
            worst: place(visit),
            expected: restart.expected,
            target,
            floor,
            raised_ahead: restart.raised_ahead,
        })
    }

    pub(super) fn liner(&self) -> Option<Matter> {
        let (set, rating) = self.tool.target_max.zip(self.is.liner_rating())?;
        if set > rating {
            return Some(Matter::OverLiner { set, rating, is_assumed: self.is.liner == Liner::Assumed });
        }
        (set > LINER_PRACTICE).then_some(Matter::NearLiner { set, rating })
    }

    pub(super) fn residence(&self, budget: &ToolBudget) -> Option<Matter> {
        let (dose, limit, worst) = (self.tool.dose_max, budget.limit, budget.worst);
        match budget.share {
            over if over > 1.0 => Some(Matter::OverResidence { dose, limit, worst }),
            near if near > HALF => Some(Matter::NearResidence { dose, limit, worst }),
            _ => None,
        }
    }

    /// A shared heater can't be lowered for the tool that waits, nor one that no set point was given to.
    pub(super) fn no_standby(&self) -> Option<Matter> {
        let tool = self.tool;
        if tool.left_hot == 0 || self.known.is_shared() || tool.target_max.is_none_or(|set| set < HOT) {
            return None;
        }
        let counted = super::Counted { n: tool.left_hot, of: tool.left };
        let longest = self.longest_hot().unwrap_or(tool.waited_max);
        Some(Matter::NoStandby { counted, paths: self.paths(), longest })
    }

    /// The longest wait after it was left hot; `None` if none of those is held.
    fn longest_hot(&self) -> Option<Seconds> {
        let left_hot = self.visits().filter(|visit| visit.left_hot == Some(true));
        let waits = left_hot.filter_map(|visit| {
            // Left hot, it waits: of its waits, which are in order, the first that is not over by then.
            self.waits().find(|wait| wait.ended > visit.ended)
        });
        waits.map(|wait| wait.ended - wait.began).max_by(|a, b| a.get().total_cmp(&b.get()))
    }

    /// By which tool comes next: how often it is left so, and how often hot.
    fn paths(&self) -> Vec<Path> {
        let mut paths: Vec<Path> = Vec::new();
        for pair in self.outline.visits.windows(2) {
            let [left, next] = pair else { continue };
            let Some(is_left_hot) = left.left_hot.filter(|_| left.tool == self.tool.tool && next.tool != left.tool)
            else {
                continue;
            };
            let at = paths.iter().position(|path| path.to == next.tool).unwrap_or_else(|| {
                let counted = super::Counted { n: 0, of: 0 };
                paths.push(Path { from: left.tool, to: next.tool, counted });
                paths.len() - 1
            });
            if let Some(path) = paths.get_mut(at) {
                path.counted.of += 1;
                path.counted.n += u32::from(is_left_hot);
            }
        }
        paths.retain(|path| path.counted.n > 0);
        paths
    }

    pub(super) fn deep_standby(&self) -> Option<Matter> {
        let told = self.tool.standby.min.map(Celsius::new);
        let lowest = if switched_off(self.outline, self.tool.tool) > 0 { OFF } else { told? };
        let facts = self.facts();
        let HeaterKnown { heater, surroundings, .. } = self.is.heater;
        let from = lowest.max(surroundings);
        let print = self.tool.print.filter(|print| *print > from);
        let reheat = print.and_then(|print| heater.heating(from, print, surroundings));
        let (first_flow, glass) = (facts.first_flow.value, facts.glass_transition.value);
        (lowest < first_flow - DEEP).then_some(Matter::DeepStandby { lowest, first_flow, glass, reheat })
    }

    /// Heating up for its first turn is no late reheat.
    pub(super) fn late_reheat(&self) -> Option<Matter> {
        let restarts: Vec<_> = self.restarts().skip(1).collect();
        let is_late = |(_, restart): &(&Visit, &Restart)| restart.waited >= HALT;
        let late = restarts.iter().filter(|one| is_late(one));
        let longest = late.clone().max_by(|(_, a), (_, b)| a.waited.get().total_cmp(&b.waited.get()));
        let (visit, restart) = *longest?;
        Some(Matter::LateReheat {
            counted: counted(&restarts, is_late),
            total: late.fold(Seconds::ZERO, |sum, (_, restart)| sum + restart.waited),
            longest: restart.waited,
            worst: place(visit),
        })
    }

    pub(super) fn hot_after_last(&self) -> Option<Matter> {
        // A wait also ends without use where the tool gets cold before its next turn.
        let last = self.visits().last().filter(|_| self.outline.visits_left_out == 0)?;
        let wait = self.waits().find(|wait| !wait.is_followed && wait.began >= last.ended)?;
        let (lasts, target) = self.unused(wait)?;
        (lasts > BRIEF_AFTER).then_some(Matter::HotAfterLast { at: wait.began, lasts, target })
    }

    pub(super) fn hot_before_first(&self) -> Option<Matter> {
        let first = self.visits().next()?;
        let wait = self.waits().find(|wait| wait.is_followed && wait.began < first.began)?;
        let (lasts, target) = self.unused(wait)?;
        (lasts > BRIEF_BEFORE).then_some(Matter::HotBeforeFirst { at: wait.began, lasts, target })
    }

    /// How long it is kept hot without use, and at what set point; a heater that is off cools as fast as it can.
    fn unused(&self, wait: &Wait) -> Option<(Seconds, Celsius)> {
        let target = wait.target.filter(|target| *target >= HOT && !self.known.is_shared())?;
        Some((wait.ended - wait.began, target))
    }

    pub(super) fn heated_unused(&self) -> Option<Matter> {
        let set = self.tool.target_max.filter(|set| *set >= HOT)?;
        (self.tool.visits == 0 && !self.known.is_shared()).then_some(Matter::HeatedUnused { set })
    }
}

/// How often a tool is off until it is called again, as far as its visits are held. The spread of its standbys holds
/// none of these.
pub(in crate::preflight) fn switched_off(outline: &JobOutline, tool: ToolNumber) -> u32 {
    let visits: Vec<&Visit> = outline.visits.iter().filter(|visit| visit.tool == tool).collect();
    let is_off = |visit: &Visit| visit.left_hot == Some(false) && visit.standby.is_some_and(|set| set <= OFF);
    let n = visits.windows(2).filter(|pair| pair.first().is_some_and(|visit| is_off(visit))).count();
    u32::try_from(n).unwrap_or(u32::MAX)
}

/// The set point at a first push, if there is one worth the name; without it `cold_push` speaks.
fn told(restart: &Restart) -> Option<Celsius> {
    restart.target.filter(|target| *target >= HOT)
}
