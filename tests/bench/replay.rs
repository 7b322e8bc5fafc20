//! How fast a journal goes into the record, judged in the same run: whole replay, from text to committed rows, against
//! `serde_json`'s parsing of the same lines, and against `SQLite`'s own bulk insert of the same readings; and the memory
//! that it takes. `cargo bench -p dwell-tests --bench replay`.
#![expect(clippy::unwrap_used, clippy::print_stdout, reason = "a bench may stop, and prints what it measured")]

use dwell_analysis::time::Timestamp;
use dwell_tests::{memory, steady};
use dwellwatch::alarm::Rules;
use dwellwatch::clock::wall_now;
use dwellwatch::entry::{CentiCelsius, Entry, Heater, Reading};
use dwellwatch::journal::{Lines, Parser, write_line};
use dwellwatch::rehearsal::Story;
use dwellwatch::replay::Replay;
use dwellwatch::store::Store;
use rusqlite::{Connection, params};
use std::collections::HashMap;
use std::fs::{self, File};
use std::hint::black_box;
use std::io::{BufWriter, Cursor, Write};
use std::process::{Command, Stdio};
use std::sync::Arc;
use std::time::{Duration, Instant};
use tempfile::TempDir;

const ROUNDS: usize = 3;
/// Seconds of the steady job: two days.
const STEADY_S: i64 = 172_800;
const PAGE_BYTES: i64 = 512;

fn main() {
    // `cargo test` runs benches too, without the words that `cargo bench` gives.
    if !std::env::args().any(|word| word == "--bench") {
        return;
    }
    let story = Story::new(1);
    let printer = story.printer();
    let eight_weeks: String = story.entries().iter().map(|entry| write_line(&printer, entry) + "\n").collect();
    measure("eight weeks of a story", &eight_weeks);
    let two_days: String = (0..STEADY_S).map(|second| steady::line("bench", second)).collect();
    measure("two days at one reading a second", &two_days);
    memory_of_replays();
}

fn measure(name: &str, text: &str) {
    let now = wall_now();
    let n_lines = text.lines().count();
    let readings = readings(text, now);
    println!("{name}: {n_lines} lines, {} readings, {} bytes a line", readings.len(), text.len() / n_lines);
    let journal: Arc<[u8]> = text.as_bytes().into();
    for round in 1..=ROUNDS {
        let parsing = timed(|| {
            for line in text.lines() {
                black_box(serde_json::from_str::<serde_json::Value>(line).unwrap());
            }
        });
        let reading = timed(|| {
            for piece in Lines::read(Cursor::new(Arc::clone(&journal)), now).unwrap() {
                black_box(piece.unwrap());
            }
        });
        let replaying = replayed(&journal, now);
        println!(
            "round {round}: replay {:.0} lines/s; serde_json to a value {:.0} lines/s; ratio {:.2}, of processor time \
             {:.2}; reading alone {:.0} lines/s",
            rate(n_lines, replaying.took),
            rate(n_lines, parsing.took),
            ratio(parsing.took, replaying.took),
            ratio(parsing.busy, replaying.busy),
            rate(n_lines, reading.took),
        );
        let (n_rows, inserting) = inserted(BY_SAMPLE, &readings, sample_row);
        println!(
            "         bulk insert of a row a sample: {:.0} readings/s, {:.0} rows/s; replay is {:.2} times as fast",
            rate(readings.len(), inserting.took),
            rate(n_rows, inserting.took),
            ratio(inserting.took, replaying.took),
        );
        let (n_rows, inserting) = inserted(BY_VALUE, &readings, value_rows);
        println!(
            "         bulk insert of a row a value:  {:.0} readings/s, {:.0} rows/s; replay is {:.2} times as fast",
            rate(readings.len(), inserting.took),
            rate(n_rows, inserting.took),
            ratio(inserting.took, replaying.took),
        );
    }
}

/// How long something took, and how long it kept the processors busy.
struct Took {
    took: Duration,
    busy: Duration,
}

fn timed<T>(work: impl FnOnce() -> T) -> Took {
    let (began, busy) = (Instant::now(), busy());
    black_box(work());
    Took { took: began.elapsed(), busy: self::busy().saturating_sub(busy) }
}

/// Processor time of this process so far, to the hundredth of a second that the kernel counts in.
fn busy() -> Duration {
    let told = fs::read_to_string("/proc/self/stat").unwrap();
    // The name before the last bracket may hold blanks; user and system time are the 14th and the 15th field.
    let ticks = told.rsplit_once(')').unwrap().1.split_whitespace().skip(11).take(2);
    Duration::from_millis(ticks.map(|ticks| ticks.parse::<u64>().unwrap() * 10).sum())
}

fn folder() -> TempDir {
    tempfile::tempdir_in(env!("CARGO_TARGET_TMPDIR")).unwrap()
}

fn replayed(journal: &Arc<[u8]>, now: Timestamp) -> Took {
    let folder = folder();
    let store = Store::open_bulk(&folder.path().join("replay.db")).unwrap();
    timed(|| {
        let mut replay = Replay::new(&store, Rules::default(), HashMap::new());
        replay.feed(Cursor::new(Arc::clone(journal)), now).unwrap();
        replay.finish().unwrap();
    })
}

fn readings(text: &str, now: Timestamp) -> Vec<Reading> {
    let mut parser = Parser::new(now);
    let reading = |line| match parser.line(line).unwrap() {
        (_, Entry::Reading(reading)) => Some(reading),
        _ => None,
    };
    text.lines().filter_map(reading).collect()
}

