//! The rules of a tool that waits hot: what its melt has taken, and how long it has stood at print temperature. One
//! ladder: of what is the matter with one waiting tool, the gravest alarm alone is said.

use super::effect::{AlarmEffect, Subject};
use super::gate::Turn;
use super::ledger::{Ledger, Moment, Words};
use super::rule::Rule;
use super::rulebook::{Bound, Tuning};
use crate::entry::{JobState, ToolNumber};
use crate::tracker::{Doing, ToolNow};
use dwell_analysis::polymer::dose_rate;
use dwell_analysis::time::Timestamp;
use dwell_analysis::units::{Celsius, Seconds};
use std::collections::BTreeMap;

/// The gravest first. A higher one takes the place of a lower one, and a lower one is not said while a higher one holds:
/// falling back tells nobody anything that they could do.
const LADDER: [Rule; 4] = [Rule::ResidenceBudget, Rule::ResidenceWarn, Rule::IdleHot, Rule::ResidenceNote];

/// Each rung but the gravest calls once in this time, of a tool in prints and of a tool outside of them, and is suppressed by
/// design otherwise: in a print it waits many times over, mostly alike, and one print is mostly like the one before. A
/// little less than a day, so that a daily habit is told of daily.
const QUIET: Seconds = Seconds::minutes(20.0 * 60.0);

/// Whom a rung of the ladder called, and when; and whether a job was on.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Called {
    /// The rung.
    pub subject: Subject,
    /// When it was raised.
    pub raised: Timestamp,
    /// Whether that was in a print.
    pub in_print: bool,
}

/// What was said of waiting tools lately.
#[derive(Clone, Debug, Default)]
pub(super) struct Told {
    job: Option<JobState>,
    /// The gravest rung, and when; a tool, and whether a job was on.
    rungs: BTreeMap<(ToolNumber, bool), (usize, Timestamp)>,
}

impl Told {
    /// Takes over the job's state.
    pub(super) fn note(&mut self, job: JobState) {
        self.job = Some(job);
    }

    /// Takes up what was said before a restart.
    pub(super) fn resume(&mut self, called: &[Called]) {
        self.rungs.clear();
        for Called { subject, raised, in_print } in called {
            let rung = LADDER.iter().position(|rule| *rule == subject.rule);
            let Some((tool, rung)) = subject.tool.zip(rung) else { continue };
            self.rungs.insert((tool, *in_print), (rung, *raised));
        }
    }

    /// That alarm calls.
    fn keep(&mut self, subject: Subject, raised: Timestamp) {
        let rung = LADDER.iter().position(|rule| *rule == subject.rule);
        if let Some((tool, rung)) = subject.tool.zip(rung) {
            self.rungs.insert(self.key(tool), (rung, raised));
        }
    }

    /// Whether that rung, or a graver one, was said lately.
    fn has(&self, tool: ToolNumber, rung: usize, at: Timestamp) -> bool {
        let told = self.rungs.get(&self.key(tool));
        told.is_some_and(|(told, said)| *told <= rung && at - *said < QUIET)
    }

    fn key(&self, tool: ToolNumber) -> (ToolNumber, bool) {
        (tool, self.job.is_some_and(JobState::is_on))
    }

    /// While the job heats up, its tools wait for each other and for the bed: by design, and soon over.
    fn is_heating_up(&self) -> bool {
        self.job == Some(JobState::Heating)
    }
}

/// Beyond this a forecast at the present temperature is no use to anyone, min.
const FORECAST_MAX: f64 = 24.0 * 60.0;

impl Ledger {
    /// Weighs one tool's waiting.
    pub(super) fn weigh_waiting(&mut self, tool: ToolNumber, now: &ToolNow, moment: Moment) -> Vec<AlarmEffect> {
        let mut effects = Vec::new();
        let mut is_spoken_for = false;
        for (rung, rule) in LADDER.into_iter().enumerate() {
            let subject = Subject::of_tool(rule, tool);
            let is_true =
                if rule == Rule::IdleHot { self.is_hot(subject, tool, now) } else { self.is_dosed(subject, now) };
            let rests = rule != Rule::ResidenceBudget && self.told.is_heating_up() || self.rests(rule, tool, now);
            // Who has tuned a rule wants to hear just that, each time.
            let is_quiet = rung > 0 && self.tuning(subject) == Tuning::usual(rule);
            let is_told = is_quiet && self.told.has(tool, rung, moment.at);
            match self.turn(subject, is_true.filter(|is_true| !(*is_true && rests)), moment.lasted) {
                Turn::Raise if !is_spoken_for => {
                    if !is_told {
                        self.told.keep(subject, moment.at);
                    }
                    let words = self.waiting_words(rule, tool, now);
                    effects.push(self.raise_quietly(subject, moment.at, words, is_told));
                    let lower = LADDER.iter().skip(rung + 1).map(|lower| Subject::of_tool(*lower, tool));
                    effects.extend(lower.filter_map(|lower| self.end(lower, moment.at, true)));
                }
                Turn::Return => effects.extend(self.end(subject, moment.at, false)),
                // A cold melt takes no dose: the alarm has no more to say, but the melt stays told of until it is flushed.
                Turn::None if rule != Rule::IdleHot && now.doing == Doing::Cold => {
                    effects.extend(self.end(subject, moment.at, false));
                }
                Turn::None | Turn::Raise => {}
            }
            is_spoken_for |= self.gate(subject).stands();
        }
        effects
    }

