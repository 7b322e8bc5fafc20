//! The figures that the project promises, measured and printed: memory of a watching daemon, hosts
//! that a search understands. `cargo bench -p dwell-tests`.
#![expect(clippy::unwrap_used, clippy::print_stdout, reason = "a bench may stop, and prints what it measured")]

use dwell_tests::daemon::Daemon;
use dwell_tests::shapes::{HostShape, counts, judged, searched};
use dwell_tests::simulated::Simulated;
use dwellwatch::clock::wall_now;
use dwellwatch::entry::HotEnd;
use dwellwatch::rehearsal::shape::printer_toml;
use dwellwatch::rehearsal::{LiveJob, RehearsalHost, Shape};
use std::fs;
use std::io::Write;
use std::net::{Ipv4Addr, TcpStream};
use std::process::{Command, Stdio};
use std::time::Duration;

const PROGRAM: &str = env!("CARGO_BIN_EXE_dwellwatch-under-test");

fn main() {
    // `cargo test` runs benches too, without the words that `cargo bench` gives.
    if !std::env::args().any(|word| word == "--bench") {
        return;
    }
    memory_watching_one_printer();
    hosts_understood_by_a_search();
    readers_of_the_feed();
}

/// Processor time of a daemon whose live feed is read by one, and by fifty, over the same job.
fn readers_of_the_feed() {
    let host = Simulated::at_new_turn(11, 900, 1.0);
    let folder = tempfile::tempdir().unwrap();
    let daemon = Daemon::start(PROGRAM, folder.path(), &host.printer(Shape::Hearths, "bench"));
    let read = |_| {
        let mut reader = TcpStream::connect((Ipv4Addr::LOCALHOST, daemon.port())).unwrap();
        reader.write_all(b"GET /live HTTP/1.1\r\nHost: localhost\r\n\r\n").unwrap();
        std::thread::spawn(move || std::io::copy(&mut reader, &mut std::io::sink()))
    };
    let (mut readers, mut used) = (Vec::new(), Vec::new());
    for n in [0, 1, 50] {
        readers.extend((readers.len()..n).map(read));
        // What each reader is sent first is not what reading on costs.
        std::thread::sleep(Duration::from_secs(5));
        let before = processor(daemon.pid());
        std::thread::sleep(Duration::from_secs(30));
        used.push(f64::from(processor(daemon.pid()) - before));
    }
    println!(
        "the live feed for 30 s: {} ticks of processor without a reader, {} with one, {} with fifty; {:.2} times one's",
        used[0],
        used[1],
        used[2],
        used[2] / used[1]
    );
}

/// Processor time of a process so far, in ticks of the kernel's clock.
fn processor(pid: u32) -> u32 {
    let status = fs::read_to_string(format!("/proc/{pid}/stat")).unwrap();
    let fields: Vec<&str> = status.rsplit(')').next().unwrap().split_whitespace().collect();
    fields[11].parse::<u32>().unwrap() + fields[12].parse::<u32>().unwrap()
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
