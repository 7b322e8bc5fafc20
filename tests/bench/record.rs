//! How small the record is and how little it writes: bytes a stored value, of the rehearsal's noisy printer and of public
//! temperature series, beside a row a sample and plain zstd of the same values; and bytes written in a day, by the
//! kernel's own count. `cargo bench -p dwell-tests --bench record`.
#![expect(clippy::unwrap_used, clippy::print_stdout, reason = "a bench may stop, and prints what it measured")]

use dwell_analysis::time::Timestamp;
use dwell_analysis::units::Seconds;
use dwellwatch::entry::{CentiCelsius, Heater, HotEnd, Job, JobState, PrinterName, Reading};
use dwellwatch::pipeline::Pipeline;
use dwellwatch::rehearsal::LiveJob;
use dwellwatch::store::{Commit, Store};
use dwellwatch::tracker::Effect;
use rusqlite::{Connection, params};
use std::fs::{self, File};
use std::path::Path;
use std::sync::Arc;

const START: Timestamp = Timestamp::from_ms(1_772_409_600_000);
const DAY_S: i64 = 86_400;

fn main() {
    // `cargo test` runs benches too, without the words that `cargo bench` gives.
    if !std::env::args().any(|word| word == "--bench") {
        return;
    }
    let printing = day(DAY_S);
    values("rehearsal, 1 Hz, a day of printing", &printing);
    let story: Vec<Reading> = dwellwatch::rehearsal::Story::new(1)
        .entries()
        .into_iter()
        .filter_map(|entry| if let dwellwatch::entry::Entry::Reading(reading) = entry { Some(reading) } else { None })
        .collect();
    values("rehearsal, eight weeks, a reading in 5 s", &story);
    for (name, columns) in [
        ("machine_temperature", vec!["value"]),
        ("room_temperature", vec!["value"]),
        ("two_heater_a", vec!["temp1_c", "temp2_c"]),
    ] {
        values(&format!("{name}, in tenths, put at 1 Hz"), &series(name, &columns));
    }
    written("a day that prints without a pause", &printing);
    written("a day that prints for 8 hours and stands cold for 16", &day(8 * 3600));
}

/// A day of the rehearsal's printer at 1 Hz that prints for so long and then stands switched off.
fn day(printing_s: i64) -> Vec<Reading> {
    let mut live = LiveJob::new(1, HotEnd::Separate);
    let mut readings: Vec<Reading> = (0..printing_s)
        .map(|second| live.reading(START + Seconds::new(f64::from(i32::try_from(second).unwrap()))))
        .collect();
    for second in printing_s..DAY_S {
        let noise = |salt: i64| i32::try_from((second * 7919 + salt * 104_729) % 5 * 10).unwrap();
        let cold = |salt| Heater {
            actual: Some(CentiCelsius::from_hundredths(2200 + noise(salt))),
            target: Some(CentiCelsius::from_hundredths(0)),
            duty_thousandths: Some(0),
            fan_thousandths: None,
        };
        readings.push(Reading {
            at: START + Seconds::new(f64::from(i32::try_from(second).unwrap())),
            after_gap: false,
            job: Job { state: JobState::None, name: None, fraction_millionths: None, byte: None },
            active_tool: None,
            tools: vec![cold(1), cold(2)],
            bed: Some(cold(3)),
        });
    }
    readings
}

