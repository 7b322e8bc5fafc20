//! What is exported, from outside: an engine that is not ours reads every value back as the record holds it, in both
//! forms; and no file that was there is touched.
#![expect(clippy::unwrap_used, reason = "a test may stop")]

use dwell_analysis::units::Seconds;
use dwell_tests::advised::advise;
use dwell_tests::alarmed::alarm;
use dwell_tests::engine::{self, Found};
use dwell_tests::tables::{Bounds, Cell, Row, recorded};
use dwellwatch::entry::PrinterName;
use dwellwatch::stamp;
use dwellwatch::store::{Keep, Reader, Store};
use serde_json::{Map, Value, json};
use std::fs;
use std::path::{Path, PathBuf};
use std::process::{Command, Output};
use tempfile::TempDir;

/// Comes before the other, so that its last month is the other's first.
const BENCH: &str = "Bench";
/// A printer whose name has all that a path, a folder's name and a field of CSV may trip over.
const ATTIC: &str = "attic, \"n\" 2/3 = 50 %.ü";
/// And how its folder has to be named.
const ATTIC_FOLDER: &str = "printer=attic%2C%20%22n%22%202%2F3%20%3D%2050%20%25%2Eü";
const JOB: &str = "lantern \"tall\", 2\r\nand a gull.gcode";
const NOTE: &str = "said \"no\", twice;\nthen = stopped, ½";

struct Bench {
    folder: TempDir,
}

impl Bench {
    fn new(journal: &[Value]) -> Self {
        let bench = Self { folder: tempfile::tempdir().unwrap() };
        let lines: Vec<String> = journal.iter().map(Value::to_string).collect();
        fs::write(bench.path("journal.ndjson"), lines.join("\n")).unwrap();
        bench.does(&["replay", "journal.ndjson"]);
        bench
    }

    fn path(&self, name: &str) -> PathBuf {
        self.folder.path().join(name)
    }

    fn run(&self, arguments: &[&str]) -> Output {
        let mut program = Command::new(env!("CARGO_BIN_EXE_dwellwatch-under-test"));
        program.args(["--db", "bench.db"]).args(arguments).current_dir(self.folder.path()).output().unwrap()
    }

    fn does(&self, arguments: &[&str]) -> String {
        let output = self.run(arguments);
        assert!(output.status.success(), "{arguments:?}: {}", String::from_utf8_lossy(&output.stderr));
        String::from_utf8(output.stdout).unwrap()
    }

    /// Runs what has to fail, and gives what it says.
    fn fails(&self, code: i32, arguments: &[&str]) -> String {
        let output = self.run(arguments);
        let said = String::from_utf8_lossy(&output.stderr).into_owned();
        assert_eq!((output.status.code(), output.stdout.as_slice()), (Some(code), &b""[..]), "{arguments:?}: {said}");
        said
    }

    fn sql(&self, statement: &str) {
        let changed = rusqlite::Connection::open(self.path("bench.db")).unwrap().execute(statement, []).unwrap();
        assert!(changed > 0, "{statement} changes nothing");
    }

    fn reader(&self) -> Reader {
        Reader::open(&self.path("bench.db")).unwrap()
    }
}

fn reading(printer: &str, at: &str, after_s: f64, rest: &Value) -> Value {
    let at = stamp::parse(at).unwrap() + Seconds::new(after_s);
    let mut line = rest.as_object().unwrap().clone();
    line.extend(
        [("kind", json!("reading")), ("printer", json!(printer)), ("at", json!(stamp::write(at)))]
            .map(|(key, value)| (key.to_owned(), value)),
    );
    Value::Object(line)
}

