//! A program that is killed at every named place of a commit's way, and at moments drawn by chance: what its record
//! holds then, and what it comes to when the rest of the same readings follows.
#![expect(clippy::unwrap_used, reason = "a test may stop")]
#![expect(clippy::print_stdout, reason = "it says how many deaths there were, and where")]

mod alarms;
mod learned;
mod notices;
mod record;
mod rows;
mod whole;

use dwellwatch::clock::wall_now;
use dwellwatch::points::Point;
use rand::{Rng, RngExt, SeedableRng};
use rand_chacha::ChaCha8Rng;
use record::{Said, check_cut, check_rest};
use std::collections::{BTreeSet, HashMap};
use std::fs;
use std::io::{BufRead, BufReader};
use std::os::unix::process::ExitStatusExt;
use std::path::{Path, PathBuf};
use std::process::{Child, Command, ExitStatus, Stdio};
use std::sync::atomic::{AtomicUsize, Ordering};
use std::thread;
use std::time::{Duration, Instant};
use whole::{Way, Whole};

const STEPS: &str = env!("CARGO_BIN_EXE_steps-under-test");
const PROGRAM: &str = env!("CARGO_BIN_EXE_dwellwatch-under-test");
const SIGKILL: i32 = 9;
/// As many as the machine has processors to spare.
const AT_ONCE: usize = 2;

fn is_quick() -> bool {
    std::env::var("DWELLWATCH_TESTS").is_ok_and(|tests| tests == "quick")
}

fn db_in(folder: &Path) -> PathBuf {
    folder.join("bench.db")
}

/// The program, to take a journal from an entry on into a record in that folder.
fn program(way: Way, whole: &Whole, from: usize, folder: &Path) -> Command {
    let (journal, db) = (folder.join("told.ndjson"), db_in(folder));
    fs::write(&journal, whole.text(from)).unwrap();
    let mut program = match way {
        Way::Live => {
            let mut program = Command::new(STEPS);
            program.arg(journal).arg(db).arg(whole.printer.as_str());
            program
        }
        Way::Replayed => {
            let mut program = Command::new(PROGRAM);
            program.arg("replay").arg(journal).arg("--db").arg(db);
            program
        }
    };
    program.env("DWELLWATCH_TELLS_POINTS", "1").env_remove("RUST_LOG");
    program.stdin(Stdio::null()).stdout(Stdio::piped()).stderr(Stdio::inherit());
    program
}

/// Runs the program to its end, whatever that is; `each` is told of every line with how many there have been.
fn run(mut program: Command, mut each: impl FnMut(u32, &str, &mut Child)) -> ExitStatus {
    let mut child = program.spawn().unwrap();
    let lines = BufReader::new(child.stdout.take().unwrap()).lines();
    for (n, line) in (1..).zip(lines) {
        each(n, &line.unwrap(), &mut child);
    }
    child.wait().unwrap()
}

/// How often each place is passed when nobody cuts the program off, and how many lines it says.
fn passes(way: Way, whole: &Whole) -> (HashMap<String, u32>, u32) {
    let folder = tempfile::tempdir().unwrap();
    let (mut passes, mut n_lines) = (HashMap::new(), 0);
    let ended = run(program(way, whole, 0, folder.path()), |n, line, _| {
        n_lines = n;
        if let Some(name) = line.strip_prefix("passed ") {
            *passes.entry(name.to_owned()).or_insert(0) += 1;
        }
    });
    assert!(ended.success(), "{way:?}: {ended}");
    (passes, n_lines)
}

/// Works through tasks, some at a time.
fn side_by_side<T: Sync>(tasks: &[T], work: impl Fn(&T) + Sync) {
    let next = AtomicUsize::new(0);
    thread::scope(|scope| {
        for _ in 0..AT_ONCE {
            scope.spawn(|| {
                while let Some(task) = tasks.get(next.fetch_add(1, Ordering::Relaxed)) {
                    work(task);
                }
            });
        }
    });
}

/// At which passes of a place to die: the first, one in the middle, the last and one by chance.
fn passes_to_die_at(n: u32, rng: &mut impl Rng) -> BTreeSet<u32> {
    if is_quick() {
        BTreeSet::from([rng.random_range(1..=n)])
    } else {
        BTreeSet::from([1, n.div_ceil(2), n, rng.random_range(1..=n)])
    }
}

