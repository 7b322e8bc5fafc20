//! How fast a job file is read, its acts summed, as a rate and as a ratio to a bare count of its lines, and to a bare
//! walk along them, in the same round; how fast with its whole outline; and what memory `preflight` takes for a file of
//! a gigabyte. `cargo bench -p dwell-tests --bench jobfile`.
#![expect(clippy::unwrap_used, clippy::print_stdout, reason = "a bench may stop, and prints what it measured")]

use dwell_tests::memory;
use dwellwatch::jobfile::{Machine, Outliner, Reader, What};
use rand::{RngExt, SeedableRng};
use rand_chacha::ChaCha8Rng;
use std::fmt::Write as _;
use std::hint::black_box;
use std::io::Write as _;
use std::process::{Command, Stdio};
use std::time::{Duration, Instant};

const BYTES: usize = 64 << 20;
const GIGABYTE: usize = 1_000_000_000;
const CHUNK: usize = 1 << 16;
const ROUNDS: usize = 3;

fn main() {
    // `cargo test` runs benches too, without the words that `cargo bench` gives.
    if !std::env::args().any(|word| word == "--bench") {
        return;
    }
    for (name, text) in [("straight lines", job(false)), ("with arcs", job(true))] {
        let n_lines = memchr::memchr_iter(b'\n', text.as_bytes()).count();
        println!("{name}: {} bytes, {n_lines} lines, {} bytes a line", text.len(), text.len() / n_lines);
        for round in 1..=ROUNDS {
            let counting = timed(|| memchr::memchr_iter(b'\n', black_box(text.as_bytes())).count());
            let walking = timed(|| memchr::memchr_iter(b'\n', black_box(text.as_bytes())).fold(0, usize::max));
            let reading = timed(|| sum(black_box(text.as_bytes())));
            let outlining = timed(|| outline(black_box(text.as_bytes())));
            println!(
                "round {round}: counting lines {:.0} MB/s, walking them {:.0} MB/s, reading {:.0} MB/s; ratio {:.1} and \
                 {:.1}; with the outline {:.0} MB/s",
                rate(&text, counting),
                rate(&text, walking),
                rate(&text, reading),
                reading.as_secs_f64() / counting.as_secs_f64(),
                reading.as_secs_f64() / walking.as_secs_f64(),
                rate(&text, outlining),
            );
        }
    }
    gigabyte();
}

/// `preflight` on a file of a gigabyte: its time, and the most memory that it held, as the kernel counts it.
fn gigabyte() {
    let folder = tempfile::tempdir().unwrap();
    let file = folder.path().join("lantern.gcode");
    let (text, mut written) = (job(false), 0);
    let mut to = std::fs::File::create(&file).unwrap();
    while written < GIGABYTE {
        to.write_all(text.as_bytes()).unwrap();
        written += text.len();
    }
    let began = Instant::now();
    let mut preflight = Command::new(env!("CARGO_BIN_EXE_dwellwatch-under-test"));
    preflight.arg("preflight").arg(&file).arg("--json").current_dir(folder.path());
    let mut child = preflight.stdout(Stdio::null()).spawn().unwrap();
    let (peak_kib, status) = memory::peak_kib(&mut child);
    let (took, success) = (began.elapsed(), status.success());
    println!("preflight of {written} bytes: {:.1} s, {} KiB at most, success: {success}", took.as_secs_f64(), peak_kib);
}

fn outline(text: &[u8]) -> usize {
    let mut outliner = Outliner::new(Machine::default());
    text.chunks(CHUNK).for_each(|chunk| outliner.feed(chunk));
    outliner.finish().visits.len()
}

/// Path, filament, and all other acts.
fn sum(text: &[u8]) -> (f64, f64, u64) {
    let (mut path, mut filament, mut n_others) = (0.0, 0.0, 0);
    let mut reader = Reader::new();
    let mut act = |act: dwellwatch::jobfile::Act| match act.what {
        What::Move(found) => (path, filament) = (path + found.length, filament + found.filament),
        _ => n_others += 1,
    };
    text.chunks(CHUNK).for_each(|chunk| reader.feed(chunk, &mut act));
    let end = reader.finish(&mut act);
    assert!(end.unread.faults.is_empty() && end.unread.other == 0, "{:?}", end.unread);
    (path, filament, n_others)
}

fn timed<T>(work: impl FnOnce() -> T) -> Duration {
    let began = Instant::now();
    black_box(work());
    began.elapsed()
}

#[expect(clippy::as_conversions, clippy::cast_precision_loss, reason = "a length")]
fn rate(text: &str, time: Duration) -> f64 {
    text.len() as f64 / 1e6 / time.as_secs_f64()
}

/// A two-tool job: per layer a change of tool with its standby, then walls of short moves with a retraction and a travel
/// between them. Seeded; the numbers have the decimals that files have.
fn job(has_arcs: bool) -> String {
    let mut rng = ChaCha8Rng::seed_from_u64(64);
    let mut text = String::with_capacity(BYTES + 4096);
    text.push_str("; a job\nG21\nG90\nM83\nM140 S60\nM104 T0 S215\nM104 T1 S215\nG28\n");
    let mut layer = 0;
    while text.len() < BYTES {
        let tool = layer % 2;
        layer += 1;
        write!(text, "; layer {layer}\nM104 T{} S150\nT{tool}\nM109 S215\nM106 S204\n", 1 - tool).unwrap();
        writeln!(text, "G1 Z{:.2} F600", 0.2 * f64::from(layer)).unwrap();
        for _ in 0..60 {
            let (mut x, mut y) = (rng.random_range(20.0..180.0), rng.random_range(20.0..180.0));
            write!(text, "G1 E-0.8 F2100\nG1 X{x:.3} Y{y:.3} F9000\nG1 E0.8 F2100\nG1 F1800\n").unwrap();
            for _ in 0..rng.random_range(10..120) {
                let step: [f64; 2] = [rng.random_range(-2.0..2.0), rng.random_range(-2.0..2.0)];
                (x, y) = (x + step[0], y + step[1]);
                let pushed = step[0].hypot(step[1]) * 0.0333;
                if has_arcs && rng.random_bool(0.2) {
                    // A half circle: its centre is the middle of the chord.
                    let centre = step.map(|part| part / 2.0);
                    writeln!(text, "G3 X{x:.3} Y{y:.3} I{:.3} J{:.3} E{pushed:.5}", centre[0], centre[1]).unwrap();
                } else {
                    writeln!(text, "G1 X{x:.3} Y{y:.3} E{pushed:.5}").unwrap();
                }
            }
        }
    }
    text
}
