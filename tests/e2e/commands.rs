//! The commands from outside: an invented journal goes in, and what the lists say is worked out by hand.
#![expect(clippy::unwrap_used, reason = "a test may stop")]

use serde_json::{Value, json};
use std::fmt::Write as _;
use std::fs;
use std::io::{Read, Write as _};
use std::net::TcpListener;
use std::path::{Path, PathBuf};
use std::process::{Command, Output};
use tempfile::TempDir;

/// A folder with a database that the program writes.
struct Bench {
    folder: TempDir,
}

impl Bench {
    fn new() -> Self {
        Self { folder: tempfile::tempdir().unwrap() }
    }

    /// One with the record of [`lantern`].
    fn with_lantern() -> Self {
        let bench = Self::new();
        let replayed = bench.replay(&lantern());
        assert_eq!(replayed.status.code(), Some(0), "{}", stderr(&replayed));
        bench
    }

    fn db(&self) -> PathBuf {
        self.folder.path().join("bench.db")
    }

    fn run(&self, arguments: &[&str]) -> Output {
        let db = self.db();
        program().arg("--db").arg(db).args(arguments).current_dir(self.folder.path()).output().unwrap()
    }

    fn replay(&self, journal: &str) -> Output {
        let file = self.folder.path().join("journal.ndjson");
        fs::write(&file, journal).unwrap();
        self.run(&["replay", file.to_str().unwrap()])
    }

    fn json(&self, arguments: &[&str]) -> Value {
        let output = self.run(&[arguments, &["--json"]].concat());
        assert_eq!(output.status.code(), Some(0), "{}", stderr(&output));
        serde_json::from_slice(&output.stdout).unwrap()
    }

    /// Runs what has to fail, and gives what it says.
    fn fails(&self, code: i32, arguments: &[&str]) -> String {
        let output = self.run(arguments);
        assert_eq!(output.status.code(), Some(code), "{arguments:?}: {}", stderr(&output));
        assert_eq!(String::from_utf8_lossy(&output.stdout), "", "{arguments:?}");
        stderr(&output)
    }

    fn sql(&self) -> rusqlite::Connection {
        rusqlite::Connection::open(self.db()).unwrap()
    }
}

fn program() -> Command {
    Command::new(env!("CARGO_BIN_EXE_dwellwatch-under-test"))
}

fn stderr(output: &Output) -> String {
    String::from_utf8_lossy(&output.stderr).into_owned()
}

/// One reading, `s` seconds after eight.
fn reading(s: u32, state: &str, active: u32, celsius: [f64; 2]) -> String {
    let (minutes, seconds) = (s / 60, s % 60);
    let [t0, t1] = celsius;
    format!(
        r#"{{"kind":"reading","printer":"bench","at":"2026-03-02T08:{minutes:02}:{seconds:02}Z","job":{{"state":"{state}","name":"lantern.gcode"}},"active_tool":{active},"tools":[{{"actual_c":{t0},"target_c":{t0}}},{{"actual_c":{t1},"target_c":{t1}}}]}}"#
    ) + "\n"
}

