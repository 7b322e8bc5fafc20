//! What the trade says for a change, where it says so clearly: the rules that speak without any record. Owns the rules
//! and their figures; all of it is common practice without a source, but for the figures that name one.
//!
//! A rule falls silent once its suggestion is in force, and none suggests what another one would take back.

use super::candidates::Candidate;
use super::change::{Change, PartKind, Step};
use super::situation::Situation;
use super::suggestion::Rule;
use crate::polymer::{Drive, MELT_VOLUME, Material, RetractionNeed, retraction_needed};
use crate::risk::FailureMode::{self, Blob, Jam, Liner, Stringing, UnderExtrusion};
use crate::survival::Prior;
use crate::units::{Celsius, CelsiusDelta, CubicMm, DoseMinutes, Millimetres};
use crate::wear::{LINER_CONTINUOUS, LINER_PRACTICE};

/// Retraction speeds that guides give, slowest and fastest, mm/s.
pub(super) const SPEED_USUAL: [f64; 2] = [20.0, 60.0];
/// Volumes primed after a change, least and most, mm3 (no source: a smear, and as much as a small prime tower takes).
pub(super) const PRIME_USUAL: [f64; 2] = [5.0, 60.0];
/// What is primed where hardly anything was (no source). Cooling by 60 K shrinks a melt by 2 to 3 mm3, and up to 3.6 mm3
/// of pressure are gone; the rest is margin.
const PRIME_AGAIN: CubicMm = CubicMm::new(15.0);
/// A usual drop to standby (no source). It lowers the dose to a thirtieth; 110 K jammed one person at every change.
const DROP: CelsiusDelta = CelsiusDelta::new(50.0);
/// Less than half of it is hardly a drop (a proposal).
pub(super) const HALF: f64 = 0.5;
/// So much over first flow a standby is kept, since a melt at first flow moves by force alone (a proposal).
const OVER_FLOW: CelsiusDelta = CelsiusDelta::new(10.0);
/// Set points of a standby are whole fives, as people set them.
const FIVE: f64 = 5.0;
/// Retractions up to this are those of a short drive, and from the other on those of a long tube (no source: 0.5 to 2 mm
/// and 4 to 7 mm are usual, and each somewhat beyond).
const SHORT_DRIVE: f64 = 3.0;
const LONG_TUBE: f64 = 3.5;
/// A run that lets as much go as a hot end holds makes drops enough for a wall around the part (a proposal).
const OOZES: CubicMm = MELT_VOLUME;

/// All modes in which melt does not come as it should.
const FEED: [FailureMode; 2] = [Jam, UnderExtrusion];

/// What each rule says.
pub(super) fn rules(situation: &Situation<'_>) -> Vec<Candidate> {
    let each = [
        standby(situation),
        retract(situation),
        prime(situation),
        shield(situation),
        print_temperature(situation),
        wet(situation),
        stagnant(situation),
        liner_due(situation),
        nozzle_due(situation),
        over_liner(situation),
    ];
    each.into_iter().flatten().collect()
}

fn says(rule: Rule, change: Change, modes: &[FailureMode]) -> Candidate {
    Candidate { change, rule: Some(rule), modes: modes.to_vec() }
}

/// The next set point upwards that people would set.
pub(super) fn fives_up(at: Celsius) -> Celsius {
    Celsius::new((at.get() / FIVE).ceil() * FIVE)
}

/// Where practice keeps a waiting tool: a usual drop under its print temperature, and still somewhat over first flow.
pub(super) fn usual_standby(situation: &Situation<'_>) -> Option<Celsius> {
    let lowered = fives_up(situation.held.print? - DROP);
    Some(lowered.max(fives_up(situation.facts.first_flow.value + OVER_FLOW)))
}

/// One of three: lowered where it is left hot and its waits are long; not lowered where they are too short and it
/// restarts cold ("a standby drop is useful only for idle gaps longer than `t_cool` + `t_heat`"); not as deep where it
/// restarts cold from under what is usual ("a restart 20-30 K under print temperature risks slip or a cold plug").
fn standby(situation: &Situation<'_>) -> Option<Candidate> {
    let (print, held, usual) = (situation.held.print?, situation.standby()?, usual_standby(situation)?);
    let change = |to| Change::Standby(Step { from: Some(held), to });
    let pays = situation.pays(usual);
    if let Some(deficit) = situation.restarts_cold().filter(|_| held < print) {
        return match pays {
            Some(_) if held < usual => Some(says(Rule::StartsCold { deficit }, change(usual), &FEED)),
            Some(_) => None,
            None => {
                let round_trip = situation.round_trip(held).filter(|_| situation.pays(held).is_none())?;
                Some(says(Rule::WaitsAreShort { round_trip }, change(print), &FEED))
            }
        };
    }
    let hardly = print - CelsiusDelta::new(HALF * DROP.get());
    let round_trip = pays.filter(|_| held > hardly && usual < hardly)?;
    Some(says(Rule::WaitsAreLong { round_trip }, change(usual), &[Jam, UnderExtrusion, Stringing, Blob, Liner]))
}

/// How the filament is pushed: as somebody told, else as the lengths that were tried tell.
fn drive(situation: &Situation<'_>) -> Option<Drive> {
    let is_length = |length: &f64| *length > 0.0;
    let tried = situation.tried.iter().filter_map(|features| features.retract).map(Millimetres::get).filter(is_length);
    let held = situation.held.retract.map(Millimetres::get).filter(is_length);
    let (low, high) = (tried.clone().fold(f64::INFINITY, f64::min), tried.fold(0.0, f64::max));
    let (low, high) = if high > 0.0 { (low, high) } else { (held?, held?) };
    let told = || (high <= SHORT_DRIVE).then_some(Drive::Short).or((low >= LONG_TUBE).then_some(Drive::LongTube));
    situation.drive.or_else(told)
}

