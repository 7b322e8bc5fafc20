//! Devices that describe themselves as a W3C Thing: one served by an implementation that is not ours, so that nothing
//! agrees with us by being ours. Their values are a rehearsed printer's. Owns no claim.

use dwell_analysis::time::Timestamp;
use dwell_analysis::units::Seconds;
use dwellwatch::entry::{CentiCelsius, Heater, HotEnd, JobState, Reading};
use dwellwatch::rehearsal::LiveJob;
use serde_json::{Value, json};
use std::io::{BufRead, BufReader, Write};
use std::net::TcpListener;
use std::path::{Path, PathBuf};
use std::process::{Child, Command, Stdio};
use std::sync::atomic::{AtomicBool, Ordering};
use std::sync::{Arc, Mutex};
use std::thread::{JoinHandle, sleep, spawn};
use std::time::{Duration, Instant};

/// How often the values change.
const TICK: Duration = Duration::from_millis(50);

/// The packages that serve the device, as `tests/run` installs them.
const PACKAGES: &str = "@node-wot/core@0.9.2 @node-wot/binding-http@0.9.2";

/// How often a start is tried.
const ATTEMPTS: usize = 3;

/// What the device wants to be shown.
#[derive(Clone, Copy, Debug)]
pub enum Entry<'e> {
    /// Nothing.
    Open,
    /// Basic authentication, RFC 7617.
    Password {
        /// The user's name.
        user: &'e str,
        /// The password.
        password: &'e str,
    },
}

/// A device served by the npm packages of [`Device::start`]; it goes when it is dropped.
#[derive(Debug)]
pub struct Device {
    child: Child,
    port: u16,
    live: Live,
}

impl Device {
    /// A device whose first job has just begun, at `rate` times real time.
    #[must_use]
    pub fn start(entry: Entry<'_>, seed: u64, rate: f64) -> Self {
        // The device has to be told its port, which may be another's by the time it listens.
        let started = (0..ATTEMPTS).find_map(|_| Self::attempt(entry, seed, rate));
        started.unwrap_or_else(|| {
            unreachable!("the device ended before it served; run `node tests/src/device.js` by hand to see why")
        })
    }

    fn attempt(entry: Entry<'_>, seed: u64, rate: f64) -> Option<Self> {
        let packages = packages();
        let port = TcpListener::bind("127.0.0.1:0").unwrap().local_addr().unwrap().port();
        let mut node = Command::new("node");
        node.arg(concat!(env!("CARGO_MANIFEST_DIR"), "/src/device.js")).arg(port.to_string());
        if let Entry::Password { user, password } = entry {
            node.args([user, password]);
        }
        node.env("NODE_PATH", packages).stdin(Stdio::piped()).stdout(Stdio::piped()).stderr(Stdio::null());
        let mut child = node.spawn().unwrap();
        let mut stdin = child.stdin.take().unwrap();
        let live = Live::start(seed, rate, move |told| {
            // A device that has gone is seen by whoever asks it.
            drop(writeln!(stdin, "{told}"));
        });
        let serves = BufReader::new(child.stdout.take().unwrap()).lines().any(|line| line.unwrap() == "serving");
        // From here on a failed start still ends the process.
        let device = Self { child, port, live };
        serves.then_some(device)
    }

    /// Where it describes itself.
    #[must_use]
    pub fn thing(&self) -> String {
        format!("http://127.0.0.1:{}/two-nozzles", self.port)
    }

    /// Whether the property has had that value so far.
    #[must_use]
    pub fn has_told(&self, property: &str, value: &Value) -> bool {
        self.live.has_told(property, value)
    }
}

impl Drop for Device {
    fn drop(&mut self) {
        // It may have ended by itself.
        drop(self.child.kill());
        drop(self.child.wait());
    }
}

/// Whether the tests that need the packages are to be left out; says so if they are.
#[must_use]
pub fn are_left_out() -> bool {
    let quick = std::env::var("DWELLWATCH_TESTS").is_ok_and(|tests| tests == "quick");
    if quick {
        #[expect(clippy::print_stdout, reason = "whoever runs the tests should know what was left out")]
        {
            println!("left out: DWELLWATCH_TESTS=quick has no device of another make");
        }
    }
    quick
}

