//! An invented record in which jams follow hot waits, and prints that go on with it.

use dwell_analysis::advice::{Arm, Change, Step};
use dwell_analysis::time::Timestamp;
use dwell_analysis::units::{Celsius, Millimetres};
use dwellwatch::change::setting;
use dwellwatch::entry::{PrinterName, ToolNumber};
use dwellwatch::stamp;
use dwellwatch::store::{Reader, SaidSuggestion, Standing, Store};
use serde_json::{Value, json};
use std::fmt::Write as _;
use std::fs;
use std::path::PathBuf;
use std::process::{Command, Output};
use tempfile::TempDir;

const SEED: u64 = 5;
/// One print begins every so many seconds; each is shorter.
const EVERY_S: i64 = 7_200;
/// How long a tool waits, where it does not matter.
pub(crate) const WAIT_S: i64 = 900;
pub(crate) const HOT: f64 = 215.0;
pub(crate) const MILD: f64 = 165.0;
pub(crate) const STANDBY: &str = "bench-t1-pla-standby_c";
pub(crate) const RETRACT: &str = "bench-t1-pla-retract_mm";

/// Numbers from 0 to 1 (splitmix64, Steele, Lea and Flood, OOPSLA 2014).
pub(crate) struct Chance(u64);

impl Chance {
    pub(crate) fn next(&mut self) -> f64 {
        self.0 = self.0.wrapping_add(0x9e37_79b9_7f4a_7c15);
        let mut mixed = self.0;
        mixed = (mixed ^ (mixed >> 30)).wrapping_mul(0xbf58_476d_1ce4_e5b9);
        mixed = (mixed ^ (mixed >> 27)).wrapping_mul(0x94d0_49bb_1331_11eb);
        f64::from(u32::try_from((mixed ^ (mixed >> 31)) >> 32).unwrap()) / f64::from(u32::MAX)
    }
}

/// T0 prints while T1 waits, then T1 prints.
#[derive(Clone, Copy)]
pub(crate) struct Print {
    pub(crate) wait_s: i64,
    pub(crate) wait_c: f64,
    /// `None`: nobody says.
    pub(crate) jammed: Option<bool>,
}

fn at(s: i64) -> String {
    // 2026-03-02T08:00:00Z, a Monday.
    stamp::write(Timestamp::from_ms((1_772_438_400 + s) * 1_000))
}

fn reading(s: i64, state: &str, active: usize, t1_c: f64) -> String {
    let tools = json!([{"actual_c": 205.0, "target_c": 205.0}, {"actual_c": t1_c, "target_c": t1_c}]);
    let job = json!({"state": state, "name": "lantern.gcode"});
    json!({"kind": "reading", "printer": "bench", "at": at(s), "job": job, "active_tool": active, "tools": tools})
        .to_string()
}

/// Prints one after another, the first of them the record's `nth`.
fn journal(nth: usize, prints: &[Print]) -> String {
    let mut lines = Vec::new();
    if nth == 0 {
        for tool in 0..2 {
            let told = json!({"kind": "settings", "printer": "bench", "at": at(-60), "tool": tool, "material": "PLA"});
            lines.push(told.to_string());
        }
    }
    for (idx, print) in prints.iter().enumerate() {
        let began = i64::try_from(nth + idx).unwrap() * EVERY_S;
        let (change, end) = (began + print.wait_s, began + print.wait_s + 60);
        lines.extend((began..change).step_by(15).map(|s| reading(s, "printing", 0, print.wait_c)));
        lines.extend((change..end).step_by(15).map(|s| reading(s, "printing", 1, 205.0)));
        lines.push(reading(end, "completed", 1, 25.0));
        let Some(jammed) = print.jammed else { continue };
        let job = json!({"name": "lantern.gcode", "started": at(began)});
        let mut said = json!({"kind": "outcome", "printer": "bench", "at": at(end + 60), "job": job, "mode": "clean"});
        if jammed {
            said["mode"] = json!("jam");
            said["tool"] = json!(1);
            said["severity"] = json!(2);
        }
        lines.push(said.to_string());
    }
    lines.iter().fold(String::new(), |mut journal, line| {
        writeln!(journal, "{line}").unwrap();
        journal
    })
}

pub(crate) struct Bench {
    pub(crate) folder: TempDir,
    n_prints: usize,
    pub(crate) chance: Chance,
}

impl Bench {
    pub(crate) fn new() -> Self {
        Self { folder: TempDir::new().unwrap(), n_prints: 0, chance: Chance(SEED) }
    }

