//! Heat plans on the rehearsal's plant: the planned copy is run as a printer would run it, and the heat it truly had is
//! measured. What the plan knows of the heaters it knows from the plant's own earlier readings.
#![expect(clippy::unwrap_used, clippy::print_stdout, reason = "a test may stop, and says what it measured")]

use dwell_analysis::advice::{Change, Step};
use dwell_analysis::polymer::{Material, dose_rate};
use dwell_analysis::time::Timestamp;
use dwell_analysis::units::Celsius;
use dwellwatch::entry::{HotEnd, ToolNumber};
use dwellwatch::journal::write_line;
use dwellwatch::rehearsal::Story;
use dwellwatch::rehearsal::gcode::{JobPlan, ToolPlan};
use dwellwatch::rehearsal::machine::Machine;
use dwellwatch::rehearsal::plant::{Load, Plant, STEP_S};
use dwellwatch::rehearsal::story;
use dwellwatch::store::{SaidSuggestion, Store};
use rand::SeedableRng;
use rand_chacha::ChaCha8Rng;
use serde_json::Value;
use std::fmt::Write as _;
use std::fs;
use std::path::{Path, PathBuf};
use std::process::{Command, Output};
use std::sync::{Arc, LazyLock};
use tempfile::TempDir;

const PROGRAM: &str = env!("CARGO_BIN_EXE_dwellwatch-under-test");
/// So many days of the rehearsal's history are in the record.
const DAYS_MS: i64 = 10 * 86_400_000;
const MATERIALS: [Material; 2] = [Material::Pla, Material::Petg];
/// A tool that is no more than this below its set point is at temperature: twice what a wait for heat is content with.
const AT_TEMPERATURE_K: f64 = 2.0;

/// A folder with a record of the bench's first days.
static RECORD: LazyLock<PathBuf> = LazyLock::new(|| {
    let folder = PathBuf::from(env!("CARGO_TARGET_TMPDIR")).join("heatplan-record");
    if folder.exists() {
        fs::remove_dir_all(&folder).unwrap();
    }
    fs::create_dir_all(&folder).unwrap();
    let (story, mut journal) = (Story::new(5), String::new());
    let entries = story.entries();
    let end = story::at(&entries[0]).as_ms() + DAYS_MS;
    for entry in entries.iter().filter(|entry| story::at(entry).as_ms() < end) {
        writeln!(journal, "{}", write_line(&story.printer(), entry)).unwrap();
    }
    fs::write(folder.join("journal.ndjson"), journal).unwrap();
    let output = Command::new(PROGRAM)
        .args(["--db", "bench.db", "replay", "journal.ndjson"])
        .current_dir(&folder)
        .output()
        .unwrap();
    assert!(output.status.success(), "{}", String::from_utf8_lossy(&output.stderr));
    folder
});

fn program(arguments: &[&str]) -> Output {
    let db = RECORD.join("bench.db");
    Command::new(PROGRAM).arg("--db").arg(db).args(arguments).output().unwrap()
}

/// A job file's planned copy and what was said of it.
fn planned(folder: &Path, text: &str, more: &[&str]) -> (String, Value) {
    let (file, out) = (folder.join("lantern.gcode"), folder.join("lantern-cool.gcode"));
    fs::write(&file, text).unwrap();
    let paths = ["heatplan", file.to_str().unwrap(), "-o", out.to_str().unwrap()];
    println!("{}", String::from_utf8_lossy(&program(&[&paths[..], more].concat()).stdout));
    fs::remove_file(&out).unwrap();
    let output = program(&[&paths[..], more, &["--json"]].concat());
    assert!(output.status.success(), "{}", String::from_utf8_lossy(&output.stderr));
    (fs::read_to_string(&out).unwrap(), serde_json::from_slice(&output.stdout).unwrap())
}

/// What a job came to on the plant.
#[derive(Debug, Default)]
struct Run {
    lasted_s: f64,
    /// How far below its set point each tool was when it was called after another, K.
    short_k: Vec<f64>,
    /// Dose of the tools that were not at work, equivalent min.
    idle_dose: [f64; 2],
}

