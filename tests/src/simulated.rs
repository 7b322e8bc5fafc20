//! A simulated printer host on a runtime of its own, so that plain tests can use it.

use dwell_analysis::time::Timestamp;
use dwell_analysis::units::Seconds;
use dwellwatch::entry::HotEnd;
use dwellwatch::rehearsal::shape::printer_toml;
use dwellwatch::rehearsal::{Fault, LiveJob, RehearsalHost, Shape};
use tokio::net::TcpListener;
use tokio::runtime::{Builder, Runtime};

/// The shortest interval between polls that a configuration may name, seconds.
pub const POLL_S: f64 = 0.2;

/// A simulated host; it goes when it is dropped.
#[derive(Debug)]
pub struct Simulated {
    host: RehearsalHost,
    _runtime: Runtime,
}

impl Simulated {
    /// A host whose first job has just begun, at `rate` times real time.
    #[must_use]
    pub fn start(seed: u64, rate: f64) -> Self {
        Self::at(LiveJob::new(seed, HotEnd::Separate), Timestamp::from_ms(0), rate)
    }

    /// A host whose job has come to a turn that has just begun, `after` simulated seconds or later.
    #[must_use]
    pub fn at_new_turn(seed: u64, after: i64, rate: f64) -> Self {
        let mut live = LiveJob::new(seed, HotEnd::Separate);
        let mut now = Timestamp::from_ms(0);
        let mut tool = live.reading(now).active_tool;
        for second in 1_i64.. {
            now = now + Seconds::new(1.0);
            let at_work = live.reading(now).active_tool;
            if second > after && at_work.is_some() && tool.is_some() && at_work != tool {
                break;
            }
            tool = at_work;
        }
        Self::at(live, now, rate)
    }

    fn at(live: LiveJob, origin: Timestamp, rate: f64) -> Self {
        let runtime = Builder::new_multi_thread().worker_threads(1).enable_all().build().unwrap();
        let host = runtime.block_on(async {
            let listener = TcpListener::bind("127.0.0.1:0").await.unwrap();
            RehearsalHost::start(listener, live, rate, origin, std::future::pending()).unwrap()
        });
        Self { host, _runtime: runtime }
    }

    /// Fails in this way from the next request on; `None` is sound again.
    pub fn fault(&self, fault: Option<Fault>) {
        self.host.fault(fault);
    }

    /// Beginning of its URLs, without a slash at the end.
    #[must_use]
    pub fn base(&self) -> String {
        self.host.base()
    }

    /// The section of the configuration for this host as a printer of that name.
    #[must_use]
    pub fn printer(&self, shape: Shape, name: &str) -> String {
        printer_toml(shape, HotEnd::Separate, &self.host.base(), name, POLL_S)
    }
}
