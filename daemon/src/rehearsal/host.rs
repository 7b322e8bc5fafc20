//! The simulated printer host on loopback: GET only, two shapes, faults on demand. Owns the sockets and the faults;
//! what is told is `live`'s and `shape`'s.

use super::live::LiveJob;
use super::shape::{HEARTHS_PATH, PANEL_HEAT_PATH, PANEL_TASK_PATH, SHEET_PATH, hearths, panel_heat, panel_task};
use crate::clock::Clock;
use crate::entry::{HotEnd, Reading};
use axum::Router;
use axum::body::{Body, Bytes};
use axum::extract::{Path, State};
use axum::http::{HeaderValue, StatusCode, header};
use axum::response::{IntoResponse, Response};
use axum::routing::get;
use dwell_analysis::time::Timestamp;
use futures_core::Stream;
use serde_json::Value;
use std::future::Future;
use std::net::SocketAddr;
use std::pin::Pin;
use std::sync::{Arc, Mutex, PoisonError};
use std::task::{Context, Poll};
use std::time::{Duration, UNIX_EPOCH};
use tokio::net::TcpListener;
use tokio::sync::watch;
use tokio::task::JoinHandle;
use tokio::time::{Sleep, sleep, timeout};

/// Connections get so long to finish when the host goes away.
const PARTING: Duration = Duration::from_millis(300);
/// Between two attempts to have the port back.
const REBIND: Duration = Duration::from_millis(50);
/// The first part of an answer that is cut off gets so long to leave the socket.
const CUT_AFTER: Duration = Duration::from_millis(50);
/// Size of an answer that is too long, bytes: twice a mebibyte.
const HUGE: usize = 2 * 1024 * 1024;

/// What the host's root announces (RFC 8288, RFC 6573): the one document that tells all.
const ANNOUNCED: &str = "</bench/hearths>; rel=\"item\"; type=\"application/json\"";

/// A way in which the host can fail.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Fault {
    /// Answers only after so long.
    Slow(Duration),
    /// Promises a whole body, sends half of it and closes.
    CutOff,
    /// Answers 200 with something that is not JSON.
    Garbage,
    /// Answers 500.
    ServerError,
    /// Answers 401.
    Unauthorized,
    /// Answers 404 for the panel's heaters alone.
    NoHeat,
    /// Answers with valid JSON of more than a mebibyte.
    Huge,
    /// Nobody listens: connections are refused until the fault is taken back.
    Gone,
    /// Names a tool that the printer does not have.
    ToolOutOfRange,
    /// Sends the client to another URL.
    Redirect(String),
}

/// A running host. Dropping it does not stop it; its `shutdown` future does.
#[derive(Debug)]
pub struct RehearsalHost {
    addr: SocketAddr,
    clock: Arc<Clock>,
    fault: watch::Sender<Option<Fault>>,
    task: JoinHandle<()>,
}

#[derive(Clone)]
struct Shared {
    live: Arc<Mutex<LiveJob>>,
    clock: Arc<Clock>,
    fault: watch::Receiver<Option<Fault>>,
    hot_end: HotEnd,
}

impl RehearsalHost {
    /// Serves `live` on `listener` until `shutdown` is done; simulated time begins now, at `origin`.
    ///
    /// # Errors
    /// When the listener has no address.
    pub fn start(
        listener: TcpListener,
        live: LiveJob,
        rate: f64,
        origin: Timestamp,
        shutdown: impl Future<Output = ()> + Send + 'static,
    ) -> std::io::Result<Self> {
        let addr = listener.local_addr()?;
        let clock = Arc::new(Clock::rehearsal(origin, rate));
        let (fault, seen) = watch::channel(None);
        let hot_end = live.hot_end();
        let shared = Shared { live: Arc::new(Mutex::new(live)), clock: Arc::clone(&clock), fault: seen, hot_end };
        // The first look sets the printer's own time to the clock's beginning.
        let _reading = shared.reading();
        let task = tokio::spawn(keep(listener, addr, shared, shutdown));
        Ok(Self { addr, clock, fault, task })
    }

