//! The other side of the bench: Python with scikit-learn and lifelines, told by files what to fit. Owns the files' form,
//! which `fit_again.py` reads; must not choose what is compared.

use dwell_analysis::risk::Fit;
use serde_json::Value;
use std::fs::File;
use std::io::{BufWriter, Write};
use std::path::{Path, PathBuf};
use std::process::Command;

const PACKAGES: [&str; 2] = ["scikit-learn==1.9.1", "lifelines==0.30.3"];

/// Python in `target/python`, as `tests/run` makes it, with what it needs installed.
pub(crate) struct Python(PathBuf);

impl Python {
    pub(crate) fn ready() -> Self {
        let folder = Path::new(env!("CARGO_MANIFEST_DIR")).join("../target/python");
        let python = Self(folder.join("bin/python"));
        if !python.has("import sklearn, lifelines") {
            println!("installing {} into target/python (pip, some 150 MB)", PACKAGES.join(" and "));
            run(Command::new("python3").args(["-m", "venv"]).arg(&folder));
            let pip = ["-m", "pip", "install", "--quiet", "--disable-pip-version-check"];
            run(Command::new(&python.0).args(pip).args(PACKAGES));
        }
        python
    }

    fn has(&self, code: &str) -> bool {
        Command::new(&self.0).args(["-c", code]).output().is_ok_and(|output| output.status.success())
    }

    /// What `fit_again.py` says of what stands in a folder: `what` is the name of its function. One thread, as ours.
    pub(crate) fn fit_again(&self, what: &str, folder: &Path) -> Value {
        let script = Path::new(env!("CARGO_MANIFEST_DIR")).join("bench/learn/fit_again.py");
        let one = ["OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS", "MKL_NUM_THREADS"].map(|name| (name, "1"));
        let output = Command::new(&self.0).arg(script).arg(what).arg(folder).envs(one).output().unwrap();
        let said = String::from_utf8_lossy(&output.stderr);
        assert!(output.status.success(), "fit_again.py {what} failed: {said}");
        serde_json::from_slice(&output.stdout).unwrap()
    }
}

fn run(command: &mut Command) {
    let status = command.status();
    assert!(
        status.as_ref().is_ok_and(std::process::ExitStatus::success),
        "{command:?} failed ({status:?}); python3 with venv and pip is needed (Debian: python3-venv)"
    );
}

/// Regressions: for each the numbers of rows and of columns, the rows, the outcomes and the weights, all as doubles with
/// the lowest byte first.
pub(crate) fn write_fits<'a>(folder: &Path, fits: impl Iterator<Item = &'a Fit>) {
    let mut file = BufWriter::new(File::create(folder.join("fits")).unwrap());
    for fit in fits {
        let shape = [fit.happened.len(), fit.width].map(|n| f64::from(u32::try_from(n).unwrap()));
        let happened = fit.happened.iter().map(|yes| f64::from(u8::from(*yes)));
        let all = shape.into_iter().chain(fit.rows.iter().copied()).chain(happened).chain(fit.weights.iter().copied());
        all.for_each(|number| file.write_all(&number.to_le_bytes()).unwrap());
    }
    file.flush().unwrap();
}

/// Lives that were followed from their beginning: age and whether it failed, a line each.
pub(crate) fn write_lives(folder: &Path, lives: &[(f64, bool)]) {
    let mut file = BufWriter::new(File::create(folder.join("lives")).unwrap());
    for (age, failed) in lives {
        writeln!(file, "{age} {}", u8::from(*failed)).unwrap();
    }
    file.flush().unwrap();
}