    /// Whether the melt that waits has taken the rule's share of its limit; `None` where nothing tells, and of a cold melt.
    fn is_dosed(&self, subject: Subject, now: &ToolNow) -> Option<bool> {
        let gate = self.gate(subject);
        let (share, deadband) = self.share(subject)?;
        let is_over = gate.is_over(now.dose.get(), share * now.limit.get(), deadband * share * now.limit.get());
        match now.doing {
            Doing::Waiting { .. } => Some(is_over),
            // Until it is flushed, what is at work is the melt that waited.
            Doing::Working { .. } => Some(gate.stands() && is_over),
            Doing::Cold | Doing::Unknown => None,
        }
    }

    /// Whether what a rule asks of a person is done, or is no matter: a note and a warning are for a tool that is kept hot.
    fn rests(&self, rule: Rule, tool: ToolNumber, now: &ToolNow) -> bool {
        let is_cool = || now.actual.is_some_and(|actual| actual < self.facts(tool).first_flow.value);
        matches!(rule, Rule::ResidenceNote | Rule::ResidenceWarn) && (self.is_off(tool) || is_cool())
    }

    /// Whether the tool's heater is told to be off; the one of a shared hot end is on for any of its tools.
    fn is_off(&self, tool: ToolNumber) -> bool {
        self.heat.is_tool_off(tool) && (!self.heaters.is_shared() || self.heat.is_tool_on() == Some(false))
    }

    /// Whether the tool waits over its limit; `None` where nothing tells.
    fn is_hot(&self, subject: Subject, tool: ToolNumber, now: &ToolNow) -> Option<bool> {
        match now.doing {
            Doing::Waiting { .. } => {
                let (over, deadband) = self.idle_over(subject, tool)?;
                now.actual.map(|actual| self.gate(subject).is_over(actual.get(), over.get(), deadband))
            }
            Doing::Working { .. } | Doing::Cold => Some(false),
            Doing::Unknown => None,
        }
    }

    /// Over which temperature a tool that waits is too hot: what was set, else its material's lowest print temperature.
    fn idle_over(&self, subject: Subject, tool: ToolNumber) -> Option<(Celsius, f64)> {
        match self.tuning(subject).bound {
            Bound::Over { deadband, .. } => Some((self.too_hot_over(subject.rule, tool)?, deadband.get())),
            Bound::OffBy { .. } | Bound::Share { .. } | Bound::None => None,
        }
    }

    fn share(&self, subject: Subject) -> Option<(f64, f64)> {
        match self.tuning(subject).bound {
            Bound::Share { at, deadband } => Some((at, deadband)),
            Bound::Over { .. } | Bound::OffBy { .. } | Bound::None => None,
        }
    }

    fn waiting_words(&self, rule: Rule, tool: ToolNumber, now: &ToolNow) -> Words {
        let heat = now.actual.map_or_else(String::new, |actual| format!(" at {:.0} °C", actual.get()));
        let (dose, limit) = (now.dose.get(), now.limit.get());
        let share = 100.0 * dose / limit;
        let taken = format!("its melt has used {dose:.0} of its {limit:.0} equivalent min ({share:.0} %)");
        let next = self.next_level(tool, now).unwrap_or_default();
        if rule == Rule::IdleHot {
            let subject = Subject::of_tool(rule, tool);
            let over =
                self.idle_over(subject, tool).map_or_else(String::new, |(over, _)| format!("{:.0} °C", over.get()));
            let lasting = minutes(self.tuning(subject).on_delay.as_minutes());
            return Words {
                cause: format!("{tool} has waited at {over} or more for {lasting}, now{heat}; {taken}.{next}"),
                consequence: "The waiting melt cooks and drools, and the liner above it ages.",
                action: "Lower the waiting tool's set point, or switch it off if its turn is far off.",
            };
        }
        let (consequence, action) = if rule == Rule::ResidenceNote {
            (
                "The melt ages: left as it is, the next start may string.",
                "Today: lower the tool's standby temperature, or have it cool when its turn is far off.",
            )
        } else if rule == Rule::ResidenceWarn {
            (
                "The melt thins and darkens: the next start may string or jam.",
                "Within the hour: lower the waiting tool's set point, or switch it off; purge it before its next turn.",
            )
        } else {
            (
                "The melt in the nozzle is spent: the next start may jam or string.",
                "Switch the waiting tool off, or lower its set point; purge it before its next turn.",
            )
        };
        Words { cause: format!("{tool} waits{heat}; {taken}.{next}"), consequence, action }
    }

    /// When the next level over a note's is reached at the present temperature, as a sentence of its own; `None` over the
    /// highest. A level that is reached and only waits for its on-delay is no news.
    fn next_level(&self, tool: ToolNumber, now: &ToolNow) -> Option<String> {
        let levels = [Rule::ResidenceWarn, Rule::ResidenceBudget].into_iter();
        let levels = levels.filter_map(|rule| Some(self.share(Subject::of_tool(rule, tool))?.0 * now.limit.get()));
        let level = levels.filter(|level| *level > now.dose.get()).min_by(f64::total_cmp)?;
        let left = (level - now.dose.get()) / dose_rate(self.facts(tool), now.actual?);
        let when = if left < FORECAST_MAX {
            format!("in about {}", minutes(left.max(1.0)))
        } else {
            "in more than a day".to_owned()
        };
        // As a share, as what it has used: of a small limit, whole minutes may be the same.
        let share = 100.0 * level / now.limit.get();
        Some(format!(" At this temperature it reaches {share:.0} % {when}."))
    }
}

/// Minutes in words, hours from two on.
pub(super) fn minutes(minutes: f64) -> String {
    if minutes >= 120.0 {
        format!("{:.1} h", minutes / 60.0)
    } else if minutes >= 1.0 {
        format!("{minutes:.0} min")
    } else {
        format!("{:.0} s", minutes * 60.0)
    }
}
