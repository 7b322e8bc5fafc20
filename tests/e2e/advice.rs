//! Advice that is taken up: what is drawn, what is really set, and what it comes to, on an invented record in which jams
//! follow hot waits.
#![expect(clippy::unwrap_used, reason = "a test may stop")]

use dwell_analysis::advice::{Arm, Change, Step};
use dwell_analysis::time::Timestamp;
use dwell_analysis::units::{Celsius, Millimetres};
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
const WAIT_S: i64 = 900;
const HOT: f64 = 215.0;
const MILD: f64 = 165.0;
const STANDBY: &str = "bench-t1-pla-standby_c";
const RETRACT: &str = "bench-t1-pla-retract_mm";

/// Numbers from 0 to 1 (splitmix64, Steele, Lea and Flood, OOPSLA 2014).
struct Chance(u64);

impl Chance {
    fn next(&mut self) -> f64 {
        self.0 = self.0.wrapping_add(0x9e37_79b9_7f4a_7c15);
        let mut mixed = self.0;
        mixed = (mixed ^ (mixed >> 30)).wrapping_mul(0xbf58_476d_1ce4_e5b9);
        mixed = (mixed ^ (mixed >> 27)).wrapping_mul(0x94d0_49bb_1331_11eb);
        f64::from(u32::try_from((mixed ^ (mixed >> 31)) >> 32).unwrap()) / f64::from(u32::MAX)
    }
}

/// T0 prints while T1 waits, then T1 prints.
#[derive(Clone, Copy)]
struct Print {
    wait_c: f64,
    /// `None`: nobody says.
    jammed: Option<bool>,
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
        let (change, end) = (began + WAIT_S, began + WAIT_S + 60);
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

struct Bench {
    folder: TempDir,
    n_prints: usize,
    chance: Chance,
}

impl Bench {
    /// Sixty prints with hot waits, half of which jammed, and what is advised of them.
    fn with_advice() -> Self {
        let mut bench = Self { folder: TempDir::new().unwrap(), n_prints: 0, chance: Chance(SEED) };
        let prints: Vec<Print> = (0..60).map(|_| bench.print(HOT, 0.5)).collect();
        bench.replay(&prints);
        let standby = Change::Standby(Step { from: Some(Celsius::new(HOT)), to: Celsius::new(MILD) });
        let retract = Change::Retract(Step { from: None, to: Millimetres::new(0.6) });
        bench.advise(&[standby, retract]);
        bench
    }

    fn advise(&self, changes: &[Change]) {
        self.advise_with(changes, 0.05);
    }

    /// Advice that the risk of 0.5 comes to this.
    fn advise_with(&self, changes: &[Change], after: f64) {
        let body = json!({"modes": ["jam"], "basis": "mixed", "risk_now": {"mean": 0.5, "low": 0.4, "high": 0.6},
            "risk_after": {"mean": after, "low": 0.01, "high": 0.7}});
        let said = changes.iter().map(|change| SaidSuggestion {
            printer: PrinterName::new("bench").unwrap(),
            tool: ToolNumber::new(1).unwrap(),
            material: Some("PLA".to_owned()),
            change: *change,
            body: body.to_string(),
        });
        let newest = self.reader().newest().unwrap().unwrap();
        Store::open(&self.db()).unwrap().keep_suggestions(said.collect(), newest).unwrap();
    }

    fn db(&self) -> PathBuf {
        self.folder.path().join("bench.db")
    }

    fn reader(&self) -> Reader {
        Reader::open(&self.db()).unwrap()
    }

    fn print(&mut self, wait_c: f64, jams: f64) -> Print {
        Print { wait_c, jammed: Some(self.chance.next() < jams) }
    }

    /// Replays prints that follow what was replayed before; gives the journal.
    fn replay(&mut self, prints: &[Print]) -> PathBuf {
        let file = self.folder.path().join(format!("from-{}.ndjson", self.n_prints));
        fs::write(&file, journal(self.n_prints, prints)).unwrap();
        self.n_prints += prints.len();
        self.done(&["replay", file.to_str().unwrap()]);
        file
    }

    fn run(&self, arguments: &[&str]) -> Output {
        let program = env!("CARGO_BIN_EXE_dwellwatch-under-test");
        Command::new(program)
            .args(["--db", "bench.db"])
            .args(arguments)
            .current_dir(self.folder.path())
            .output()
            .unwrap()
    }

    fn done(&self, arguments: &[&str]) -> String {
        let output = self.run(arguments);
        assert!(output.status.success(), "{arguments:?}: {}", String::from_utf8_lossy(&output.stderr));
        String::from_utf8(output.stdout).unwrap()
    }

    /// What is said on stderr by a command that can't do its work.
    fn refused(&self, arguments: &[&str]) -> String {
        let output = self.run(arguments);
        assert_eq!(output.status.code(), Some(1), "{arguments:?}: {}", String::from_utf8_lossy(&output.stdout));
        String::from_utf8(output.stderr).unwrap()
    }

