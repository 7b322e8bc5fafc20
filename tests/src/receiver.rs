//! A webhook's other end: takes every message, keeps it with its key, and answers as it is told to. Owns its socket;
//! judges nothing.

use std::collections::VecDeque;
use std::io::{BufRead, BufReader, Read, Write};
use std::net::{SocketAddr, TcpListener, TcpStream};
use std::sync::{Arc, Mutex, PoisonError};
use std::time::{Duration, Instant};

/// A receiver that hangs does so for this long: longer than anybody waits for it.
const HANGS_FOR: Duration = Duration::from_secs(30);

/// What a request is answered with.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Answer {
    /// 200.
    Taken,
    /// A status of failure.
    Fails(u16),
    /// 429, with a `Retry-After` of so many seconds.
    Busy(u32),
    /// None, though the request came in whole.
    Hangs,
}

/// A message, or a notice out of one, as it came in.
#[derive(Clone, Debug)]
pub struct Received {
    /// Its key.
    pub key: String,
    /// Its body.
    pub body: serde_json::Value,
}

impl Received {
    /// `idle_hot raised`, and the like.
    #[must_use]
    pub fn what(&self) -> String {
        format!("{} {}", self.body["rule"].as_str().unwrap(), self.body["alarm"].as_str().unwrap())
    }

    /// The notices of a message.
    fn notices(&self) -> Vec<Self> {
        let Some(notices) = self.body["notices"].as_array() else { return vec![self.clone()] };
        let of = |body: &serde_json::Value| Self { key: body["key"].as_str().unwrap().to_owned(), body: body.clone() };
        notices.iter().map(of).collect()
    }
}

/// A message as it came in, when, and how it was answered.
#[derive(Clone, Debug)]
pub struct Came {
    /// The message.
    pub message: Received,
    /// Its body as it was, byte for byte.
    pub text: String,
    /// When it was whole.
    pub at: Instant,
    /// How it was answered.
    pub answer: Answer,
}

/// Receives for as long as the test lives.
#[derive(Debug)]
pub struct Receiver {
    address: SocketAddr,
    came: Arc<Mutex<Vec<Came>>>,
    answers: Arc<Mutex<VecDeque<Answer>>>,
}

impl Receiver {
    /// Listens on a port of its own, and takes everything.
    #[must_use]
    pub fn start() -> Self {
        Self::answering([])
    }

    /// Listens on a port of its own, and answers the first requests so; the others are taken.
    #[must_use]
    pub fn answering(answers: impl IntoIterator<Item = Answer>) -> Self {
        Self::listening(answers, usize::MAX)
    }

    /// Listens on a port of its own, and takes what is no larger than that; the rest is answered with 413.
    #[must_use]
    pub fn taking_up_to(bytes: usize) -> Self {
        Self::listening([], bytes)
    }

    fn listening(answers: impl IntoIterator<Item = Answer>, bytes_max: usize) -> Self {
        let listener = TcpListener::bind("127.0.0.1:0").unwrap();
        let address = listener.local_addr().unwrap();
        let came = Arc::new(Mutex::new(Vec::new()));
        let answers = Arc::new(Mutex::new(answers.into_iter().collect()));
        let (kept, told) = (Arc::clone(&came), Arc::clone(&answers));
        std::thread::spawn(move || {
            for connection in listener.incoming().map_while(Result::ok) {
                let (kept, told) = (Arc::clone(&kept), Arc::clone(&told));
                // One that hangs must not keep the next one waiting.
                std::thread::spawn(move || receive(connection, &kept, &told, bytes_max));
            }
        });
        Self { address, came, answers }
    }

    /// Where it listens.
    #[must_use]
    pub fn url(&self) -> String {
        format!("http://{}/alarms", self.address)
    }

    /// From now on requests are answered so, one after the other, and then taken.
    pub fn answer(&self, answers: impl IntoIterator<Item = Answer>) {
        *self.answers.lock().unwrap_or_else(PoisonError::into_inner) = answers.into_iter().collect();
    }

    /// What has come so far, in order, whether or not it was taken.
    #[must_use]
    pub fn came(&self) -> Vec<Came> {
        self.came.lock().unwrap_or_else(PoisonError::into_inner).clone()
    }

    /// The notices that were taken so far, in order.
    #[must_use]
    pub fn received(&self) -> Vec<Received> {
        let taken = self.came().into_iter().filter(|came| came.answer == Answer::Taken);
        taken.flat_map(|came| came.message.notices()).collect()
    }

    /// How often that was taken.
    #[must_use]
    pub fn count(&self, what: &str) -> usize {
        self.received().iter().filter(|received| received.what() == what).count()
    }
}

/// One request, answered once it is whole; a connection that gives none is nobody's message.
fn receive(
    mut connection: TcpStream,
    came: &Mutex<Vec<Came>>,
    answers: &Mutex<VecDeque<Answer>>,
    bytes_max: usize,
) -> Option<()> {
    connection.set_read_timeout(Some(Duration::from_secs(5))).ok()?;
    let mut asked = BufReader::new(connection.try_clone().ok()?);
    let (mut key, mut length) = (None, 0);
    let mut line = String::new();
    while asked.read_line(&mut line).ok()? > 2 {
        if let Some((name, value)) = line.trim_end().split_once(": ") {
            match name.to_lowercase().as_str() {
                "idempotency-key" => key = Some(value.to_owned()),
                "content-length" => length = value.parse().ok()?,
                _ => {}
            }
        }
        line.clear();
    }
    let mut body = vec![0; length];
    asked.read_exact(&mut body).ok()?;
    let text = String::from_utf8(body).ok()?;
    let message = Received { key: key?, body: serde_json::from_str(&text).ok()? };
    let answer = answers.lock().unwrap_or_else(PoisonError::into_inner).pop_front();
    let answer = answer.unwrap_or(if length > bytes_max { Answer::Fails(413) } else { Answer::Taken });
    came.lock().unwrap_or_else(PoisonError::into_inner).push(Came { message, text, at: Instant::now(), answer });
    let head = match answer {
        Answer::Taken => "200 OK".to_owned(),
        Answer::Fails(status) => format!("{status} No"),
        Answer::Busy(seconds) => format!("429 Too Many Requests\r\nRetry-After: {seconds}"),
        Answer::Hangs => {
            std::thread::sleep(HANGS_FOR);
            return Some(());
        }
    };
    write!(connection, "HTTP/1.1 {head}\r\nContent-Length: 0\r\nConnection: close\r\n\r\n").ok()
}
