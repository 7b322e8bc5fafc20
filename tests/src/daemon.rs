//! The program under test as a process: started on a configuration, watched through its log and its page, stopped by
//! a signal or killed. Owns the process and ends it; knows nothing of what it should do.

use crate::{eventually, page};
use dwellwatch::entry::{PrinterName, Reading};
use dwellwatch::store::Reader;
use std::fs::{self, OpenOptions};
use std::path::{Path, PathBuf};
use std::process::{Child, Command, ExitStatus, Stdio};
use std::time::{Duration, Instant};

/// A start or an ordered end takes no longer, even on a busy machine.
const PATIENCE: Duration = Duration::from_secs(20);

/// A daemon's place: its configuration, its record and its log, which stay when the process goes.
#[derive(Debug)]
pub struct Daemon {
    program: PathBuf,
    folder: PathBuf,
    db: PathBuf,
    port: u16,
    child: Option<Child>,
}

impl Daemon {
    /// Writes the configuration and starts the program; `rest` is everything but the record and the page's address.
    #[must_use]
    pub fn start(program: &str, folder: &Path, rest: &str) -> Self {
        Self::start_on(program, folder, &folder.join("bench.db"), rest)
    }

    /// As [`Self::start`], with the record in a file elsewhere.
    #[must_use]
    pub fn start_on(program: &str, folder: &Path, db: &Path, rest: &str) -> Self {
        fs::create_dir_all(folder).unwrap();
        // Any free port: one that is chosen here could be another's by the time the program listens.
        let own = format!("[store]\npath = \"{}\"\n[web]\nlisten = \"127.0.0.1:0\"\n", db.display());
        fs::write(folder.join("dwellwatch.toml"), own + rest).unwrap();
        let mut daemon =
            Self { program: program.into(), folder: folder.to_owned(), db: db.to_owned(), port: 0, child: None };
        daemon.restart();
        daemon
    }

    /// Starts the program on the same configuration, and waits for its page.
    pub fn restart(&mut self) {
        self.restart_to_die(None);
    }

    /// [`Self::restart`], to die at a place that comes after its page stands: `name:nth`.
    pub fn restart_to_die(&mut self, at: Option<&str>) {
        assert!(self.child.is_none(), "it still runs");
        let logged = self.log().len();
        let log = OpenOptions::new().create(true).append(true).open(self.log_file()).unwrap();
        let mut run = Command::new(&self.program);
        run.arg("run").arg("--config").arg(self.folder.join("dwellwatch.toml"));
        run.env("NO_COLOR", "1").env_remove("RUST_LOG").stdin(Stdio::null()).stdout(Stdio::null()).stderr(log);
        run.envs(at.map(|at| ("DWELLWATCH_DIES_AT", at)));
        self.child = Some(run.spawn().unwrap());
        let listens = || dashboard(self.log().get(logged..).unwrap_or_default());
        assert!(eventually(PATIENCE, || listens().is_some()), "no dashboard; the log: {}", self.log());
        self.port = listens().unwrap();
        // A page, or that it asks for a sign-in.
        let answers = |page: &str| page.contains("200 OK") || page.contains("401 Unauthorized");
        assert!(eventually(PATIENCE, || answers(&self.page())), "no page; the log: {}", self.log());
    }

    /// Whether the process lives.
    #[must_use]
    pub fn lives(&mut self) -> bool {
        self.child.as_mut().is_some_and(|child| child.try_wait().unwrap().is_none())
    }

    /// Waits until it has died by itself; false if it has not within `patience`.
    #[must_use]
    pub fn dies(&mut self, patience: Duration) -> bool {
        let deadline = Instant::now() + patience;
        while self.lives() {
            if Instant::now() >= deadline {
                return false;
            }
            std::thread::sleep(Duration::from_millis(20));
        }
        self.child = None;
        true
    }

    /// Ends it at once and unasked, as a power cut would.
    pub fn kill(&mut self) {
        let mut child = self.child.take().unwrap();
        child.kill().unwrap();
        child.wait().unwrap();
    }

    /// Asks it to stop, and waits until it has.
    #[must_use]
    pub fn stop(&mut self) -> ExitStatus {
        let mut child = self.child.take().unwrap();
        let asked = Command::new("kill").args(["-TERM", &child.id().to_string()]).status().unwrap();
        assert!(asked.success());
        let mut ended = None;
        for _ in 0..PATIENCE.as_millis() / 20 {
            ended = child.try_wait().unwrap();
            if ended.is_some() {
                break;
            }
            std::thread::sleep(Duration::from_millis(20));
        }
        let Some(status) = ended else {
            child.kill().unwrap();
            child.wait().unwrap();
            unreachable!("it does not stop; the log: {}", self.log())
        };
        status
    }

    /// The port on loopback that its pages are at.
    #[must_use]
    pub fn port(&self) -> u16 {
        self.port
    }

    /// Its process.
    ///
    /// # Panics
    /// If it does not run.
    #[must_use]
    pub fn pid(&self) -> u32 {
        self.child.as_ref().unwrap().id()
    }

    /// The Now page, with its head; empty if it can't be had.
    #[must_use]
    pub fn page(&self) -> String {
        page::get(self.port, "/").unwrap_or_default()
    }

    /// A page of it; empty if it can't be had.
    #[must_use]
    pub fn page_at(&self, path: &str) -> String {
        page::get(self.port, path).unwrap_or_default()
    }

    /// Sends a form to it, and gives the whole answer.
    #[must_use]
    pub fn post(&self, path: &str, form: &str) -> String {
        page::post(self.port, path, form).unwrap()
    }

    /// What it has logged, over all its starts.
    #[must_use]
    pub fn log(&self) -> String {
        fs::read_to_string(self.log_file()).unwrap_or_default()
    }

    /// The record's file.
    #[must_use]
    pub fn db(&self) -> PathBuf {
        self.db.clone()
    }

    /// The record, for reading.
    #[must_use]
    pub fn record(&self) -> Reader {
        Reader::open(&self.db()).unwrap()
    }

    /// Every recorded reading of a printer; the newest minute is there only after a stop.
    #[must_use]
    pub fn readings(&self, printer: &str) -> Vec<Reading> {
        let name = PrinterName::new(printer).unwrap();
        self.record().readings(&name, None, None).unwrap().collect::<Result<_, _>>().unwrap()
    }

    fn log_file(&self) -> PathBuf {
        self.folder.join("log")
    }
}

impl Drop for Daemon {
    fn drop(&mut self) {
        if self.child.is_some() {
            self.kill();
        }
    }
}

/// The port of the dashboard that the program says it serves.
fn dashboard(log: &str) -> Option<u16> {
    let (_, after) = log.split_once("dashboard=http://127.0.0.1:")?;
    after.split_once('/')?.0.parse().ok()
}
