//! What a person does about alarms at the command line, from outside: what is said, what scripts are told afterwards, and
//! what is refused.
#![expect(clippy::unwrap_used, reason = "a test may stop")]

use dwell_analysis::units::Seconds;
use dwellwatch::alarm::{AlarmEffect, Priority, Rule, Subject};
use dwellwatch::clock::wall_now;
use dwellwatch::entry::{HotEnd, PrinterName, ToolNumber};
use dwellwatch::store::{Commit, Store};
use serde_json::{Value, json};
use std::path::PathBuf;
use std::process::{Command, Output};
use tempfile::TempDir;

/// A folder with a record: T1 of bench waits too hot (alarm 1), its host was silent for a while (2).
struct Bench {
    folder: TempDir,
}

impl Bench {
    fn new() -> Self {
        let bench = Self { folder: tempfile::tempdir().unwrap() };
        let (store, name) = (Store::open(&bench.db()).unwrap(), PrinterName::new("bench").unwrap());
        store.ensure_printer(&name, HotEnd::Separate, 2).unwrap();
        let at = wall_now();
        let silent = Subject { rule: Rule::HostSilent, tool: None };
        let raised = |subject| {
            let [cause, consequence, action] = ["It is hot.", "The melt cooks.", "Look."].map(str::to_owned);
            let priority = Priority::Medium;
            AlarmEffect::Raised { subject, at, priority, suppressed: None, cause, consequence, action }
        };
        let is_superseded = false;
        let alarms = vec![
            raised(Subject { rule: Rule::IdleHot, tool: ToolNumber::new(1) }),
            raised(silent),
            AlarmEffect::Returned { subject: silent, raised: at, at: at + Seconds::new(1.0), is_superseded },
        ];
        store.commit(Commit { printer: name, effects: Vec::new(), alarms, notices: true }).unwrap();
        bench
    }

    fn db(&self) -> PathBuf {
        self.folder.path().join("bench.db")
    }

    fn run(&self, arguments: &[&str]) -> Output {
        let mut program = Command::new(env!("CARGO_BIN_EXE_dwellwatch-under-test"));
        program.arg("--db").arg(self.db()).arg("alarms").args(arguments).current_dir(self.folder.path());
        program.env("USER", "anna").output().unwrap()
    }

    /// What it says when all goes well.
    fn said(&self, arguments: &[&str]) -> String {
        let output = self.run(arguments);
        assert_eq!(output.status.code(), Some(0), "{arguments:?}: {output:?}");
        String::from_utf8(output.stdout).unwrap()
    }

    /// What it says when it refuses, with that exit code.
    fn refused(&self, code: i32, arguments: &[&str]) -> String {
        let output = self.run(arguments);
        assert_eq!((output.status.code(), output.stdout.len()), (Some(code), 0), "{arguments:?}: {output:?}");
        String::from_utf8(output.stderr).unwrap()
    }

    fn alarms(&self) -> Value {
        serde_json::from_str(&self.said(&["--json"])).unwrap()
    }
}

#[test]
fn each_word_says_what_the_alarm_is_now_and_scripts_read_the_same() {
    let bench = Bench::new();
    let said = bench.said(&["acknowledge", "1", "--why", "on my way"]);
    assert!(said.starts_with("alarm 1 (bench T1, idle_hot) is acknowledged; its condition stands"), "{said}");
    assert!(bench.said(&["acknowledge", "1"]).contains("is already acknowledged"));
    let said = bench.said(&["acknowledge", "2", "--by", "ben"]);
    assert!(said.starts_with("alarm 2 (bench, host_silent) is normal; its condition went away "), "{said}");
    assert!(bench.said(&["mark", "2", "false"]).contains("is marked as false, and is normal"));
    assert!(bench.said(&["shelve", "1", "--minutes", "30"]).contains("is shelved until "));
    let alarms = bench.alarms();
    let of = |idx: usize, field: &str| alarms[idx][field].clone();
    assert_eq!((of(0, "state"), of(0, "acknowledged_by")), (json!("shelved"), json!("anna (command line)")));
    assert_eq!((of(0, "priority"), of(0, "returned")), (json!("medium"), Value::Null));
    assert!(of(0, "shelved_until").is_string() && of(0, "acknowledged").is_string() && of(0, "marked").is_null());
    assert_eq!((of(1, "state"), of(1, "acknowledged_by")), (json!("normal"), json!("ben")));
    assert_eq!((of(1, "marked"), of(1, "shelved_until")), (json!("false"), Value::Null));
    let list = bench.said(&[]);
    let until = of(0, "shelved_until").as_str().unwrap().to_owned();
    let pieces = ["shelved until", &until[..10], &until[11..19], "medium", "bench T1", "stands"];
    assert!(pieces.iter().all(|piece| list.contains(piece)), "{list}");
    assert!(bench.said(&["unshelve", "1"]).contains("is unacknowledged; its condition stands"));
    assert!(bench.said(&["out-of-service", "1", "--why", "the sensor is loose"]).contains("is out of service"));
    assert!(bench.said(&["return-to-service", "1"]).contains("is unacknowledged"));
    assert!(bench.said(&["return-to-service", "1"]).contains("is already unacknowledged"));
}

