//! What was learned as the JSON that scripts rely on. Owns field names; an absent field is unknown.

use super::evidence::{CalibrationJson, PatternsJson, ReliabilityJson, ResponseJson, TrialJson};
use super::part::PartInUse;
use super::{Instant, MeanJson};
use dwell_analysis::risk::{Carries, Factor, Group, Habit, Inseparable, Learned, Settling, Skill, Trial};
use dwell_dashboards::view::{BothReadings, LearnView, ModeView, ReadingView, SilenceView};
use schemars::JsonSchema;
use serde::Serialize;

#[derive(JsonSchema, Serialize)]
#[schemars(rename = "Learned")]
pub(crate) struct LearnedJson {
    /// The newest reading that was learned from.
    #[serde(skip_serializing_if = "Option::is_none")]
    as_of: Option<Instant>,
    prints: usize,
    tool_runs: usize,
    prints_reported: usize,
    modes: Vec<ModeJson>,
    silence: SilenceJson,
    habits: Vec<HabitJson>,
    parts: Vec<PartInUse>,
}

#[derive(JsonSchema, Serialize)]
#[schemars(rename = "Mode")]
struct ModeJson {
    mode: &'static str,
    n: usize,
    events: usize,
    #[serde(skip_serializing_if = "Option::is_none")]
    rate: Option<MeanJson>,
    state: &'static str,
    severities: SeveritiesJson,
    /// Prints of which it was told without a tool that took part.
    unplaced: usize,
    /// Runs noted as the mode that this one is mixed up with.
    doubtful: usize,
    #[serde(skip_serializing_if = "Option::is_none")]
    mixed_up_with: Option<&'static str>,
    groups: Vec<GroupJson>,
    factors: Vec<FactorJson>,
    inseparable: Vec<InseparableJson>,
    #[serde(skip_serializing_if = "Option::is_none")]
    skill: Option<SkillJson>,
    /// The plain model on the same runs.
    #[serde(skip_serializing_if = "Option::is_none")]
    baseline: Option<SkillJson>,
    reliability: Vec<ReliabilityJson>,
    #[serde(skip_serializing_if = "Option::is_none")]
    calibration: Option<CalibrationJson>,
    #[serde(skip_serializing_if = "Option::is_none")]
    response: Option<ResponseJson>,
    #[serde(skip_serializing_if = "Option::is_none")]
    patterns: Option<PatternsJson>,
    settling: SettlingJson,
    /// Why there are no factors.
    #[serde(skip_serializing_if = "Option::is_none")]
    refused: Option<String>,
}

#[derive(JsonSchema, Serialize)]
#[schemars(rename = "Severities")]
struct SeveritiesJson {
    slight: usize,
    serious: usize,
    grave: usize,
    not_told: usize,
}

#[derive(JsonSchema, Serialize)]
#[schemars(rename = "Group")]
struct GroupJson {
    group: &'static str,
    probability: f64,
}

#[derive(JsonSchema, Serialize)]
#[schemars(rename = "Factor")]
struct FactorJson {
    factor: &'static str,
    group: &'static str,
    effect: MeanJson,
    sure: f64,
    rank: usize,
    prior: MeanJson,
    /// By the record alone, log-odds.
    #[serde(skip_serializing_if = "Option::is_none")]
    alone: Option<MeanJson>,
    repeats_prior: bool,
    carries: f64,
}