    /// Fails in this way from the next request on; `None` is sound again.
    pub fn fault(&self, fault: Option<Fault>) {
        self.fault.send_replace(fault);
    }

    /// Where it listens.
    #[must_use]
    pub const fn addr(&self) -> SocketAddr {
        self.addr
    }

    /// Beginning of its URLs, without a slash at the end.
    #[must_use]
    pub fn base(&self) -> String {
        format!("http://{}", self.addr)
    }

    /// The simulated time that it runs on.
    #[must_use]
    pub fn clock(&self) -> &Arc<Clock> {
        &self.clock
    }

    /// Waits until it has shut down.
    ///
    /// # Errors
    /// When its task panicked.
    pub async fn stopped(self) -> Result<(), tokio::task::JoinError> {
        self.task.await
    }
}

/// Listens, goes away while the fault says so, and comes back on the same port.
async fn keep(listener: TcpListener, addr: SocketAddr, shared: Shared, shutdown: impl Future<Output = ()> + Send) {
    let mut listener = Some(listener);
    let mut seen = shared.fault.clone();
    tokio::pin!(shutdown);
    loop {
        if let Some(listening) = listener.take() {
            let (leave, left) = watch::channel(false);
            let server = tokio::spawn(serve(listening, shared.clone(), left));
            let ended = tokio::select! {
                () = &mut shutdown => true,
                gone = seen.wait_for(|fault| *fault == Some(Fault::Gone)) => gone.is_err(),
            };
            leave.send_replace(true);
            let aborter = server.abort_handle();
            // A connection that is still busy after the parting time is let go with its server.
            if timeout(PARTING, server).await.is_err() {
                aborter.abort();
            }
            if ended {
                return;
            }
        }
        tokio::select! {
            () = &mut shutdown => return,
            back = seen.wait_for(|fault| *fault != Some(Fault::Gone)) => if back.is_err() { return },
        }
        match TcpListener::bind(addr).await {
            Ok(bound) => listener = Some(bound),
            Err(_) => sleep(REBIND).await,
        }
    }
}

async fn serve(listener: TcpListener, shared: Shared, mut left: watch::Receiver<bool>) {
    let routes = Router::new()
        .route("/", get(async || ([(header::LINK, ANNOUNCED)], "A simulated printer host.\n")))
        .route(
            HEARTHS_PATH,
            get(async |State(shared): State<Shared>| {
                let body = hearths(&shared.reading(), shared.hot_end);
                shared.answer(body).await
            }),
        )
        .route(
            PANEL_HEAT_PATH,
            get(async |State(shared): State<Shared>| {
                if *shared.fault.borrow() == Some(Fault::NoHeat) {
                    return StatusCode::NOT_FOUND.into_response();
                }
                let body = panel_heat(&shared.reading(), shared.hot_end);
                shared.answer(body).await
            }),
        )
        .route(SHEET_PATH, get(async |State(shared): State<Shared>, Path(name): Path<String>| shared.sheet(&name)))
        .route(
            PANEL_TASK_PATH,
            get(async |State(shared): State<Shared>| {
                let body = panel_task(&shared.reading());
                shared.answer(body).await
            }),
        )
        .with_state(shared);
    let leave = async move {
        let _closed = left.wait_for(|left| *left).await;
    };
    if let Err(error) = axum::serve(listener, routes).with_graceful_shutdown(leave).await {
        tracing::warn!(%error, "the rehearsal's host stopped serving");
    }
}

impl Shared {
    fn reading(&self) -> Reading {
        let now = self.clock.now().at;
        // A panic elsewhere leaves the printer whole: each step ends before the lock is given back.
        let mut reading = self.live.lock().unwrap_or_else(PoisonError::into_inner).reading(now);
        if *self.fault.borrow() == Some(Fault::ToolOutOfRange) {
            reading.active_tool = Some(7);
        }
        reading
    }