    fn trial(&self) -> Value {
        let review: Value = serde_json::from_str(&self.done(&["review", "--json"])).unwrap();
        review["trials"][0].clone()
    }

    fn draws(&self) -> Vec<Arm> {
        self.reader().trials().unwrap()[0].draws.iter().map(|drawn| drawn.arm).collect()
    }

    fn standing(&self, id: &str) -> Standing {
        self.reader().suggestions().unwrap().into_iter().find(|row| row.id == id).unwrap().standing
    }

    /// Prints as it was drawn, one at a time, until the trial is over: mild waits jam with the one chance, hot ones with the
    /// other.
    fn follow(&mut self, mild_jams: f64, hot_jams: f64) -> Value {
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

#[test]
fn a_trial_that_is_followed_print_by_print_ends_with_its_verdict_and_shows_what_was_really_set() {
    let mut bench = Bench::with_advice();
    let told = bench.done(&["adopt", STANDBY]);
    assert!(told.contains("standby 165 °C instead of 215 °C") && told.contains("Not a safety device"), "{told}");
    let draws = bench.draws();
    let next = if draws[0] == Arm::Changed {
        "Next print: standby 165 °C."
    } else {
        "Next print: as before, standby 215 °C."
    };
    assert!(told.contains(next), "{told}");
    let trial = bench.follow(0.0, 0.6);
    assert_eq!((&trial["verdict"], &trial["design"]), (&json!("helped"), &json!("alternation")), "{trial}");
    let prints = trial["prints"].as_array().unwrap();
    let word = |arm: &Arm| if *arm == Arm::Changed { "changed" } else { "as_before" };
    for (print, drawn) in prints.iter().zip(&draws) {
        assert_eq!((&print["drawn"], &print["applied"]), (&json!(word(drawn)), &json!(word(drawn))), "{print}");
        assert_eq!((&print["known_by"], &print["name"]), (&json!("set_points"), &json!("lantern.gcode")), "{print}");
    }
    let figures = &trial["figures"];
    assert_eq!(figures["failures"], 0);
    assert_eq!(
        figures["n_changed"].as_u64().unwrap() + figures["n_as_before"].as_u64().unwrap(),
        u64::try_from(prints.len()).unwrap()
    );
    assert!(figures["ratio"]["high"].as_f64().unwrap() < 1.0, "{trial}");
    assert_eq!((bench.draws(), bench.standing(STANDBY)), (draws, Standing::Adopted));
    let text = bench.done(&["review"]);
    assert!(text.contains("it helped") && text.contains("Keep it: standby 165 °C."), "{text}");
    assert!(bench.refused(&["adopt", STANDBY]).contains("it was tried"));
}

#[test]
fn a_trial_that_does_harm_is_stopped_early_and_its_suggestion_is_withdrawn_with_its_figures() {
    let mut bench = Bench::with_advice();
    bench.done(&["adopt", STANDBY]);
    let trial = bench.follow(1.0, 0.1);
    assert_eq!((&trial["verdict"], &trial["ending"]), (&json!("harmed"), &json!("harm")), "{trial}");
    assert!(
        trial["prints"].as_array().unwrap().len() < trial["prints_planned"].as_u64().unwrap().try_into().unwrap(),
        "{trial}"
    );
    assert_eq!(bench.standing(STANDBY), Standing::Withdrawn);
    let again = bench.refused(&["adopt", STANDBY]);
    assert!(again.contains("withdrawn") && again.contains("failed in"), "{again}");
}

#[test]
fn what_was_not_set_as_drawn_or_not_told_is_shown_as_such() {
    let mut bench = Bench::with_advice();
    bench.done(&["adopt", STANDBY]);
    bench.replay(&[
        Print { wait_c: 190.0, jammed: Some(false) },
        Print { wait_c: HOT, jammed: None },
        Print { wait_c: MILD, jammed: Some(true) },
    ]);
    let trial = bench.trial();
    let of = |key: &str| trial["prints"].as_array().unwrap().iter().map(|print| print[key].clone()).collect::<Vec<_>>();
    assert_eq!(of("applied"), ["neither", "as_before", "changed"]);
    assert_eq!(of("value"), [json!(190.0), json!(HOT), json!(MILD)]);
    assert_eq!(of("failed"), [json!(false), Value::Null, json!(true)]);
    assert_eq!(of("failures"), [json!([]), json!([]), json!(["jam"])]);
    assert!(trial["not_applied"].as_u64().unwrap() >= 1, "{trial}");
    assert!(bench.done(&["review"]).contains("Nobody said how 1 print came out"));
}

/// Hot waits jam seven times in ten, mild ones hardly ever; both were recorded before.
#[test]
fn a_print_with_the_change_is_held_against_what_it_would_have_come_to_without() {
    let mut bench = Bench { folder: TempDir::new().unwrap(), n_prints: 0, chance: Chance(SEED) };
    let mix = |bench: &mut Bench, nth: usize| {
        if nth.is_multiple_of(2) { bench.print(HOT, 0.7) } else { bench.print(MILD, 0.02) }
    };
    let prints: Vec<Print> = (0..80).map(|nth| mix(&mut bench, nth)).collect();
    bench.replay(&prints);
    bench.advise(&[Change::Standby(Step { from: Some(Celsius::new(HOT)), to: Celsius::new(MILD) })]);
    bench.done(&["adopt", STANDBY]);
    bench.replay(&[MILD, HOT].map(|wait_c| Print { wait_c, jammed: Some(false) }));
    let trial = bench.trial();
    let expected = [0, 1].map(|idx| trial["prints"][idx]["expected"].as_f64().unwrap());
    assert!(expected.iter().all(|chance| (0.4..0.9).contains(chance)), "{expected:?}");
}

#[test]
fn what_was_never_set_has_neither_helped_nor_harmed() {
    let mut bench = Bench::with_advice();
    bench.done(&["adopt", STANDBY]);
    let n = bench.draws().len();
    let prints: Vec<Print> = (0..n).map(|_| Print { wait_c: HOT, jammed: Some(true) }).collect();
    bench.replay(&prints);
    let trial = bench.trial();
    assert_eq!((&trial["verdict"], &trial["state"]), (&json!("undecided"), &json!("ended")), "{trial}");
    assert!(trial["why"].as_str().unwrap().contains("seldom set"), "{trial}");
    assert_eq!(bench.standing(STANDBY), Standing::Open);
}

#[test]
fn a_change_is_adopted_once_one_at_a_time_and_by_its_name() {
    let bench = Bench::with_advice();
    let unknown = bench.refused(&["adopt", "bench-t1-pla-standby"]);
    assert!(unknown.contains(STANDBY) && unknown.contains("`dwellwatch advise` lists them"), "{unknown}");
    bench.done(&["adopt", STANDBY]);
    let twice = bench.refused(&["adopt", STANDBY]);
    assert!(twice.contains("on trial since") && twice.contains("review"), "{twice}");
    let other = bench.refused(&["adopt", RETRACT]);
    assert!(other.contains(STANDBY) && other.contains("one change at a time"), "{other}");
    assert!(bench.refused(&["decline", "bench-t1-pla-prime"]).contains("no such suggestion"));
    let declined = bench.done(&["decline", STANDBY, "--reason", "it squeaks"]);
    assert!(declined.contains("given up"), "{declined}");
    assert_eq!((&bench.trial()["ending"], &bench.trial()["why"]), (&json!("given_up"), &json!("it squeaks")));
    bench.done(&["adopt", RETRACT]);
    assert_eq!(bench.reader().trials().unwrap().len(), 2);
}

#[test]
fn advice_whose_effect_nobody_knows_is_watched_as_if_it_halved_the_risk() {
    let bench = Bench::with_advice();
    bench.advise_with(&[Change::Clean], 0.5);
    let told = bench.done(&["adopt", "bench-t1-pla-part-nozzle"]);
    assert!(told.contains("nobody knows"), "{told}");
    assert_eq!((&bench.trial()["ratio_expected"], &bench.trial()["design"]), (&json!(0.5), &json!("before_after")));
}

#[test]
fn what_is_said_no_more_is_listed_with_why_and_can_not_be_adopted() {
    let bench = Bench::with_advice();
    bench.done(&["decline", STANDBY]);
    bench.advise(&[]);
    let review: Value = serde_json::from_str(&bench.done(&["review", "--json"])).unwrap();
    let closed = review["closed"].as_array().unwrap();
    let told: Vec<_> = closed.iter().map(|row| (row["id"].as_str().unwrap(), row["state"].as_str().unwrap())).collect();
    assert_eq!(told, [(RETRACT, "withdrawn"), (STANDBY, "declined")]);
    assert!(closed[0]["why"].as_str().unwrap().contains("no longer speaks for it"));
    assert!(bench.refused(&["adopt", RETRACT]).contains("it was withdrawn"));
}

#[test]
fn replaying_a_journal_again_changes_no_trial() {
    let mut bench = Bench::with_advice();
    bench.done(&["adopt", STANDBY]);
    let prints: Vec<Print> = (0..6).map(|_| bench.print(MILD, 0.1)).collect();
    let journal = bench.replay(&prints);
    let before = bench.done(&["review", "--json"]);
    bench.done(&["replay", journal.to_str().unwrap()]);
    assert_eq!(bench.done(&["review", "--json"]), before);
    assert!(before.contains("\"nth\":6"), "{before}");
}
