//! `learn`: what the record says about each failure mode, for people, as JSON, or as forward-only predictions.

use super::{Failure, output};
use crate::cli::Place;
use crate::config::Config;
use crate::stamp;
use crate::store::Reader;
use crate::study::{Lesson, Study, studied};
use dwell_analysis::estimate::Estimate;
use dwell_analysis::risk::{Factor, Skill};
use dwell_dashboards::format;
use serde::Serialize;
use std::fmt::Write;

#[derive(Serialize)]
struct Document {
    /// The newest reading that was learned from.
    #[serde(skip_serializing_if = "Option::is_none")]
    as_of: Option<String>,
    modes: Vec<ModeJson>,
}

#[derive(Serialize)]
struct ModeJson {
    mode: &'static str,
    n: usize,
    events: usize,
    #[serde(skip_serializing_if = "Option::is_none")]
    rate: Option<IntervalJson>,
    state: &'static str,
    factors: Vec<FactorJson>,
    #[serde(skip_serializing_if = "Option::is_none")]
    skill: Option<SkillJson>,
    /// Why there are no factors.
    #[serde(skip_serializing_if = "Option::is_none")]
    refused: Option<String>,
}

#[derive(Serialize)]
struct IntervalJson {
    mean: f64,
    low: f64,
    high: f64,
}

#[derive(Serialize)]
struct FactorJson {
    factor: &'static str,
    group: &'static str,
    effect: IntervalJson,
    sure: f64,
    rank: usize,
}

#[derive(Serialize)]
struct SkillJson {
    n: usize,
    log_loss: f64,
    log_loss_base: f64,
    brier: f64,
    brier_base: f64,
    #[serde(skip_serializing_if = "Option::is_none")]
    auc: Option<f64>,
    ece: f64,
}

#[derive(Serialize)]
struct Prediction<'a> {
    print: i64,
    printer: &'a str,
    started: String,
    tool: usize,
    mode: &'static str,
    probability: f64,
    happened: Option<bool>,
}

pub(super) fn run(place: &Place, json: bool, predictions: bool) -> Result<(), Failure> {
    let config = place.config()?;
    let reader = Reader::open(&place.database(config.as_ref())?)?;
    let materials = config.as_ref().map(Config::materials).unwrap_or_default();
    let study = studied(&reader, &materials, config.as_ref().map(Config::learning))?;
    let text = if predictions {
        prediction_lines(&study)?
    } else if json {
        let as_of = reader.newest()?.map(stamp::write);
        let document = Document { as_of, modes: study.lessons.iter().map(ModeJson::from).collect() };
        to_json(&document)? + "\n"
    } else {
        page(&study).map_err(|error| Failure::Work(error.to_string()))?
    };
    output::text(&text)
}

fn to_json(value: &impl Serialize) -> Result<String, Failure> {
    serde_json::to_string(value).map_err(|error| Failure::Work(error.to_string()))
}

/// One line a tool-run and mode; a mode that nobody ever reported has no risk to tell.
fn prediction_lines(study: &Study) -> Result<String, Failure> {
    let mut lines = String::new();
    for lesson in &study.lessons {
        let each = study.runs.iter().zip(&lesson.learned.predictions).zip(&lesson.happened);
        for ((run, probability), happened) in each {
            let Some(probability) = *probability else { continue };
            let line = Prediction {
                print: run.print,
                printer: run.printer.as_str(),
                started: stamp::write(run.started),
                tool: run.tool.idx(),
                mode: lesson.mode.word(),
                probability,
                happened: *happened,
            };
            lines += &to_json(&line)?;
            lines.push('\n');
        }
    }
    Ok(lines)
}

/// A page of text for people.
fn page(study: &Study) -> Result<String, std::fmt::Error> {
    let mut page = String::new();
    for lesson in &study.lessons {
        write_mode(&mut page, lesson)?;
    }
    Ok(page + "\nWhat goes together is not yet a cause; `too_little` means that the record does not carry a claim.\n")
}

fn write_mode(page: &mut String, lesson: &Lesson) -> std::fmt::Result {
    let learned = &lesson.learned;
    let mode = format::word(lesson.mode.word());
    writeln!(page, "{mode}: {} of {} tool-runs, {}", learned.events, learned.n, learned.state.name())?;
    match &learned.rate {
        Ok(rate) => writeln!(
            page,
            "  rate {} (90 % interval {} to {})",
            format::percent(rate.value),
            format::percent(rate.low),
            format::percent(rate.high)
        )?,
        Err(refusal) => writeln!(page, "  no rate: {refusal}")?,
    }
    if let Some(refusal) = learned.refused.as_ref().filter(|_| learned.n > 0) {
        writeln!(page, "  no factors: {refusal}")?;
    }
    for factor in learned.factors.iter().take(3) {
        let (effect, name) = (factor.effect, factor.factor.replace('_', " "));
        let (low, high, sure) = (effect.low, effect.high, format::percent(factor.sure));
        writeln!(
            page,
            "  {}. {name}: {:+.2} log-odds a standard deviation ({low:+.2} to {high:+.2}), sign sure to {sure}",
            factor.rank, effect.value
        )?;
    }
    if let Some(skill) = &learned.skill {
        let (mine, base) = (skill.log_loss, skill.log_loss_base);
        writeln!(
            page,
            "  forecast log loss {mine:.4} against {base:.4} of the running rate, over {} tool-runs",
            skill.n
        )?;
    }
    Ok(())
}

impl From<&Lesson> for ModeJson {
    fn from(lesson: &Lesson) -> Self {
        let learned = &lesson.learned;
        Self {
            mode: lesson.mode.word(),
            n: learned.n,
            events: learned.events,
            rate: learned.rate.as_ref().ok().map(IntervalJson::from),
            state: learned.state.name(),
            factors: learned.factors.iter().map(FactorJson::from).collect(),
            skill: learned.skill.as_ref().map(SkillJson::from),
            refused: learned.refused.as_ref().map(ToString::to_string),
        }
    }
}

impl From<&Estimate> for IntervalJson {
    fn from(estimate: &Estimate) -> Self {
        Self { mean: estimate.value, low: estimate.low, high: estimate.high }
    }
}

impl From<&Factor> for FactorJson {
    fn from(factor: &Factor) -> Self {
        let effect = IntervalJson::from(&factor.effect);
        Self { factor: factor.factor, group: factor.group.name(), effect, sure: factor.sure, rank: factor.rank }
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
        }
    }
}