#[test]
fn no_word_about_alarms_needs_the_secrets_of_the_channels() {
    let bench = Bench::new();
    let config = "[store]\npath = \"bench.db\"\n[[notify.webhook]]\nurl = { env = \"PAGER_URL\" }\n[[printer]]\nname = \"bench\"\n\
        [[printer.document]]\nname = \"all\"\nurl = \"http://127.0.0.1:9/all\"\n[printer.job.state]\npath = \"/state\"\n\
        [[printer.tool]]\nactual = { path = \"/t0\" }\n[printer.headers]\nX-Entry = { file = \"none.key\" }\n";
    std::fs::write(bench.folder.path().join("dwellwatch.toml"), config).unwrap();
    let run = |arguments: &[&str]| {
        let mut program = Command::new(env!("CARGO_BIN_EXE_dwellwatch-under-test"));
        program.args(["--config", "dwellwatch.toml"]).args(arguments).current_dir(bench.folder.path());
        program.env_remove("PAGER_URL").output().unwrap()
    };
    for arguments in [&["alarms"][..], &["alarms", "acknowledge", "1"], &["parts"], &["report"], &["prints"]] {
        let output = run(arguments);
        assert_eq!(output.status.code(), Some(0), "{arguments:?}: {output:?}");
    }
    for arguments in [&["check"][..], &["alarms", "test"]] {
        let output = run(arguments);
        let said = String::from_utf8_lossy(&output.stderr);
        assert!(output.status.code() == Some(2) && said.contains("PAGER_URL is not set"), "{arguments:?}: {said}");
    }
}

#[test]
fn the_list_is_no_wider_than_a_terminal_goes_by_the_configured_clock_and_tells_what_to_do_about_what_stands() {
    let bench = Bench::new();
    let long = "Look at the printer \u{1b}[2J itself, then at its host and at the network. ".repeat(9);
    let sql = rusqlite::Connection::open(bench.db()).unwrap();
    // Half past eleven in the evening of Berlin's 4 July, and the next day there.
    let (raised, gone) = (1_783_200_600_000_i64, 1_783_203_005_000_i64);
    sql.execute("UPDATE alarm SET action = ?1, raised_ms = ?2 WHERE id = 1", rusqlite::params![long, raised]).unwrap();
    sql.execute(
        "UPDATE alarm SET action = 'It is over.', raised_ms = ?1, returned_ms = ?2 WHERE id = 2",
        [raised, gone],
    )
    .unwrap();
    sql.execute("UPDATE printer SET name = 'bench of the long back room'", []).unwrap();
    let list = bench.said(&[]);
    assert!(list.lines().all(|line| line.chars().count() <= 100), "{list}");
    assert!(
        list.contains("2026-07-04 21:30:00") && list.contains("22:10:05") && list.contains("clock of UTC"),
        "{list}"
    );
    assert!(list.contains("    Look at the printer ·[2J itself") && !list.contains("It is over."), "{list}");
    let config = "[store]\npath = \"bench.db\"\n[report]\nzone = \"Europe/Berlin\"\n[[printer]]\nname = \"bench\"\n\
        [[printer.document]]\nname = \"all\"\nurl = \"http://127.0.0.1:9/all\"\n[printer.job.state]\npath = \"/state\"\n\
        [[printer.tool]]\nactual = { path = \"/t0\" }\n";
    std::fs::write(bench.folder.path().join("dwellwatch.toml"), config).unwrap();
    let mut program = Command::new(env!("CARGO_BIN_EXE_dwellwatch-under-test"));
    let output =
        program.args(["--config", "dwellwatch.toml", "alarms"]).current_dir(bench.folder.path()).output().unwrap();
    let list = String::from_utf8(output.stdout).unwrap();
    let pieces = ["2026-07-04 23:30:00", "2026-07-05", "00:10:05", "clock of Europe/Berlin"];
    assert!(pieces.iter().all(|piece| list.contains(piece)), "{list}");
}

#[test]
fn several_are_acknowledged_at_once_and_what_can_not_be_keeps_none_back() {
    let bench = Bench::new();
    let output = bench.run(&["acknowledge", "1", "7", "2"]);
    let said = String::from_utf8(output.stdout).unwrap();
    assert!(
        said.contains("alarm 1 (bench T1, idle_hot) is acknowledged") && said.contains("alarm 2 (bench, "),
        "{said}"
    );
    assert!(
        output.status.code() == Some(1) && String::from_utf8_lossy(&output.stderr).contains("alarm 7: no such alarm")
    );
    let states = bench.alarms();
    assert_eq!((&states[0]["state"], &states[1]["state"]), (&json!("acknowledged"), &json!("normal")));
    bench.refused(2, &["acknowledge"]);
}

#[test]
fn what_can_not_be_is_refused_with_what_was_found_and_what_would_be_right() {
    let bench = Bench::new();
    for (arguments, found) in [
        (&["acknowledge", "7"][..], "alarm 7: no such alarm in the record"),
        (&["acknowledge", "7"], "open are 2, 1"),
        (&["unshelve", "1"], "alarm 1: it is unacknowledged, not shelved"),
        (&["return-to-service", "2"], "it is returned unacknowledged, not out of service"),
        (&["acknowledge", "1", "--by", " "], "a name would be right"),
    ] {
        let said = bench.refused(1, arguments);
        assert!(said.contains(found), "{arguments:?}: {said}");
    }
    let unread: [&[&str]; 4] = [
        &["shelve", "1", "--minutes", "0"],
        &["shelve", "1", "--minutes", "10081"],
        &["mark", "1", "wrong"],
        &["out-of-service", "1"],
    ];
    for arguments in unread {
        bench.refused(2, arguments);
    }
    assert_eq!(bench.alarms()[0]["state"], json!("unacknowledged"), "nothing of it was taken");
}
