//! What a thousand printers at 1 Hz cost: the daemon's processor time as a ratio to a bare loop's over the same hosts
//! in the same seconds, its resident memory, and understanding against parsing. `cargo bench -p dwell-tests --bench
//! crowd`; a number after it is another count of printers. `DWELLWATCH_PROGRAM` names the program as it is shipped: this
//! package's own is built with what the browser tests ask of the libraries they share, such as objects in order.
#![expect(clippy::unwrap_used, clippy::print_stdout, reason = "a bench may stop, and prints what it measured")]

use dwell_analysis::time::Timestamp;
use dwell_tests::crowd::{Bare, Crowd, Plan, body, printer};
use dwellwatch::config::Config;
use dwellwatch::host::understand;
use serde_json::Value;
use std::fs;
use std::hint::black_box;
use std::path::Path;
use std::process::{Child, Command, Stdio};
use std::thread::sleep;
use std::time::{Duration, Instant};

const PROGRAM: &str = env!("CARGO_BIN_EXE_dwellwatch-under-test");
const CROWD: &str = env!("CARGO_BIN_EXE_crowd-under-test");
const PRINTERS: usize = 1000;
const ROUNDS: usize = 4;
/// The kernel books processor time in hundredths of a second (Linux, `USER_HZ`): 20 s hold enough of them.
const ROUND: Duration = Duration::from_secs(20);
const TICKS_PER_S: f64 = 100.0;
/// Starts, connects, and lets both come to their pace.
const WARM_UP: Duration = Duration::from_secs(10);

fn main() {
    // `cargo test` runs benches too, without the words that `cargo bench` gives.
    if !std::env::args().any(|word| word == "--bench") {
        return;
    }
    let count = std::env::args().find_map(|word| word.parse().ok()).unwrap_or(PRINTERS);
    understanding_against_parsing();
    watching_against_asking(count);
}

/// Documents as the crowd tells them, parsed and then understood, again and again.
fn understanding_against_parsing() {
    const PASSES: usize = 20;
    let config = Config::parse(&printer(0, 9, 1.0), Path::new("/nowhere/dwellwatch.toml")).unwrap();
    let map = &config.printers()[0].map;
    let bodies: Vec<String> = (0..1000).map(|host| body(host, 4000)).collect();
    let parse = |body: &String| [Some(serde_json::from_slice::<Value>(body.as_bytes()).unwrap())];
    let documents: Vec<_> = bodies.iter().map(parse).collect();
    let n_bytes: usize = bodies.iter().map(String::len).sum();
    let n_read = bodies.len() * PASSES;
    for round in 1..=3 {
        let began = Instant::now();
        for body in (0..PASSES).flat_map(|_| &bodies) {
            black_box(parse(body));
        }
        let parsing = began.elapsed();
        let began = Instant::now();
        for told in (0..PASSES).flat_map(|_| &documents) {
            black_box(understand(map, told, Timestamp::from_ms(0), false).unwrap());
        }
        let understanding = began.elapsed();
        println!(
            "round {round}: bodies of {} bytes; parsed {:.0} ns a reading, understood (13 fields, 6 by a filter) {:.0} ns; ratio {:.2}",
            n_bytes / bodies.len(),
            ns(parsing, n_read),
            ns(understanding, n_read),
            understanding.as_secs_f64() / parsing.as_secs_f64(),
        );
    }
}

#[expect(clippy::as_conversions, clippy::cast_precision_loss, reason = "a count of bodies")]
fn ns(time: Duration, n: usize) -> f64 {
    time.as_secs_f64() * 1e9 / n as f64
}

/// Both ask the same hosts in the same seconds, so whatever else the machine does hits both.
fn watching_against_asking(count: usize) {
    let crowd = Crowd::start(CROWD, Plan { sound: count, ..Plan::default() });
    let folder = tempfile::tempdir_in(env!("CARGO_TARGET_TMPDIR")).unwrap();
    let program = std::env::var("DWELLWATCH_PROGRAM").unwrap_or_else(|_| PROGRAM.to_owned());
    println!("program: {program}");
    let mut daemon = watch(&program, &crowd, folder.path());
    let after_daemon = crowd_asked_within(&crowd, count);
    println!(
        "{count} printers at 1 Hz, each asked at least once {:.1} s after the daemon's start",
        after_daemon.as_secs_f64()
    );
    let bare = Bare::start(CROWD, &crowd.ports);
    sleep(WARM_UP);
    for round in 1..=ROUNDS {
        let (watched, asked) = (ticks(daemon.id()), ticks(bare.id()));
        let before = requests(&crowd);
        sleep(ROUND);
        let (watching, asking) = (ticks(daemon.id()) - watched, ticks(bare.id()) - asked);
        let rate = f64::from(requests(&crowd) - before) / ROUND.as_secs_f64();
        println!(
            "round {round}: processor time in {} s: daemon {:.2} s, bare loop {:.2} s, ratio {:.2}; {rate:.0} requests/s by both",
            ROUND.as_secs(),
            watching / TICKS_PER_S,
            asking / TICKS_PER_S,
            watching / asking,
        );
    }
    for (what, key) in [("resident", "VmRSS:"), ("at most", "VmHWM:")] {
        println!("memory of the daemon, {what}: {:.1} MiB", mebi(daemon.id(), key));
    }
    println!("memory of the bare loop, at most: {:.1} MiB", mebi(bare.id(), "VmHWM:"));
    daemon.kill().unwrap();
    daemon.wait().unwrap();
}

fn watch(program: &str, crowd: &Crowd, folder: &Path) -> Child {
    let config = folder.join("dwellwatch.toml");
    let own = "[store]\npath = \"crowd.db\"\n[web]\nlisten = \"127.0.0.1:0\"\n";
    fs::write(&config, own.to_owned() + &crowd.printers(1.0)).unwrap();
    let mut run = Command::new(program);
    run.args(["run", "--config"])
        .arg(&config)
        .stdout(Stdio::null())
        .stderr(fs::File::create(folder.join("log")).unwrap());
    run.spawn().unwrap()
}

/// How long until each host has been asked.
fn crowd_asked_within(crowd: &Crowd, count: usize) -> Duration {
    let began = Instant::now();
    while crowd.arrivals().iter().filter(|asked| !asked.is_empty()).count() < count {
        assert!(began.elapsed() < Duration::from_mins(1), "not every host is asked within a minute");
        sleep(Duration::from_millis(200));
    }
    began.elapsed()
}

fn requests(crowd: &Crowd) -> u32 {
    crowd.arrivals().iter().map(|asked| u32::try_from(asked.len()).unwrap()).sum()
}

/// Processor time in user and kernel, ticks: fields 14 and 15 of `/proc/PID/stat`, counted after the program's name,
/// which may hold blanks.
fn ticks(process: u32) -> f64 {
    let stat = fs::read_to_string(format!("/proc/{process}/stat")).unwrap();
    let (_, after) = stat.rsplit_once(") ").unwrap();
    after.split(' ').skip(11).take(2).map(|ticks| ticks.parse::<f64>().unwrap()).sum()
}

fn mebi(process: u32, key: &str) -> f64 {
    let status = fs::read_to_string(format!("/proc/{process}/status")).unwrap();
    let line = status.lines().find_map(|line| line.strip_prefix(key)).unwrap();
    line.trim().trim_end_matches(" kB").parse::<f64>().unwrap() / 1024.0
}
