//! A made record for the bench of the learner: two tool-runs a print, all that can be known of each, and what happened.
//! Owns how the quantities hang together and what makes a mode happen; nothing here is known to the learner.

use dwell_analysis::polymer::Material;
use dwell_analysis::risk::{FailureMode, Features, Restarts, ToolRun};
use dwell_analysis::units::{Celsius, CelsiusDelta, CubicMm, DoseMinutes, Millimetres, Seconds};
use rand::{RngExt, SeedableRng};
use rand_chacha::ChaCha8Rng;

/// Modes that happen, in 5 to 10 % of runs.
pub(crate) const HAPPEN: [FailureMode; 3] = [FailureMode::Jam, FailureMode::Stringing, FailureMode::Liner];
/// Modes that never do.
pub(crate) const NEVER: [FailureMode; 6] = [
    FailureMode::Blob,
    FailureMode::UnderExtrusion,
    FailureMode::Scrape,
    FailureMode::Misalignment,
    FailureMode::Adhesion,
    FailureMode::Other,
];
/// What is printed with, commonest first, its print temperature and its standby, °C.
const MATERIALS: [(Material, f64, f64); 6] = [
    (Material::Pla, 210.0, 170.0),
    (Material::Pla, 205.0, 160.0),
    (Material::Petg, 240.0, 185.0),
    (Material::Pva, 215.0, 175.0),
    (Material::Tpu, 225.0, 180.0),
    (Material::Abs, 250.0, 195.0),
];
/// A nozzle or a liner is changed after so many hours, on the mean.
const NOZZLE_H: f64 = 900.0;
const LINER_H: f64 = 400.0;
/// One run in so many has no retraction known, and one in so many nobody told the outcome of.
const UNKNOWN: f64 = 0.05;

/// Runs in order of time, and for each of [`HAPPEN`] what was said of each run.
pub(crate) struct Record {
    pub runs: Vec<ToolRun>,
    pub happened: Vec<Vec<Option<bool>>>,
}

/// Hours of a tool's parts.
#[derive(Clone, Copy, Default)]
struct Parts {
    nozzle_h: f64,
    liner_h: f64,
    liner_wear: f64,
    cycles: f64,
}

/// The same seed makes the same record, and a longer record begins with the shorter one.
pub(crate) fn record(prints: usize, seed: u64) -> Record {
    let mut rng = ChaCha8Rng::seed_from_u64(seed);
    let mut made = Record { runs: Vec::new(), happened: vec![Vec::new(); HAPPEN.len()] };
    let mut parts = [Parts::default(); 2];
    for print in 0..prints {
        let job_h = 0.5 + 5.0 * rng.random::<f64>().powi(2);
        let changes = 2.0 + (80.0 * rng.random::<f64>().powi(2)).floor();
        let fails_early = rng.random_bool(0.04);
        for parts in &mut parts {
            let features = run(&mut rng, parts, job_h, changes, fails_early);
            let is_told = !rng.random_bool(UNKNOWN);
            for (mode, said) in HAPPEN.iter().zip(&mut made.happened) {
                let failed = rng.random_bool(1.0 - (-hazard(*mode, &features)).exp());
                said.push(is_told.then_some(failed));
            }
            made.runs.push(ToolRun { print, features });
        }
    }
    made
}

