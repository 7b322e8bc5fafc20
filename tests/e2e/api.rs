//! The JSON API and what is measured, over a running rehearsal, as somebody else's programs find them: the document is
//! valid, answers are as it says, the figures can be read, and commands say the same of the same record.
#![expect(clippy::unwrap_used, reason = "a test may stop")]

use dwell_tests::judges::{are_left_out, python, tester};
use dwell_tests::{eventually, page};
use serde_json::Value;
use std::io::{BufRead, BufReader, Read};
use std::path::{Path, PathBuf};
use std::process::{Child, ChildStdout, Command, Stdio};
use std::time::Duration;
use tempfile::TempDir;

const PROGRAM: &str = env!("CARGO_BIN_EXE_dwellwatch-under-test");
const SCRIPTS: &str = concat!(env!("CARGO_MANIFEST_DIR"), "/e2e/api");
/// Learning from weeks of prints, on a machine that is busy, in a build that is not optimised.
const PATIENCE: Duration = Duration::from_mins(4);
/// The rehearsal's live part begins after this instant.
const BEFORE_LIVE: &str = "2026-02-28T00:00:00Z";

/// What of a report of a week that is past still moves while a rehearsal runs: when it was asked and learned, what was
/// learned by then, what stands now; and only the daemon of a rehearsal knows that it is one.
const MOVES_ON: [&str; 10] =
    ["as_of", "learned", "learned_at", "parts", "recorded", "rehearsal", "silence", "standing", "suggestion", "trials"];

/// A rehearsal in a folder of its own.
struct Rehearsal {
    child: Child,
    stdout: BufReader<ChildStdout>,
    folder: TempDir,
    port: u16,
}

impl Rehearsal {
    fn start() -> Self {
        let folder = tempfile::tempdir().unwrap();
        let mut demo = Command::new(PROGRAM);
        demo.arg("demo").env("TMPDIR", folder.path()).stdin(Stdio::null()).stdout(Stdio::piped());
        let mut child = demo.stderr(Stdio::null()).spawn().unwrap();
        let mut stdout = BufReader::new(child.stdout.take().unwrap());
        let mut line = String::new();
        let mut port = None;
        while port.is_none() && stdout.read_line(&mut line).unwrap() > 0 {
            let address = line.trim().strip_prefix("Dashboard").map(|rest| rest.trim().trim_end_matches('/'));
            port = address.and_then(|address| address.rsplit(':').next()).and_then(|port| port.parse().ok());
            line.clear();
        }
        Self { child, stdout, folder, port: port.unwrap() }
    }

    fn db(&self) -> PathBuf {
        self.folder.path().join(format!("dwellwatch-rehearsal-{}", self.child.id())).join("rehearsal.db")
    }

    /// Status line and body of an answer.
    fn ask(&self, path: &str) -> (String, String) {
        split(&page::get(self.port, path).unwrap())
    }

    fn json(&self, path: &str) -> Value {
        let (status, body) = self.ask(path);
        assert!(status.contains(" 200 "), "{path}: {status}: {body}");
        serde_json::from_str(&body).unwrap()
    }

    fn keep(&self, name: &str, text: &str) -> PathBuf {
        let file = self.folder.path().join(name);
        std::fs::write(&file, text).unwrap();
        file
    }
}

impl Drop for Rehearsal {
    fn drop(&mut self) {
        drop(self.child.kill());
        drop(self.child.wait());
        drop(self.stdout.read_to_end(&mut Vec::new()));
    }
}

fn split(answer: &str) -> (String, String) {
    let (head, body) = answer.split_once("\r\n\r\n").unwrap_or((answer, ""));
    (head.lines().next().unwrap_or_default().to_owned(), body.to_owned())
}

/// What a command says of a record.
fn said(db: &Path, arguments: &[&str]) -> Value {
    let output = Command::new(PROGRAM).arg("--db").arg(db).args(arguments).arg("--json").output().unwrap();
    assert!(output.status.success(), "{arguments:?}: {}", String::from_utf8_lossy(&output.stderr));
    serde_json::from_slice(&output.stdout).unwrap()
}

fn is_worked_out(ask: impl Fn() -> String) -> bool {
    eventually(PATIENCE, || ask().contains("200 OK"))
}

#[test]
fn somebody_else_s_programs_find_document_answers_and_figures_as_they_are_described() {
    if are_left_out() {
        return;
    }
    let demo = Rehearsal::start();
    assert!(is_worked_out(|| demo.ask("/api/causes").0), "nothing is worked out");

    let document = demo.keep("document.json", &demo.ask("/api/openapi.json").1);
    let judged = python(demo.folder.path(), &[&format!("{SCRIPTS}/document.py"), document.to_str().unwrap()]);
    assert!(judged.status.success(), "{}", String::from_utf8_lossy(&judged.stderr));
    assert_eq!(String::from_utf8_lossy(&judged.stdout).trim(), "3.1.0");

    figures_are_those_of_now(&demo);
    commands_say_the_same_of_what_is_past(&demo);

    let tested = tester(demo.folder.path(), &format!("http://127.0.0.1:{}/api/openapi.json", demo.port));
    let told = String::from_utf8_lossy(&tested.stdout);
    assert!(tested.status.success(), "{told}\n{}", String::from_utf8_lossy(&tested.stderr));
    // That something was asked.
    assert!(told.contains("test cases") || told.contains("generated"), "{told}");
}