    /// Sixty prints with hot waits, half of which jammed, and what is advised of them.
    pub(crate) fn with_advice() -> Self {
        let mut bench = Self::new();
        let prints: Vec<Print> = (0..60).map(|_| bench.print(HOT, 0.5)).collect();
        bench.replay(&prints);
        let standby = Change::Standby(Step { from: Some(Celsius::new(HOT)), to: Celsius::new(MILD) });
        let retract = Change::Retract(Step { from: None, to: Millimetres::new(0.6) });
        bench.advise(&[standby, retract]);
        bench
    }

    pub(crate) fn advise(&self, changes: &[Change]) {
        self.advise_with(changes, 0.05, ("mixed", &["jam"]));
    }

    /// Advice that the risk of 0.5 comes to this, on what ground and for which modes.
    pub(crate) fn advise_with(&self, changes: &[Change], after: f64, (basis, modes): (&str, &[&str])) {
        let body = json!({"modes": modes, "basis": basis, "risk_now": {"mean": 0.5, "low": 0.4, "high": 0.6},
            "risk_after": {"mean": after, "low": 0.01, "high": 0.7}});
        let said = changes.iter().map(|change| SaidSuggestion {
            id: format!("bench-t1-pla-{}", setting(change).replace(':', "-")),
            printer: PrinterName::new("bench").unwrap(),
            tool: ToolNumber::new(1).unwrap(),
            material: Some("PLA".to_owned()),
            change: *change,
            body: body.to_string(),
        });
        let newest = self.reader().newest().unwrap().unwrap();
        Store::open(&self.db()).unwrap().keep_suggestions(said.collect(), newest).unwrap();
    }

    pub(crate) fn db(&self) -> PathBuf {
        self.folder.path().join("bench.db")
    }

    pub(crate) fn reader(&self) -> Reader {
        Reader::open(&self.db()).unwrap()
    }

    pub(crate) fn print(&mut self, wait_c: f64, jams: f64) -> Print {
        Print { wait_s: WAIT_S, wait_c, jammed: Some(self.chance.next() < jams) }
    }

    /// Replays prints that follow what was replayed before; gives the journal.
    pub(crate) fn replay(&mut self, prints: &[Print]) -> PathBuf {
        let file = self.folder.path().join(format!("from-{}.ndjson", self.n_prints));
        fs::write(&file, journal(self.n_prints, prints)).unwrap();
        self.n_prints += prints.len();
        self.done(&["replay", file.to_str().unwrap()]);
        file
    }

    /// From now on T1 holds this.
    pub(crate) fn load(&self, material: &str) {
        let now = at(i64::try_from(self.n_prints).unwrap() * EVERY_S - 60);
        let told = json!({"kind": "settings", "printer": "bench", "at": now, "tool": 1, "material": material});
        let file = self.folder.path().join("load.ndjson");
        fs::write(&file, format!("{told}\n")).unwrap();
        self.done(&["replay", file.to_str().unwrap()]);
    }

    pub(crate) fn run(&self, arguments: &[&str]) -> Output {
        let program = env!("CARGO_BIN_EXE_dwellwatch-under-test");
        Command::new(program)
            .args(["--db", "bench.db"])
            .args(arguments)
            .current_dir(self.folder.path())
            .output()
            .unwrap()
    }

    pub(crate) fn done(&self, arguments: &[&str]) -> String {
        let output = self.run(arguments);
        assert!(output.status.success(), "{arguments:?}: {}", String::from_utf8_lossy(&output.stderr));
        String::from_utf8(output.stdout).unwrap()
    }

    /// What is said on stderr by a command that can't do its work.
    pub(crate) fn refused(&self, arguments: &[&str]) -> String {
        let output = self.run(arguments);
        assert_eq!(output.status.code(), Some(1), "{arguments:?}: {}", String::from_utf8_lossy(&output.stdout));
        String::from_utf8(output.stderr).unwrap()
    }

    pub(crate) fn trial(&self) -> Value {
        let review: Value = serde_json::from_str(&self.done(&["review", "--json"])).unwrap();
        review["trials"][0].clone()
    }

    pub(crate) fn draws(&self) -> Vec<Arm> {
        self.reader().trials().unwrap()[0].draws.iter().map(|drawn| drawn.arm).collect()
    }

    pub(crate) fn standing(&self, id: &str) -> Standing {
        self.reader().suggestions().unwrap().into_iter().find(|row| row.id == id).unwrap().standing
    }

    /// Prints as it was drawn, one at a time, until the trial is over: mild waits jam with the one chance, hot ones with the
    /// other.
    pub(crate) fn follow(&mut self, mild_jams: f64, hot_jams: f64) -> Value {
        for nth in 0.. {
            let trial = self.trial();
            if trial["state"] == "ended" {
                return trial;
            }
            assert!(nth < 200, "{trial}");
            let print = match trial["next_print"].as_str().unwrap() {
                "changed" => self.print(MILD, mild_jams),
                _ => self.print(HOT, hot_jams),
            };
            self.replay(&[print]);
        }
        unreachable!()
    }
}
