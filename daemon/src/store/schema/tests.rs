//! Databases of older schemas, and files that are none of ours.

mod alarms;

use super::*;
use crate::alarm::Rule;
use crate::entry::{CentiCelsius, Entry, Heater, Job, JobState, PrinterName, Reading, ToolNumber};
use crate::store::{HotDoing, HotTime, PrintFilter, Reader, SpanFilter, Store, summary};
use dwell_analysis::time::Timestamp;
use dwell_analysis::units::DoseMinutes;
use rusqlite::types::Value;

/// What a database of the first schema held.
const FIRST: &str = "PRAGMA user_version = 1;
    INSERT INTO printer VALUES (1, 'bench', 'separate', 2);
    INSERT INTO alarm VALUES (7, 1, 1, 'idle_hot', 1000, 2000, 'returned unacknowledged', 'c', 'd', 'e');
    INSERT INTO alarm VALUES (8, 1, 0, 'residence_budget', 3000, NULL, 'unacknowledged', 'f', 'g', 'h');
    INSERT INTO poll_fault VALUES (1, 5000, 'connection refused');";

#[test]
fn a_database_of_the_first_schema_keeps_its_alarms_and_takes_those_of_a_printer() {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("first.db");
    let db = Connection::open(&path).unwrap();
    db.execute_batch(MIGRATIONS[0]).unwrap();
    db.execute_batch(FIRST).unwrap();
    drop(db);
    let refused = Reader::open(&path).unwrap_err().to_string();
    assert!(refused.contains("schema 1") && refused.contains("run"), "{refused}");
    drop(Store::open(&path).unwrap());
    let reader = Reader::open(&path).unwrap();
    let alarms = reader.alarms(None, None).unwrap();
    let told: Vec<_> = alarms.iter().map(|row| (row.id, row.subject.rule, row.returned.is_some())).collect();
    assert_eq!(told, [(7, Rule::IdleHot, true), (8, Rule::ResidenceBudget, false)]);
    let db = Connection::open(&path).unwrap();
    let insert = |tool: &str, rule: &str| {
        let row = format!(
            "INSERT INTO alarm VALUES (NULL, 1, {tool}, '{rule}', 'low', 9, NULL, 'unacknowledged', NULL, NULL, '', '', '')"
        );
        db.execute_batch(&row)
    };
    insert("NULL", "host_silent").unwrap();
    assert!(insert("NULL", "host_silent").is_err(), "the same alarm twice");
    assert!(insert("1", "host_silent").is_err() && insert("NULL", "idle_hot").is_err());
}

/// What a database of the second schema held.
const SECOND: &str = "PRAGMA user_version = 2;
    INSERT INTO printer VALUES (1, 'bench', 'separate', 2);
    INSERT INTO print VALUES (4, 1, 1000, 'lantern.gcode', 9000, 'completed');
    INSERT INTO tool_change VALUES (4, 2000, 0, 1, 'host'), (4, 3000, 1, 0, 'set_points');";

#[test]
fn a_database_of_the_second_schema_keeps_its_tool_changes_and_takes_those_of_a_job_file() {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("second.db");
    let db = Connection::open(&path).unwrap();
    for migration in &MIGRATIONS[..2] {
        db.execute_batch(migration).unwrap();
    }
    db.execute_batch(SECOND).unwrap();
    drop(db);
    drop(Store::open(&path).unwrap());
    let db = Connection::open(&path).unwrap();
    let insert = |source: &str| db.execute("INSERT INTO tool_change VALUES (4, 4000, 0, 1, ?1)", [source]);
    assert!(insert("hearsay").is_err());
    insert("job_file").unwrap();
    let reader = Reader::open(&path).unwrap();
    let changes = reader.tool_changes(4).unwrap();
    let told: Vec<_> = changes.iter().map(|row| (row.at.as_ms(), row.to.idx(), row.source)).collect();
    assert_eq!(told, [(2000, 1, "host"), (3000, 0, "set_points"), (4000, 1, "job_file")]);
    let print = reader.print(4).unwrap().unwrap();
    assert_eq!((print.expected, print.job_file, print.disagreements), (None, None, 0));
    assert_eq!(reader.job_file(4).unwrap(), None);
}

