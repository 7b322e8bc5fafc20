//! What `advise` says of invented records, from outside: its promises to scripts and to people.
#![expect(clippy::unwrap_used, reason = "a test may stop")]

use dwell_analysis::time::Timestamp;
use dwellwatch::stamp;
use serde_json::{Value, json};
use std::fs;
use std::process::{Command, Output};
use tempfile::TempDir;

/// One print begins every so many seconds; each is shorter.
const EVERY_S: i64 = 7_200;
const SETTINGS: [&str; 11] = [
    "standby_c",
    "retract_mm",
    "retract_mm_s",
    "prime_mm3",
    "ooze_shield",
    "print_c",
    "dried",
    "material",
    "part:liner",
    "part:nozzle",
    "part:heat_break",
];

fn at(s: i64) -> String {
    // 2026-03-02T08:00:00Z, a Monday.
    stamp::write(Timestamp::from_ms((1_772_438_400 + s) * 1_000))
}

/// An invented record: T0 prints while T1 waits, then T1 prints for a minute.
struct Record {
    lines: Vec<(i64, String)>,
    prints: i64,
}

impl Record {
    fn new() -> Self {
        Self { lines: Vec::new(), prints: 0 }
    }

    fn set(&mut self, tool: usize, settings: &Value) {
        let mut line =
            json!({"kind": "settings", "printer": "bench", "at": at(self.prints * EVERY_S - 60), "tool": tool});
        for (key, value) in settings.as_object().unwrap() {
            line[key] = value.clone();
        }
        self.lines.push((self.prints * EVERY_S - 60, line.to_string()));
    }

    /// A print in which T1 waits so long and so hot; what it came to, if anybody says.
    fn print(&mut self, wait_s: i64, wait_c: f64, said: Option<&str>) {
        let began = self.prints * EVERY_S;
        let (change, end) = (began + wait_s, began + wait_s + 60);
        let reading = |s: i64, state: &str, active: usize, actual: f64, target: f64| {
            let tools = json!([{"actual_c": 205.0, "target_c": 205.0}, {"actual_c": actual, "target_c": target}]);
            let job = json!({"state": state, "name": "lantern.gcode"});
            let line = json!({"kind": "reading", "printer": "bench", "at": at(s), "job": job, "active_tool": active, "tools": tools});
            (s, line.to_string())
        };
        self.lines.extend((began..change).step_by(15).map(|s| reading(s, "printing", 0, wait_c, wait_c)));
        self.lines.extend((change..end).step_by(15).map(|s| reading(s, "printing", 1, 205.0, 205.0)));
        self.lines.push(reading(end, "completed", 1, 25.0, 0.0));
        if let Some(mode) = said {
            let job = json!({"name": "lantern.gcode", "started": at(began)});
            let mut line = json!({"kind": "outcome", "printer": "bench", "at": at(end + 60), "job": job, "mode": mode});
            if mode != "clean" {
                line["tool"] = json!(1);
                line["severity"] = json!(2);
            }
            self.lines.push((end + 60, line.to_string()));
        }
        self.prints += 1;
    }

    /// Jams follow hot waits, in so many prints; what is in force at last is the hot wait. Nobody says how prints came
    /// out if `silent`.
    fn jams(n: i64, silent: bool) -> Self {
        let mut record = Self::new();
        record.set(0, &json!({"material": "PLA", "print_c": 205.0, "standby_c": 160.0}));
        record.set(1, &json!({"material": "PLA", "print_c": 205.0}));
        for nth in 0..n {
            let is_hot = nth % 2 == 1;
            let standby = if is_hot { 215.0 } else { 160.0 };
            record.set(1, &json!({ "standby_c": standby }));
            let jammed = if is_hot { nth % 10 < 7 } else { nth % 48 == 0 };
            let said = if jammed { "jam" } else { "clean" };
            record.print(1_500, standby, Some(said).filter(|_| !silent));
        }
        record
    }
}

/// A folder with the database of a record.
struct Bench(TempDir);

impl Bench {
    fn of(mut record: Record) -> Self {
        let folder = TempDir::new().unwrap();
        record.lines.sort_by_key(|(s, _)| *s);
        let journal: String = record.lines.into_iter().map(|(_, line)| line + "\n").collect();
        fs::write(folder.path().join("journal.ndjson"), journal).unwrap();
        let bench = Self(folder);
        bench.says(&["replay", "journal.ndjson"]);
        bench
    }

    fn run(&self, arguments: &[&str]) -> Output {
        let mut program = Command::new(env!("CARGO_BIN_EXE_dwellwatch-under-test"));
        program.args(["--db", "bench.db"]).args(arguments).current_dir(self.0.path()).output().unwrap()
    }

    fn says(&self, arguments: &[&str]) -> String {
        let output = self.run(arguments);
        assert!(output.status.success(), "{}", String::from_utf8_lossy(&output.stderr));
        assert_eq!(String::from_utf8_lossy(&output.stderr), "", "{arguments:?}");
        String::from_utf8(output.stdout).unwrap()
    }

    fn advised(&self) -> Vec<Value> {
        serde_json::from_str(&self.says(&["advise", "--json"])).unwrap()
    }
}

fn interval(of: &Value) -> [f64; 3] {
    ["low", "mean", "high"].map(|at| of[at].as_f64().unwrap())
}

fn ids(advised: &[Value]) -> Vec<&str> {
    advised.iter().map(|one| one["id"].as_str().unwrap()).collect()
}