/// A public series as readings of a printer that tells nothing else, one a second.
fn series(name: &str, columns: &[&str]) -> Vec<Reading> {
    let path = Path::new(env!("CARGO_MANIFEST_DIR")).join("reference/series").join(format!("{name}.csv"));
    let text = fs::read_to_string(path).unwrap();
    let mut lines = text.lines();
    let head: Vec<&str> = lines.next().unwrap().split(',').collect();
    let at = |wanted: &str| head.iter().position(|column| *column == wanted).unwrap();
    let columns: Vec<usize> = columns.iter().map(|column| at(column)).collect();
    (0..)
        .zip(lines)
        .map(|(second, line)| {
            let cells: Vec<&str> = line.split(',').collect();
            let heater = |column: &usize| Heater {
                actual: CentiCelsius::nearest((cells[*column].parse::<f64>().unwrap() * 10.0).round() / 10.0),
                ..Heater::default()
            };
            Reading {
                at: START + Seconds::new(f64::from(second)),
                after_gap: false,
                job: Job { state: JobState::None, name: None, fraction_millionths: None, byte: None },
                active_tool: None,
                tools: columns.iter().map(heater).collect(),
                bed: None,
            }
        })
        .collect()
}

/// The numbers that a reading holds, in columns: when, then what is told.
fn numbers(reading: &Reading) -> Vec<i64> {
    let job = &reading.job;
    let state = JobState::ALL.iter().position(|state| *state == job.state);
    let told = [
        Some(reading.at.as_ms()),
        state.filter(|_| job.state != JobState::None).and_then(|state| i64::try_from(state).ok()),
        job.fraction_millionths.map(i64::from),
        job.byte.and_then(|byte| i64::try_from(byte).ok()),
        reading.active_tool.and_then(|tool| i64::try_from(tool).ok()),
    ];
    let heater = |heater: &Heater| {
        let degrees = |value: Option<CentiCelsius>| value.map(|value| i64::from(value.hundredths()));
        [degrees(heater.actual), degrees(heater.target), heater.duty_thousandths.map(i64::from)]
    };
    told.into_iter().chain(reading.tools.iter().chain(&reading.bed).flat_map(heater)).flatten().collect()
}

fn values(name: &str, readings: &[Reading]) {
    let n: usize = readings.iter().map(|reading| numbers(reading).len()).sum();
    let heaters =
        |reading: &Reading| reading.tools.iter().chain(&reading.bed).filter(|heater| heater.actual.is_some()).count();
    let n_temperatures: usize = readings.iter().map(heaters).sum();
    let folder = tempfile::tempdir_in(env!("CARGO_TARGET_TMPDIR")).unwrap();
    let path = folder.path().join("record.db");
    let store = Store::open_bulk(&path).unwrap();
    let printer = PrinterName::new("bench").unwrap();
    for some in readings.chunks(3600) {
        let sample = |reading: &Reading| Effect::Sample { reading: reading.clone(), tools: Vec::new() };
        let effects = some.iter().map(sample).collect();
        let commit = Commit { printer: printer.clone(), effects, alarms: Vec::new(), notices: false };
        store.commit(commit).unwrap();
    }
    drop(store);
    let db = Connection::open(&path).unwrap();
    let bodies: i64 = db.query_row("SELECT sum(length(body)) FROM sample", [], |row| row.get(0)).unwrap();
    let pages: i64 =
        db.query_row("SELECT sum(pgsize) FROM dbstat WHERE name = 'sample'", [], |row| row.get(0)).unwrap();
    let row_a_sample = row_a_sample(&folder.path().join("rows.db"), readings);
    let zstd = plain_zstd(readings);
    let each = |bytes: u64| float(bytes) / float(u64::try_from(n).unwrap());
    println!(
        "{name}: {} readings, {n} values ({n_temperatures} of them temperatures): {:.3} bytes a value packed, {:.3} with SQLite's pages; \
         a row a sample {:.2}; plain zstd -19 by the hour {:.3}",
        readings.len(),
        each(bodies.unsigned_abs()),
        each(pages.unsigned_abs()),
        each(row_a_sample),
        each(zstd),
    );
}

