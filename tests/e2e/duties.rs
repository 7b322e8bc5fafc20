//! Alarms that no reading raises, of a running daemon, and the figures of all alarms.
#![expect(clippy::unwrap_used, reason = "a test may stop")]

use dwell_analysis::time::Timestamp;
use dwell_analysis::units::Seconds;
use dwell_tests::daemon::Daemon;
use dwell_tests::eventually;
use dwellwatch::alarm::{AlarmEffect, Priority, Rule, Subject};
use dwellwatch::entry::{PrintEnd, PrinterName, ToolNumber};
use dwellwatch::rehearsal::Story;
use dwellwatch::store::{AlarmRow, Commit, Store};
use dwellwatch::tracker::Effect;
use serde_json::Value;
use std::fs;
use std::path::Path;
use std::process::Command;
use std::sync::Arc;
use std::time::{Duration, SystemTime, UNIX_EPOCH};

const PROGRAM: &str = env!("CARGO_BIN_EXE_dwellwatch-under-test");
/// An attempt that makes many is told at once; the rest is a busy machine.
const PATIENCE: Duration = Duration::from_secs(20);

/// A printer whose host is not there.
const PRINTER: &str = "[[printer]]\nname = \"bench\"\n[[printer.document]]\nname = \"all\"\nurl = \"http://127.0.0.1:9/\"\n\
    [printer.job.state]\npath = \"/state\"\n[[printer.tool]]\nactual = { path = \"/t0\" }\n";

fn of(daemon: &Daemon, rule: Rule) -> Vec<AlarmRow> {
    let mut rows = daemon.record().alarms(None, None).unwrap();
    rows.retain(|row| row.subject.rule == rule);
    rows
}

#[test]
fn ten_forged_forms_raise_one_alarm_that_stands_over_a_restart() {
    let folder = tempfile::tempdir().unwrap();
    let mut daemon = Daemon::start(PROGRAM, folder.path(), PRINTER);
    let forge = |n: usize| {
        for _ in 0..n {
            let answer = daemon.post("/prints/1/outcome", "token=guessed&what=all:clean");
            assert!(answer.contains("403"), "{answer}");
        }
    };
    forge(9);
    let before_the_tenth = now();
    forge(3);
    assert!(eventually(PATIENCE, || !of(&daemon, Rule::SignInFailures).is_empty()), "{}", daemon.log());
    assert!(daemon.stop().success());
    leave_prints_without_a_word(&daemon.db());
    daemon.restart();
    // Raised by the first look after the restart, which ends before the daemon does.
    assert!(eventually(PATIENCE, || !of(&daemon, Rule::OutcomeMissing).is_empty()), "{}", daemon.log());
    assert!(daemon.stop().success());
    let rows = of(&daemon, Rule::SignInFailures);
    let [row] = rows.as_slice() else { unreachable!("one alarm: {rows:?}") };
    assert!(row.raised >= before_the_tenth, "nine are not many: {row:?}");
    assert!(row.returned.is_none() && row.printer.is_none() && row.priority.word() == "medium", "{row:?}");
}

fn now() -> Timestamp {
    let since = SystemTime::now().duration_since(UNIX_EPOCH).unwrap();
    Timestamp::from_ms(i64::try_from(since.as_millis()).unwrap())
}

/// Three prints that ended two days ago.
fn leave_prints_without_a_word(record: &Path) {
    let store = Store::open(record).unwrap();
    for nth in 0..3_u32 {
        let started = now() - Seconds::minutes(f64::from(48 * 60 + 30 * (nth + 1)));
        let at = started + Seconds::minutes(20.0);
        let began = Effect::PrintStarted { started, name: Some(Arc::from("lantern.gcode")) };
        let end = Effect::PrintEnded { started, at, end: PrintEnd::Completed, fraction_millionths: None };
        let printer = PrinterName::new("bench").unwrap();
        store.commit(Commit { printer, effects: vec![began, end], alarms: Vec::new(), notices: false }).unwrap();
    }
}

