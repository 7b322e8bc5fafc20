//! What was learned, as bytes. Owns the form: each type of `analysis` is spelled out here, so that none of them is a
//! promise, and one that changes does not compile until its form does.

use crate::entry::Mode;
use dwell_analysis::estimate::{Estimate, Refusal};
use dwell_analysis::risk::{
    Calibration, Carries, Factor, Group, Inseparable, Learned, Reliability, Settling, Skill, State, factor_named,
};
use serde::{Deserialize, Serialize};

#[derive(Serialize, Deserialize)]
#[serde(remote = "Estimate")]
struct EstimateForm {
    value: f64,
    low: f64,
    high: f64,
    n: usize,
}

#[derive(Serialize, Deserialize)]
#[serde(remote = "Refusal")]
enum RefusalForm {
    TooFew { have: usize, need: usize },
    NoEvents,
    OneClassOnly,
    NothingVaries,
    NoStep,
    TooLoose,
    OutOfReach,
    DidNotConverge { after: u16 },
    MoreEventsThanOccasions { events: usize, n: usize },
    NoExposure,
}

#[derive(Serialize, Deserialize)]
#[serde(remote = "State")]
enum StateForm {
    Learned,
    Leaning,
    TooLittle,
}

#[derive(Serialize, Deserialize)]
#[serde(remote = "Group")]
enum GroupForm {
    IdleHeat,
    Retraction,
    PrintHeat,
    Wear,
    Changes,
    Material,
    Drying,
}

#[derive(Serialize, Deserialize)]
#[serde(remote = "Settling")]
enum SettlingForm {
    Settled,
    Runs(usize),
    RunsToRuleOut(usize),
    RuledOut,
    NoRate,
}

#[derive(Serialize, Deserialize)]
#[serde(remote = "Skill")]
struct SkillForm {
    n: usize,
    log_loss: f64,
    log_loss_base: f64,
    brier: f64,
    brier_base: f64,
    auc: Option<f64>,
    ece: f64,
    evidence: f64,
}

