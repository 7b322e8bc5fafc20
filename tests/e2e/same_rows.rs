//! What `journal` writes, replayed into an empty database, gives the same rows in every table.
#![expect(clippy::unwrap_used, reason = "a test may stop")]

use rusqlite::Connection;
use rusqlite::types::Value;
use std::fs;
use std::path::Path;
use std::process::Command;

use dwellwatch::journal::write_line;
use dwellwatch::rehearsal::Story;

fn dwellwatch(arguments: &[&str]) {
    let program = env!("CARGO_BIN_EXE_dwellwatch-under-test");
    let output = Command::new(program).args(arguments).output().unwrap();
    assert!(output.status.success(), "{arguments:?}: {}", String::from_utf8_lossy(&output.stderr));
}

/// Every row of every table, tables by name, rows in order.
fn rows(file: &Path) -> Vec<(String, Vec<Vec<Value>>)> {
    let db = Connection::open(file).unwrap();
    let mut names = db.prepare("SELECT name FROM sqlite_schema WHERE type = 'table' ORDER BY name").unwrap();
    let names: Vec<String> = names.query_map([], |row| row.get(0)).unwrap().map(Result::unwrap).collect();
    let all = |name: &String| {
        let mut table = db.prepare(&format!("SELECT * FROM \"{name}\"")).unwrap();
        let n_columns = table.column_count();
        let cells = |row: &rusqlite::Row<'_>| (0..n_columns).map(|idx| row.get(idx)).collect::<Result<Vec<Value>, _>>();
        let mut found: Vec<Vec<Value>> = table.query_map([], cells).unwrap().map(Result::unwrap).collect();
        found.sort_by_key(|row| format!("{row:?}"));
        (name.clone(), found)
    };
    names.iter().map(all).collect()
}

#[test]
fn a_journal_replayed_into_an_empty_database_gives_equal_rows() {
    let folder = tempfile::tempdir().unwrap();
    let file = |name: &str| folder.path().join(name);
    let text = |name: &str| file(name).display().to_string();
    let story = Story::short(1);
    let printer = story.printer();
    let lines: Vec<String> = story.entries().iter().map(|entry| write_line(&printer, entry)).collect();
    fs::write(file("told.ndjson"), lines.join("\n")).unwrap();

    dwellwatch(&["replay", &text("told.ndjson"), "--db", &text("first.db")]);
    dwellwatch(&["journal", "--out", &text("kept.ndjson"), "--db", &text("first.db")]);
    dwellwatch(&["replay", &text("kept.ndjson"), "--db", &text("second.db")]);

    let (first, second) = (rows(&file("first.db")), rows(&file("second.db")));
    for table in ["print", "span", "visit", "tool_change", "sample_batch", "outcome", "settings_change"] {
        let n_rows = first.iter().find(|(name, _)| name == table).map_or(0, |(_, rows)| rows.len());
        assert!(n_rows > 0, "the story leaves `{table}` empty: this test would show nothing of it");
    }
    for ((name, mine), (_, theirs)) in first.iter().zip(&second) {
        assert_eq!(mine, theirs, "table {name}");
    }
    assert_eq!(first.len(), second.len());
}
