//! An engine that is not ours, which reads what is exported: the Python package that `tests/run` installs. Owns that it
//! is there, and what it is asked; no claim.

use serde_json::{Map, Value};
use std::collections::BTreeMap;
use std::path::{Path, PathBuf};
use std::process::Command;

/// The package, as `tests/run` installs it.
const PACKAGE: &str = "duckdb==2.0.1";

/// A table as the engine finds it.
#[derive(Debug)]
pub struct Found {
    /// The engine's type of each column.
    pub types: BTreeMap<String, String>,
    /// Every row, each value as text or null.
    pub rows: Vec<Map<String, Value>>,
}

/// Whether the tests that need the engine are to be left out; says so if they are.
#[must_use]
pub fn is_left_out() -> bool {
    let quick = std::env::var("DWELLWATCH_TESTS").is_ok_and(|tests| tests == "quick");
    if quick {
        #[expect(clippy::print_stdout, reason = "whoever runs the tests should know what was left out")]
        {
            println!("left out: DWELLWATCH_TESTS=quick has no engine that reads exports");
        }
    }
    quick
}

/// Every table of an export in `form`, `csv` or `parquet`.
#[must_use]
pub fn read(folder: &Path, form: &str) -> BTreeMap<String, Found> {
    let script = concat!(env!("CARGO_MANIFEST_DIR"), "/src/read_export.py");
    let output = Command::new(python()).arg(script).arg(folder).arg(form).output().unwrap();
    assert!(output.status.success(), "{}", String::from_utf8_lossy(&output.stderr));
    let lines = String::from_utf8(output.stdout).unwrap();
    lines.lines().map(table).collect()
}

fn table(line: &str) -> (String, Found) {
    let mut told: Value = serde_json::from_str(line).unwrap();
    let types = serde_json::from_value(told["types"].take()).unwrap();
    let rows = serde_json::from_value(told["rows"].take()).unwrap();
    (told["table"].as_str().unwrap().to_owned(), Found { types, rows })
}

fn python() -> PathBuf {
    let python = Path::new(env!("CARGO_MANIFEST_DIR")).join("../target/python/bin/python");
    let has =
        |code: &str| Command::new(&python).args(["-c", code]).output().is_ok_and(|output| output.status.success());
    assert!(
        has("import duckdb"),
        "the engine that reads exports is missing; tests/run installs it, or, in the project's folder:\n    \
         python3 -m venv target/python && target/python/bin/pip install {PACKAGE}"
    );
    python
}