/// Two printers, one of them with a tool more; prints from February into April, one of them still running; and all that a
/// host may leave untold.
fn journal() -> Vec<Value> {
    let night = "2026-02-28T23:58:00.25Z";
    let mut lines = Vec::new();
    for nth in 0..24_u32 {
        let n = f64::from(nth);
        lines.push(reading(BENCH, night, n * 10.0, &json!({
            "job": {"state": "printing", "name": JOB, "fraction": (n * 41_234.0) / 1e6, "byte": nth * 1000},
            "active_tool": u32::from(nth > 9),
            "tools": [{"actual_c": 209.87 - n * 0.13, "target_c": 210.0, "duty": n / 24.0, "fan": n / 48.0}, {"actual_c": 170.2 + n * 1.1, "fan": 0}],
            "bed": {"actual_c": 59.95, "target_c": 60.0, "duty": 0.125},
        })));
    }
    lines.push(reading(BENCH, night, 240.0, &json!({"job": {"state": "completed", "name": JOB}, "tools": [{}, {}]})));
    lines.push(reading(
        BENCH,
        "2026-03-05T10:00:00Z",
        0.0,
        &json!({
            "after_gap": true, "job": {"state": "printing"}, "active_tool": 0,
            "tools": [{"actual_c": -0.01, "target_c": 0.0}, {"target_c": 215.5}],
        }),
    ));
    for (at, end) in [("2026-03-31T23:59:50Z", "cancelled"), ("2026-04-02T08:00:00Z", "failed")] {
        for nth in 0..6_u32 {
            lines.push(reading(
                ATTIC,
                at,
                f64::from(nth) * 5.0,
                &json!({
                    "job": {"state": if nth < 5 { "printing" } else { end }, "name": "gull.gcode"},
                    "active_tool": nth % 3,
                    "tools": [{"actual_c": 200}, {"actual_c": 190, "target_c": 0, "duty": 0}, {"actual_c": 180, "target_c": 180, "duty": 1, "fan": 1}],
                }),
            ));
        }
    }
    lines.insert(1, json!({
        "kind": "job_file", "printer": BENCH, "at": night, "job": {"name": JOB, "started": night}, "from": "folder",
        "bytes": 24_000, "expected_s": 229.5, "turns": [{"tool": 0, "byte": 0, "at_s": 0.0}, {"tool": 1, "byte": 9500, "at_s": 95.0}],
        "tools": [],
    }));
    let outcome = |at: &str, rest: Value| {
        let job = json!({"name": JOB, "started": night});
        let mut line = json!({"kind": "outcome", "printer": BENCH, "at": at, "job": job});
        line.as_object_mut().unwrap().extend(rest.as_object().unwrap().clone());
        line
    };
    lines.push(outcome("2026-03-06T07:00:00Z", json!({"tool": 1, "mode": "jam", "severity": 2, "note": NOTE})));
    let said = "2026-03-06T08:00:00Z";
    lines.push(outcome(said, json!({"mode": "clean"})));
    // And taken back.
    lines.push(outcome("2026-03-06T09:00:00Z", json!({"kind": "undo", "said": said, "mode": "clean"})));
    lines
}

/// The rows as an engine sees them that takes the folders for columns.
fn in_folders(rows: &[Row], form: &str) -> Vec<Row> {
    let mut rows = rows.to_vec();
    for row in rows.iter_mut().filter(|_| form == "parquet") {
        // Tables of a print have its start beside their own time.
        let begins =
            ["started", "began", "at", "first_said", "adopted", "raised"].iter().find_map(|name| row.get(*name));
        let Some(Cell::Time(begins)) = begins else { unreachable!("a row without a time: {row:?}") };
        let month = stamp::write(*begins)[..7].to_owned();
        row.insert("month".to_owned(), Cell::Text(month));
    }
    rows
}

/// That the engine found a table's rows, in any order, with its columns and no others.
fn same(table: &str, form: &str, wanted: &[Row], found: &Found) {
    assert_eq!(found.rows.len(), wanted.len(), "{form} {table}");
    let is = |wanted: &Row, found: &Map<String, Value>| {
        wanted.len() == found.len()
            && wanted.iter().all(|(name, cell)| found.get(name).is_some_and(|found| cell.is(found, form)))
    };
    for row in wanted {
        assert!(found.rows.iter().any(|found| is(row, found)), "{form} {table} lacks {row:?} in {:?}", found.rows);
    }
}