/// The same values in a table of a row a sample, a column a value; the file's bytes.
fn row_a_sample(path: &Path, readings: &[Reading]) -> u64 {
    let mut db = Connection::open(path).unwrap();
    let n = readings.iter().map(|reading| numbers(reading).len()).max().unwrap();
    let columns: Vec<String> = (1..n).map(|idx| format!("c{idx}")).collect();
    db.execute_batch(&format!(
        "CREATE TABLE sample (at INTEGER PRIMARY KEY, {}) STRICT",
        columns.join(" INTEGER, ") + " INTEGER"
    ))
    .unwrap();
    let step = db.transaction().unwrap();
    for reading in readings {
        let mut row = numbers(reading);
        let marks: Vec<&str> = row.iter().map(|_| "?").collect();
        let names: Vec<String> =
            std::iter::once("at".to_owned()).chain((1..row.len()).map(|idx| format!("c{idx}"))).collect();
        let sql = format!("INSERT INTO sample ({}) VALUES ({})", names.join(","), marks.join(","));
        let values: Vec<i64> = std::mem::take(&mut row);
        step.prepare_cached(&sql).unwrap().execute(rusqlite::params_from_iter(values)).unwrap();
    }
    step.commit().unwrap();
    let count: i64 = db.query_row("SELECT count(*) FROM sample", params![], |row| row.get(0)).unwrap();
    assert_eq!(usize::try_from(count).unwrap(), readings.len());
    drop(db);
    fs::metadata(path).unwrap().len()
}

/// The same values as 32-bit numbers (times as milliseconds since the hour's first), an hour a frame.
fn plain_zstd(readings: &[Reading]) -> u64 {
    let mut bytes = 0;
    for hour in readings.chunk_by(|one, next| one.at.as_ms() / 3_600_000 == next.at.as_ms() / 3_600_000) {
        let first = hour[0].at.as_ms();
        let flat: Vec<u8> = hour
            .iter()
            .flat_map(|reading| {
                let mut numbers = numbers(reading);
                numbers[0] -= first;
                numbers.into_iter().flat_map(|number| i32::try_from(number).unwrap().to_le_bytes())
            })
            .collect();
        bytes += zstd::bulk::compress(&flat, 19).unwrap().len();
    }
    u64::try_from(bytes).unwrap()
}

/// What the kernel books to this process for a day, committed reading by reading as the daemon does.
fn written(name: &str, readings: &[Reading]) {
    for flushed in [false, true] {
        let folder = tempfile::tempdir_in(env!("CARGO_TARGET_TMPDIR")).unwrap();
        let path = folder.path().join("day.db");
        let store = Store::open(&path).unwrap();
        let printer = PrinterName::new("bench").unwrap();
        store.ensure_printer(&printer, HotEnd::Separate, 2).unwrap();
        let mut pipeline = Pipeline::new(HotEnd::Separate, Vec::new(), Arc::default());
        let before = booked();
        let mut n_events = 0;
        for (second, reading) in readings.iter().enumerate() {
            let step = pipeline.read(reading.clone());
            let commit = Commit { printer: printer.clone(), effects: step.effects, alarms: step.alarms, notices: true };
            n_events += usize::from(commit.has_events());
            store.commit(commit).unwrap();
            // In a real day the kernel writes what has waited for half a minute, so that the same page counts again.
            if flushed && second % 30 == 29 {
                for file in [path.clone(), folder.path().join("day.db-wal")] {
                    File::open(file).unwrap().sync_data().unwrap();
                }
            }
        }
        store.flush().unwrap();
        drop(store);
        let how = if flushed { "what waits written every 30 s, as the kernel does" } else { "at the commits' rhythm" };
        println!(
            "written in {name}, {n_events} commits of events, {how}: {:.2} MiB",
            float(booked() - before) / 1_048_576.0
        );
    }
}

fn booked() -> u64 {
    let io = fs::read_to_string("/proc/self/io").unwrap();
    io.lines().find_map(|line| line.strip_prefix("write_bytes: ")).unwrap().parse().unwrap()
}

#[expect(clippy::as_conversions, clippy::cast_precision_loss, reason = "far below 2^53 bytes")]
fn float(bytes: u64) -> f64 {
    bytes as f64
}
