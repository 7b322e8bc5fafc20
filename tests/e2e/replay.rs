//! `replay` from outside: however its lines come and however it bundles them, the record holds what they say, and after
//! a fault exactly what came before it.
#![expect(clippy::unwrap_used, reason = "a test may stop")]

use dwell_analysis::time::Timestamp;
use dwell_tests::{eventually, memory, steady};
use dwellwatch::entry::{Entry, Mode, Outcome, PrinterName};
use dwellwatch::journal::write_line;
use dwellwatch::store::{PrintFilter, Reader, SpanFilter};
use std::fs::{self, File};
use std::io::{BufWriter, Write};
use std::path::{Path, PathBuf};
use std::process::{Child, Command, Output, Stdio};
use std::time::Duration;
use tempfile::TempDir;

/// Longer than several commits.
const LONG: i64 = 12_000;
const PATIENCE: Duration = Duration::from_mins(1);

struct Bench(TempDir);

impl Bench {
    fn new() -> Self {
        Self(tempfile::tempdir().unwrap())
    }

    fn file(&self, name: &str) -> PathBuf {
        self.0.path().join(name)
    }

    fn command(&self, db: &str, journal: &Path) -> Command {
        let mut command = Command::new(env!("CARGO_BIN_EXE_dwellwatch-under-test"));
        command.arg("--db").arg(self.file(db)).arg("replay").arg(journal).current_dir(self.0.path());
        command
    }

    fn replay(&self, db: &str, journal: &str) -> Output {
        let file = self.file("journal.ndjson");
        fs::write(&file, journal).unwrap();
        self.command(db, &file).output().unwrap()
    }

    /// A replay of what will be written to it.
    fn replay_stdin(&self, db: &str) -> Child {
        let mut command = self.command(db, Path::new("-"));
        command.stdin(Stdio::piped()).stdout(Stdio::piped()).stderr(Stdio::piped()).spawn().unwrap()
    }

    /// All that the record says of a printer, as text; its rows' numbers apart.
    fn record(&self, db: &str, printer: &str) -> String {
        let (reader, name) = (Reader::open(&self.file(db)).unwrap(), PrinterName::new(printer).unwrap());
        let mut prints = reader.prints(&PrintFilter::default()).unwrap();
        prints.retain(|print| print.printer == name);
        for print in &mut prints {
            print.id = 0;
        }
        let mut spans = reader.spans(&SpanFilter::default()).unwrap();
        spans.retain(|span| span.printer == name);
        for span in &mut spans {
            span.print = span.print.map(|_| 0);
        }
        format!("{prints:#?}\n{spans:#?}\n{:?}", self.instants(db, printer))
    }

    /// When it was read, as far as the record goes.
    fn instants(&self, db: &str, printer: &str) -> Vec<Timestamp> {
        let (reader, name) = (Reader::open(&self.file(db)).unwrap(), PrinterName::new(printer).unwrap());
        reader.readings(&name, None, None).unwrap().map(|reading| reading.unwrap().at).collect()
    }
}

fn lines(printer: &str, seconds: std::ops::Range<i64>) -> String {
    seconds.map(|second| steady::line(printer, second)).collect()
}

/// An outcome of the print that began at that second.
fn outcome(printer: &str, began: i64) -> String {
    let started = steady::reading(began).at;
    let outcome = Outcome {
        at: started,
        job: "lantern.gcode".into(),
        started,
        tool: None,
        mode: Mode::Clean,
        severity: None,
        note: None,
    };
    write_line(&PrinterName::new(printer).unwrap(), &Entry::Outcome(outcome)) + "\n"
}

fn stderr(output: &Output) -> String {
    String::from_utf8_lossy(&output.stderr).into_owned()
}

#[test]
fn after_a_bad_line_the_record_holds_all_before_it_and_nothing_after_it() {
    let stray = outcome("bench", -5000);
    for (bad, says) in [
        ("{\"kind\":\"reading\"}\n", "`printer` is missing"),
        ("\u{fffd}\n", "not a journal line"),
        (stray.as_str(), "no print of bench began within 60 s of"),
    ] {
        let bench = Bench::new();
        // The other printer is a line ahead at the bad one.
        let before: String =
            (0..LONG).map(|second| steady::line("attic", second) + &steady::line("bench", second)).collect();
        let after = lines("bench", LONG + 1..LONG + 9000) + &lines("attic", LONG + 1..LONG + 100);
        let replayed = bench.replay("a.db", &(before + "\n" + &steady::line("attic", LONG) + bad + &after));
        assert_eq!(replayed.status.code(), Some(1));
        let line = 2 * LONG + 3;
        assert!(stderr(&replayed).contains(&format!("journal.ndjson, line {line}: {says}")), "{}", stderr(&replayed));
        let wanted =
            |seconds: std::ops::Range<i64>| seconds.map(|second| steady::reading(second).at).collect::<Vec<_>>();
        assert!(bench.instants("a.db", "bench") == wanted(0..LONG), "{says}");
        assert!(bench.instants("a.db", "attic") == wanted(0..LONG + 1), "{says}");
    }
}

#[test]
fn an_outcome_finds_the_print_that_began_a_line_before_it() {
    let bench = Bench::new();
    let journal = lines("bench", 0..1) + &outcome("bench", 0) + &lines("bench", 1..20);
    let replayed = bench.replay("a.db", &journal);
    assert_eq!(replayed.status.code(), Some(0), "{}", stderr(&replayed));
    let prints = Reader::open(&bench.file("a.db")).unwrap().prints(&PrintFilter::default()).unwrap();
    assert_eq!((prints.len(), prints[0].outcomes.len()), (1, 1), "{prints:?}");
}