/// That the engine takes each column for what it is, wherever a value of it is known.
fn same_types(table: &str, form: &str, wanted: &[Row], found: &Found) {
    for (name, cell) in wanted.iter().flatten() {
        let Some(kind) = cell.kind() else { continue };
        let taken = found.types[name].as_str();
        // A text of digits is a whole number to an engine that has to guess.
        let guessed = form == "csv" && kind == "DOUBLE" && taken == "BIGINT";
        assert!(taken == kind || guessed, "{form} {table}.{name} is {taken}, not {kind}");
    }
}

#[test]
fn an_engine_that_is_not_ours_reads_every_value_back_in_both_forms() {
    if engine::is_left_out() {
        return;
    }
    let bench = Bench::new(&journal());
    // No measure at all: an export never tells a number that is none.
    bench.sql(
        "UPDATE span SET ooze_mm3 = 9e999 WHERE began_ms = (SELECT min(began_ms) FROM span WHERE ooze_mm3 IS NOT NULL)",
    );
    let months = ["2026-02-27T12:00:00Z", "2026-03-31T23:59:59.5Z"].map(|at| stamp::parse(at).unwrap());
    let store = Store::open(&bench.path("bench.db")).unwrap();
    advise(&store, &[BENCH, ATTIC], months, NOTE);
    for (printer, at) in [BENCH, ATTIC].into_iter().zip(months) {
        alarm(&store, &PrinterName::new(printer).unwrap(), at, NOTE);
    }
    drop(store);
    let whole = Bounds::default();
    let of_one = Bounds { printer: Some(ATTIC), ..whole };
    let of_a_time = Bounds { from: Some("2026-03-01T00:00:00Z"), to: Some("2026-04-02T10:00:05+02:00"), ..whole };
    let summaries = ["minutes", "hours"];
    for (table, rows) in recorded(&bench.reader(), whole).iter().filter(|(table, _)| !summaries.contains(table)) {
        for name in rows[0].keys() {
            let known = rows.iter().any(|row| row[name] != Cell::Nothing);
            assert!(known, "no {table} tells {name}: this test would show nothing of it");
        }
    }
    let mut before = usize::MAX;
    for (nth, bounds) in [whole, of_a_time, of_one].into_iter().enumerate() {
        let recorded = recorded(&bench.reader(), bounds);
        let n_samples = recorded["samples"].len();
        assert!(0 < n_samples && n_samples < before, "the bounds leave nothing out");
        before = n_samples;
        for form in ["csv", "parquet"] {
            reads_back(&bench, form, &format!("{form}_{nth}"), bounds);
        }
    }
}

/// Whether what the engine finds in an export is what the record holds.
fn reads_back(bench: &Bench, form: &str, out: &str, bounds: Bounds<'_>) {
    let recorded = recorded(&bench.reader(), bounds);
    bench.does(&[&["export", "--format", form, "--out", out][..], &bounds.arguments()].concat());
    let found = engine::read(&bench.path(out), form);
    for (table, wanted) in &recorded {
        match found.get(*table) {
            Some(found) => {
                same(table, form, &in_folders(wanted, form), found);
                same_types(table, form, wanted, found);
            }
            None => assert!(wanted.is_empty() && form == "parquet", "{form} has no {table}"),
        }
    }
    assert!(found.keys().all(|table| recorded.contains_key(table.as_str())), "{:?}", found.keys());
}

#[test]
fn what_is_kept_as_minutes_and_hours_reads_back_too() {
    if engine::is_left_out() {
        return;
    }
    let bench = Bench::new(&journal());
    let store = Store::open(&bench.path("bench.db")).unwrap();
    while store.keep(Keep { readings_days: 1, minutes_days: 9 }).unwrap() {}
    drop(store);
    let tables = recorded(&bench.reader(), Bounds::default());
    assert!(["minutes", "hours", "samples"].iter().all(|table| tables[table].len() > 1), "{tables:?}");
    for form in ["csv", "parquet"] {
        reads_back(&bench, form, form, Bounds::default());
    }
}

fn files(folder: &Path) -> Vec<String> {
    let mut found = Vec::new();
    for entry in fs::read_dir(folder).unwrap().map(Result::unwrap) {
        let name = entry.file_name().into_string().unwrap();
        if entry.file_type().unwrap().is_dir() {
            found.extend(files(&entry.path()).into_iter().map(|below| format!("{name}/{below}")));
        } else {
            found.push(name);
        }
    }
    found.sort();
    found
}

