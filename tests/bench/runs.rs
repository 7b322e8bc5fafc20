//! How long the record takes to say what every tool-run was like, over records of more and more prints, made by a
//! generator; and what it takes to work out the pages of a year beside learning and advising from it.
//! `cargo bench -p dwell-tests --bench runs`.
#![expect(clippy::unwrap_used, clippy::print_stdout, reason = "a bench may stop, and prints what it measured")]

use dwell_analysis::polymer::Materials;
use dwell_analysis::time::Timestamp;
use dwellwatch::store::Store;
use dwellwatch::study::{Known, Learning, Liners, Worked, advice, fitted, runs};
use rusqlite::{Connection, params};
use std::path::Path;
use std::time::Duration;

const HOUR_MS: i64 = 3_600_000;
/// 2026-03-02T00:00:00Z: where the records end.
const END_MS: i64 = 1_772_409_600_000;
/// Prints of two hours with ten turns, four hours apart.
const EVERY_MS: i64 = 4 * HOUR_MS;
const PRINT_MS: i64 = 2 * HOUR_MS;
const TURNS: i64 = 10;
const SIZES: [i64; 3] = [1_000, 10_000, 100_000];

fn main() {
    // `cargo test` runs benches too, without the words that `cargo bench` gives.
    if !std::env::args().any(|word| word == "--bench") {
        return;
    }
    let mut last: Option<(i64, Duration)> = None;
    for n in SIZES {
        let folder = tempfile::tempdir_in(env!("CARGO_TARGET_TMPDIR")).unwrap();
        let path = folder.path().join("runs.db");
        generate(&path, n);
        let reader = Store::open(&path).unwrap().reader().unwrap();
        let took = (0..3).map(|_| {
            time(|| assert_eq!(runs(&reader, &Materials::default()).unwrap().len(), usize::try_from(2 * n).unwrap()))
        });
        let took = took.min().unwrap();
        let grew = last.map(|(before, then)| {
            format!(", {:.1} times the time of {before}, a tenth", took.as_secs_f64() / then.as_secs_f64())
        });
        println!("{n} prints: {:.0} ms{}", took.as_secs_f64() * 1000.0, grew.unwrap_or_default());
        last = Some((n, took));
    }
    worked_out();
}

/// Prints of a year, six a day.
const YEAR: i64 = 2_190;

/// What the daemon did before there were pages of what was worked out, and what these take.
fn worked_out() {
    let folder = tempfile::tempdir_in(env!("CARGO_TARGET_TMPDIR")).unwrap();
    let path = folder.path().join("runs.db");
    generate(&path, YEAR);
    let reader = Store::open(&path).unwrap().reader().unwrap();
    let (materials, mut known, mut advised) = (Materials::default(), None, None);
    let learned = time(|| {
        let found = Known::of(&reader, &materials, Some(Learning::default())).unwrap();
        fitted(&reader, &materials, &found).unwrap();
        advised = Some(advice(&reader, &materials, &found, &Liners::new()).unwrap());
        known = Some(found);
    });
    let shown = time(|| {
        let (known, advised) = (known.take().unwrap(), advised.take().unwrap());
        let made = Timestamp::from_ms(END_MS);
        assert_eq!(Worked::of([&reader, &reader], &materials, known, advised, made).unwrap().learned.modes.len(), 9);
    });
    let share = shown.as_secs_f64() / learned.as_secs_f64();
    println!("{YEAR} prints: the pages take {share:.2} times what learning and advising take");
}

/// What it takes of a processor: other work beside it does not count.
fn time(work: impl FnOnce()) -> Duration {
    let began = worked();
    work();
    worked().saturating_sub(began)
}

/// Time that this process has worked, in hundredths of a second (proc(5): the fourteenth and fifteenth field).
fn worked() -> Duration {
    let told = std::fs::read_to_string("/proc/self/stat").unwrap();
    let after_name = told.rsplit_once(") ").unwrap().1;
    let ticks: u64 = after_name.split(' ').skip(11).take(2).map(|field| field.parse::<u64>().unwrap()).sum();
    Duration::from_millis(10 * ticks)
}

fn generate(path: &Path, n: i64) {
    drop(Store::open(path).unwrap());
    let mut db = Connection::open(path).unwrap();
    db.pragma_update(None, "synchronous", "OFF").unwrap();
    let step = db.transaction().unwrap();
    step.execute("INSERT INTO printer VALUES (1, 'bench', 'separate', 2)", []).unwrap();
    for id in 1..=n {
        one_print(&step, id, END_MS - (n + 1 - id) * EVERY_MS);
    }
    step.commit().unwrap();
    db.execute_batch("PRAGMA wal_checkpoint(TRUNCATE)").unwrap();
}

/// A print with its turns and waits; every second one has a job file, every tenth follows other settings, every
/// hundredth a new liner, and nobody says a word of every seventh.
fn one_print(db: &Connection, id: i64, began: i64) {
    let write = |sql: &str, row: &[&dyn rusqlite::ToSql]| {
        db.prepare_cached(sql).unwrap().execute(row).unwrap();
    };
    let ended = began + PRINT_MS;
    if id % 10 == 1 {
        let settings =
            "INSERT INTO settings_change (printer, tool, at_ms, material, retract_mm) VALUES (1, ?1, ?2, 'PETG', ?3)";
        (0..2).for_each(|tool: i64| {
            write(settings, params![tool, began - 1000, 0.5 + 0.1 * f64::from(u8::try_from(id % 7).unwrap())]);
        });
    }
    if id % 100 == 1 {
        write(
            "INSERT INTO part_change (printer, tool, at_ms, part, event) VALUES (1, 0, ?1, 'liner', 'fitted')",
            params![began - 2000],
        );
    }
    write("INSERT INTO print VALUES (?1, 1, ?2, 'lantern.gcode', ?3, 'completed', 1.0)", params![id, began, ended]);
    if id % 2 == 0 {
        write(
            "INSERT INTO job_file VALUES (?1, ?2, 'lantern.gcode', 'host', 4096, 50000, x'00', NULL)",
            params![id, began],
        );
        let asked = "INSERT INTO job_file_tool (print, tool, print_c, left_n, left_hot_n) VALUES (?1, ?2, 235.0, 5, 5)";
        (0..2).for_each(|tool: i64| write(asked, params![id, tool]));
    }
    let turn = PRINT_MS / TURNS;
    for nth in 0..TURNS {
        let (from, tool) = (began + nth * turn, nth % 2);
        if nth > 0 {
            write("INSERT INTO tool_change VALUES (?1, ?2, ?3, ?4, 'host')", params![id, from, 1 - tool, tool]);
        }
        write("INSERT INTO visit VALUES (?1, ?2, ?3, ?4, 0, 210.0, 211.5)", params![id, tool, from, from + turn]);
        let span =
            "INSERT INTO span VALUES (1, ?1, ?2, ?3, 'in_print', ?4, ?5, 0, 190.0, 191.0, 190.0, 1.5, 0.5, 201.0)";
        write(span, params![1 - tool, from, id, from + turn, turn]);
    }
    if id % 7 > 0 {
        let mode = if id % 11 == 0 { "stringing" } else { "clean" };
        write("INSERT INTO outcome (print, at_ms, mode) VALUES (?1, ?2, ?3)", params![id, ended + HOUR_MS, mode]);
    }
}
