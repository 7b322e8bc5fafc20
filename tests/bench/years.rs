//! A record of many years, made by a generator: ten years of one printer, and a year of two hundred. How long it takes to
//! open, to show a page and to report, and how long an event waits while old readings are let go.
//! `cargo bench -p dwell-tests --bench years`.
#![expect(clippy::unwrap_used, clippy::print_stdout, reason = "a bench may stop, and prints what it measured")]

use dwell_analysis::polymer::Materials;
use dwell_analysis::time::Timestamp;
use dwell_analysis::units::Seconds;
use dwell_dashboards::week::IsoWeek;
use dwellwatch::clock::Clock;
use dwellwatch::entry::{HotEnd, PrinterName, Reading};
use dwellwatch::pipeline::Pipeline;
use dwellwatch::rehearsal::LiveJob;
use dwellwatch::store::{Commit, Keep, PrintFilter, Store};
use dwellwatch::study::{Known, Liners, Worked};
use dwellwatch::web::{self, Site};
use jiff::tz::TimeZone;
use rusqlite::{Connection, params};
use std::fs;
use std::path::Path;
use std::sync::Arc;
use std::time::{Duration, Instant};
use tokio::sync::watch;

const DAY_MS: i64 = 86_400_000;
const HOUR_MS: i64 = 3_600_000;
/// 2026-03-02T00:00:00Z: where the records end.
const END_MS: i64 = 1_772_409_600_000;
/// A print a day, of four hours, from the eighth hour on.
const PRINT_FROM_MS: i64 = 8 * HOUR_MS;
const PRINT_MS: i64 = 4 * HOUR_MS;
const CHANGES: i64 = 40;
const READINGS_DAYS: i64 = 90;
const MINUTES_DAYS: i64 = 730;

fn main() {
    // `cargo test` runs benches too, without the words that `cargo bench` gives.
    if !std::env::args().any(|word| word == "--bench") {
        return;
    }
    drop(rustls::crypto::ring::default_provider().install_default());
    measure("a year of one printer", 1, 365);
    measure("ten years of one printer", 1, 3650);
    measure("a year of two hundred printers", 200, 365);
    waits_behind_letting_go();
}

fn name(printer: i64) -> PrinterName {
    PrinterName::new(&format!("bench {printer}")).unwrap()
}

/// An hour's readings of a print, and of a printer at rest, as the store packs them; a day's summaries likewise.
struct Bodies {
    printing: Vec<u8>,
    resting: Vec<u8>,
    minutes: Vec<u8>,
    hours: Vec<u8>,
}

fn readings(hours: i64) -> Vec<Reading> {
    let mut live = LiveJob::new(1, HotEnd::Separate);
    let at = |second: i64| Timestamp::from_ms(END_MS - hours * HOUR_MS + second * 1000);
    (0..hours * 3600).map(|second| live.reading(at(second))).collect()
}

fn bodies(folder: &Path) -> Bodies {
    let path = folder.join("bodies.db");
    let store = Store::open_bulk(&path).unwrap();
    let mut pipeline = Pipeline::new(HotEnd::Separate, Vec::new(), Arc::default());
    for reading in readings(48) {
        let step = pipeline.read(reading);
        let commit = Commit { printer: name(1), effects: step.effects, alarms: Vec::new(), notices: false };
        store.commit(commit).unwrap();
    }
    store.flush().unwrap();
    let db = Connection::open(&path).unwrap();
    let body = |sql: &str| db.query_row(sql, [], |row| row.get::<_, Vec<u8>>(0)).unwrap();
    let printing = body("SELECT body FROM sample ORDER BY length(body) DESC LIMIT 1");
    let resting = body("SELECT body FROM sample ORDER BY length(body) LIMIT 1");
    while store.keep(Keep { readings_days: 1, minutes_days: 9 }).unwrap() {}
    let minutes = body("SELECT body FROM summary WHERE step_s = 60 LIMIT 1");
    let hours = body("SELECT body FROM summary WHERE step_s = 3600 LIMIT 1");
    Bodies { printing, resting, minutes, hours }
}