#[test]
fn two_printers_line_by_line_give_what_each_gives_alone() {
    let bench = Bench::new();
    let one = |printer: &str, second: i64| {
        let told = if second % 2500 == 2000 { outcome(printer, 0) } else { String::new() };
        steady::line(printer, second) + &told
    };
    let both: String = (0..LONG).map(|second| one("bench", second) + &one("attic", second + 1234)).collect();
    let both = both.replace(&outcome("attic", 0), &outcome("attic", 1234));
    let alone = |printer: &str| {
        let own = both.lines().filter(|line| line.contains(printer)).map(|line| format!("{line}\n"));
        own.collect::<String>()
    };
    let replayed = bench.replay("both.db", &both);
    assert_eq!(replayed.status.code(), Some(0), "{}", stderr(&replayed));
    for printer in ["bench", "attic"] {
        let replayed = bench.replay("alone.db", &alone(printer));
        assert_eq!(replayed.status.code(), Some(0), "{}", stderr(&replayed));
        let (found, wanted) = (bench.record("both.db", printer), bench.record("alone.db", printer));
        assert!(wanted.contains("Clean") && wanted.contains("InPrint"), "nothing to compare: {wanted}");
        assert!(found == wanted, "{printer}: {found} instead of {wanted}");
    }
}

#[test]
fn lines_from_stdin_count_as_those_of_a_file_however_they_are_cut() {
    let bench = Bench::new();
    let journal = lines("bench", 0..500).trim_end().to_owned();
    let mut replay = bench.replay_stdin("piped.db");
    let mut stdin = replay.stdin.take().unwrap();
    for piece in journal.as_bytes().chunks(997) {
        stdin.write_all(piece).unwrap();
        stdin.flush().unwrap();
    }
    drop(stdin);
    let replayed = replay.wait_with_output().unwrap();
    assert!(replayed.status.success() && replayed.stdout.starts_with(b"500 readings, 0 of them"), "{replayed:?}");
    bench.replay("file.db", &journal);
    assert_eq!(bench.record("piped.db", "bench"), bench.record("file.db", "bench"));
    assert_eq!(stderr(&replayed), "", "no bar where there is no terminal");
}

#[test]
fn a_fault_ends_the_replay_of_a_pipe_that_stays_open() {
    let bench = Bench::new();
    let mut replay = bench.replay_stdin("a.db");
    let mut stdin = replay.stdin.take().unwrap();
    stdin.write_all((lines("bench", 0..3) + &outcome("bench", -5000)).as_bytes()).unwrap();
    stdin.flush().unwrap();
    let mut ended = None;
    for _ in 0..PATIENCE.as_millis() / 20 {
        ended = replay.try_wait().unwrap();
        if ended.is_some() {
            break;
        }
        std::thread::sleep(Duration::from_millis(20));
    }
    drop(stdin);
    let said = stderr(&replay.wait_with_output().unwrap());
    assert_eq!(ended.and_then(|status| status.code()), Some(1), "{said}");
    assert!(said.contains("stdin, line 4: no print of bench"), "{said}");
    assert_eq!(bench.instants("a.db", "bench").len(), 3);
}

#[test]
fn a_replay_that_is_killed_leaves_a_whole_record_of_the_first_lines() {
    let bench = Bench::new();
    let mut replay = bench.replay_stdin("a.db");
    let mut stdin = replay.stdin.take().unwrap();
    let journal = lines("bench", 0..LONG);
    // More than the pipe and the program hold, and it is not over when the program goes.
    stdin.write_all(journal.as_bytes()).unwrap();
    let name = PrinterName::new("bench").unwrap();
    let newest = |reader: Reader| reader.readings(&name, None, None).ok()?.next();
    let has_begun = || Reader::open(&bench.file("a.db")).ok().and_then(newest).is_some();
    assert!(eventually(PATIENCE, has_begun), "nothing was committed");
    replay.kill().unwrap();
    replay.wait().unwrap();
    let db = rusqlite::Connection::open(bench.file("a.db")).unwrap();
    let sound: String = db.query_row("PRAGMA integrity_check", [], |row| row.get(0)).unwrap();
    assert_eq!(sound, "ok");
    let found = bench.instants("a.db", "bench");
    let wanted: Vec<Timestamp> = (0..LONG).take(found.len()).map(|second| steady::reading(second).at).collect();
    assert!(found == wanted, "{} readings are not the first ones", found.len());
    // The rest can be told again.
    let rest = bench.replay("a.db", &journal);
    assert!(rest.status.success(), "{}", stderr(&rest));
    assert_eq!(bench.instants("a.db", "bench").len(), usize::try_from(LONG).unwrap());
}

#[test]
fn eight_times_the_lines_take_no_more_memory() {
    let bench = Bench::new();
    let peak = |n_lines: i64| {
        let file = bench.file(&format!("{n_lines}.ndjson"));
        let mut out = BufWriter::new(File::create(&file).unwrap());
        (0..n_lines).for_each(|second| out.write_all(steady::line("bench", second).as_bytes()).unwrap());
        out.flush().unwrap();
        drop(out);
        let mut replay = bench.command(&format!("{n_lines}.db"), &file);
        let (peak, status) = memory::peak_kib(&mut replay.stdout(Stdio::null()).spawn().unwrap());
        assert!(status.success());
        peak
    };
    // As many as are ever under way: three commits, and the pieces that are read ahead.
    let (few, many) = (peak(16_000), peak(128_000));
    assert!(few > 1000 && many <= few + few / 4 + 4096, "{few} KiB for few lines, {many} KiB for many");
}