impl Run {
    fn of(text: &str) -> Self {
        let (mut machine, mut plant) = (Machine::new(HotEnd::Separate), Plant::new(HotEnd::Separate));
        machine.load(Arc::from(text));
        let (mut run, mut last) = (Self::default(), None);
        while !machine.is_done() {
            let temps = plant.nozzles();
            let extruded = machine.step(STEP_S, temps, plant.bed());
            plant.step(&Load {
                targets: machine.targets(),
                bed_target: machine.bed_target(),
                fans: machine.fans(),
                flows: extruded.map(|volume| volume / STEP_S),
            });
            let tool = machine.tool();
            if machine.begun() && last.is_some_and(|last| last != tool) {
                run.short_k.push(machine.targets()[tool] - temps[tool]);
            }
            last = Some(tool);
            let waits = 1 - tool;
            let rate = dose_rate(&MATERIALS[waits].built_in(), Celsius::new(temps[waits]));
            run.idle_dose[waits] += rate * STEP_S / 60.0;
            run.lasted_s += STEP_S;
            assert!(run.lasted_s < 1e6, "the job never ends");
        }
        run
    }

    fn at_temperature(&self) -> f64 {
        let n = self.short_k.iter().filter(|short| **short <= AT_TEMPERATURE_K).count();
        f64::from(u32::try_from(n).unwrap()) / f64::from(u32::try_from(self.short_k.len()).unwrap())
    }

    fn dose(&self) -> f64 {
        self.idle_dose.iter().sum()
    }
}

/// A two-material part of 31 layers and 61 changes, each turn of some minutes. `is_hot` leaves the tools at print heat.
fn job(is_hot: bool) -> String {
    let tool = |print_c: f64, standby_c: f64| ToolPlan {
        print_c,
        standby_c: if is_hot { print_c } else { standby_c },
        retract_mm: 0.8,
        retract_mm_s: 35.0,
        prime_mm3: 20.0,
    };
    let plan = JobPlan {
        tools: [tool(210.0, 175.0), tool(235.0, 190.0)],
        bed_c: 60.0,
        visits: JobPlan::layered(31, (240.0, 300.0), 1),
        heaters_off: true,
    };
    plan.text(&mut ChaCha8Rng::seed_from_u64(8))
}

fn compare(name: &str, text: &str, more: &[&str]) -> (Run, Run, Value) {
    let folder = TempDir::new().unwrap();
    let (copy, told) = planned(folder.path(), text, more);
    let (before, after) = (Run::of(text), Run::of(&copy));
    let coldest = |run: &Run| run.short_k.iter().copied().fold(f64::MIN, f64::max);
    println!(
        "{name}: {} changes, at temperature {:.3} (by the file {:.3}), furthest below {:.1} K (by the file {:.1} K), \
         idle dose {:.1} -> {:.1} min ({:.1} % less), {:.0} s -> {:.0} s ({:+.2} %)",
        after.short_k.len(),
        after.at_temperature(),
        before.at_temperature(),
        coldest(&after),
        coldest(&before),
        before.dose(),
        after.dose(),
        100.0 * (1.0 - after.dose() / before.dose()),
        before.lasted_s,
        after.lasted_s,
        100.0 * (after.lasted_s / before.lasted_s - 1.0),
    );
    (before, after, told)
}

/// The file waits for heat before each change; what counts then is that the waits take no time.
#[test]
fn sixty_changes_begin_hot_idle_dose_falls_by_seven_tenths_and_the_job_takes_no_percent_longer() {
    let (before, after, told) = compare("waits for heat", &job(true), &[]);
    assert!(after.short_k.len() >= 60, "{}", after.short_k.len());
    assert!(after.at_temperature() >= 0.99);
    assert!(after.dose() <= 0.3 * before.dose());
    assert!(after.lasted_s <= 1.01 * before.lasted_s);
    for tool in told["tools"].as_array().unwrap() {
        assert_eq!(tool["heater"], "fitted", "{told}");
    }
}

/// Nothing but the plan's timing makes the tools hot here.
#[test]
fn without_a_wait_for_heat_in_the_file_the_turns_begin_hot_all_the_same() {
    let text = job(true).replace("M109", "M104").replacen("M104 S210 T0\nT0", "M109 S210 T0\nT0", 1);
    let (before, after, _) = compare("waits for nothing", &text, &[]);
    assert!(after.at_temperature() >= 0.99);
    assert!(after.dose() <= 0.3 * before.dose());
}