fn told(arguments: &[&str]) -> String {
    let output = Command::new(PROGRAM).args(arguments).output().unwrap();
    assert!(output.status.success(), "{arguments:?}: {}", String::from_utf8_lossy(&output.stderr));
    String::from_utf8(output.stdout).unwrap()
}

fn text(path: &Path) -> String {
    path.display().to_string()
}

/// An alarm that came then and went three minutes later.
fn idle_hot(at: Timestamp) -> [AlarmEffect; 2] {
    let subject = Subject { rule: Rule::IdleHot, tool: ToolNumber::new(1) };
    let words = |what: &str| what.to_owned();
    let raised = AlarmEffect::Raised {
        subject,
        at,
        priority: Priority::Medium,
        suppressed: None,
        cause: words("T1 waits hot."),
        consequence: words("It cooks."),
        action: words("Cool it."),
    };
    let gone = at + Seconds::minutes(3.0);
    [raised, AlarmEffect::Returned { subject, raised: at, at: gone, is_superseded: false }]
}

#[test]
fn the_figures_count_what_the_list_shows_and_what_people_said_of_it() {
    let folder = tempfile::tempdir().unwrap();
    let (db, journal) = (text(&folder.path().join("bench.db")), text(&folder.path().join("told.ndjson")));
    let told_of = Story::short(1);
    let line = |entry| dwellwatch::journal::write_line(&told_of.printer(), entry);
    let lines: Vec<String> = told_of.entries().iter().map(line).collect();
    fs::write(&journal, lines.join("\n")).unwrap();
    told(&["replay", &journal, "--db", &db]);
    let store = Store::open(Path::new(&db)).unwrap();
    let newest = store.reader().unwrap().newest().unwrap().unwrap();
    let alarms = (1..=5).flat_map(|hour| idle_hot(newest - Seconds::minutes(10.0 * f64::from(hour)))).collect();
    let printer = told_of.printer();
    store.commit(Commit { printer, effects: Vec::new(), alarms, notices: false }).unwrap();
    let list: Vec<Value> = serde_json::from_str(&told(&["alarms", "--json", "--db", &db])).unwrap();
    let n_all = u64::try_from(list.len()).unwrap();
    let is_open = |alarm: &&Value| alarm["state"].as_str().unwrap().contains("unacknowledged");
    let open: Vec<i64> = list.iter().filter(is_open).map(|alarm| alarm["id"].as_i64().unwrap()).collect();
    assert!(open.len() > 2, "the told_of has too few alarms to show anything: {list:?}");
    for id in &open[..2] {
        store.acknowledge(*id, "somebody", None, newest).unwrap();
    }
    store.mark(open[0], false, "somebody", newest).unwrap();
    drop(store);
    let figures: Value =
        serde_json::from_str(&told(&["alarms", "figures", "--days", "3650", "--json", "--db", &db])).unwrap();
    assert_eq!(figures["n"].as_u64().unwrap(), n_all, "{figures}");
    let of_priority =
        |word: &str| u64::try_from(list.iter().filter(|alarm| alarm["priority"] == word).count()).unwrap();
    for share in figures["priorities"].as_array().unwrap() {
        assert_eq!(share["n"].as_u64().unwrap(), of_priority(share["priority"].as_str().unwrap()), "{figures}");
    }
    let seen = &figures["acknowledged"];
    let superseded = seen["n_superseded"].as_u64().unwrap();
    assert_eq!(seen["n_asked"].as_u64().unwrap() + superseded, n_all, "{figures}");
    assert_eq!(seen["n_asked"].as_u64().unwrap() - seen["n_never"].as_u64().unwrap(), 2, "{figures}");
    assert_eq!((&figures["marked"]["n_false"], &figures["marked"]["false_share"]["mean"]), (&1.into(), &1.0.into()));
    let shown = told(&["alarms", "figures", "--days", "3650", "--db", &db]);
    for says in ["HOW THE ALARMS DID", "150 acceptable, 300 the most", "1 of 1 marked: 100 %"] {
        assert!(shown.contains(says), "{says}: {shown}");
    }
}