/// What databases of each schema held: rows in every table that it had. `?1` is [`readings`] as the
/// program of those schemas packed them.
const ROWS: [&str; 3] = [
    "INSERT INTO printer VALUES (1, 'bench', 'shared', 2);
    INSERT INTO print VALUES (4, 1, 1770000000000, 'lantern.gcode', 1770000050000, 'completed');
    INSERT INTO print_event VALUES (4, 1770000020000, 'paused');
    INSERT INTO tool_change VALUES (4, 1770000010000, 0, 1, 'host');
    INSERT INTO visit VALUES (4, 0, 1770000000000, 1770000010000, 0), (4, 1, 1770000010000, 1770000050000, 0);
    INSERT INTO span VALUES
        (9, 1, 0, 1770000010000, 4, 'in_print', 1770000050000, 40000, 0, 171.5, 180.25, 175.0, 0.125, 3.5);
    INSERT INTO gap VALUES (1, 1769999000000, 1770000000000);
    INSERT INTO refused VALUES (1, 'out_of_order', 1769997600000, 3);
    INSERT INTO settings_change VALUES (1, 0, 1769998000000, 'PLA', 210.0, 170.0, 0.8, 40.0, NULL, 0, 1);
    INSERT INTO part_change VALUES (1, 1, 1769998000000, 'liner', 'fitted', 'preventive', 'a new one');
    INSERT INTO outcome VALUES (2, 4, 1770000060000, 1, 'stringing', 2, 'on the roof');
    INSERT INTO outbox VALUES (5, '{}', 1, 1770000040000, NULL);
    INSERT INTO report_written VALUES ('2026-W05', 1769999000000);
    INSERT INTO sample_batch VALUES (1, 1770000000000, 1770000058000, ?1);",
    "INSERT INTO alarm VALUES (7, 1, 1, 'idle_hot', 1770000040000, NULL, 'unacknowledged', 'c', 'd', 'e');",
    "INSERT INTO job_file VALUES (4, 1770000001000, 'lantern.gcode', 'host', 4096, 50000, x'00', NULL);
    INSERT INTO job_file_tool VALUES (4, 1, 'PETG', 235.0, 190.0, NULL, NULL, NULL, NULL, NULL, 2, 1);
    INSERT INTO tool_disagreement VALUES (4, 1770000030000, 1, 0);",
];

/// What was advised, and its trial.
const ADVISED: &str = "INSERT INTO suggestion VALUES
        ('bench-t0', 1, 0, 'PLA', 'standby_c', '170', '150', '{}', 1770000000000, 1770000000000, 'adopted', 1770000000000, NULL);
    INSERT INTO trial (id, suggestion, printer, tool, material, setting, from_value, to_value, adopted_ms, design, prints,
        ratio_expected, power, modes, risk, risk_low, risk_high, baseline)
        VALUES (3, 'bench-t0', 1, 0, 'PLA', 'standby_c', '170', '150', 1770000000000, 'before_after', 9, 0.5, 0.8, 'jam',
            0.2, 0.1, 0.3, 'x');
    INSERT INTO trial_draw VALUES (3, 1, 'changed');";

/// What became of an alarm, and of its notice.
const CALLED: &str = "INSERT INTO alarm_change VALUES (1, 7, 1770000040000, 'normal', 'unacknowledged', 'dwellwatch', NULL);
    INSERT INTO alarm_hold VALUES (1, 1, 1, 'idle_hot', 'shelved', 1770000041000, 1770000044000, 'a person', 'I see it', NULL, NULL);
    INSERT INTO message VALUES (1, 'mail', 'k', 'single', 1770000042000, 0, 1770000042000, NULL, 0);
    INSERT INTO delivery VALUES ('mail', 5, 1);
    INSERT INTO untold VALUES ('mail', 2);
    INSERT INTO heater_fact VALUES (1, 0, 1770000000000, 40.0, 90.0, 300.0, 2.0, 2.0, 25.0, 0.1, 9);";

/// What is held in memory since, and the readings, which are compared as such.
const MOVED: [&str; 5] = ["poll_fault", "sample_batch", "span", "outbox", "alarm"];

/// Tables whose rows lost their number, or gained columns among the others, from the second column on.
const REBUILT: [&str; 2] = ["span", "alarm"];

/// Whether a row has these values in this order, whatever stands between them.
fn holds(row: &[Value], values: &[Value]) -> bool {
    let mut rest = row.iter();
    values.iter().all(|value| rest.any(|kept| kept == value))
}

