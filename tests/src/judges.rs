//! Judges of the API that are not ours: a validator of `OpenAPI` documents, a tester that makes requests of such a document,
//! and a parser of `OpenMetrics` text (Python packages). Owns that they are there and how they are asked; makes no claim.

use std::path::{Path, PathBuf};
use std::process::{Command, Output};

/// The packages, as `tests/run` installs them.
const PACKAGES: &str = "openapi-spec-validator==0.9.0 prometheus_client==0.26.0 schemathesis==4.32.5";

/// Whether the tests that need these are to be left out; says so if they are.
#[must_use]
pub fn are_left_out() -> bool {
    let quick = std::env::var("DWELLWATCH_TESTS").is_ok_and(|tests| tests == "quick");
    if quick {
        #[expect(clippy::print_stdout, reason = "whoever runs the tests should know what was left out")]
        {
            println!("left out: DWELLWATCH_TESTS=quick has no judges of the API");
        }
    }
    quick
}

/// Runs a script with the judges at hand, in a folder.
#[must_use]
pub fn python(folder: &Path, arguments: &[&str]) -> Output {
    let python = tools().join("python");
    let has =
        |code: &str| Command::new(&python).args(["-c", code]).output().is_ok_and(|output| output.status.success());
    assert!(
        has("import openapi_spec_validator, prometheus_client, schemathesis"),
        "the judges of the API are missing; tests/run installs them, or, in the project's folder:\n    \
         python3 -m venv target/python && target/python/bin/pip install {PACKAGES}"
    );
    Command::new(&python).args(arguments).current_dir(folder).output().unwrap()
}

/// Runs the tester of documents in a folder, with the configuration that stands beside the tests.
#[must_use]
pub fn tester(folder: &Path, document: &str) -> Output {
    let settings = concat!(env!("CARGO_MANIFEST_DIR"), "/e2e/api/schemathesis.toml");
    let mut run = Command::new(tools().join("schemathesis"));
    run.args(["--no-color", "--config-file", settings, "run", document, "--phases", "examples,coverage,fuzzing"]);
    // A minute or so; the seed makes two runs alike, and is told with what they find.
    // One worker: with two, Python 3.11 stumbles over its own parser.
    run.args(["--max-examples", "15", "--workers", "1", "--seed", "7", "--request-timeout", "30"]);
    run.current_dir(folder).output().unwrap()
}

fn tools() -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("../target/python/bin")
}
