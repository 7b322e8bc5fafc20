//! The rules: from an outline and what is known to what stands out. Owns the bounds of each rule; what comes of a
//! finding stands in `finding` and `words`.

mod filament;
mod heat;
mod job;

pub(super) use heat::switched_off;

use super::finding::{Counted, Finding, Matter, Place, WorstWait, sort};
use super::known::{Known, ToolKnown};
use crate::entry::ToolNumber;
use crate::jobfile::{JobOutline, Restart, ToolOutline, Visit, Wait};
use dwell_analysis::polymer::MaterialFacts;
use dwell_analysis::units::DoseMinutes;

/// A job file, judged.
#[derive(Clone, Debug, PartialEq)]
pub struct Preflight {
    /// One a tool, as the outline has them.
    pub tools: Vec<ToolBudget>,
    /// The gravest first.
    pub findings: Vec<Finding>,
}

/// What a job leaves of one tool's residence budget.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct ToolBudget {
    /// The tool.
    pub tool: ToolNumber,
    /// The material's limit.
    pub limit: DoseMinutes,
    /// The share of it used at worst.
    pub share: f64,
    /// Where that is; `None` if it never waits hot.
    pub worst: Option<WorstWait>,
}

/// Judges a job file by what is known of the printer.
#[must_use]
pub fn judge(outline: &JobOutline, known: &Known) -> Preflight {
    let mut preflight = Preflight { tools: Vec::with_capacity(outline.tools.len()), findings: Vec::new() };
    for tool in &outline.tools {
        let case = Case { outline, known, tool, is: known.tool(tool.tool) };
        let budget = case.budget();
        let matters = case.heat(&budget).chain(case.filament());
        preflight.findings.extend(matters.map(|matter| Finding { tool: Some(tool.tool), matter }));
        preflight.tools.push(budget);
    }
    preflight.findings.extend(job::matters(outline, known).map(|matter| Finding { tool: None, matter }));
    sort(&mut preflight.findings);
    preflight
}

/// A dose of at least that share of the highest is as good as it.
const NEARLY: f64 = 0.9;
/// A wait to which more than that share of a dose is due is to blame for it.
const MOST: f64 = 0.5;

/// One tool of one job.
struct Case<'a> {
    outline: &'a JobOutline,
    known: &'a Known,
    tool: &'a ToolOutline,
    is: ToolKnown,
}

impl<'a> Case<'a> {
    fn visits(&self) -> impl Iterator<Item = &'a Visit> {
        let tool = self.tool.tool;
        self.outline.visits.iter().filter(move |visit| visit.tool == tool)
    }

    fn waits(&self) -> impl Iterator<Item = &'a Wait> {
        let tool = self.tool.tool;
        self.outline.waits.iter().filter(move |wait| wait.tool == tool)
    }

    /// Visits in which it pushes filament, and how.
    fn restarts(&self) -> impl Iterator<Item = (&'a Visit, &'a Restart)> {
        self.visits().filter_map(|visit| visit.restart.as_ref().map(|restart| (visit, restart)))
    }

    fn facts(&self) -> &'a MaterialFacts {
        self.known.facts(self.tool.tool)
    }

    fn budget(&self) -> ToolBudget {
        let limit = self.facts().residence_limit.value;
        // The worst wait may be one of those that are not held; and where the melt aged before it, while the job stood
        // still, no wait is to blame.
        let is_blamed = |wait: &&Wait| {
            wait.dose.get() >= self.tool.dose_max.get() * NEARLY && wait.measure.dose.get() > wait.dose.get() * MOST
        };
        let by_own = |a: &&Wait, b: &&Wait| a.measure.dose.get().total_cmp(&b.measure.dose.get());
        let worst = self.waits().filter(is_blamed).max_by(by_own);
        let worst =
            worst.map(|wait| WorstWait { at: wait.began, lasts: wait.ended - wait.began, mean: wait.measure.mean });
        ToolBudget { tool: self.tool.tool, limit, share: self.tool.dose_max.get() / limit.get(), worst }
    }

    /// The matters of heat, as they come up.
    fn heat(&self, budget: &ToolBudget) -> impl Iterator<Item = Matter> {
        let each = [
            self.cold_push(),
            self.cold_restart(),
            self.liner(),
            self.residence(budget),
            self.no_standby(),
            self.deep_standby(),
            self.late_reheat(),
            self.hot_after_last(),
            self.hot_before_first(),
            self.heated_unused(),
        ];
        each.into_iter().flatten()
    }

    /// The matters of filament.
    fn filament(&self) -> impl Iterator<Item = Matter> {
        [self.no_purge(), self.retraction(), self.untold_retractions(), self.ground_filament()].into_iter().flatten()
    }
}

fn place(visit: &Visit) -> Place {
    Place { at: visit.began, byte: visit.byte }
}

/// How many pass.
fn counted<T>(of: &[T], passes: impl Fn(&T) -> bool) -> Counted {
    let count = |n: usize| u32::try_from(n).unwrap_or(u32::MAX);
    Counted { n: count(of.iter().filter(|one| passes(one)).count()), of: count(of.len()) }
}

#[cfg(test)]
#[expect(clippy::unwrap_used, reason = "a test may stop")]
mod tests;
#[cfg(test)]
#[expect(clippy::unwrap_used, reason = "a test may stop")]
mod texts;