/// Parsed by somebody else; the dose and the limit of each tool, its temperature to a few seconds' change.
fn figures_are_those_of_now(demo: &Rehearsal) {
    let now = demo.json("/api/now");
    let text = demo.keep("metrics.txt", &demo.ask("/metrics").1);
    let parsed = python(demo.folder.path(), &[&format!("{SCRIPTS}/metrics.py"), text.to_str().unwrap()]);
    assert!(parsed.status.success(), "{}", String::from_utf8_lossy(&parsed.stderr));
    let lines = String::from_utf8(parsed.stdout).unwrap();
    let samples: Vec<Value> = lines.lines().map(|line| serde_json::from_str(line).unwrap()).collect();
    let value = |name: &str, labels: &[(&str, &str)]| {
        let is_it = |sample: &&Value| {
            sample["name"] == name && labels.iter().all(|(label, value)| sample["labels"][*label] == *value)
        };
        samples.iter().find(is_it).and_then(|sample| sample["value"].as_f64())
    };
    let printer = &now["printers"][0];
    let name = printer["printer"].as_str().unwrap();
    assert_eq!(value("dwellwatch_contact", &[("printer", name)]), Some(1.0));
    for tool in printer["tools"].as_array().unwrap() {
        let number = tool["tool"].to_string();
        let labels = [("printer", name), ("tool", number.as_str())];
        assert_eq!(value("dwellwatch_residence_limit_minutes", &labels), tool["limit_min"].as_f64());
        for (metric, field, apart) in
            [("dwellwatch_nozzle_celsius", "actual_c", 60.0), ("dwellwatch_idle_dose_minutes", "dose_min", 30.0)]
        {
            // Twenty times as fast as life: a second later it may be a minute's.
            let (measured, told) = (value(metric, &labels), tool[field].as_f64());
            assert_eq!(measured.is_some(), told.is_some(), "{metric}");
            let apart_by = measured.zip(told).map_or(0.0, |(measured, told)| (measured - told).abs());
            assert!(apart_by < apart, "{metric}: {measured:?}, {told:?}");
        }
    }
    let ended = demo.json(&format!("/api/prints?limit=1000&to={BEFORE_LIVE}"));
    let completed = ended.as_array().unwrap().iter().filter(|print| print["end"] == "completed").count();
    let counted = value("dwellwatch_prints_total", &[("end", "completed")]).unwrap();
    assert!(counted >= f64::from(u32::try_from(completed).unwrap()) && completed > 50, "{counted}, {completed}");
    assert!(value("dwellwatch_record_bytes", &[]).unwrap() > 1e5);
    assert!(value("dwellwatch_readings_total", &[("printer", name)]).unwrap() >= 1.0);
}

fn commands_say_the_same_of_what_is_past(demo: &Rehearsal) {
    for list in ["prints", "alarms", "parts"] {
        let told = demo.json(&format!("/api/{list}?limit=1000&to={BEFORE_LIVE}&from=2026-01-01T00:00:00Z"));
        let bounds = ["--to", BEFORE_LIVE, "--from", "2026-01-01T00:00:00Z", "--limit", "1000"];
        let mut said = said(&demo.db(), &[&[list], bounds.as_slice()].concat());
        if list == "parts" {
            // What is expected of them moves with every hour that is lived.
            let fields = said.as_array_mut().unwrap().iter_mut().filter_map(Value::as_object_mut);
            fields.for_each(|part| drop(part.remove("in_use")));
        }
        let mut told = told;
        if list == "parts" {
            let fields = told.as_array_mut().unwrap().iter_mut().filter_map(Value::as_object_mut);
            fields.for_each(|part| drop(part.remove("in_use")));
        }
        assert!(!said.as_array().unwrap().is_empty(), "{list}");
        assert_eq!(told, said, "{list}");
    }
    let first = demo.json(&format!("/api/prints?to={BEFORE_LIVE}&limit=1"))[0]["id"].to_string();
    let spans = demo.json(&format!("/api/spans?print={first}&limit=1000"));
    let is_of_first = |span: &serde_json::Value| span["print"].as_i64().map(|id| id.to_string()) == Some(first.clone());
    assert!(spans.as_array().unwrap().iter().all(is_of_first), "{spans}");
    let week = said_report(&demo.db(), "2026-W07");
    let told = demo.json("/api/reports/2026-W07");
    let names = |of: &Value| of.as_object().unwrap().keys().cloned().collect::<Vec<_>>();
    assert_eq!(names(&told), names(&week));
    for name in names(&week).iter().filter(|name| !MOVES_ON.contains(&name.as_str())) {
        assert_eq!(told[name], week[name], "{name}");
    }
}

fn said_report(db: &Path, week: &str) -> Value {
    let mut report = Command::new(PROGRAM);
    report.arg("--db").arg(db).args(["report", "--week", week, "--format", "json"]);
    let output = report.output().unwrap();
    assert!(output.status.success(), "{}", String::from_utf8_lossy(&output.stderr));
    serde_json::from_slice(&output.stdout).unwrap()
}
