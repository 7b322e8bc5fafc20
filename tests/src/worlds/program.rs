//! The program under judgement, asked as a person's script would: a journal replayed, and what `learn` prints of it.

use dwell_analysis::time::Timestamp;
use dwellwatch::stamp;
use serde_json::Value;
use std::fs;
use std::path::{Path, PathBuf};
use std::process::Command;
use tempfile::TempDir;

/// What the program says of a failure mode.
#[derive(Clone, Debug)]
pub struct ModeSaid {
    /// Which.
    pub mode: String,
    /// `learned`, `leaning` or `too_little`.
    pub state: String,
    /// Groups of the factors of rank 1, each once.
    pub first: Vec<String>,
}

/// One line of the forward-only predictions.
#[derive(Clone, Debug)]
pub struct Prediction {
    /// The print's begin.
    pub started: Timestamp,
    /// Whose.
    pub tool: usize,
    /// Of what.
    pub mode: String,
    /// If one was made.
    pub probability: Option<f64>,
    /// If it is known.
    pub happened: Option<bool>,
}

/// All that the program says of a journal.
#[derive(Clone, Debug)]
pub struct Said {
    /// By mode.
    pub modes: Vec<ModeSaid>,
    /// In the order they were printed.
    pub predictions: Vec<Prediction>,
}

/// The program to judge: the one that `DWELLWATCH_BIN` names, else the one that was built with the tests.
#[must_use]
pub fn program(built: &str) -> PathBuf {
    std::env::var_os("DWELLWATCH_BIN").map_or_else(|| PathBuf::from(built), PathBuf::from)
}

/// What this program says of this journal.
///
/// # Panics
/// If it fails, or says what the contract does not know.
#[must_use]
pub fn said_of(program: &Path, journal: &str) -> Said {
    let folder = TempDir::new().unwrap();
    fs::write(folder.path().join("journal.ndjson"), journal).unwrap();
    let run = |arguments: &[&str]| {
        let mut command = Command::new(program);
        let output = command.args(["--db", "bench.db"]).args(arguments).current_dir(folder.path()).output().unwrap();
        assert!(output.status.success(), "{arguments:?}: {}", String::from_utf8_lossy(&output.stderr));
        String::from_utf8(output.stdout).unwrap()
    };
    run(&["replay", "journal.ndjson"]);
    let document: Value = serde_json::from_str(&run(&["learn", "--json"])).unwrap();
    let modes = document["modes"].as_array().unwrap().iter().map(mode_said).collect();
    let text = run(&["learn", "--predictions"]);
    let predictions = text.lines().map(|line| prediction(&serde_json::from_str(line).unwrap())).collect();
    Said { modes, predictions }
}

fn mode_said(mode: &Value) -> ModeSaid {
    let text = |value: &Value| value.as_str().unwrap().to_owned();
    let factors = mode["factors"].as_array().unwrap().iter();
    let mut first: Vec<String> =
        factors.filter(|factor| factor["rank"] == 1).map(|factor| text(&factor["group"])).collect();
    first.sort();
    first.dedup();
    ModeSaid { mode: text(&mode["mode"]), state: text(&mode["state"]), first }
}

fn prediction(line: &Value) -> Prediction {
    let probability = line["probability"].as_f64();
    assert!(probability.is_none_or(|p| (0.0..=1.0).contains(&p)), "{line}");
    Prediction {
        started: stamp::parse(line["started"].as_str().unwrap()).unwrap(),
        tool: usize::try_from(line["tool"].as_u64().unwrap()).unwrap(),
        mode: line["mode"].as_str().unwrap().to_owned(),
        probability,
        happened: line["happened"].as_bool(),
    }
}