const BY_SAMPLE: [&str; 2] = [
    "CREATE TABLE sample (printer INTEGER, at_ms INTEGER, after_gap INTEGER, state TEXT, name TEXT, fraction REAL,
        byte INTEGER, active_tool INTEGER, t0_c REAL, t0_target_c REAL, t0_duty REAL, t1_c REAL, t1_target_c REAL,
        t1_duty REAL, bed_c REAL, bed_target_c REAL, bed_duty REAL, PRIMARY KEY (printer, at_ms)) STRICT, WITHOUT ROWID",
    "INSERT INTO sample VALUES (1, ?1, ?2, ?3, ?4, ?5, ?6, ?7, ?8, ?9, ?10, ?11, ?12, ?13, ?14, ?15, ?16)",
];
const BY_VALUE: [&str; 2] = [
    "CREATE TABLE sample (printer INTEGER, channel INTEGER, at_ms INTEGER, value REAL,
        PRIMARY KEY (printer, channel, at_ms)) STRICT, WITHOUT ROWID",
    "INSERT INTO sample VALUES (1, ?1, ?2, ?3)",
];

/// The readings through one prepared statement in one transaction, with the record's pragmas.
fn inserted(
    [table, insert]: [&str; 2],
    readings: &[Reading],
    row: impl Fn(&mut rusqlite::Statement<'_>, &Reading) -> usize,
) -> (usize, Took) {
    let folder = folder();
    let mut db = Connection::open(folder.path().join("bulk.db")).unwrap();
    db.pragma_update(None, "page_size", PAGE_BYTES).unwrap();
    db.pragma_update(None, "journal_mode", "WAL").unwrap();
    db.pragma_update(None, "synchronous", "NORMAL").unwrap();
    db.execute_batch(table).unwrap();
    let mut n_rows = 0;
    let took = timed(|| {
        let transaction = db.transaction().unwrap();
        let mut statement = transaction.prepare(insert).unwrap();
        n_rows = readings.iter().map(|reading| row(&mut statement, reading)).sum();
        drop(statement);
        transaction.commit().unwrap();
    });
    (n_rows, took)
}

fn celsius(value: Option<CentiCelsius>) -> Option<f64> {
    value.map(|value| value.celsius().get())
}

fn heater_of(reading: &Reading, idx: usize) -> Heater {
    reading.tools.get(idx).copied().unwrap_or_default()
}

fn duty(heater: Heater) -> Option<f64> {
    heater.duty_thousandths.map(|duty| f64::from(duty) / 1e3)
}

fn fraction(reading: &Reading) -> Option<f64> {
    reading.job.fraction_millionths.map(|fraction| f64::from(fraction) / 1e6)
}

fn sample_row(statement: &mut rusqlite::Statement<'_>, reading: &Reading) -> usize {
    let (t0, t1, bed) = (heater_of(reading, 0), heater_of(reading, 1), reading.bed.unwrap_or_default());
    let row = params![
        reading.at.as_ms(),
        reading.after_gap,
        reading.job.state.word(),
        reading.job.name.as_deref(),
        fraction(reading),
        reading.job.byte.map(u64::cast_signed),
        reading.active_tool.map(|tool| i64::try_from(tool).unwrap()),
        celsius(t0.actual),
        celsius(t0.target),
        duty(t0),
        celsius(t1.actual),
        celsius(t1.target),
        duty(t1),
        celsius(bed.actual),
        celsius(bed.target),
        duty(bed),
    ];
    statement.execute(row).unwrap()
}

/// One row for each number that is told.
fn value_rows(statement: &mut rusqlite::Statement<'_>, reading: &Reading) -> usize {
    let heaters = [heater_of(reading, 0), heater_of(reading, 1), reading.bed.unwrap_or_default()];
    let of_heater = |heater: Heater| [celsius(heater.actual), celsius(heater.target), duty(heater)];
    let tool = reading.active_tool.map(|tool| f64::from(u32::try_from(tool).unwrap()));
    let values = heaters.into_iter().flat_map(of_heater).chain([fraction(reading), tool]);
    let told = (1_i64..).zip(values).filter_map(|(channel, value)| Some((channel, value?)));
    told.map(|(channel, value)| statement.execute((channel, reading.at.as_ms(), value)).unwrap()).sum()
}

/// The most that `replay` holds over a journal and over one eight times as long.
fn memory_of_replays() {
    let folder = folder();
    for n_lines in [100_000, 800_000] {
        let file = folder.path().join("steady.ndjson");
        let mut out = BufWriter::new(File::create(&file).unwrap());
        (0..n_lines).for_each(|second| out.write_all(steady::line("bench", second).as_bytes()).unwrap());
        out.flush().unwrap();
        let mut replay = Command::new(env!("CARGO_BIN_EXE_dwellwatch-under-test"));
        replay.arg("--db").arg(folder.path().join(format!("{n_lines}.db"))).arg("replay").arg(&file);
        let began = Instant::now();
        let (peak_kib, status) = memory::peak_kib(&mut replay.stdout(Stdio::null()).spawn().unwrap());
        let took = began.elapsed().as_secs_f64();
        println!("replay of {n_lines} lines: {peak_kib} KiB at most, {took:.1} s, success: {}", status.success());
    }
}

#[expect(clippy::as_conversions, clippy::cast_precision_loss, reason = "a count of lines")]
fn rate(n: usize, time: Duration) -> f64 {
    n as f64 / time.as_secs_f64()
}

fn ratio(a: Duration, b: Duration) -> f64 {
    a.as_secs_f64() / b.as_secs_f64()
}