fn run(rng: &mut ChaCha8Rng, parts: &mut Parts, job_h: f64, changes: f64, fails_early: bool) -> Features {
    let pick = (6.0 * rng.random::<f64>().powi(2)).floor();
    let (material, print_c, standby_c) =
        MATERIALS.into_iter().zip(0_u8..).find(|(_, at)| f64::from(*at) >= pick).unwrap().0;
    let standby = standby_c + 10.0 * (3.0 * rng.random::<f64>()).floor();
    let share = 0.2 + 0.6 * rng.random::<f64>();
    let hot_min = 60.0 * job_h * share;
    let mean = standby - 15.0 * rng.random::<f64>();
    let longest = hot_min * (0.1 + 0.6 * rng.random::<f64>());
    let dose = |minutes: f64| minutes * ((mean - print_c + 25.0) / 12.0).exp() * 0.8;
    let in_turn = 0.4 + 0.6 * rng.random::<f64>();
    let over = |limit: f64| if mean > limit { 60.0 * longest * in_turn } else { 0.0 };
    let restarts = Restarts {
        n: 2,
        dose_max: DoseMinutes::new(dose(longest) * in_turn),
        dose_sum: DoseMinutes::new(dose(hot_min) * (0.5 + 0.4 * rng.random::<f64>())),
        load_max: (mean - 140.0).max(0.0) * longest * in_turn,
        load_sum: (mean - 140.0).max(0.0) * hot_min * 0.8,
        over_max: [Seconds::new(over(180.0)), Seconds::new(over(195.0)), Seconds::new(over(210.0))],
    };
    age(rng, parts, job_h, print_c);
    let retract = !rng.random_bool(UNKNOWN);
    Features {
        dose_max: Some(DoseMinutes::new(dose(longest))),
        dose_sum: Some(DoseMinutes::new(dose(hot_min))),
        idle_hot: Some(Seconds::new(60.0 * hot_min)),
        idle_mean: Some(Celsius::new(mean)),
        idle_max: Some(Celsius::new(print_c - 3.0 * rng.random::<f64>())),
        restarts: Some(restarts),
        wait_longest: Some(Seconds::new(60.0 * longest)),
        stagnant: Some(DoseMinutes::new(dose(hot_min) * (1.0 + rng.random::<f64>()))),
        restart_deficit: Some(CelsiusDelta::new(12.0 * rng.random::<f64>().powi(2))),
        ooze: Some(CubicMm::new(changes.sqrt() * (1.0 + 4.0 * rng.random::<f64>()))),
        standby: Some(Celsius::new(standby)),
        retract: retract.then(|| Millimetres::new(0.8 + 0.7 * (5.0 * rng.random::<f64>()).floor())),
        retract_mm_s: retract.then(|| 25.0 + 10.0 * (3.0 * rng.random::<f64>()).floor()),
        print_temperature: Some(Celsius::new(print_c + 5.0 * (3.0 * rng.random::<f64>()).floor())),
        prime: Some(CubicMm::new(10.0 * (4.0 * rng.random::<f64>()).floor())),
        tool_changes: Some(pick_count(changes)),
        print_length: Some(Seconds::new(3_600.0 * job_h)),
        liner_hours: Some(parts.liner_h),
        liner_wear: Some(parts.liner_wear),
        liner_cycles: Some(parts.cycles),
        nozzle_hours: Some(parts.nozzle_h),
        material,
        dried: Some(rng.random_bool(0.4)),
        ooze_shield: Some(rng.random_bool(0.3)),
        done: Some(if fails_early { 0.1 + 0.8 * rng.random::<f64>() } else { 1.0 }),
    }
}

/// A count below a thousand, as one.
fn pick_count(number: f64) -> usize {
    (0_u16..1_000).position(|n| f64::from(n) >= number).unwrap()
}

fn age(rng: &mut ChaCha8Rng, parts: &mut Parts, hot_h: f64, print_c: f64) {
    parts.nozzle_h += hot_h;
    parts.liner_h += hot_h;
    parts.liner_wear += hot_h * ((print_c - 230.0) / 15.0).exp();
    parts.cycles += 1.0;
    if rng.random_bool((hot_h / NOZZLE_H).min(1.0)) {
        parts.nozzle_h = 0.0;
    }
    if rng.random_bool((hot_h / LINER_H).min(1.0)) {
        *parts = Parts { nozzle_h: parts.nozzle_h, ..Parts::default() };
    }
}

/// What makes a mode happen: forms unlike the fitted ones.
fn hazard(mode: FailureMode, run: &Features) -> f64 {
    match mode {
        FailureMode::Jam => {
            let dose = run.dose_max.unwrap().get();
            0.02 + 0.25 * dose * dose / (dose * dose + 900.0) + if run.material == Material::Pva { 0.06 } else { 0.0 }
        }
        FailureMode::Stringing => {
            let short = run.retract.is_some_and(|retract| retract.get() < 1.6);
            0.03 + if short { 0.09 } else { 0.0 } + if run.dried == Some(true) { 0.0 } else { 0.03 }
        }
        _ => 0.02 + 0.15 * (run.liner_wear.unwrap() / 400.0).min(1.5).powi(2),
    }
}