#[test]
fn death_at_any_place_loses_nothing_that_had_returned_and_the_rest_comes_to_the_same_rows() {
    let seed = u64::try_from(wall_now().as_ms()).unwrap();
    let mut rng = ChaCha8Rng::seed_from_u64(seed);
    let (mut reached, mut n_deaths) = ([&alarms::PLACES[..], &notices::PLACES, &learned::PLACES].concat(), 0);
    for way in [Way::Live, Way::Replayed] {
        let folder = tempfile::tempdir().unwrap();
        let whole = Whole::record(folder.path(), way);
        let (passes, _) = passes(way, &whole);
        let mut deaths = Vec::new();
        for point in Point::ALL {
            let Some(n) = passes.get(point.word()) else { continue };
            reached.push(*point);
            deaths.extend(passes_to_die_at(*n, &mut rng).into_iter().map(|nth| format!("{}:{nth}", point.word())));
        }
        side_by_side(&deaths, |death| {
            let context = format!("seed {seed}, {way:?}, {death}");
            let folder = tempfile::tempdir().unwrap();
            let mut program = program(way, &whole, 0, folder.path());
            program.env("DWELLWATCH_DIES_AT", death);
            let mut said = Said::default();
            let ended = run(program, |_, line, _| said.take(line));
            assert_eq!(ended.signal(), Some(SIGKILL), "{context}: {ended}");
            let promised = (way == Way::Live).then_some(&said);
            let db = db_in(folder.path());
            let from = check_cut(&whole, &db, promised, &context);
            check_rest(&whole, &db, from, way, &context);
        });
        n_deaths += deaths.len();
    }
    let missed: Vec<_> = Point::ALL.iter().filter(|point| !reached.contains(point)).collect();
    assert!(missed.is_empty(), "no way comes by {missed:?}");
    println!("{n_deaths} deaths at {} places, seed {seed}", Point::ALL.len());
}

/// Whether a program that has come by this place and by no other since is in the middle of a transaction.
fn is_inside(point: Point) -> bool {
    match point {
        Point::MigrationWritten
        | Point::TakeUpWritten
        | Point::EventsBegun
        | Point::EventWritten
        | Point::AlarmWritten
        | Point::EventsWritten
        | Point::BatchWritten
        | Point::HourRead
        | Point::MinutesCleared
        | Point::HourWritten
        | Point::CommitDue
        | Point::SamplesBegun
        | Point::SamplesWritten
        | Point::FlushWritten
        | Point::AlarmSaid
        | Point::HoldsEnded
        | Point::JobFileWritten => true,
        Point::MigrationCommitted
        | Point::TakeUpCommitted
        | Point::PrinterKnown
        | Point::ReadingsTaken
        | Point::CheckpointDue
        | Point::CheckpointMade
        | Point::EventsCommitted
        | Point::BoardMoved
        | Point::SamplesCommitted
        | Point::FlushCommitted
        | Point::WordRecorded
        | Point::AlarmSaidCommitted
        | Point::HoldsEndedCommitted
        | Point::LearnedKept
        | Point::JobFileCommitted
        | Point::NoticeRead
        | Point::NoticeSent
        | Point::NoticeDelivered => false,
    }
}

/// A moment to be killed at: so long after the program has said so many lines. By what it says rather than by the clock,
/// so that a busy machine spreads the moments no worse.
#[derive(Clone, Copy, Debug)]
struct Moment {
    line: u32,
    after: Duration,
}

impl Moment {
    fn draw(n_lines: u32, rng: &mut impl Rng) -> Self {
        Self { line: rng.random_range(1..=n_lines), after: Duration::from_micros(rng.random_range(0..500)) }
    }

    /// Runs the program and kills it then, unless it has ended.
    fn kill(self, program: Command) -> (Said, ExitStatus) {
        let mut said = Said::default();
        let ended = run(program, |n, line, child| {
            if n == self.line {
                let heard = Instant::now();
                while heard.elapsed() < self.after {
                    std::hint::spin_loop();
                }
                child.kill().unwrap();
            }
            said.take(line);
        });
        (said, ended)
    }
}

#[test]
fn death_at_any_moment_loses_nothing_that_had_returned_and_the_rest_comes_to_the_same_rows() {
    let seed = u64::try_from(wall_now().as_ms()).unwrap();
    let mut rng = ChaCha8Rng::seed_from_u64(seed);
    let folder = tempfile::tempdir().unwrap();
    let whole = Whole::record(folder.path(), Way::Live);
    let (_, n_lines) = passes(Way::Live, &whole);
    // Every fourth dies once more while it goes on.
    let moments: Vec<(Moment, Option<Moment>)> = (0..if is_quick() { 20 } else { 200 })
        .map(|nth| (Moment::draw(n_lines, &mut rng), (nth % 4 == 0).then(|| Moment::draw(n_lines / 2, &mut rng))))
        .collect();
    let (n_inside, n_killed) = (AtomicUsize::new(0), AtomicUsize::new(0));
    side_by_side(&moments, |(moment, again)| {
        let context = format!("seed {seed}, {moment:?}, {again:?}");
        let folder = tempfile::tempdir().unwrap();
        let db = db_in(folder.path());
        let (said, ended) = moment.kill(program(Way::Live, &whole, 0, folder.path()));
        n_killed.fetch_add(usize::from(ended.signal() == Some(SIGKILL)), Ordering::Relaxed);
        n_inside.fetch_add(usize::from(said.last_point.is_some_and(is_inside)), Ordering::Relaxed);
        let mut from = check_cut(&whole, &db, Some(&said), &context);
        if let Some(again) = again {
            again.kill(program(Way::Live, &whole, from, folder.path()));
            from = check_cut(&whole, &db, None, &context);
        }
        check_rest(&whole, &db, from, Way::Live, &context);
    });
    let (n_inside, n_killed) = (n_inside.into_inner(), n_killed.into_inner());
    println!("{} moments, {n_killed} before the end, {n_inside} inside a transaction, seed {seed}", moments.len());
    assert!(n_killed * 10 >= moments.len() * 9 && n_inside * 10 >= moments.len(), "seed {seed}: moments badly spread");
}