type Rows = Vec<Vec<Value>>;

/// Whether these are the same rows, with nothing known of columns that came since.
fn widened(before: &Rows, after: &Rows) -> bool {
    let same = |(before, after): (&Vec<Value>, &Vec<Value>)| {
        after.starts_with(before) && after[before.len()..].iter().all(|value| *value == Value::Null)
    };
    before.len() == after.len() && before.iter().zip(after).all(same)
}

fn readings() -> Vec<Reading> {
    let heater = |hundredths| Heater {
        actual: Some(CentiCelsius::from_hundredths(hundredths)),
        target: Some(CentiCelsius::from_hundredths(17_500)),
        duty_thousandths: None,
        fan_thousandths: None,
    };
    let reading = |second: i32| Reading {
        at: Timestamp::from_ms(1_770_000_000_000 + i64::from(second) * 1000),
        after_gap: second == 0,
        job: Job {
            state: JobState::Printing,
            name: Some("lantern.gcode".into()),
            fraction_millionths: Some(10_000 * second.unsigned_abs()),
            byte: None,
        },
        active_tool: Some(usize::from(second >= 10)),
        tools: vec![heater(20_000 - second), heater(19_000 + second)],
        bed: None,
    };
    (0..59).map(reading).collect()
}

/// A database of an older schema, as the program of that time left it.
fn old(path: &Path, schema: usize) {
    let db = Connection::open(path).unwrap();
    db.pragma_update(None, "page_size", PAGE_BYTES).unwrap();
    db.pragma_update(None, "journal_mode", "WAL").unwrap();
    db.pragma_update(None, "foreign_keys", true).unwrap();
    let with_rows = schema.min(ROWS.len());
    for migration in &MIGRATIONS[..with_rows] {
        db.execute_batch(migration).unwrap();
    }
    for statement in ROWS[..with_rows].iter().flat_map(|rows| rows.split(';')).filter(|text| !text.trim().is_empty()) {
        let body = format!("x'{}'", include_str!("../testdata/schema_3_minute.hex"));
        db.execute_batch(&statement.replace("?1", &body)).unwrap();
    }
    if schema == 1 {
        db.execute_batch("INSERT INTO poll_fault VALUES (1, 5000, 'connection refused')").unwrap();
        db.execute_batch(ROWS[1]).unwrap();
    }
    // Later ones brought the rows of before along, and added tables of their own.
    bring(&db, with_rows..schema).unwrap();
    if schema > 3 {
        let minutes = summary::summarize(&readings(), summary::Step::Minute);
        summary::write(&db, 1, summary::Step::Minute, readings()[0].at, &minutes).unwrap();
    }
    if schema > 4 {
        db.execute_batch("INSERT INTO learned VALUES (1, '0.1.0 3 unknown 4', 1770000070000, x'00')").unwrap();
    }
    if schema > 5 {
        db.execute_batch(ADVISED).unwrap();
    }
    if schema > 6 {
        db.execute_batch(CALLED).unwrap();
    }
    db.pragma_update(None, "user_version", i64::try_from(schema).unwrap()).unwrap();
}

/// Every row of each table, by its name.
fn rows(path: &Path) -> std::collections::BTreeMap<String, Rows> {
    let db = open_raw(path).unwrap();
    let of = |name: String| {
        let mut table = db.prepare(&format!("SELECT * FROM {name} ORDER BY 1, 2")).unwrap();
        let n_columns = table.column_count();
        let cells = |row: &rusqlite::Row<'_>| (0..n_columns).map(|idx| row.get(idx)).collect();
        let rows = table.query_map([], cells).unwrap().map(Result::unwrap).collect();
        (name, rows)
    };
    tables(&db).unwrap().into_iter().map(of).collect()
}

fn names(folder: &Path) -> Vec<String> {
    let mut names: Vec<_> =
        fs::read_dir(folder).unwrap().map(|entry| entry.unwrap().file_name().into_string().unwrap()).collect();
    names.sort();
    names
}