    /// The running job's text, if it is asked for by its name.
    fn sheet(&self, name: &str) -> Response {
        let runs = self.reading().job.name.is_some_and(|running| *running == *name);
        let text = self.live.lock().unwrap_or_else(PoisonError::into_inner).text();
        if runs { text.to_string().into_response() } else { StatusCode::NOT_FOUND.into_response() }
    }

    /// The answer, dated on the simulated time: that is this host's clock.
    async fn answer(&self, body: Value) -> Response {
        let mut response = self.faulty(body).await;
        let at = u64::try_from(self.clock.now().at.as_ms()).unwrap_or(0);
        let date = httpdate::fmt_http_date(UNIX_EPOCH + Duration::from_millis(at));
        response.headers_mut().extend(HeaderValue::from_str(&date).ok().map(|date| (header::DATE, date)));
        response
    }

    async fn faulty(&self, body: Value) -> Response {
        let fault = self.fault.borrow().clone();
        let json = |text: String| ([(header::CONTENT_TYPE, "application/json")], text).into_response();
        let text = body.to_string();
        match fault {
            None | Some(Fault::Gone | Fault::ToolOutOfRange | Fault::NoHeat) => json(text),
            Some(Fault::Slow(wait)) => {
                sleep(wait).await;
                json(text)
            }
            Some(Fault::CutOff) => cut_off(&text),
            Some(Fault::Garbage) => json("the bench is <not> {speaking JSON".to_owned()),
            Some(Fault::ServerError) => (StatusCode::INTERNAL_SERVER_ERROR, "out of order").into_response(),
            Some(Fault::Unauthorized) => (StatusCode::UNAUTHORIZED, "who asks?").into_response(),
            Some(Fault::Huge) => json(format!("{{\"ballast\":\"{}\"}}", "x".repeat(HUGE))),
            Some(Fault::Redirect(to)) => (StatusCode::TEMPORARY_REDIRECT, [(header::LOCATION, to)]).into_response(),
        }
    }
}

fn cut_off(text: &str) -> Response {
    let half = Bytes::copy_from_slice(&text.as_bytes()[..text.len() / 2]);
    let body = Body::from_stream(Half { half: Some(half), wait: Box::pin(sleep(CUT_AFTER)) });
    let headers =
        [(header::CONTENT_TYPE, "application/json".to_owned()), (header::CONTENT_LENGTH, text.len().to_string())];
    (headers, body).into_response()
}

/// A body that breaks off: its half, a moment for it to leave, an error that closes the connection.
struct Half {
    half: Option<Bytes>,
    wait: Pin<Box<Sleep>>,
}

impl Stream for Half {
    type Item = std::io::Result<Bytes>;

    fn poll_next(mut self: Pin<&mut Self>, context: &mut Context<'_>) -> Poll<Option<Self::Item>> {
        if let Some(half) = self.half.take() {
            return Poll::Ready(Some(Ok(half)));
        }
        self.wait.as_mut().poll(context).map(|()| Some(Err(std::io::Error::other("cut off"))))
    }
}

#[cfg(test)]
#[expect(clippy::unwrap_used, reason = "a test may stop")]
mod tests {
    use super::*;
    use std::io::{Read, Write};
    use std::net::TcpStream;

    /// A GET by hand: the whole answer as bytes, or why there is none.
    async fn ask(addr: SocketAddr, path: &'static str) -> std::io::Result<String> {
        let get = move || {
            let mut stream = TcpStream::connect_timeout(&addr, Duration::from_secs(2))?;
            stream.set_read_timeout(Some(Duration::from_secs(5)))?;
            write!(stream, "GET {path} HTTP/1.1\r\nHost: bench\r\nConnection: close\r\n\r\n")?;
            let mut answer = Vec::new();
            stream.read_to_end(&mut answer)?;
            Ok(String::from_utf8_lossy(&answer).into_owned())
        };
        tokio::task::spawn_blocking(get).await.unwrap()
    }

