//! `demo`: a rehearsal on this machine. An invented history is replayed as a journal, then the real daemon polls a
//! simulated printer host over HTTP, on a clock that runs fast.

use super::Failure;
use super::replay::at;
use super::run::{asked_to_stop, log_to_stderr, runtime};
use crate::app::App;
use crate::config::Config;
use crate::entry::HotEnd;
use crate::journal::write_line;
use crate::rehearsal::shape::printer_toml;
use crate::rehearsal::{LiveJob, RehearsalHost, Shape, Story};
use crate::replay::Replay;
use crate::store::{PrintFilter, Store};
use crate::study::{self, Known, Learning, Liners, Worked};
use dwell_analysis::polymer::Materials;
use dwell_analysis::time::Timestamp;
use dwell_analysis::units::Seconds;
use dwell_dashboards::week::IsoWeek;
use dwell_dashboards::{render_report_html, render_report_mail, render_report_text};
use jiff::tz::TimeZone;
use std::collections::HashMap;
use std::fs::{self, File};
use std::io::{self, BufWriter, Write};
use std::path::{Path, PathBuf};
use std::sync::Arc;
use tokio::net::TcpListener;
use tokio::sync::oneshot;

/// The same invented history every time.
const SEED: u64 = 20_260_105;
/// Simulated seconds a real one: tool changes within seconds, an alarm within a minute.
const RATE: f64 = 20.0;
/// The dashboard's usual port; any free one if it is taken.
const PORT: u16 = 7870;
/// The night between the history's last reading and the live printer's first.
const PAUSE: Seconds = Seconds::new(6.0 * 3600.0);

pub(super) fn run(once: Option<&Path>) -> Result<(), Failure> {
    match once {
        Some(folder) => write_once(folder),
        None => live(),
    }
}

/// Writes the history's journal, database and last weekly report into a folder.
fn write_once(folder: &Path) -> Result<(), Failure> {
    fs::create_dir_all(folder).map_err(|error| Failure::file(folder, &error))?;
    let file = folder.join("rehearsal.db");
    if file.exists() {
        return Err(Failure::Work(format!("{} is there already; an empty folder would be right", file.display())));
    }
    let store = Store::open_bulk(&file)?;
    let (history, path) = play(folder, &store)?;
    let zone = TimeZone::UTC;
    // The history ends with its last week, on the Sunday night.
    let last = history.ends() - Seconds::new(1.0);
    let week = IsoWeek::of(last, &zone).map_err(|error| Failure::Work(error.to_string()))?;
    let (reader, materials, as_of) = (store.reader()?, Materials::default(), history.ends());
    let known = Known::of(&reader, &materials, Some(Learning::default()))?;
    let worked = Worked::anew(&reader, &materials, known, &Liners::default(), as_of)?;
    let asked = study::Asked { period: week.into(), zone, as_of, rehearsal: true };
    let view = study::report(&reader, &materials, &worked, &asked)?;
    say(&format!("journal   {}", path.display()))?;
    say(&format!("database  {}", store.path().display()))?;
    let forms = [
        ("html", render_report_html(&view)),
        ("mail.html", render_report_mail(&view)),
        ("txt", render_report_text(&view)),
    ];
    for (ending, text) in forms {
        let path = folder.join(format!("report-{week}.{ending}"));
        fs::write(&path, text).map_err(|error| Failure::file(&path, &error))?;
        say(&format!("report    {}", path.display()))?;
    }
    Ok(())
}

/// Writes the history as a journal and replays it into the store.
fn play(folder: &Path, store: &Store) -> Result<(Story, PathBuf), Failure> {
    let history = Story::new(SEED);
    let path = folder.join("rehearsal.ndjson");
    let failed = |error: io::Error| Failure::file(&path, &error);
    let mut out = BufWriter::new(File::create(&path).map_err(failed)?);
    let printer = history.printer();
    for entry in history.entries() {
        writeln!(out, "{}", write_line(&printer, &entry)).map_err(failed)?;
    }
    out.flush().map_err(failed)?;
    drop(out);
    let mut replay = Replay::new(store, crate::alarm::Rules::default(), HashMap::new());
    let journal = File::open(&path).map_err(failed)?;
    let replayed = replay.feed(journal, history.ends());
    replayed.map_err(|fault| at(&path.display().to_string(), &fault))?;
    replay.finish()?;
    Ok((history, path))
}

fn live() -> Result<(), Failure> {
    log_to_stderr("warn");
    let folder = std::env::temp_dir().join(format!("dwellwatch-rehearsal-{}", std::process::id()));
    fs::create_dir_all(&folder).map_err(|error| Failure::file(&folder, &error))?;
    let lived = live_in(&folder);
    let cleared = fs::remove_dir_all(&folder).map_err(|error| Failure::file(&folder, &error));
    lived.and(cleared)
}

fn live_in(folder: &Path) -> Result<(), Failure> {
    say("Rehearsal: the printer, its host and its history are invented.")?;
    let store = Store::open(&folder.join("rehearsal.db"))?;
    let (history, _) = play(folder, &store)?;
    let prints = store.reader()?.prints(&PrintFilter::default())?.len();
    say(&format!("{prints} prints of 8 weeks replayed from their journal."))?;
    runtime()?.block_on(serve(folder, store, history.ends() + PAUSE, history.printer().as_str()))
}

async fn serve(folder: &Path, store: Store, origin: Timestamp, printer: &str) -> Result<(), Failure> {
    let failed = |error: io::Error| Failure::Work(format!("loopback: {error}"));
    let (end, ended) = oneshot::channel::<()>();
    let host = TcpListener::bind(("127.0.0.1", 0)).await.map_err(failed)?;
    let live = LiveJob::new(SEED, HotEnd::Separate);
    let shutdown = async move { drop(ended.await) };
    let host = RehearsalHost::start(host, live, RATE, origin, shutdown).map_err(failed)?;
    let listener = match TcpListener::bind(("127.0.0.1", PORT)).await {
        Ok(listener) => listener,
        Err(_) => TcpListener::bind(("127.0.0.1", 0)).await.map_err(failed)?,
    };
    let dashboard = listener.local_addr().map_err(failed)?;
    let map = printer_toml(Shape::Hearths, HotEnd::Separate, &host.base(), printer, 2.0);
    let head = format!("[report]\nzone = \"UTC\"\n\n[notify]\naddress = \"http://{dashboard}\"\n");
    let config = Config::parse(&format!("{head}{map}"), &folder.join("rehearsal.toml"))?;
    say(&format!("Printer host  {}  (simulated, {RATE:.0} times as fast as life)", host.base()))?;
    say(&format!("Dashboard     http://{dashboard}/"))?;
    say("Ctrl-C ends the rehearsal and removes its files.")?;
    let clock = Arc::clone(host.clock());
    let app = App { config, store, clock, listener, rehearsal: true };
    let ran = app.run(asked_to_stop()).await;
    drop(end);
    host.stopped().await.map_err(|error| Failure::Work(error.to_string()))?;
    Ok(ran?)
}

fn say(line: &str) -> Result<(), Failure> {
    let mut out = io::stdout().lock();
    let said = writeln!(out, "{line}").and_then(|()| out.flush());
    said.map_err(|error| Failure::Work(format!("stdout: {error}")))
}