#[test]
fn files_are_named_by_table_or_by_printer_and_month() {
    let bench = Bench::new(&journal());
    let said = bench.does(&["export", "--format", "csv", "--out", "tables"]);
    assert_eq!(
        files(&bench.path("tables")),
        [
            "alarms",
            "hours",
            "minutes",
            "outcomes",
            "print_tools",
            "prints",
            "samples",
            "spans",
            "suggestions",
            "trials"
        ]
        .map(|table| format!("{table}.csv"))
    );
    assert!(said.lines().any(|line| line.split_whitespace().eq(["samples", "38", "1"])), "{said}");
    let prints = fs::read_to_string(bench.path("tables/prints.csv")).unwrap();
    let head = "printer,id,name,started,ended,end,tool_changes,job_file,expected_s,tool_disagreements\r\n";
    assert!(prints.starts_with(head) && prints.ends_with("\r\n"), "{prints}");
    assert!(prints.contains("\"attic, \"\"n\"\" 2/3 = 50 %.ü\","), "{prints}");

    bench.does(&["export", "--format", "parquet", "--out", "new/parts", "--printer", ATTIC]);
    let found = files(&bench.path("new/parts"));
    let wanted = |table: &str, month: &str| format!("{table}/{ATTIC_FOLDER}/month={month}/{table}.parquet");
    for table in ["prints", "print_tools", "spans", "samples"] {
        assert!(["2026-03", "2026-04"].iter().all(|month| found.contains(&wanted(table, month))), "{found:?}");
    }
    // Its host fell silent in April, hot.
    assert!(found.contains(&wanted("alarms", "2026-04")), "{found:?}");
    assert_eq!(found.len(), 9, "{found:?}");
}

#[test]
fn a_folder_that_holds_anything_is_refused_and_left_as_it_was() {
    let bench = Bench::new(&journal());
    fs::create_dir(bench.path("mine")).unwrap();
    fs::write(bench.path("mine/prints.csv"), "mine").unwrap();
    for (out, says) in [("mine", "holds `prints.csv`"), ("journal.ndjson", "is no folder")] {
        let said = bench.fails(2, &["export", "--format", "csv", "--out", out]);
        assert!(said.contains(says) && said.contains(out) && said.contains("a new or an empty folder"), "{said}");
    }
    assert_eq!(files(&bench.path("mine")), ["prints.csv"]);
    assert_eq!(fs::read_to_string(bench.path("mine/prints.csv")).unwrap(), "mine");
}

#[test]
fn what_is_asked_wrongly_is_2_and_leaves_no_folder() {
    let bench = Bench::new(&journal());
    let (march, april) = ("2026-03-01T00:00:00Z", "2026-04-01T00:00:00Z");
    for (code, rest, says) in [
        (2, vec!["--format", "xml"], "parquet"),
        (2, vec!["--format", "csv", "--from", "2026-03-01"], "offset"),
        (2, vec!["--format", "csv", "--from", april, "--to", march], "an earlier --from"),
        (1, vec!["--format", "csv", "--printer", "cellar"], "`Bench`"),
    ] {
        let said = bench.fails(code, &[&["export", "--out", "new"], rest.as_slice()].concat());
        assert!(said.contains(says), "{said}");
    }
    assert!(!bench.path("new").exists());
}

#[test]
fn an_export_that_fails_takes_back_what_it_wrote() {
    let bench = Bench::new(&journal());
    bench.sql("UPDATE sample SET body = x'00' WHERE key = (SELECT max(key) FROM sample)");
    fs::create_dir(bench.path("empty")).unwrap();
    for form in ["csv", "parquet"] {
        for out in ["empty", "new/and/deep"] {
            let said = bench.fails(1, &["export", "--format", form, "--out", out]);
            assert!(said.contains("damaged"), "{said}");
        }
        assert!(files(&bench.path("empty")).is_empty() && !bench.path("new").exists(), "{form}");
    }
}