/// What its drive and material need; where it is not known at what it prints, at the usual temperature.
pub(super) fn retraction(situation: &Situation<'_>) -> RetractionNeed {
    let print = situation.held.print.unwrap_or_else(|| situation.facts.usual_print());
    retraction_needed(situation.facts, print, drive(situation))
}

/// Both ends of what is needed, inwards to what people would set, mm.
pub(super) fn retraction_ends(situation: &Situation<'_>) -> [Millimetres; 2] {
    let need = retraction(situation);
    let (low, high) = (need.low.get() * 10.0, need.high.get() * 10.0);
    [Millimetres::new(low.ceil() / 10.0), Millimetres::new(high.floor() / 10.0)]
}

/// To the nearer end, since more would be more of a guess.
fn retract(situation: &Situation<'_>) -> Option<Candidate> {
    let (held, need) = (situation.held.retract?, retraction(situation));
    let [low, high] = retraction_ends(situation);
    let rule = Rule::RetractionOutside { low: need.low, high: need.high };
    let change = |to| Change::Retract(Step { from: Some(held), to });
    match need.departure(held).get() {
        short if short < 0.0 => Some(says(rule, change(low), &[Stringing, Blob])),
        long if long > 0.0 => Some(says(rule, change(high), &FEED)),
        _ => None,
    }
}

/// What restarts cold and primes hardly anything starts its line empty ("idle nozzles lose pressure and run short").
fn prime(situation: &Situation<'_>) -> Option<Candidate> {
    let deficit = situation.restarts_cold()?;
    let held = situation.held.prime.filter(|held| held.get() < PRIME_USUAL[0])?;
    Some(says(Rule::StartsCold { deficit }, Change::Prime(Step { from: Some(held), to: PRIME_AGAIN }), &FEED))
}

/// A nozzle that all tools share never waits with something to let go.
fn shield(situation: &Situation<'_>) -> Option<Candidate> {
    let held = situation.held.ooze_shield;
    let usual = situation.usual(|features| features.ooze.map(CubicMm::get))?;
    let oozes = !situation.is_shared && held != Some(true) && usual > OOZES.get();
    let change = Change::OozeShield(Step { from: held, to: true });
    oozes.then(|| says(Rule::Oozes, change, &[Stringing, Blob]))
}

fn print_temperature(situation: &Situation<'_>) -> Option<Candidate> {
    let held = situation.held.print?;
    let (low, high) = (situation.facts.print_low.value, situation.facts.print_high.value);
    let (rule, change) =
        (Rule::PrintOutside { low, high }, |to| Change::PrintTemperature(Step { from: Some(held), to }));
    if held < low {
        return Some(says(rule, change(low), &FEED));
    }
    (held > high).then(|| says(rule, change(high), &[Jam, Stringing, Blob, Liner]))
}

/// Moisture was a larger cause of chain scission in PLA than 40 K of temperature (J. Appl. Polym. Sci. 2025, app.56698):
/// all of them are better dry. Where nobody
/// told, PLA is not asked for: at home it is mostly printed as it comes.
fn wet(situation: &Situation<'_>) -> Option<Candidate> {
    let held = situation.held.dried;
    let is_forgiving = matches!(situation.facts.kind, Material::Pla | Material::Other);
    if held == Some(true) || held.is_none() && is_forgiving {
        return None;
    }
    Some(says(Rule::Wet, Change::Dried(Step { from: held, to: true }), &[Stringing, Blob, Jam, UnderExtrusion]))
}

/// Melt that clings to the walls has taken more than the material stands: a cold pull takes it out. So does a new
/// nozzle.
fn stagnant(situation: &Situation<'_>) -> Option<Candidate> {
    if nozzle_due(situation).is_some() {
        return None;
    }
    let newest = situation.courses.iter().rev().find_map(|course| course.features.stagnant)?;
    let limit: DoseMinutes = situation.facts.residence_limit.value;
    (newest > limit).then(|| says(Rule::Stagnant, Change::Clean, &FEED))
}

fn liner_due(situation: &Situation<'_>) -> Option<Candidate> {
    let wear = situation.ages.liner_wear?;
    let limit = situation.liner_outlook?.age_limit(situation.accepted);
    let change = Change::Replace(PartKind::Liner);
    (wear > limit).then(|| says(Rule::PartDue, change, &[Liner, Jam, UnderExtrusion]))
}

/// Past the middle scale of what is taken of nozzles' lives. Hot hours stand for hours of wear: they are the same at
/// 220 °C.
fn nozzle_due(situation: &Situation<'_>) -> Option<Candidate> {
    let hours = situation.ages.nozzle_hours?;
    let is_due = hours > Prior::nozzle().middle.scale();
    is_due.then(|| says(Rule::PartDue, Change::Replace(PartKind::Nozzle), &FEED))
}

/// Over its rating, or over what a PTFE liner stands day by day. What is rated higher than PTFE is another material.
fn over_liner(situation: &Situation<'_>) -> Option<Candidate> {
    let rating = situation.liner.rating()?;
    let is_ptfe = rating <= LINER_CONTINUOUS.value;
    let stands = if is_ptfe { rating.min(LINER_PRACTICE) } else { rating };
    let beside = situation.neighbour.filter(|_| situation.is_shared).and_then(|neighbour| neighbour.print);
    let hottest = [situation.held.print, beside].into_iter().flatten().reduce(Celsius::max)?;
    let passed = if hottest > rating { rating } else { stands };
    let rule = Rule::OverLiner { rating: passed };
    (hottest > stands).then(|| says(rule, Change::AllMetal, &[Liner, Jam, UnderExtrusion]))
}
