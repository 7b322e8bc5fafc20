//! What learning takes of a processor, beside scikit-learn and lifelines doing the same fits in Python, and how it grows
//! with the record. `cargo bench -p dwell-tests --bench learn`; needs python3 with venv and pip.
#![expect(clippy::unwrap_used, clippy::print_stdout, reason = "a bench may stop, and prints what it measured")]

mod python;
mod record;

use dwell_analysis::estimate::Confidence;
use dwell_analysis::risk::{Fit, Learned, fits_of, learn};
use dwell_analysis::survival::{Curve, End, Life, fit};
use python::{Python, write_fits, write_lives};
use rand::{RngExt, SeedableRng};
use rand_chacha::ChaCha8Rng;
use record::{HAPPEN, NEVER, Record, record};
use std::hint::black_box;
use std::time::Instant;

const SEED: u64 = 6;
/// About so many of the small regressions are fitted in Python; all of them take some minutes.
const SAMPLE: f64 = 3_000.0;
const LIVES: u16 = 1_000;

fn main() {
    // `cargo test` runs benches too, without the words that `cargo bench` gives.
    if !std::env::args().any(|word| word == "--bench") {
        return;
    }
    println!("seconds of a processor, one thread each; three modes happen in 5 to 12 % of the tool-runs, six never");
    let python = Python::ready();
    refit(&python);
    lives(&python);
    growth();
}

/// 1,000 prints: ours is all that is learned and forecast, theirs the same regressions alone.
fn refit(python: &Python) {
    let made = record(1_000, SEED);
    let ours = (0..3).map(|_| seconds(|| all_modes(&made))).fold(f64::INFINITY, f64::min);
    let mut all: Vec<Fit> = Vec::new();
    for (mode, said) in HAPPEN.iter().zip(&made.happened) {
        all.extend(fits_of(|| learn(*mode, &made.runs, said)).1);
    }
    let n = number(all.len());
    let mut rng = ChaCha8Rng::seed_from_u64(SEED);
    let drawn: Vec<&Fit> = all.iter().filter(|_| rng.random_bool((SAMPLE / n).min(1.0))).collect();
    let columns: usize = all.iter().map(|fit| fit.width - 1).sum();
    let folder = tempfile::tempdir_in(env!("CARGO_TARGET_TMPDIR")).unwrap();
    write_fits(folder.path(), drawn.iter().copied());
    let theirs = python.fit_again("fits", folder.path());
    assert_eq!(theirs["n"], drawn.len());
    println!("\n1,000 prints, full refit of nine modes: ours {ours:.3} s");
    println!(
        "  {n} regressions, at every refit of the record as it grew, of {:.1} columns on the mean",
        number(columns) / n
    );
    println!(
        "  ours: complementary log-log with Normal priors, started from the last fit, and the plain ridge beside them;"
    );
    println!(
        "    the time has all forecasts, scores and ranks too. Theirs: the fits alone, and each the nearest there is, a"
    );
    println!(
        "    logistic ridge regression on the same rows and weights. {} of them were drawn at random and",
        drawn.len()
    );
    println!("    timed, and their sum scaled up to all");
    for solver in ["lbfgs", "newton-cholesky"] {
        let took = theirs[solver].as_f64().unwrap() * n / number(drawn.len());
        println!("  scikit-learn, {solver}: {took:.1} s, {:.0} times ours", took / ours);
    }
}

/// Lives of parts, two fifths of them changed before they failed.
fn lives(python: &Python) {
    let mut rng = ChaCha8Rng::seed_from_u64(SEED);
    let mut ages = Vec::new();
    for _ in 0..LIVES {
        let fails = 900.0 * (-(1.0 - rng.random::<f64>()).ln()).powf(1.0 / 2.2);
        let changed = 400.0 + 900.0 * rng.random::<f64>();
        ages.push((fails.min(changed).max(1e-3), fails < changed));
    }
    let end = |failed: bool| if failed { End::Failed } else { End::Censored };
    let made: Vec<Life> = ages.iter().map(|(age, failed)| Life::new(0.0, *age, end(*failed)).unwrap()).collect();
    let law = fit(&made).unwrap().law;
    let median = Curve::of(&made, Confidence::Percent90).unwrap().median().value;
    let weibull = repeated(|| fit(&made).unwrap());
    let curve = repeated(|| Curve::of(&made, Confidence::Percent90).unwrap());
    let folder = tempfile::tempdir_in(env!("CARGO_TARGET_TMPDIR")).unwrap();
    write_lives(folder.path(), &ages);
    let theirs = python.fit_again("lives", folder.path());
    println!("\n{LIVES} lives, each fit told with its 90 % band or interval");
    for (name, ours, key) in [("Weibull by maximum likelihood", weibull, "weibull"), ("Kaplan-Meier", curve, "curve")] {
        let took = theirs[key].as_f64().unwrap();
        println!("  {name}: ours {:.3} ms, lifelines {:.2} ms, {:.0} times ours", 1e3 * ours, 1e3 * took, took / ours);
    }
    let (shape, scale) = (law.shape(), law.scale());
    println!("  shape {shape:.4} and {}, scale {scale:.3} and {}", theirs["shape"], theirs["scale"]);
    println!("  median {median:?} and {}", theirs["median"]);
}

/// All nine modes of longer and longer records, and the same if every one of the nine happened.
fn growth() {
    println!("\nfull refit of nine modes");
    let mut last: Option<f64> = None;
    for prints in [1_000, 10_000, 100_000] {
        let made = record(prints, SEED);
        let began = Instant::now();
        let took = seconds(|| all_modes(&made));
        let wall = began.elapsed().as_secs_f64();
        let every = seconds(|| {
            let modes = HAPPEN.iter().chain(&NEVER).zip(made.happened.iter().cycle());
            modes.for_each(|(mode, said)| drop(black_box(learn(*mode, &made.runs, said))));
        });
        let grew = last.map(|then| format!(", {:.1} times that of a tenth", took / then)).unwrap_or_default();
        println!("  {prints} prints: {took:.2} s{grew} ({wall:.1} s on the clock); {every:.2} s if all nine happen");
        last = Some(took);
    }
}

fn all_modes(made: &Record) {
    for (mode, said) in HAPPEN.iter().zip(&made.happened) {
        let learned: Learned = learn(*mode, &made.runs, said);
        assert!(learned.skill.is_some() && !learned.factors.is_empty());
    }
    let never: Vec<Option<bool>> = made.happened[0].iter().map(|said| said.map(|_| false)).collect();
    for mode in NEVER {
        drop(black_box(learn(mode, &made.runs, &never)));
    }
}

/// What the work takes of a processor: other work beside it does not count.
fn seconds(work: impl FnOnce()) -> f64 {
    let began = worked();
    work();
    worked() - began
}

/// The mean of as many times as it takes to be timed.
fn repeated<T>(work: impl Fn() -> T) -> f64 {
    let (began, mut times) = (worked(), 0.0);
    while worked() - began < 1.0 {
        black_box(work());
        times += 1.0;
    }
    (worked() - began) / times
}

/// Seconds that this thread has been on a processor (proc(5): the first field of `schedstat`, nanoseconds).
fn worked() -> f64 {
    let told = std::fs::read_to_string("/proc/thread-self/schedstat").unwrap();
    told.split(' ').next().unwrap().parse::<f64>().unwrap() / 1e9
}

fn number(n: usize) -> f64 {
    f64::from(u32::try_from(n).unwrap())
}