#[test]
fn every_suggestion_has_what_scripts_were_promised_and_the_best_comes_first() {
    let advised = Bench::of(Record::jams(120, false)).advised();
    assert!(!advised.is_empty());
    for one in &advised {
        let setting = one["setting"].as_str().unwrap();
        assert!(SETTINGS.contains(&setting), "{one}");
        let id = format!("bench-t{}-pla-{}", one["tool"], setting.replace(':', "-"));
        assert_eq!((one["id"].as_str(), one["printer"].as_str()), (Some(&*id), Some("bench")));
        assert_eq!(one["material"], "PLA");
        assert!(one.as_object().unwrap().contains_key("from") && !one["to"].is_null(), "{one}");
        for risk in ["risk_now", "risk_after"] {
            let [low, mean, high] = interval(&one[risk]);
            assert!(0.0 <= low && low <= mean && mean <= high && high <= 1.0, "{one}");
        }
        assert!(interval(&one["minutes_per_print"]).is_sorted(), "{one}");
        assert!((0.0..=1.0).contains(&one["sure"].as_f64().unwrap()), "{one}");
        assert!(["learned", "common_practice", "mixed"].contains(&one["basis"].as_str().unwrap()), "{one}");
        assert_eq!(one["why"].as_str().unwrap().matches(". ").count(), 1, "{one}");
        assert!(one["why"].as_str().unwrap().ends_with(one["refute"].as_str().unwrap()), "{one}");
        for effect in one["effects"].as_array().unwrap() {
            assert!(interval(&effect["now"]).is_sorted() && interval(&effect["after"]).is_sorted(), "{one}");
        }
        assert!(!one["modes"].as_array().unwrap().is_empty(), "{one}");
    }
    let gains: Vec<f64> = advised.iter().map(|one| one["gain_min"]["mean"].as_f64().unwrap()).collect();
    assert!(gains.is_sorted_by(|a, b| a >= b), "{gains:?}");
}

#[test]
fn where_jams_follow_hot_waits_a_cooler_wait_is_advised_and_learned() {
    let bench = Bench::of(Record::jams(120, false));
    let advised = bench.advised();
    let standby = advised.iter().find(|one| one["id"] == "bench-t1-pla-standby_c").unwrap();
    assert_eq!(standby["from"], 215.0);
    let to = standby["to"].as_f64().unwrap();
    assert!((142.0..200.0).contains(&to), "not under first flow, and cooler: {standby}");
    assert_eq!((standby["modes"][0].as_str(), standby["state"].as_str()), (Some("jam"), Some("learned")));
    assert!(standby["risk_after"]["mean"].as_f64() < standby["risk_now"]["mean"].as_f64(), "{standby}");
    let jam = &standby["effects"].as_array().unwrap()[0];
    assert_eq!((jam["own_n"].as_u64(), jam["own_events"].as_u64()), (Some(120), Some(39)));
    let text = bench.says(&["advise"]);
    assert!(text.contains("wait at ") && text.contains("instead of 215 °C"), "{text}");
    let words = text.split_whitespace().collect::<Vec<_>>().join(" ");
    assert!(words.contains("jammed in 39 of 120 reported prints of T1 with PLA"), "{text}");
    assert!(
        text.contains("dwellwatch adopt bench-t1-pla-standby_c\n") && text.contains("Not a safety device"),
        "{text}"
    );
}

#[test]
fn an_empty_record_and_one_without_prints_are_said_so() {
    let empty = Bench::of(Record::new());
    assert_eq!(empty.advised(), Vec::<Value>::new());
    assert!(empty.says(&["advise"]).contains("no printer has been read"));
}

#[test]
fn without_an_outcome_only_common_practice_speaks() {
    let bench = Bench::of(Record::jams(12, true));
    for one in bench.advised() {
        assert_eq!(one["basis"], "common_practice", "{one}");
        assert!(one["why"].as_str().unwrap().contains("nobody has said yet"), "{one}");
    }
    assert!(bench.says(&["advise"]).contains("none of them reported"));
}

#[test]
fn what_was_declined_is_left_out_and_what_was_taken_up_is_marked() {
    let bench = Bench::of(Record::jams(120, false));
    let before = bench.advised();
    let first = ids(&before)[0].to_owned();
    bench.says(&["adopt", &first]);
    let taken = bench.advised();
    assert_eq!(taken[0]["id"], *first);
    assert_eq!((taken[0]["adopted"].as_bool(), before[0]["adopted"].as_bool()), (Some(true), Some(false)));
    // What was taken up was another value.
    let db = rusqlite::Connection::open(bench.0.path().join("bench.db")).unwrap();
    let moved = |by: f64| {
        db.execute("UPDATE suggestion SET to_value = CAST(to_value + ?2 AS TEXT) WHERE id = ?1", (&first, by)).unwrap()
    };
    assert_eq!((moved(20.0), bench.advised()[0]["adopted"].as_bool()), (1, Some(false)));
    moved(-20.0);
    bench.says(&["decline", &first]);
    assert!(!ids(&bench.advised()).contains(&&*first));
}

#[test]
fn a_record_that_takes_no_word_is_advised_of_all_the_same_and_says_so() {
    let bench = Bench::of(Record::jams(24, false));
    let advised = bench.says(&["advise", "--json"]);
    let other = rusqlite::Connection::open(bench.0.path().join("bench.db")).unwrap();
    other.execute_batch("BEGIN IMMEDIATE").unwrap();
    let output = bench.run(&["advise", "--json"]);
    assert_eq!((output.status.code(), String::from_utf8(output.stdout).unwrap()), (Some(0), advised));
    let said = String::from_utf8(output.stderr).unwrap();
    assert!(said.contains("bench.db: what is advised is not kept") && said.contains("busy"), "{said}");
}
