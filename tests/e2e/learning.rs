//! What `learn` says of an invented record in which jams follow idle heat, against the counts that made it.
#![expect(clippy::unwrap_used, reason = "a test may stop")]

use dwell_analysis::time::Timestamp;
use dwellwatch::stamp;
use serde_json::{Value, json};
use std::collections::BTreeSet;
use std::fmt::Write as _;
use std::fs;
use std::process::Command;
use tempfile::TempDir;

const SEED: u64 = 11;
/// One print begins every so many seconds; each is shorter.
const EVERY_S: i64 = 7_200;

/// One invented print: T0 prints while T1 waits, then T1 prints.
struct Print {
    /// How long T1 waits, and how hot.
    wait_s: i64,
    wait_c: f64,
    jammed: bool,
    /// How long after its end somebody says so.
    said_after_s: i64,
}

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

/// About every second print waits hot and long, and then jams seven times in ten; the others one time in fifty.
fn prints(n: usize) -> Vec<Print> {
    let mut chance = Chance(SEED);
    let one = |_| {
        let is_hot = chance.next() < 0.5;
        let wait_s = if is_hot { 1_500 } else { 300 };
        let wait_c = if is_hot { 215.0 } else { 175.0 };
        let jammed = chance.next() < if is_hot { 0.7 } else { 0.02 };
        Print { wait_s, wait_c, jammed, said_after_s: 60 }
    };
    (0..n).map(one).collect()
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

fn journal(prints: &[Print]) -> String {
    let mut lines: Vec<(i64, String)> = Vec::new();
    for tool in 0..2 {
        let told = json!({"kind": "settings", "printer": "bench", "at": at(-60), "tool": tool, "material": "PLA"});
        lines.push((-60, told.to_string()));
    }
    for (print, began) in prints.iter().zip((0..).step_by(EVERY_S.unsigned_abs().try_into().unwrap())) {
        let (change, end) = (began + print.wait_s, began + print.wait_s + 60);
        let steps = (began..change).step_by(15).map(|s| (s, reading(s, "printing", 0, print.wait_c)));
        lines.extend(steps);
        lines.extend((change..end).step_by(15).map(|s| (s, reading(s, "printing", 1, 205.0))));
        lines.push((end, reading(end, "completed", 1, 25.0)));
        let job = json!({"name": "lantern.gcode", "started": at(began)});
        let said_s = end + print.said_after_s;
        let mut said = json!({"kind": "outcome", "printer": "bench", "at": at(said_s), "job": job, "mode": "clean"});
        if print.jammed {
            said["mode"] = json!("jam");
            said["tool"] = json!(1);
            said["severity"] = json!(1 + began / EVERY_S % 2);
        }
        lines.push((said_s, said.to_string()));
    }
    lines.sort_by_key(|(s, _)| *s);
    lines.iter().fold(String::new(), |mut journal, (_, line)| {
        writeln!(journal, "{line}").unwrap();
        journal
    })
}

/// What `learn` prints of a journal.
fn learn(journal: &str, option: &str) -> String {
    told(journal, &["learn", option])
}

/// What a command prints once the journal is replayed.
fn told(journal: &str, arguments: &[&str]) -> String {
    let folder = TempDir::new().unwrap();
    let file = folder.path().join("journal.ndjson");
    fs::write(&file, journal).unwrap();
    for print in [&MILD, &HOT] {
        fs::write(folder.path().join(print.0), job(print)).unwrap();
    }
    let run = |arguments: &[&str]| {
        let program = env!("CARGO_BIN_EXE_dwellwatch-under-test");
        let mut command = Command::new(program);
        let output = command.args(["--db", "bench.db"]).args(arguments).current_dir(folder.path()).output().unwrap();
        assert!(output.status.success(), "{}", String::from_utf8_lossy(&output.stderr));
        String::from_utf8(output.stdout).unwrap()
    };
    run(&["replay", file.to_str().unwrap()]);
    run(arguments)
}

/// A job file's name, for how long T1 waits in it, and how hot: as either half of [`prints`].
struct Ahead(&'static str, i64, f64);

const MILD: Ahead = Ahead("mild.gcode", 300, 175.0);
const HOT: Ahead = Ahead("hot.gcode", 1_500, 215.0);

fn job(Ahead(_, wait_s, wait_c): &Ahead) -> String {
    format!(
        "M83\nM104 S{wait_c} T1\nM109 S205 T0\nM109 S{wait_c} T1\nT0\nG1 X1 E4 F60\nG4 S{wait_s}\n\
         M109 S205 T1\nT1\nG1 X60 E200 F60\n"
    )
}

#[test]
fn a_preflight_forecasts_a_job_by_what_was_learned_and_does_not_where_nothing_was() {
    let prints = prints(120);
    let journal = journal(&prints);
    let jams = prints.iter().filter(|print| print.jammed).count();
    let [mild, hot] = [&MILD, &HOT].map(|Ahead(name, ..)| {
        let found: Value = serde_json::from_str(&told(&journal, &["preflight", name, "--json"])).unwrap();
        let risk = |mode: &str| {
            let mut risks = found["risks"].as_array().unwrap().iter();
            risks.find(|risk| risk["mode"] == mode && risk["tool"] == 1).unwrap().clone()
        };
        let (jam, blob) = (risk("jam"), risk("blob"));
        assert_eq!((&jam["n"], &jam["events"], &jam["state"]), (&json!(240), &json!(jams), &json!("learned")), "{jam}");
        assert_eq!((&blob["state"], blob.get("probability")), (&json!("too_little"), None), "{blob}");
        let ends = ["low", "mean", "high"].map(|end| jam["probability"][end].as_f64().unwrap());
        assert!(ends.is_sorted(), "{jam}");
        ends
    });
    // What made the record: seven in ten, and one in fifty.
    assert!(hot[0] < 0.7 && 0.7 < hot[2] && mild[0] < 0.02 && mild[2] < hot[0], "{mild:?} {hot:?}");
    let text = told(&journal, &["preflight", HOT.0]);
    assert!(
        text.contains("  - jam, T1: ") && text.contains("  - blob, T0, T1: not learned yet (240 tool-runs"),
        "{text}"
    );
}

fn mode(journal: &str, wanted: &str) -> Value {
    let document: Value = serde_json::from_str(&learn(journal, "--json")).unwrap();
    assert!(stamp::parse(document["as_of"].as_str().unwrap()).is_some(), "{document}");
    let modes = document["modes"].as_array().unwrap();
    assert_eq!(modes.len(), 9, "{document}");
    modes.iter().find(|mode| mode["mode"] == wanted).unwrap().clone()
}

/// `--predictions` of the jams, by print and tool: (started, tool, probability, happened).
fn predictions(journal: &str) -> Vec<(String, u64, f64, Option<bool>)> {
    let text = learn(journal, "--predictions");
    let lines = text.lines().map(|line| serde_json::from_str::<Value>(line).unwrap());
    let row = |line: Value| {
        let started = line["started"].as_str().unwrap().to_owned();
        assert!(line["print"].is_i64() && line["printer"] == "bench", "{line}");
        (started, line["tool"].as_u64().unwrap(), line["probability"].as_f64().unwrap(), line["happened"].as_bool())
    };
    lines.filter(|line| line["mode"] == "jam").map(row).collect()
}

#[test]
fn learn_counts_what_was_told_and_finds_the_idle_heat_behind_it() {
    let prints = prints(120);
    let jam = mode(&journal(&prints), "jam");
    let jams = prints.iter().filter(|print| print.jammed).count();
    // Each print has two tool-runs, and a jam names one.
    assert_eq!((&jam["n"], &jam["events"]), (&json!(240), &json!(jams)), "{jam}");
    assert_eq!(jam["state"], "learned", "{jam}");
    // Every second print's jam was told as serious, the others as slight.
    let slight = prints.iter().step_by(2).filter(|print| print.jammed).count();
    let severities = json!({"slight": slight, "serious": jams - slight, "grave": 0, "not_told": 0});
    assert_eq!(jam["severities"], severities, "{jam}");
    let ends = ["low", "mean", "high"].map(|end| jam["rate"][end].as_f64().unwrap());
    assert!(ends.is_sorted() && ends[0] > 0.0 && ends[2] < 1.0, "{ends:?}");
    let factors = jam["factors"].as_array().unwrap();
    assert_eq!((&factors[0]["rank"], &factors[0]["group"]), (&json!(1), &json!("idle_heat")), "{factors:?}");
    for factor in factors {
        let [low, mean, high] = ["low", "mean", "high"].map(|end| factor["effect"][end].as_f64().unwrap());
        assert!(low <= mean && mean <= high && factor["factor"].is_string(), "{factor}");
        assert!((0.5..=1.0).contains(&factor["sure"].as_f64().unwrap()), "{factor}");
    }
    for score in ["n", "log_loss", "log_loss_base", "brier", "brier_base", "auc", "ece"] {
        assert!(jam["skill"][score].is_number(), "{score}: {jam}");
    }
    assert!(jam["skill"]["log_loss"].as_f64() < jam["skill"]["log_loss_base"].as_f64(), "{jam}");
}

/// The journal without the words on prints that did not jam, as of people who only tell what went wrong.
fn only_jams_told(journal: &str) -> String {
    journal.lines().filter(|line| !line.contains(r#""mode":"clean""#)).fold(String::new(), |mut told, line| {
        writeln!(told, "{line}").unwrap();
        told
    })
}

#[test]
fn silence_that_changes_what_is_learned_is_told_with_both_readings() {
    let prints = prints(120);
    let jams = prints.iter().filter(|print| print.jammed).count();
    let journal = only_jams_told(&journal(&prints));
    let document: Value = serde_json::from_str(&learn(&journal, "--json")).unwrap();
    assert_eq!((&document["prints"], &document["prints_reported"]), (&json!(120), &json!(jams)), "{document}");
    let silence = &document["silence"];
    assert_eq!((&silence["means_clean"], &silence["prints"]), (&json!(false), &json!(120 - jams)));
    assert!(silence["differ"].as_array().unwrap().contains(&json!("jam")), "{silence}");
    // What nobody spoke of is clean a day after its end, and what ended within the record's last day is not.
    let last = i64::try_from(prints.len() - 1).unwrap() * EVERY_S + prints.last().unwrap().wait_s + 60;
    let is_old = |(print, began): &(&Print, i64)| began + print.wait_s + 60 + 86_400 <= last;
    let each = prints.iter().zip((0..).step_by(EVERY_S.unsigned_abs().try_into().unwrap()));
    let known = each.filter(|one| one.0.jammed || is_old(one)).count();
    let jam = silence["other"].as_array().unwrap().iter().find(|other| other["mode"] == "jam").unwrap();
    assert_eq!((&jam["n"], &jam["events"]), (&json!(2 * known), &json!(jams)), "{jam}");
    let page = told(&journal, &["learn"]).split_whitespace().collect::<Vec<_>>().join(" ");
    assert!(page.contains("It matters: as clean, these would differ. - jam: unknown: "), "{page}");
    assert!(page.contains(&format!("JAM {jams} of {} tool-runs", 2 * jams)), "{page}");
}

#[test]
fn ten_prints_are_too_little_to_say() {
    let prints = prints(10);
    let jam = mode(&journal(&prints), "jam");
    let jams = prints.iter().filter(|print| print.jammed).count();
    assert_eq!((&jam["n"], &jam["events"], &jam["state"]), (&json!(20), &json!(jams), &json!("too_little")), "{jam}");
}

#[test]
fn a_prediction_stays_as_it_was_when_more_prints_follow() {
    let prints = prints(70);
    let (early, all) = (predictions(&journal(&prints[..45])), predictions(&journal(&prints)));
    // The first print has nothing before it to be predicted from.
    assert_eq!((early.len(), all.len()), (44 * 2, 69 * 2));
    assert_eq!(early, all[..early.len()]);
    let told: BTreeSet<u64> = early.iter().map(|(_, _, probability, _)| probability.to_bits()).collect();
    assert!(told.len() > 10, "the models have to speak, or nothing is tested: {told:?}");
}

#[test]
fn a_word_said_late_changes_no_prediction_of_a_print_that_had_begun() {
    let mut prints = prints(60);
    // What came of print 30 is told only while print 50 runs; numbers from 0.
    let predictions_if = |prints: &mut [Print], jammed: bool| {
        prints[30].jammed = jammed;
        prints[30].said_after_s = 20 * EVERY_S - prints[30].wait_s - 30;
        predictions(&journal(prints))
    };
    let (clean, jam) = (predictions_if(&mut prints, false), predictions_if(&mut prints, true));
    let is_same = |print: usize| {
        clean[(print - 1) * 2..print * 2]
            .iter()
            .zip(&jam[(print - 1) * 2..])
            .all(|(a, b)| a.2.to_bits() == b.2.to_bits())
    };
    let first_changed = (1..60).find(|print| !is_same(*print));
    assert_eq!(first_changed, Some(51));
}
