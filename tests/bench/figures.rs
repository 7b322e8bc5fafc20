//! The figures that the project promises, measured and printed: memory of a watching daemon, bytes written
//! an hour, hosts that a search understands. `cargo bench -p dwell-tests`.
#![expect(clippy::unwrap_used, clippy::print_stdout, reason = "a bench may stop, and prints what it measured")]

use dwell_analysis::time::Timestamp;
use dwell_tests::shapes::{HostShape, counts, judged, searched};
use dwellwatch::clock::wall_now;
use dwellwatch::entry::{CentiCelsius, Heater, HotEnd, Job, JobState, PrinterName, Reading};
use dwellwatch::pipeline::Pipeline;
use dwellwatch::rehearsal::shape::printer_toml;
use dwellwatch::rehearsal::{LiveJob, RehearsalHost, Shape};
use dwellwatch::store::{Commit, Store};
use std::fs;
use std::process::{Command, Stdio};
use std::time::Duration;

fn main() {
    // `cargo test` runs benches too, without the words that `cargo bench` gives.
    if !std::env::args().any(|word| word == "--bench") {
        return;
    }
    written_an_hour();
    memory_watching_one_printer();
    hosts_understood_by_a_search();
}

/// Invented hosts of which a search understands every field; the third set is the one that nothing was made for.
fn hosts_understood_by_a_search() {
    for (name, shapes) in [
        ("first set", HostShape::first()),
        ("second set", HostShape::second()),
        ("third set, blind", HostShape::third()),
    ] {
        let rows = judged(&shapes, &|_, found, snapshots| searched(found, snapshots));
        let n_wrong_and_sure: usize = rows.iter().map(|row| row.judgement.wrong_and_sure.len()).sum();
        println!("{name}: {}; wrong fields called sure: {n_wrong_and_sure}", counts(&rows).join(", "));
    }
}

/// An hour of two tools at 1 Hz with noise and a tool change every two minutes, committed reading by reading as the
/// daemon does; what the kernel booked to this process.
fn written_an_hour() {
    let folder = tempfile::tempdir_in(env!("CARGO_TARGET_TMPDIR")).unwrap();
    let store = Store::open(&folder.path().join("hour.db")).unwrap();
    let printer = PrinterName::new("bench").unwrap();
    store.ensure_printer(&printer, HotEnd::Separate, 2).unwrap();
    for change_every in [3600, 120] {
        let mut pipeline = Pipeline::new(HotEnd::Separate, Vec::new(), dwellwatch::alarm::IdleHotRule::default());
        let before = written();
        for second in 0..3600_i64 {
            let step = pipeline.read(reading(second + 1_000_000 / change_every * 4000, second / change_every % 2));
            let commit = Commit { printer: printer.clone(), effects: step.effects, alarms: step.alarms, notices: true };
            store.commit(commit).unwrap();
        }
        store.flush().unwrap();
        println!(
            "written in an hour of 1 Hz two-tool readings, tool change every {change_every} s: {:.3} MiB",
            mebi(written() - before)
        );
    }
}

fn reading(second: i64, active: i64) -> Reading {
    // A cheap, repeatable noise of about 0.3 K.
    let noise = |salt: i64| ((second * 7919 + salt * 104_729) % 61 - 30).clamp(-30, 30);
    let heater = |salt, target: i64| Heater {
        actual: CentiCelsius::nearest(f64::from(i32::try_from(target * 10 + noise(salt) / 10).unwrap()) / 10.0),
        target: CentiCelsius::nearest(f64::from(i32::try_from(target).unwrap())),
        duty_thousandths: None,
    };
    Reading {
        at: Timestamp::from_ms(1_770_000_000_000 + second * 1000),
        after_gap: false,
        job: Job {
            state: JobState::Printing,
            name: Some("lantern.gcode".into()),
            fraction_millionths: u32::try_from(second.rem_euclid(3600) * 277).ok(),
            byte: None,
        },
        active_tool: usize::try_from(active).ok(),
        tools: vec![heater(1, if active == 0 { 210 } else { 170 }), heater(2, if active == 1 { 235 } else { 190 })],
        bed: Some(heater(3, 60)),
    }
}

fn written() -> u64 {
    let io = fs::read_to_string("/proc/self/io").unwrap();
    io.lines().find_map(|line| line.strip_prefix("write_bytes: ")).unwrap().parse().unwrap()
}

#[expect(clippy::as_conversions, clippy::cast_precision_loss, reason = "far below 2^53 bytes")]
fn mebi(bytes: u64) -> f64 {
    bytes as f64 / (1024.0 * 1024.0)
}

/// Resident memory of `run` after half a minute with one printer.
fn memory_watching_one_printer() {
    let folder = tempfile::tempdir().unwrap();
    let runtime = tokio::runtime::Builder::new_multi_thread().worker_threads(1).enable_all().build().unwrap();
    let host = runtime.block_on(async {
        let listener = tokio::net::TcpListener::bind("127.0.0.1:0").await.unwrap();
        let live = LiveJob::new(1, HotEnd::Separate);
        RehearsalHost::start(listener, live, 1.0, wall_now(), std::future::pending()).unwrap()
    });
    let map = printer_toml(Shape::Hearths, HotEnd::Separate, &host.base(), "bench", 1.0);
    let config = folder.path().join("dwellwatch.toml");
    fs::write(&config, format!("[web]\nlisten = \"127.0.0.1:0\"\n{map}")).unwrap();
    let mut daemon = Command::new(env!("CARGO_BIN_EXE_dwellwatch-under-test"))
        .args(["run", "--config"])
        .arg(&config)
        .stderr(Stdio::null())
        .spawn()
        .unwrap();
    std::thread::sleep(Duration::from_secs(30));
    let status = fs::read_to_string(format!("/proc/{}/status", daemon.id())).unwrap();
    let resident = status.lines().find_map(|line| line.strip_prefix("VmRSS:")).unwrap().trim().to_owned();
    println!("resident memory of `run` with one printer after 30 s: {resident}");
    daemon.kill().unwrap();
    daemon.wait().unwrap();
}