/// Writes a record of so many printers and days. Its readings are those of one hour again and again, which is the same
/// work for whoever reads them.
fn generate(path: &Path, n_printers: i64, days: i64, bodies: &Bodies) {
    drop(Store::open(path).unwrap());
    let mut db = Connection::open(path).unwrap();
    db.pragma_update(None, "synchronous", "OFF").unwrap();
    db.pragma_update(None, "foreign_keys", false).unwrap();
    for printer in 1..=n_printers {
        let step = db.transaction().unwrap();
        step.execute("INSERT INTO printer VALUES (?1, ?2, 'separate', 2)", params![printer, name(printer).as_str()])
            .unwrap();
        for day in 0..days {
            let midnight = END_MS - (days - day) * DAY_MS;
            one_print(&step, printer, midnight + PRINT_FROM_MS, printer * 100_000 + day);
            let age = days - day;
            if age > READINGS_DAYS {
                let insert = "INSERT INTO summary VALUES (?1, ?2, ?3, ?4, ?5)";
                let row = |seconds: i64, body: &[u8]| {
                    step.prepare_cached(insert)
                        .unwrap()
                        .execute(params![printer, seconds, midnight, midnight + DAY_MS, body])
                        .unwrap();
                };
                row(3600, &bodies.hours);
                if age <= READINGS_DAYS + MINUTES_DAYS {
                    row(60, &bodies.minutes);
                }
                continue;
            }
            for hour in 0..24 {
                let began = midnight + hour * HOUR_MS;
                let body = if (8..12).contains(&hour) { &bodies.printing } else { &bodies.resting };
                let insert = "INSERT INTO sample VALUES (?1, ?2, ?3, ?4, 1, ?5)";
                let row = params![(printer << 44) + began, printer, began, began + HOUR_MS - 1000, body];
                step.prepare_cached(insert).unwrap().execute(row).unwrap();
            }
        }
        step.commit().unwrap();
    }
    db.execute_batch("PRAGMA wal_checkpoint(TRUNCATE)").unwrap();
}

fn one_print(db: &Connection, printer: i64, began: i64, id: i64) {
    let ended = began + PRINT_MS;
    db.prepare_cached("INSERT INTO print VALUES (?1, ?2, ?3, 'lantern.gcode', ?4, 'completed', 1.0)")
        .unwrap()
        .execute([id, printer, began, ended])
        .unwrap();
    let turn = PRINT_MS / CHANGES;
    for change in 0..CHANGES {
        let (from, tool) = (began + change * turn, change % 2);
        if change > 0 {
            db.prepare_cached("INSERT INTO tool_change VALUES (?1, ?2, ?3, ?4, 'host')")
                .unwrap()
                .execute([id, from, 1 - tool, tool])
                .unwrap();
        }
        db.prepare_cached("INSERT INTO visit VALUES (?1, ?2, ?3, ?4, 0, 210.0, 211.5)")
            .unwrap()
            .execute([id, tool, from, from + turn])
            .unwrap();
        db.prepare_cached(
            "INSERT INTO span VALUES (?1, ?2, ?3, ?4, 'in_print', ?5, ?6, 0, 190.0, 191.0, 190.0, ?7, 1.5, 201.0)",
        )
        .unwrap()
        .execute(params![
            printer,
            1 - tool,
            from,
            id,
            from + turn,
            turn,
            0.5 + f64::from(i32::try_from(id % 7).unwrap())
        ])
        .unwrap();
    }
    let mode = if id % 11 == 0 { ("stringing", Some(1), Some(1)) } else { ("clean", None, None) };
    db.prepare_cached("INSERT INTO outcome (print, at_ms, tool, mode, severity) VALUES (?1, ?2, ?3, ?4, ?5)")
        .unwrap()
        .execute(params![id, ended + HOUR_MS, mode.1, mode.0, mode.2])
        .unwrap();
}

fn measure(what: &str, n_printers: i64, days: i64) {
    let folder = tempfile::tempdir_in(env!("CARGO_TARGET_TMPDIR")).unwrap();
    let path = folder.path().join("years.db");
    generate(&path, n_printers, days, &bodies(folder.path()));
    println!("{what}: {:.1} MiB", float(fs::metadata(&path).unwrap().len()) / 1_048_576.0);
    let began = Instant::now();
    let store = Store::open(&path).unwrap();
    let reader = store.reader().unwrap();
    let newest = reader.newest().unwrap().unwrap();
    for printer in 1..=n_printers {
        reader.resume(&name(printer)).unwrap();
    }
    println!("  open, and take every printer up: {:.0} ms", ms(began.elapsed()));
    // The last hours as they would come in, so that the page has something to show.
    let n_shown = n_printers.min(20);
    let lately = readings(2);
    for printer in 1..=n_shown {
        let mut pipeline = Pipeline::new(HotEnd::Separate, Vec::new(), Arc::default());
        for reading in &lately {
            let moved = Reading { at: reading.at + (newest - lately[0].at) + Seconds::new(30.0), ..reading.clone() };
            let step = pipeline.read(moved);
            let commit = Commit { printer: name(printer), effects: step.effects, alarms: step.alarms, notices: false };
            store.commit(commit).unwrap();
        }
    }
    let prints = reader.prints(&PrintFilter { limit: Some(1), ..PrintFilter::default() }).unwrap();
    let first = reader.prints(&PrintFilter::default()).unwrap().last().unwrap().id;
    let (new, old) = (prints[0].id, first);
    let at = reader.newest().unwrap().unwrap() + Seconds::new(1.0);
    drop(reader);
    let clock = Arc::new(Clock::rehearsal(at, 1.001));
    let worked = worked(&store, at);
    let site = Site::new(store.clone(), Vec::new(), TimeZone::UTC, clock, false).told(worked);
    let week = IsoWeek::of(Timestamp::from_ms(END_MS - 10 * DAY_MS), &TimeZone::UTC).unwrap();
    let mut asked = vec![("newest print", format!("/prints/{new}")), ("oldest print", format!("/prints/{old}"))];
    asked.push(("a week's report", format!("/reports/{week}")));
    asked.push(("a year's report", "/reports/2025-03-03..2026-03-01".to_owned()));
    asked.push(("a mode's causes", "/causes/stringing".to_owned()));
    let pages =
        ["/", "/prints", "/causes", "/changes", "/parts", "/alarms", "/preflight", "/reports", "/setup", "/metrics"];
    asked.extend(pages.map(|path| (path, path.to_owned())));
    time(site, &asked);
}