/// T1 waits 10 min at 200 °C while T0 prints; then T0 waits 200 s at 170 °C while T1 prints, 90 s of them unseen;
/// then both wait on after the end.
fn lantern() -> String {
    let mut journal = String::new();
    for tool in 0..2 {
        let at = "2026-03-02T07:59:00Z";
        writeln!(journal, r#"{{"kind":"settings","printer":"bench","at":"{at}","tool":{tool},"material":"PLA"}}"#)
            .unwrap();
    }
    journal.extend((0..600).step_by(10).map(|s| reading(s, "printing", 0, [210.0, 200.0])));
    // The last reading of T1's wait is still at 200 °C.
    journal.push_str(&reading(600, "printing", 1, [170.0, 200.0]));
    journal.extend((610..700).step_by(10).map(|s| reading(s, "printing", 1, [170.0, 210.0])));
    journal.extend([780, 790].map(|s| reading(s, "printing", 1, [170.0, 210.0])));
    journal.extend([800, 810].map(|s| reading(s, "completed", 1, [170.0, 210.0])));
    journal
}

fn is_near(found: &Value, wanted: f64) -> bool {
    found.as_f64().is_some_and(|found| (found - wanted).abs() < 1e-3)
}

#[test]
fn spans_say_when_how_hot_and_how_much_dose() {
    let bench = Bench::with_lantern();
    let spans = bench.json(&["spans"]);
    let spans = spans.as_array().unwrap();
    assert_eq!(spans.len(), 4, "{spans:?}");
    // Each minute at 200 °C is one equivalent minute; at 170 °C PLA's rate is 0.128135 (Arrhenius, 119.4 kJ/mol), and
    // 110 s of the 200 were seen.
    let wanted = [
        (1, "2026-03-02T08:00:00Z", "2026-03-02T08:10:00Z", 200.0, 10.0, 0.0),
        (0, "2026-03-02T08:10:00Z", "2026-03-02T08:13:20Z", 170.0, 110.0 / 60.0 * 0.128_135, 90.0),
    ];
    for (span, (tool, began, ended, celsius, dose, gap)) in spans.iter().zip(wanted) {
        assert_eq!((&span["printer"], &span["print"], &span["tool"]), (&json!("bench"), &json!(1), &json!(tool)));
        assert_eq!(
            (&span["context"], &span["began"], &span["ended"]),
            (&json!("in_print"), &json!(began), &json!(ended))
        );
        for (key, number) in
            [("mean_c", celsius), ("max_c", celsius), ("target_c", celsius), ("dose_min", dose), ("gap_s", gap)]
        {
            assert!(is_near(&span[key], number), "{key} of {span}");
        }
    }
    for span in &spans[2..] {
        assert_eq!((&span["context"], &span["began"]), (&json!("no_print"), &json!("2026-03-02T08:13:20Z")));
        let keys = span.as_object().unwrap();
        assert!(keys["ended"].is_null() && !keys.contains_key("print") && !keys.contains_key("dose_min"), "{span}");
    }
    let early = bench.json(&["spans", "--printer", "bench", "--to", "2026-03-02T09:05:00+01:00"]);
    assert_eq!(early.as_array().unwrap(), &spans[..1]);
    assert_eq!(bench.json(&["spans", "--limit", "3"]).as_array().unwrap(), &spans[1..]);
}

#[test]
fn prints_say_what_each_tool_waited_and_what_was_noted() {
    let bench = Bench::with_lantern();
    let prints = bench.json(&["prints"]);
    let [print] = prints.as_array().unwrap().as_slice() else { unreachable!("one print: {prints}") };
    assert_eq!(
        (&print["id"], &print["name"], &print["end"]),
        (&json!(1), &json!("lantern.gcode"), &json!("completed"))
    );
    assert_eq!((&print["started"], &print["ended"]), (&json!("2026-03-02T08:00:00Z"), &json!("2026-03-02T08:13:20Z")));
    assert_eq!((&print["tool_changes"], &print["outcomes"]), (&json!(1), &json!([])));
    for (tool, idle) in [(0, 110.0), (1, 600.0)] {
        let found = &print["tools"][tool];
        assert_eq!(found["tool"], json!(tool));
        assert!(is_near(&found["idle_hot_s"], idle) && is_near(&found["idle_hot_max_s"], idle), "{found}");
    }
    assert!(is_near(&print["tools"][1]["dose_min"], 10.0), "{print}");

    let said = ["note", "--print", "latest", "--tool", "1", "--mode", "jam", "--severity", "2", "--note", "ticking"];
    assert_eq!(bench.run(&said).status.code(), Some(0));
    assert_eq!(bench.run(&["note", "--print", "1", "--clean", "--tool", "0"]).status.code(), Some(0));
    let outcomes = &bench.json(&["prints"])[0]["outcomes"];
    let (first, second) = (&outcomes[0], &outcomes[1]);
    assert!(first["at"].as_str().unwrap().ends_with('Z'));
    assert_eq!((&first["tool"], &first["mode"], &first["severity"]), (&json!(1), &json!("jam"), &json!(2)));
    assert_eq!((&first["note"], &second["mode"], &second["tool"]), (&json!("ticking"), &json!("clean"), &json!(0)));
    assert!(second.get("severity").is_none() && outcomes.get(2).is_none(), "{outcomes}");
}

#[test]
fn a_word_that_is_taken_back_counts_no_more_and_the_journal_replays_it_as_it_was() {
    let bench = Bench::with_lantern();
    let jam = ["note", "--print", "1", "--tool", "1", "--mode", "jam", "--severity", "2"];
    assert_eq!(bench.run(&jam).status.code(), Some(0));
    assert_eq!(bench.run(&["note", "--print", "1", "--clean"]).status.code(), Some(0));
    // The same twice is one.
    assert_eq!(bench.run(&["note", "--print", "1", "--clean"]).status.code(), Some(0));
    assert_eq!(bench.json(&["prints"])[0]["outcomes"].as_array().unwrap().len(), 1, "what stands alone");

    let undo = bench.run(&["note", "--print", "1", "--undo"]);
    let said = String::from_utf8_lossy(&undo.stdout).into_owned();
    assert!(said.ends_with(": clean taken back; T1 jam 2 stands\n"), "{said}");
    let outcomes = &bench.json(&["prints"])[0]["outcomes"];
    assert_eq!((&outcomes[0]["mode"], outcomes.get(1)), (&json!("jam"), None));

    let journal = String::from_utf8(bench.run(&["journal"]).stdout).unwrap();
    let kinds = |kind: &str| journal.lines().filter(|line| line.contains(&format!("\"kind\":\"{kind}\""))).count();
    assert_eq!((kinds("outcome"), kinds("undo")), (2, 1), "{journal}");
    let again = Bench::new();
    again.replay(&journal);
    let rows =
        |bench: &Bench| format!("{:?}", dwellwatch::store::Reader::open(bench.db().as_ref()).unwrap().outcomes(1));
    assert_eq!(rows(&again), rows(&bench));
    assert!(rows(&again).contains("undone: Some"), "{}", rows(&again));

    assert_eq!(bench.run(&["note", "--print", "1", "--undo"]).status.code(), Some(0));
    assert!(bench.fails(1, &["note", "--print", "1", "--undo"]).contains("no word stands"));
    assert!(bench.fails(2, &["note", "--print", "1", "--undo", "--clean"]).contains("cannot be used"));
    assert_eq!(bench.json(&["prints"])[0]["outcomes"], json!([]));
}

#[test]
fn the_newest_print_is_the_newest_that_has_ended_and_a_running_one_has_no_end() {
    let bench = Bench::with_lantern();
    bench.replay(&reading(1200, "printing", 0, [210.0, 200.0]));
    let running = &bench.json(&["prints"])[1];
    assert!(running["ended"].is_null() && running["end"].is_null() && running.get("end").is_some(), "{running}");
    assert_eq!(bench.run(&["note", "--print", "latest", "--clean"]).status.code(), Some(0));
    let prints = bench.json(&["prints"]);
    assert_eq!((&prints[0]["outcomes"][0]["mode"], &prints[1]["outcomes"]), (&json!("clean"), &json!([])));
}

#[test]
fn what_is_asked_wrongly_is_2_and_what_is_not_there_is_1() {
    let bench = Bench::with_lantern();
    let note = |rest: &[&'static str]| [&["note", "--print", "latest"], rest].concat();
    let jam = ["--mode", "jam", "--severity", "2", "--tool"];
    for (arguments, says) in [
        (note(&["--tool", "1", "--mode", "jam", "--severity", "4"]), ["--severity", "4", "1..=3"]),
        (note(&["--tool", "1", "--mode", "warp", "--severity", "1"]), ["--mode", "warp", "under_extrusion"]),
        (note(&[&jam[..], &["7"]].concat()), ["--tool", "7", "0 to 1"]),
        (note(&["--mode", "jam", "--tool", "1"]), ["--severity", "jam", "1 a blemish"]),
        (note(&["--clean", "--mode", "jam"]), ["--clean", "--mode", "cannot be used"]),
        (vec!["note", "--print", "last", "--clean"], ["--print", "last", "`latest`"]),
        (vec!["spans", "--from", "2026-03-02"], ["--from", "2026-03-02", "offset"]),
        (vec!["part", "fitted", "--tool", "1", "--part", "fan"], ["--part", "fan", "heat_break"]),
    ] {
        let said = bench.fails(2, &arguments);
        assert!(says.iter().all(|piece| said.contains(piece)), "{says:?} in {said}");
    }
    assert!(bench.fails(1, &["note", "--print", "99", "--clean"]).contains("--print 99"));
    assert!(bench.fails(1, &["prints", "--printer", "attic"]).contains("`bench`"));
    let empty = Bench::new();
    assert!(empty.fails(1, &["note", "--print", "latest", "--clean"]).contains("does not exist"));
    assert!(!empty.db().exists(), "asking about a record makes none");
}

/// T0 lays 4 mm of filament in a millimetre's move, waits hot for ten minutes while T1 stands at work, and goes on.
const JOB: &str = "M83\nM109 S210 T0\nM109 S210 T1\nT0\nG1 X1 E4 F60\nT1\nG1 X2 E4 F60\nG4 S600\nT0\nG1 X3 E4 F60\n";

/// The program where neither a configuration nor a database is.
fn alone(folder: &Path, arguments: &[&str]) -> Output {
    let nowhere = folder.join("nowhere");
    let nowhere = [("HOME", &nowhere), ("XDG_CONFIG_HOME", &nowhere)];
    program().args(arguments).current_dir(folder).envs(nowhere).output().unwrap()
}

#[test]
fn a_preflight_needs_no_configuration_and_ends_well_whatever_it_finds() {
    let folder = tempfile::tempdir().unwrap();
    fs::write(folder.path().join("lantern.gcode"), JOB).unwrap();
    let output = alone(folder.path(), &["preflight", "lantern.gcode"]);
    let text = String::from_utf8_lossy(&output.stdout);
    assert_eq!(output.status.code(), Some(0), "{}", stderr(&output));
    assert!(text.contains("for a printer that is not known: typical values are used"), "{text}");
    assert!(text.contains("Worth a look, T0: It is left at its print temperature at 1 of 1 changes to T1."), "{text}");
    assert!(text.lines().all(|line| line.chars().count() <= 90), "{text}");

    let json = alone(folder.path(), &["preflight", "lantern.gcode", "--json"]);
    assert_eq!(json.status.code(), Some(0), "{}", stderr(&json));
    let json: Value = serde_json::from_slice(&json.stdout).unwrap();
    assert_eq!(
        (&json["file"], &json["bytes"], &json["lines"]),
        (&json!("lantern.gcode"), &json!(JOB.len()), &json!(10))
    );
    let [t0, t1] = json["tools"].as_array().unwrap().as_slice() else { unreachable!("{json}") };
    assert_eq!((&t0["visits"], &t1["visits"], &t0["heater"]), (&json!(2), &json!(1), &json!("typical")));
    assert!(is_near(&t0["filament_mm"], 8.0) && is_near(&t1["filament_mm"], 4.0), "{json}");
    // T1's move of a second and its dwell.
    let longest = t0["waits"]["longest_s"].as_f64().unwrap();
    assert!((longest - 601.0).abs() < 0.5, "{longest}");
    let found = &json["findings"][0];
    assert_eq!((&found["id"], &found["n"], &found["of"]), (&json!("no_standby"), &json!(1), &json!(1)), "{json}");
}

#[test]
fn a_preflight_of_what_is_no_job_file_is_1_and_of_an_unknown_printer_2() {
    let folder = tempfile::tempdir().unwrap();
    fs::write(folder.path().join("lantern.gcode"), JOB).unwrap();
    fs::write(folder.path().join("cat.png"), b"\x89PNG\r\n\x1a\n\0\0\0\rIHDR").unwrap();
    for (code, arguments, says) in [
        (1, &["preflight", "cat.png"][..], "cat.png: is no text"),
        (2, &["preflight", "lantern.gcode", "--printer", "attic"], "attic"),
    ] {
        let output = alone(folder.path(), arguments);
        assert_eq!(output.status.code(), Some(code), "{arguments:?}: {}", stderr(&output));
        assert!(output.stdout.is_empty() && stderr(&output).contains(says), "{arguments:?}: {}", stderr(&output));
    }
    let bench = Bench::with_lantern();
    let wrong = bench.fails(2, &["preflight", "lantern.gcode", "--printer", "attic"]);
    assert!(wrong.contains("there is `bench`"), "{wrong}");
}

#[test]
fn a_part_goes_into_the_only_printer_there_is() {
    let bench = Bench::with_lantern();
    let said = ["part", "removed", "--tool", "1", "--part", "liner", "--reason", "failed"];
    assert_eq!(bench.run(&said).status.code(), Some(0));
    let parts = bench.json(&["parts"]);
    let part = &parts[0];
    assert_eq!((&part["printer"], &part["tool"], &part["part"]), (&json!("bench"), &json!(1), &json!("liner")));
    assert_eq!((&part["event"], &part["reason"]), (&json!("removed"), &json!("failed")));
    bench.replay(&reading(0, "none", 0, [20.0, 20.0]).replace("bench", "attic"));
    assert!(bench.fails(2, &said).contains("`attic`, `bench`"));
}

#[test]
fn the_fitting_of_a_part_in_use_says_what_it_went_through_and_what_is_expected_of_it() {
    let bench = Bench::new();
    let part = |event: &str, at: &str, reason: &str| {
        format!(r#"{{"kind":"part","printer":"bench","at":"{at}","tool":0,"part":"liner","event":"{event}"{reason}}}"#)
            + "\n"
    };
    let journal = part("fitted", "2026-03-02T07:00:00Z", "") + &lantern();
    assert_eq!(bench.replay(&journal).status.code(), Some(0));
    let in_use = bench.json(&["parts"])[0]["in_use"].clone();
    // As long as it was at work or waited.
    assert!(in_use["hot_h"].as_f64().is_some_and(|hours| hours > 0.0), "{in_use}");
    assert_eq!((&in_use["basis"], &in_use["n_lives"], &in_use["n_failures"]), (&json!("prior"), &json!(1), &json!(0)));
    let left = &in_use["remaining_wear_h"];
    let [low, median, high] = ["low", "median", "high"].map(|end| left[end].as_f64().unwrap());
    assert!(0.0 < low && low < median && median < high, "{in_use}");
    assert!(in_use["remaining_days"].is_null() && in_use["replace_before"].is_null(), "{in_use}");
    assert!(in_use["refused"].as_str().unwrap().contains("too few observations"), "{in_use}");
    // Once it is out, nothing is expected of it.
    let out = part("removed", "2026-03-02T23:00:00Z", r#","reason":"failed""#);
    assert_eq!(bench.replay(&out).status.code(), Some(0));
    let parts = bench.json(&["parts"]);
    assert!(parts[0]["in_use"].is_null() && parts[1]["in_use"].is_null(), "{parts}");
    assert_eq!(parts[1]["reason"], json!("failed"));
}

#[test]
fn a_part_change_leaves_a_shared_hot_end_shared() {
    let bench = Bench::with_lantern();
    bench.sql().execute("UPDATE printer SET hot_end = 'shared'", []).unwrap();
    assert_eq!(bench.run(&["part", "fitted", "--tool", "0", "--part", "nozzle"]).status.code(), Some(0));
    let hot_end: String = bench.sql().query_row("SELECT hot_end FROM printer", [], |row| row.get(0)).unwrap();
    assert_eq!(hot_end, "shared");
}

#[test]
fn a_line_that_cannot_be_read_is_named_and_what_came_before_it_is_kept() {
    let good: String = [0, 10].map(|s| reading(s, "printing", 0, [210.0, 200.0])).concat();
    let future = reading(20, "printing", 0, [210.0, 200.0]).replace("2026-", "2126-");
    for (broken, says) in [("{\"kind\":\"reading\",\n", "line 3"), (future.as_str(), "line 3: `at` is 2126-03-02")] {
        let bench = Bench::new();
        let replayed = bench.replay(&format!("{good}{broken}{}", reading(30, "completed", 0, [210.0, 200.0])));
        assert_eq!(replayed.status.code(), Some(1));
        assert!(stderr(&replayed).contains(says), "{}", stderr(&replayed));
        let prints = bench.json(&["prints"]);
        assert_eq!(prints[0]["started"], json!("2026-03-02T08:00:00Z"));
        assert!(prints[0]["ended"].is_null(), "what came after is not: {prints}");
    }
}

#[test]
fn a_reading_out_of_order_is_counted_and_changes_nothing() {
    let bench = Bench::with_lantern();
    let spans = bench.json(&["spans"]);
    let late = reading(805, "printing", 0, [250.0, 250.0]);
    assert_eq!(bench.replay(&late).status.code(), Some(0));
    assert_eq!(bench.json(&["spans"]), spans);
    let sql = "SELECT n FROM refused WHERE reason = 'out_of_order'";
    assert_eq!(bench.sql().query_row(sql, [], |row| row.get::<_, i64>(0)).unwrap(), 1);
}

#[test]
fn a_database_of_a_newer_program_is_refused_and_left_alone() {
    let bench = Bench::with_lantern();
    bench.sql().pragma_update(None, "user_version", 99).unwrap();
    for arguments in [vec!["prints"], vec!["note", "--print", "1", "--clean"], vec!["replay", "-"]] {
        assert!(bench.fails(1, &arguments).contains("schema 99"));
    }
    let version: i64 = bench.sql().pragma_query_value(None, "user_version", |row| row.get(0)).unwrap();
    assert_eq!(version, 99);
}

#[cfg(unix)]
#[test]
fn a_database_that_may_not_be_written_is_named_with_what_it_needs() {
    use std::fs::{Permissions, set_permissions};
    use std::os::unix::fs::{MetadataExt, PermissionsExt};
    use std::os::unix::process::CommandExt;

    let bench = Bench::with_lantern();
    // Without a write-ahead log beside it, so that the file can be read from a folder that takes no files.
    bench.sql().pragma_update(None, "journal_mode", "DELETE").unwrap();
    set_permissions(bench.db(), Permissions::from_mode(0o444)).unwrap();
    set_permissions(bench.folder.path(), Permissions::from_mode(0o555)).unwrap();
    let mut note = program();
    note.arg("--db").arg(bench.db()).args(["note", "--print", "latest", "--clean"]);
    if fs::metadata(bench.db()).unwrap().uid() == 0 {
        // The superuser may write everything; nobody may not.
        note.uid(65_534);
    }
    let output = note.output().unwrap();
    set_permissions(bench.folder.path(), Permissions::from_mode(0o755)).unwrap();
    let said = stderr(&output);
    assert_eq!(output.status.code(), Some(1), "{said}");
    assert!(said.contains("bench.db") && said.contains("read-only") && said.contains("its folder"), "{said}");
}

const CONFIGURATION: &str = r#"[[printer]]
name = "bench"
[[printer.document]]
name = "all"
url = "http://127.0.0.1:PORT/all"
[printer.job.state]
path = "/phase"
words = { busy = "printing", still = "none" }
[[printer.tool]]
actual = { path = "/left" }
"#;

/// Answers one request with `document`, and gives the port where.
fn host(document: &'static str) -> u16 {
    let listener = TcpListener::bind("127.0.0.1:0").unwrap();
    let port = listener.local_addr().unwrap().port();
    std::thread::spawn(move || {
        let (mut connection, _) = listener.accept().unwrap();
        let n_read = connection.read(&mut [0; 4096]).unwrap();
        assert!(n_read > 0);
        let length = document.len();
        write!(connection, "HTTP/1.1 200 OK\r\nContent-Length: {length}\r\nConnection: close\r\n\r\n{document}")
            .unwrap();
    });
    port
}

fn check(folder: &Path, configuration: &str) -> (Option<i32>, String, String) {
    let file = folder.join("dwellwatch.toml");
    fs::write(&file, configuration).unwrap();
    let output = program().arg("check").arg("--config").arg(file).output().unwrap();
    (output.status.code(), String::from_utf8_lossy(&output.stdout).into_owned(), stderr(&output))
}

#[test]
fn check_shows_each_field_and_fails_on_a_host_that_is_away_or_not_understood() {
    let folder = tempfile::tempdir().unwrap();
    let at = |port: u16| CONFIGURATION.replace("PORT", &port.to_string());
    let (code, shown, said) = check(folder.path(), &at(host(r#"{"phase":"busy","left":199.5}"#)));
    assert_eq!((code, said.as_str()), (Some(0), ""));
    let field = |name: &str| shown.lines().find(|line| line.starts_with(name)).unwrap().split_whitespace();
    let state: Vec<&str> = field("job state").collect();
    assert_eq!(state, ["job", "state", "all", "/phase", "\"busy\"", "printing"]);
    assert_eq!(field("T0 actual").collect::<Vec<_>>()[3..], ["/left", "199.5", "199.50", "°C"]);

    let (code, shown, said) = check(folder.path(), &at(host(r#"{"phase":"asleep","left":"warm"}"#)));
    assert_eq!(code, Some(1));
    assert!(shown.contains("\"warm\"") && shown.contains("not understood") && said.contains("asleep"), "{shown}{said}");

    let gone = TcpListener::bind("127.0.0.1:0").unwrap().local_addr().unwrap().port();
    let (code, _, said) = check(folder.path(), &at(gone));
    assert_eq!(code, Some(1));
    assert!(said.contains("refused"), "{said}");

    let (code, _, said) = check(folder.path(), &at(gone).replace("\"/left\"", "\"left\""));
    assert_eq!(code, Some(2));
    assert!(said.contains("dwellwatch.toml:10:") && said.contains("printer[0].tool[0].actual.path"), "{said}");
}