/// Left at 150 and 150 °C by request, from a file that has a standby of its own.
#[test]
fn a_file_with_a_standby_of_its_own_is_cooled_further_and_no_turn_begins_colder() {
    let (before, after, told) = compare("has a standby", &job(false), &["--standby", "150"]);
    assert!(after.at_temperature() >= 0.99);
    assert!(after.dose() < before.dose());
    assert!(after.lasted_s <= 1.01 * before.lasted_s);
    assert_eq!(told["tools"][0]["standby_from"], "asked");
}

/// A configuration tells the printer, and nothing of its heaters or pace. The plant's nozzles are near the typical one, so
/// this says that the wide margin costs little, not that any heater is in time.
#[test]
fn without_a_fit_a_typical_heater_and_a_wide_margin_are_in_time_too() {
    let folder = TempDir::new().unwrap();
    let text = job(true);
    fs::write(folder.path().join("bench.toml"), config("separate")).unwrap();
    fs::write(folder.path().join("lantern.gcode"), &text).unwrap();
    let run = |arguments: &[&str]| Command::new(PROGRAM).args(arguments).current_dir(folder.path()).output().unwrap();
    let output = run(&["heatplan", "lantern.gcode", "-o", "cool.gcode", "--config", "bench.toml"]);
    let said = String::from_utf8(output.stdout).unwrap();
    assert!(output.status.success(), "{}", String::from_utf8_lossy(&output.stderr));
    assert!(said.contains("T0's heater is not fitted"), "{said}");
    let (before, after) = (Run::of(&text), Run::of(&fs::read_to_string(folder.path().join("cool.gcode")).unwrap()));
    let less = 1.0 - after.dose() / before.dose();
    println!("typical heater: at temperature {:.3}, {:.0} % less idle dose", after.at_temperature(), 100.0 * less);
    assert!(after.at_temperature() >= 0.99 && less > 0.5 && after.lasted_s <= 1.01 * before.lasted_s);
    let back = run(&["heatplan", "cool.gcode", "--strip", "-o", "back.gcode"]);
    assert!(back.status.success(), "{}", String::from_utf8_lossy(&back.stderr));
    assert_eq!(fs::read_to_string(folder.path().join("back.gcode")).unwrap(), text);
}

fn config(hot_end: &str) -> String {
    let tool = "[[printer.tool]]\nactual = { path = \"/t\" }\n";
    format!(
        "[[printer]]\nname = \"bench\"\nhot_end = \"{hot_end}\"\n[[printer.document]]\nname = \"all\"\n\
         url = \"http://127.0.0.1:9/\"\n[printer.job.state]\npath = \"/state\"\n{tool}{tool}"
    )
}

#[test]
fn the_standby_that_is_advised_is_the_plan_s() {
    let folder = TempDir::new().unwrap();
    let db = folder.path().join("bench.db");
    fs::copy(RECORD.join("bench.db"), &db).unwrap();
    let advised = SaidSuggestion {
        id: "bench-t1-petg-standby_c".to_owned(),
        printer: Story::new(5).printer(),
        tool: ToolNumber::new(1).unwrap(),
        material: Some("PETG".to_owned()),
        change: Change::Standby(Step { from: None, to: Celsius::new(165.0) }),
        body: "{}".to_owned(),
    };
    let store = Store::open(&db).unwrap();
    store.keep_suggestions(vec![advised], Timestamp::from_ms(0)).unwrap();
    drop(store);
    fs::write(folder.path().join("lantern.gcode"), job(true)).unwrap();
    let paths = ["--db", "bench.db", "heatplan", "lantern.gcode", "-o", "cool.gcode", "--json"];
    let output = Command::new(PROGRAM).args(paths).current_dir(folder.path()).output().unwrap();
    let told: Value = serde_json::from_slice(&output.stdout).unwrap();
    let standby =
        |tool: usize| (told["tools"][tool]["standby_from"].as_str(), told["tools"][tool]["standby_c"].as_f64());
    assert_eq!(standby(1), (Some("advised"), Some(165.0)), "{told}");
    assert_eq!(standby(0).0, Some("settings"), "{told}");
    assert!(fs::read_to_string(folder.path().join("cool.gcode")).unwrap().contains("M104 S165 T1 ; heatplan"));
}