#[derive(Serialize, Deserialize)]
struct OfEstimate(#[serde(with = "EstimateForm")] Estimate);
#[derive(Serialize, Deserialize)]
struct OfRefusal(#[serde(with = "RefusalForm")] Refusal);
#[derive(Serialize, Deserialize)]
struct OfState(#[serde(with = "StateForm")] State);
#[derive(Clone, Copy, Serialize, Deserialize)]
struct OfGroup(#[serde(with = "GroupForm")] Group);
#[derive(Serialize, Deserialize)]
struct OfSettling(#[serde(with = "SettlingForm")] Settling);
#[derive(Serialize, Deserialize)]
struct OfSkill(#[serde(with = "SkillForm")] Skill);

/// A factor: name, group, effect, what was believed before, the record alone, whether the belief is all, how sure its
/// sign is, what it carries, rank.
#[derive(Serialize, Deserialize)]
struct OfFactor(String, OfGroup, OfEstimate, OfEstimate, Option<OfEstimate>, bool, f64, f64, usize);

/// A bin: its bounds, how many, their mean, what came of them.
#[derive(Serialize, Deserialize)]
struct OfReliability(f64, f64, usize, f64, OfEstimate);

/// A mode's.
#[derive(Serialize, Deserialize)]
struct Lesson {
    mode: String,
    n: usize,
    events: usize,
    doubtful: usize,
    rate: Result<OfEstimate, OfRefusal>,
    state: OfState,
    factors: Vec<OfFactor>,
    groups: Vec<(OfGroup, f64)>,
    inseparable: Vec<([String; 2], [OfGroup; 2], f64)>,
    refused: Option<OfRefusal>,
    skill: Option<OfSkill>,
    baseline: Option<OfSkill>,
    reliability: Vec<OfReliability>,
    /// Slope, intercept, in the large.
    calibration: Option<[OfEstimate; 3]>,
    settling: OfSettling,
    predictions: Vec<Option<f64>>,
}

/// What was learned of these modes, as bytes.
pub(super) fn pack<'a>(lessons: impl Iterator<Item = (Mode, &'a Learned)>) -> Vec<u8> {
    let lessons: Vec<Lesson> = lessons.map(|(mode, learned)| lesson(mode, learned.clone())).collect();
    #[expect(clippy::expect_used, reason = "numbers and words always serialize into memory")]
    postcard::to_stdvec(&lessons).expect("lessons are numbers and words")
}

/// What these bytes say; `None` if they are of another form.
pub(super) fn unpack(body: &[u8]) -> Option<Vec<(Mode, Learned)>> {
    let lessons: Vec<Lesson> = postcard::from_bytes(body).ok()?;
    lessons.into_iter().map(learned).collect()
}

fn lesson(mode: Mode, learned: Learned) -> Lesson {
    let Learned {
        n,
        events,
        doubtful,
        rate,
        state,
        factors,
        groups,
        inseparable,
        refused,
        skill,
        baseline,
        reliability,
        calibration,
        settling,
        predictions,
    } = learned;
    let factor = |one: Factor| {
        let Factor { factor, group, effect, prior, alone, repeats_prior, sure, carries, rank } = one;
        let (effect, prior, alone) = (OfEstimate(effect), OfEstimate(prior), alone.map(OfEstimate));
        OfFactor(factor.to_owned(), OfGroup(group), effect, prior, alone, repeats_prior, sure, carries, rank)
    };
    let bin = |one: Reliability| {
        let Reliability { low, high, n, mean_forecast, observed } = one;
        OfReliability(low, high, n, mean_forecast, OfEstimate(observed))
    };
    let pair = |one: Inseparable| {
        let Inseparable { factors, groups, correlation } = one;
        (factors.map(str::to_owned), groups.map(OfGroup), correlation)
    };
    Lesson {
        mode: mode.word().to_owned(),
        n,
        events,
        doubtful,
        rate: rate.map(OfEstimate).map_err(OfRefusal),
        state: OfState(state),
        factors: factors.into_iter().map(factor).collect(),
        groups: groups.into_iter().map(|Carries { group, probability }| (OfGroup(group), probability)).collect(),
        inseparable: inseparable.into_iter().map(pair).collect(),
        refused: refused.map(OfRefusal),
        skill: skill.map(OfSkill),
        baseline: baseline.map(OfSkill),
        reliability: reliability.into_iter().map(bin).collect(),
        calibration: calibration.map(|line| [line.slope, line.intercept, line.in_the_large].map(OfEstimate)),
        settling: OfSettling(settling),
        predictions,
    }
}

fn learned(lesson: Lesson) -> Option<(Mode, Learned)> {
    let factor = |one: OfFactor| {
        let OfFactor(factor, group, effect, prior, alone, repeats_prior, sure, carries, rank) = one;
        let (factor, group, effect, prior) = (factor_named(&factor)?, group.0, effect.0, prior.0);
        let alone = alone.map(|alone| alone.0);
        Some(Factor { factor, group, effect, prior, alone, repeats_prior, sure, carries, rank })
    };
    let bin = |OfReliability(low, high, n, mean_forecast, observed): OfReliability| Reliability {
        low,
        high,
        n,
        mean_forecast,
        observed: observed.0,
    };
    let line = |[slope, intercept, in_the_large]: [OfEstimate; 3]| Calibration {
        slope: slope.0,
        intercept: intercept.0,
        in_the_large: in_the_large.0,
    };
    let pair = |([one, other], groups, correlation): ([String; 2], [OfGroup; 2], f64)| {
        let factors = [factor_named(&one)?, factor_named(&other)?];
        Some(Inseparable { factors, groups: groups.map(|group| group.0), correlation })
    };
    let learned = Learned {
        n: lesson.n,
        events: lesson.events,
        doubtful: lesson.doubtful,
        rate: lesson.rate.map(|rate| rate.0).map_err(|refusal| refusal.0),
        state: lesson.state.0,
        factors: lesson.factors.into_iter().map(factor).collect::<Option<_>>()?,
        groups: lesson.groups.into_iter().map(|(group, probability)| Carries { group: group.0, probability }).collect(),
        inseparable: lesson.inseparable.into_iter().map(pair).collect::<Option<_>>()?,
        refused: lesson.refused.map(|refusal| refusal.0),
        skill: lesson.skill.map(|skill| skill.0),
        baseline: lesson.baseline.map(|skill| skill.0),
        reliability: lesson.reliability.into_iter().map(bin).collect(),
        calibration: lesson.calibration.map(line),
        settling: lesson.settling.0,
        predictions: lesson.predictions,
    };
    Some((Mode::of_word(&lesson.mode)?, learned))
}