    fn body(answer: &str) -> &str {
        answer.split_once("\r\n\r\n").unwrap().1
    }

    async fn started() -> (RehearsalHost, tokio::sync::oneshot::Sender<()>) {
        let (stop, stopped) = tokio::sync::oneshot::channel::<()>();
        let listener = TcpListener::bind("127.0.0.1:0").await.unwrap();
        let live = LiveJob::new(1, HotEnd::Separate);
        let shutdown = async move {
            let _asked = stopped.await;
        };
        (RehearsalHost::start(listener, live, 20.0, Timestamp::from_ms(0), shutdown).unwrap(), stop)
    }

    #[tokio::test]
    async fn every_fault_is_what_it_says_and_ends_when_taken_back() {
        let (host, stop) = started().await;
        let faulty = async |fault| {
            host.fault(Some(fault));
            ask(host.addr(), HEARTHS_PATH).await
        };
        assert!(faulty(Fault::ServerError).await.unwrap().starts_with("HTTP/1.1 500"));
        assert!(faulty(Fault::Unauthorized).await.unwrap().starts_with("HTTP/1.1 401"));
        let garbage = faulty(Fault::Garbage).await.unwrap();
        assert!(garbage.starts_with("HTTP/1.1 200") && serde_json::from_str::<Value>(body(&garbage)).is_err());
        let cut = faulty(Fault::CutOff).await.unwrap();
        let promised: usize =
            cut.lines().find_map(|line| line.strip_prefix("content-length: ")).unwrap().trim().parse().unwrap();
        assert!(!body(&cut).is_empty() && body(&cut).len() < promised, "{promised} promised: {cut}");
        assert!(body(&faulty(Fault::Huge).await.unwrap()).len() > 1024 * 1024);
        let moved = faulty(Fault::Redirect("http://elsewhere.invalid/".to_owned())).await.unwrap();
        assert!(moved.starts_with("HTTP/1.1 307") && moved.contains("location: http://elsewhere.invalid/"), "{moved}");
        host.fault(Some(Fault::ToolOutOfRange));
        let task: Value = serde_json::from_str(body(&ask(host.addr(), PANEL_TASK_PATH).await.unwrap())).unwrap();
        assert_eq!(task["tip"], 7);
        let asked = std::time::Instant::now();
        assert!(faulty(Fault::Slow(Duration::from_millis(400))).await.is_ok());
        assert!(asked.elapsed() >= Duration::from_millis(400));
        host.fault(None);
        let sound = ask(host.addr(), HEARTHS_PATH).await.unwrap();
        assert!(serde_json::from_str::<Value>(body(&sound)).unwrap()["warmth"][2]["seat"] == "plate", "{sound}");
        // Simulated time began in 1970, a moment ago.
        assert!(sound.contains("date: Thu, 01 Jan 1970 00:0"), "{sound}");
        stop.send(()).unwrap();
        host.stopped().await.unwrap();
    }

    #[tokio::test]
    async fn gone_host_refuses_and_comes_back_on_the_same_port() {
        let (host, stop) = started().await;
        assert!(ask(host.addr(), PANEL_HEAT_PATH).await.is_ok());
        host.fault(Some(Fault::Gone));
        let deadline = std::time::Instant::now() + Duration::from_secs(5);
        while ask(host.addr(), PANEL_HEAT_PATH).await.is_ok() {
            assert!(std::time::Instant::now() < deadline, "still listens");
        }
        let refused = ask(host.addr(), PANEL_HEAT_PATH).await.unwrap_err();
        assert_eq!(refused.kind(), std::io::ErrorKind::ConnectionRefused);
        host.fault(None);
        while ask(host.addr(), PANEL_HEAT_PATH).await.is_err() {
            assert!(std::time::Instant::now() < deadline, "does not come back");
        }
        stop.send(()).unwrap();
        host.stopped().await.unwrap();
    }
}