/// What the daemon works out in the background before pages show it.
fn worked(store: &Store, at: Timestamp) -> watch::Receiver<Option<Arc<Worked>>> {
    let began = Instant::now();
    let (reader, materials) = (store.reader().unwrap(), Materials::default());
    let known = Known::of(&reader, &materials, None).unwrap();
    let worked = Worked::anew(&reader, &materials, known, &Liners::new(), at).unwrap();
    println!("  all that is worked out in the background: {:.1} s", began.elapsed().as_secs_f64());
    watch::channel(Some(Arc::new(worked))).1
}

/// Time to the first byte of each, beside that of the stylesheet from the same server.
fn time(site: Site, asked: &[(&str, String)]) {
    let runtime = tokio::runtime::Builder::new_multi_thread().worker_threads(1).enable_all().build().unwrap();
    let address = runtime.block_on(async {
        let listener = tokio::net::TcpListener::bind("127.0.0.1:0").await.unwrap();
        let address = listener.local_addr().unwrap();
        tokio::spawn(web::serve(listener, site, std::future::pending()));
        address
    });
    let http = reqwest::Client::builder().no_proxy().build().unwrap();
    let first_byte = |path: &str| {
        let url = format!("http://{address}{path}");
        runtime.block_on(async {
            let began = Instant::now();
            let mut answer = http.get(&url).send().await.unwrap();
            assert!(answer.status().is_success(), "{url}: {}", answer.status());
            let mut n_bytes = answer.chunk().await.unwrap().map_or(0, |chunk| chunk.len());
            let took = began.elapsed();
            while let Some(chunk) = answer.chunk().await.unwrap() {
                n_bytes += chunk.len();
            }
            (took, n_bytes)
        })
    };
    let middle_of = |path: &str| {
        let mut times: Vec<Duration> = (0..21).map(|_| first_byte(path).0).collect();
        times.sort();
        times[times.len() / 2]
    };
    let style = middle_of("/style.css");
    println!("  a file of the same server: first byte after {:.2} ms", ms(style));
    for (name, path) in asked {
        let n_bytes = first_byte(path).1;
        let took = middle_of(path);
        let ratio = took.as_secs_f64() / style.as_secs_f64();
        println!("  {name}: first byte after {:.1} ms, {ratio:.0} times the file's; {} KiB", ms(took), n_bytes / 1024);
    }
}

/// How long an event's commit takes while days are let go, and while nothing is.
fn waits_behind_letting_go() {
    let folder = tempfile::tempdir_in(env!("CARGO_TARGET_TMPDIR")).unwrap();
    let path = folder.path().join("go.db");
    let bodies = bodies(folder.path());
    generate(&path, 1, 60, &bodies);
    let store = Store::open(&path).unwrap();
    let commit = |nth: i64| {
        let at = Timestamp::from_ms(END_MS + nth * 1000);
        let reason = dwellwatch::tracker::RefusalReason::OutOfOrder;
        let effects = vec![dwellwatch::tracker::Effect::Refused { at, reason }];
        let began = Instant::now();
        store.commit(Commit { printer: name(1), effects, alarms: Vec::new(), notices: false }).unwrap();
        began.elapsed()
    };
    let alone = (0..200).map(commit).max().unwrap();
    let other = store.clone();
    let going = std::thread::spawn(move || {
        let mut n = 0;
        while other.keep(Keep { readings_days: 1, minutes_days: 1 }).unwrap() {
            n += 1;
        }
        n
    });
    let mut beside = Vec::new();
    let mut nth = 200;
    while !going.is_finished() {
        beside.push(commit(nth));
        nth += 1;
    }
    let n_steps = going.join().unwrap();
    let longest = beside.iter().max().unwrap();
    println!(
        "letting go in {n_steps} steps without a pause: {} events beside it, the longest took {:.1} ms; alone {:.1} ms",
        beside.len(),
        ms(*longest),
        ms(alone)
    );
}

fn ms(time: Duration) -> f64 {
    time.as_secs_f64() * 1000.0
}

#[expect(clippy::as_conversions, clippy::cast_precision_loss, reason = "far below 2^53 bytes")]
fn float(bytes: u64) -> f64 {
    bytes as f64
}