#[test]
fn every_older_database_keeps_all_of_its_rows_and_a_copy_beside_it() {
    for schema in 1..MIGRATIONS.len() {
        let folder = tempfile::tempdir().unwrap();
        let path = folder.path().join("bench.db");
        old(&path, schema);
        let before = rows(&path);
        assert!(before.iter().all(|(name, rows)| !rows.is_empty() || unreachable!("{schema}: {name} is empty")));
        let taken = folder.path().join(format!("bench.db.schema-{schema}"));
        fs::write(&taken, "an earlier one").unwrap();
        drop(Store::open(&path).unwrap());

        let after = rows(&path);
        for (name, rows) in before.iter().filter(|(name, _)| !MOVED.contains(&name.as_str())) {
            assert!(widened(rows, &after[name]), "schema {schema}: {name}: {:?}", after[name]);
        }
        for name in REBUILT {
            let (before, after) = (&before[name], &after[name]);
            let is_kept = |row: &Vec<Value>| after.iter().any(|kept| holds(kept, &row[1..]));
            assert!(before.len() == after.len() && before.iter().all(is_kept), "schema {schema}: {name}: {after:?}");
        }
        let (alarm, notice) = (&after["alarm"][0], &after["outbox"]);
        assert!(alarm.contains(&Value::Text("medium".to_owned())), "{alarm:?}");
        let n_called = ["alarm_change", "delivery", "heater_fact"].map(|name| after[name].len());
        assert_eq!(n_called, [usize::from(schema > 6); 3], "nothing is made up of before");
        assert_eq!(after["outcome"][0].last(), Some(&Value::Null), "nothing was taken back");
        // Whatever waited waits on: its key is its number of before, or the word that it had.
        let key = if schema > 3 { &before["outbox"][0][1] } else { &Value::Text("5".to_owned()) };
        let body = Value::Text("{}".to_owned());
        let wanted =
            [Value::Integer(5), key.clone(), Value::Integer(1_770_000_040_000), Value::Text("high".to_owned())];
        assert_eq!(notice[..], [[&wanted[..], &[body, Value::Null]].concat()]);
        // A print, a word, a part and a setting.
        assert_eq!(after["evidence"], [[Value::Integer(1), Value::Integer(4)]]);
        assert_eq!(after["learned"].len(), usize::from(schema > 4));
        let n_trial = ["suggestion", "trial", "trial_draw"].map(|name| after[name].len());
        assert_eq!(n_trial, [usize::from(schema > 5); 3]);
        assert_eq!(fs::read_to_string(&taken).unwrap(), "an earlier one");
        let copy = extended(&taken, "-2");
        assert_eq!((rows(&copy), version(&open_raw(&copy).unwrap()).unwrap()), (before, schema));
        crate::store::examine(&path, &crate::store::Halt::default()).unwrap();
        let gives_back: i64 =
            open_raw(&path).unwrap().pragma_query_value(None, "auto_vacuum", |row| row.get(0)).unwrap();
        assert_eq!(gives_back, 2, "incremental");

        let (reader, bench) = (Reader::open(&path).unwrap(), PrinterName::new("bench").unwrap());
        let entries: Vec<_> = reader.entries(&bench, None, None).unwrap().map(Result::unwrap).collect();
        let n = |is: fn(&Entry) -> bool| entries.iter().filter(|entry| is(entry)).count();
        let told: Vec<_> = reader.readings(&bench, None, None).unwrap().map(Result::unwrap).collect();
        assert_eq!(told, readings(), "schema {schema}");
        let counts = [
            n(|entry| matches!(entry, Entry::Reading(_))),
            n(|entry| matches!(entry, Entry::Settings(_))),
            n(|entry| matches!(entry, Entry::Part(_))),
            n(|entry| matches!(entry, Entry::Outcome(_))),
            n(|entry| matches!(entry, Entry::JobFile(_))),
        ];
        assert_eq!(counts, [59, 1, 1, 1, usize::from(schema > 2)], "schema {schema}");
        let prints = reader.prints(&PrintFilter::default()).unwrap();
        assert_eq!((prints.len(), prints[0].tool_changes, prints[0].outcomes.len()), (1, 1, 1));
        let spans = reader.spans(&SpanFilter::default()).unwrap();
        assert_eq!((spans.len(), spans[0].dose.map(DoseMinutes::get)), (1, Some(0.125)));
        let (mut hot, first) = (Vec::new(), ToolNumber::new(0).unwrap());
        reader.hot_times(&bench, first, |time| hot.push(time)).unwrap();
        assert!(matches!(
            hot[..],
            [
                HotTime { doing: HotDoing::Work, mean: None, max: None, .. },
                HotTime { doing: HotDoing::Wait { end: None, dose: Some(_), .. }, mean: Some(_), .. }
            ]
        ));
        let ended = reader.ended_prints(&bench).unwrap();
        assert_eq!((ended.len(), ended[0].fraction, ended[0].outcomes.len()), (1, None, 1));
    }
}