/// A copy without lines of a plan is what a plan without drops writes, so it is no failure to strip it.
#[test]
fn stripping_what_has_no_line_of_a_plan_copies_it_and_says_so() {
    let folder = TempDir::new().unwrap();
    fs::write(folder.path().join("lantern.gcode"), "M109 S210 T0\r\nG1 X9 E5").unwrap();
    let paths = ["heatplan", "lantern.gcode", "--strip", "-o", "back.gcode"];
    let output = Command::new(PROGRAM).args(paths).current_dir(folder.path()).output().unwrap();
    let said = String::from_utf8(output.stdout).unwrap();
    assert_eq!(output.status.code(), Some(0), "{}", String::from_utf8_lossy(&output.stderr));
    assert!(said.contains("no line of it is a plan's; back.gcode is the same, byte for byte"), "{said}");
    assert_eq!(fs::read(folder.path().join("back.gcode")).unwrap(), b"M109 S210 T0\r\nG1 X9 E5");
}

/// Exit code and what is said; and nothing is written or changed.
#[test]
fn nothing_is_written_over_and_what_can_t_be_planned_is_said_with_its_place() {
    let folder = TempDir::new().unwrap();
    let at = |name: &str| folder.path().join(name);
    let text = "M83\nM104 S200 T1\nM109 S210 T0\nT0\nG1 X90 E5 F600\nT1\nG1 X9 E5\n";
    fs::write(at("lantern.gcode"), text).unwrap();
    fs::write(at("odd.gcode"), text.replace("T1\nG1", "T1\nFLUSH ALL=1\nG1")).unwrap();
    fs::write(at("packed.gcode"), b"\x1f\x8b\x08\0\0\0\0\0\0\x03\0").unwrap();
    fs::write(at("separate.toml"), config("separate")).unwrap();
    fs::write(at("shared.toml"), config("shared")).unwrap();
    fs::write(at("kept.gcode"), "kept").unwrap();
    fs::hard_link(at("lantern.gcode"), at("hard.gcode")).unwrap();
    std::os::unix::fs::symlink(at("lantern.gcode"), at("soft.gcode")).unwrap();
    std::os::unix::fs::symlink(at("nowhere.gcode"), at("dangling.gcode")).unwrap();
    let names = || {
        let mut names: Vec<_> = fs::read_dir(folder.path()).unwrap().map(|one| one.unwrap().file_name()).collect();
        names.sort();
        names
    };
    let before = names();
    let refused = |file: &str, out: &str, config: &[&str], code: i32, words: &str| {
        let paths = ["heatplan", file, "-o", out];
        let output = Command::new(PROGRAM).args(paths).args(config).current_dir(folder.path()).output().unwrap();
        let said = String::from_utf8(output.stderr).unwrap();
        assert_eq!(output.status.code(), Some(code), "{file} {out}: {said}");
        assert!(said.contains(words), "{file} {out}: {said}");
    };
    let separate = ["--config", "separate.toml"];
    refused("lantern.gcode", "lantern.gcode", &separate, 2, "it is the job file itself");
    refused("lantern.gcode", "soft.gcode", &separate, 2, "it is the job file itself");
    refused("lantern.gcode", "hard.gcode", &separate, 2, "it exists already");
    refused("lantern.gcode", "kept.gcode", &separate, 2, "it exists already");
    refused("lantern.gcode", "dangling.gcode", &separate, 2, "it exists already");
    refused("odd.gcode", "cool.gcode", &separate, 1, "line 7: `FLUSH` is not known here");
    refused("packed.gcode", "cool.gcode", &separate, 1, "it is packed (gzip)");
    refused("lantern.gcode", "cool.gcode", &["--config", "shared.toml"], 1, "share one hot end");
    refused("lantern.gcode", "cool.gcode", &[], 2, "no printer is known");
    refused(
        "lantern.gcode",
        "absent/cool.gcode",
        &separate,
        1,
        "-o absent/cool.gcode: no file can be made in the folder absent: entity not found\n",
    );
    refused("lantern.gcode", "cool.gcode", &["--config", "separate.toml", "--certainty", "1"], 2, "0.5 to 0.999");
    assert_eq!(names(), before);
    assert_eq!(fs::read_to_string(at("lantern.gcode")).unwrap(), text);
    assert_eq!(fs::read_to_string(at("kept.gcode")).unwrap(), "kept");
}