fn packages() -> PathBuf {
    let prefix = Path::new(env!("CARGO_MANIFEST_DIR")).join("../target/things");
    let modules = prefix.join("node_modules");
    assert!(
        modules.join("@node-wot/binding-http").is_dir(),
        "the device's packages are missing; tests/run installs them, or, in the project's folder:\n    \
         npm install --no-save --prefix target/things {PACKAGES}"
    );
    modules
}

/// A rehearsed printer whose values go on by themselves.
#[derive(Debug)]
pub(crate) struct Live {
    /// All values so far, the newest last.
    told: Arc<Mutex<Vec<Value>>>,
    is_over: Arc<AtomicBool>,
    thread: Option<JoinHandle<()>>,
}

impl Live {
    /// `tell` gets the values at once, and each time they change.
    pub(crate) fn start(seed: u64, rate: f64, mut tell: impl FnMut(&Value) + Send + 'static) -> Self {
        let began = Instant::now();
        let mut job = LiveJob::new(seed, HotEnd::Separate);
        let first = values(&job.reading(Timestamp::from_ms(0)));
        tell(&first);
        let (told, is_over) = (Arc::new(Mutex::new(vec![first])), Arc::new(AtomicBool::new(false)));
        let (shared, over) = (Arc::clone(&told), Arc::clone(&is_over));
        let thread = spawn(move || {
            while !over.load(Ordering::Relaxed) {
                sleep(TICK);
                let now = Timestamp::from_ms(0) + Seconds::new(began.elapsed().as_secs_f64() * rate);
                let new = values(&job.reading(now));
                // First here, so that nothing is served before it counts as told.
                shared.lock().unwrap().push(new.clone());
                tell(&new);
            }
        });
        Self { told, is_over, thread: Some(thread) }
    }

    pub(crate) fn has_told(&self, property: &str, value: &Value) -> bool {
        // Another language's 210 is our 210.0.
        let number = |value: &Value| value.as_f64().map(f64::to_bits);
        let told = self.told.lock().unwrap();
        let mut of_property = told.iter().filter_map(|values| values.get(property));
        of_property.any(|told| told == value || number(told).is_some_and(|told| Some(told) == number(value)))
    }

    pub(crate) fn shared(&self) -> Arc<Mutex<Vec<Value>>> {
        Arc::clone(&self.told)
    }
}

impl Drop for Live {
    fn drop(&mut self) {
        self.is_over.store(true, Ordering::Relaxed);
        if let Some(thread) = self.thread.take() {
            // A thread that stopped by a fault has said so.
            drop(thread.join());
        }
    }
}

/// A reading as the device's properties.
fn values(reading: &Reading) -> Value {
    let celsius = |of: Option<CentiCelsius>| of.map(|centi| centi.celsius().get());
    let tool = |idx: usize| reading.tools.get(idx);
    let actual = |heater: Option<&Heater>| celsius(heater.and_then(|heater| heater.actual));
    let target = |heater: Option<&Heater>| celsius(heater.and_then(|heater| heater.target));
    let state = match reading.job.state {
        JobState::None => "idle",
        JobState::Heating => "heating",
        JobState::Printing => "printing",
        JobState::Paused => "paused",
        JobState::Completed => "complete",
        JobState::Cancelled => "cancelled",
        JobState::Failed => "failed",
    };
    json!({
        "nozzle0": actual(tool(0)), "target0": target(tool(0)),
        "nozzle1": actual(tool(1)), "target1": target(tool(1)),
        "bed": actual(reading.bed.as_ref()), "bedTarget": target(reading.bed.as_ref()),
        "activeTool": reading.active_tool, "state": state, "file": reading.job.name.as_deref().unwrap_or(""),
        "progress": f64::from(reading.job.fraction_millionths.unwrap_or(0)) / 10_000.0,
    })
}