#[derive(JsonSchema, Serialize)]
#[schemars(rename = "Inseparable")]
struct InseparableJson {
    factors: [&'static str; 2],
    groups: [&'static str; 2],
    correlation: f64,
    #[serde(skip_serializing_if = "Option::is_none")]
    trial: Option<TrialJson>,
}

#[derive(JsonSchema, Serialize)]
#[schemars(rename = "Skill")]
struct SkillJson {
    n: usize,
    log_loss: f64,
    log_loss_base: f64,
    brier: f64,
    brier_base: f64,
    #[serde(skip_serializing_if = "Option::is_none")]
    auc: Option<f64>,
    ece: f64,
    evidence: f64,
}

/// What would settle a mode: `verdict` is `settled`, `more`, `rule_out` or `no_rate`.
#[derive(JsonSchema, Serialize)]
#[schemars(rename = "Settling")]
struct SettlingJson {
    verdict: &'static str,
    #[serde(skip_serializing_if = "Option::is_none")]
    tool_runs: Option<usize>,
    #[serde(skip_serializing_if = "Option::is_none")]
    prints: Option<usize>,
}

#[derive(JsonSchema, Serialize)]
#[schemars(rename = "Silence")]
pub(super) struct SilenceJson {
    means_clean: bool,
    /// Prints that nobody said a word of.
    prints: usize,
    /// The modes in which the other reading matters.
    differ: Vec<&'static str>,
    other: Vec<OtherJson>,
}

#[derive(JsonSchema, Serialize)]
#[schemars(rename = "OtherReading")]
struct OtherJson {
    mode: &'static str,
    n: usize,
    events: usize,
    #[serde(skip_serializing_if = "Option::is_none")]
    rate: Option<MeanJson>,
    state: &'static str,
    #[serde(skip_serializing_if = "Option::is_none")]
    first_group: Option<&'static str>,
}

#[derive(JsonSchema, Serialize)]
#[schemars(rename = "Habit")]
struct HabitJson {
    n: usize,
    wait_longest_min: f64,
    idle_mean_c: f64,
    #[serde(skip_serializing_if = "Option::is_none")]
    changes_per_hour: Option<f64>,
    /// Runs of it that failed in any way.
    events: usize,
    #[serde(skip_serializing_if = "Option::is_none")]
    rate: Option<MeanJson>,
}

impl From<&LearnView> for LearnedJson {
    fn from(view: &LearnView) -> Self {
        Self {
            as_of: view.as_of.map(Instant::from),
            prints: view.prints,
            tool_runs: view.runs,
            prints_reported: view.reported,
            modes: view.modes.iter().map(|mode| of_mode(mode, view)).collect(),
            silence: SilenceJson::from(&view.silence),
            habits: view.habits.iter().map(HabitJson::from).collect(),
            parts: view.parts.iter().map(PartInUse::from).collect(),
        }
    }
}

fn of_mode(mode: &ModeView, view: &LearnView) -> ModeJson {
    let learned = &mode.learned;
    let pairs = learned.inseparable.iter().zip(&mode.trials);
    ModeJson {
        mode: mode.mode,
        n: learned.n,
        events: learned.events,
        rate: learned.rate.as_ref().ok().map(MeanJson::from),
        state: learned.state.name(),
        severities: severities(mode),
        unplaced: mode.unplaced,
        doubtful: learned.doubtful,
        mixed_up_with: mode.mixed_up_with,
        groups: learned.groups.iter().map(GroupJson::from).collect(),
        factors: learned.factors.iter().map(FactorJson::from).collect(),
        inseparable: pairs.map(|(pair, trial)| inseparable(pair, trial.as_ref())).collect(),
        skill: learned.skill.as_ref().map(SkillJson::from),
        baseline: learned.baseline.as_ref().map(SkillJson::from),
        reliability: learned.reliability.iter().map(ReliabilityJson::from).collect(),
        calibration: learned.calibration.as_ref().map(CalibrationJson::from),
        response: mode.response.as_ref().map(ResponseJson::from),
        patterns: mode.patterns.as_ref().ok().map(PatternsJson::from),
        settling: settling(learned, view),
        refused: learned.refused.as_ref().map(ToString::to_string),
    }
}

fn severities(mode: &ModeView) -> SeveritiesJson {
    let [slight, serious, grave] = mode.severities;
    let not_told = mode.learned.events.saturating_sub(slight + serious + grave);
    SeveritiesJson { slight, serious, grave, not_told }
}

fn inseparable(pair: &Inseparable, trial: Option<&Trial>) -> InseparableJson {
    InseparableJson {
        factors: pair.factors,
        groups: pair.groups.map(Group::name),
        correlation: pair.correlation,
        trial: trial.map(TrialJson::from),
    }
}

fn settling(learned: &Learned, view: &LearnView) -> SettlingJson {
    let (verdict, tool_runs) = match learned.settling {
        Settling::Settled => ("settled", None),
        Settling::Runs(n) => ("more", Some(n)),
        Settling::RunsToRuleOut(n) => ("rule_out", Some(n)),
        Settling::RuledOut => ("ruled_out", None),
        Settling::NoRate => ("no_rate", None),
    };
    SettlingJson { verdict, tool_runs, prints: tool_runs.and_then(|runs| view.prints_of(runs)) }
}

impl From<&Carries> for GroupJson {
    fn from(carries: &Carries) -> Self {
        Self { group: carries.group.name(), probability: carries.probability }
    }
}

impl From<&Factor> for FactorJson {
    fn from(factor: &Factor) -> Self {
        Self {
            factor: factor.factor,
            group: factor.group.name(),
            effect: MeanJson::from(&factor.effect),
            sure: factor.sure,
            rank: factor.rank,
            prior: MeanJson::from(&factor.prior),
            alone: factor.alone.as_ref().map(MeanJson::from),
            repeats_prior: factor.repeats_prior,
            carries: factor.carries,
        }
    }
}

impl From<&Skill> for SkillJson {
    fn from(skill: &Skill) -> Self {
        Self {
            n: skill.n,
            log_loss: skill.log_loss,
            log_loss_base: skill.log_loss_base,
            brier: skill.brier,
            brier_base: skill.brier_base,
            auc: skill.auc,
            ece: skill.ece,
            evidence: skill.evidence,
        }
    }
}

impl From<&SilenceView> for SilenceJson {
    fn from(silence: &SilenceView) -> Self {
        let differ = silence.readings.iter().filter(|both| both.differ()).map(|both| both.mode).collect();
        let other = silence.readings.iter().map(OtherJson::from).collect();
        Self { means_clean: silence.means_clean, prints: silence.prints, differ, other }
    }
}

impl From<&BothReadings> for OtherJson {
    fn from(both: &BothReadings) -> Self {
        let ReadingView { n, events, ref rate, state, first } = both.other;
        let rate = rate.as_ref().ok().map(MeanJson::from);
        Self { mode: both.mode, n, events, rate, state: state.name(), first_group: first.map(Group::name) }
    }
}

impl From<&Habit> for HabitJson {
    fn from(habit: &Habit) -> Self {
        Self {
            n: habit.n,
            wait_longest_min: habit.wait_longest.as_minutes(),
            idle_mean_c: habit.idle_mean.get(),
            changes_per_hour: habit.changes_per_hour,
            events: habit.events,
            rate: habit.rate.as_ref().ok().map(MeanJson::from),
        }
    }
}