#[test]
fn a_database_that_can_not_be_copied_is_not_migrated_and_the_message_says_what_to_do() {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("bench.db");
    old(&path, 3);
    fs::write(extended(&path, ".schema-3"), "").unwrap();
    for n in 2..=COPIES_MAX {
        fs::write(extended(&path, &format!(".schema-3-{n}")), "").unwrap();
    }
    let before = rows(&path);
    let refused = Store::open(&path).unwrap_err();
    assert!(matches!(refused, StoreError::NotBackedUp { found: 3, .. }), "{refused}");
    let said = refused.to_string();
    assert!(said.contains("bench.db.schema-3") && said.contains("make room"), "{said}");
    assert_eq!((rows(&path), version(&open_raw(&path).unwrap()).unwrap()), (before, 3));
}

#[test]
fn a_migration_that_fails_leaves_the_database_as_it_was_and_no_copy() {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("bench.db");
    old(&path, 1);
    // A later step makes an index of this name.
    Connection::open(&path).unwrap().execute_batch("CREATE INDEX print_started ON print (name)").unwrap();
    let before = rows(&path);
    let refused = Store::open(&path).unwrap_err().to_string();
    assert!(refused.contains("print_started"), "{refused}");
    assert_eq!((rows(&path), version(&open_raw(&path).unwrap()).unwrap()), (before, 1));
    assert!(!names(folder.path()).iter().any(|name| name.contains("schema")), "{:?}", names(folder.path()));
}

#[test]
fn a_file_that_is_not_ours_is_refused_and_left_as_it_is() {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("other.db");
    let sql = |text: &str| Connection::open(&path).unwrap().execute_batch(text).unwrap();
    let makers: [(&str, &dyn Fn()); 5] = [
        ("another program's tables", &|| sql("CREATE TABLE song (name TEXT)")),
        ("another program's tables", &|| sql("CREATE TABLE song (name TEXT); PRAGMA user_version = 70")),
        ("not those of schema 3", &|| sql("CREATE TABLE print (page TEXT); PRAGMA user_version = 3")),
        ("no SQLite database", &|| {
            fs::write(&path, "a list of songs, which is no database at all\n".repeat(90)).unwrap();
        }),
        // An older database whose number is not true any more.
        ("not those of schema 2", &|| {
            old(&path, 3);
            sql("PRAGMA user_version = 2");
        }),
    ];
    for (said, make) in makers {
        make();
        let before = fs::read(&path).unwrap();
        for refused in [Store::open(&path).unwrap_err(), Reader::open(&path).unwrap_err()] {
            assert!(matches!(refused, StoreError::Foreign { .. }), "{refused}");
            assert!(refused.to_string().contains(said) && refused.to_string().contains("other.db"), "{refused}");
        }
        assert_eq!(fs::read(&path).unwrap(), before, "{said}");
        let n_empty =
            names(folder.path()).iter().filter(|name| name.ends_with("-wal") || name.ends_with("-shm")).count();
        assert_eq!(names(folder.path()).len(), 1 + n_empty, "{:?}", names(folder.path()));
        for name in names(folder.path()) {
            fs::remove_file(folder.path().join(name)).unwrap();
        }
    }
}

#[test]
fn a_newer_database_is_refused_with_both_numbers_and_a_new_one_gives_pages_back() {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("bench.db");
    drop(Store::open(&path).unwrap());
    let db = Connection::open(&path).unwrap();
    let gives_back: i64 = db.pragma_query_value(None, "auto_vacuum", |row| row.get(0)).unwrap();
    assert_eq!(gives_back, 2, "incremental");
    db.pragma_update(None, "user_version", 70).unwrap();
    drop(db);
    let ours = MIGRATIONS.len();
    for refused in [Store::open(&path).unwrap_err(), Reader::open(&path).unwrap_err()] {
        assert!(matches!(refused, StoreError::Version { found: 70, .. }), "{refused}");
        assert!(refused.to_string().contains("70") && refused.to_string().contains(&ours.to_string()), "{refused}");
    }
}
