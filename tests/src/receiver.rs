//! A webhook's other end: takes every notice, and keeps it with its key. Owns its socket; judges nothing.

use std::io::{BufRead, BufReader, Read, Write};
use std::net::{SocketAddr, TcpListener, TcpStream};
use std::sync::{Arc, Mutex, PoisonError};
use std::time::Duration;

/// A notice as it came in.
#[derive(Clone, Debug)]
pub struct Received {
    /// Its `idempotency-key`.
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
}

/// Receives for as long as the test lives.
#[derive(Debug)]
pub struct Receiver {
    address: SocketAddr,
    received: Arc<Mutex<Vec<Received>>>,
}

impl Receiver {
    /// Listens on a port of its own.
    #[must_use]
    pub fn start() -> Self {
        let listener = TcpListener::bind("127.0.0.1:0").unwrap();
        let address = listener.local_addr().unwrap();
        let received = Arc::new(Mutex::new(Vec::new()));
        let kept = Arc::clone(&received);
        std::thread::spawn(move || {
            for connection in listener.incoming().map_while(Result::ok) {
                let notice = receive(connection);
                kept.lock().unwrap_or_else(PoisonError::into_inner).extend(notice);
            }
        });
        Self { address, received }
    }

    /// Where it listens.
    #[must_use]
    pub fn url(&self) -> String {
        format!("http://{}/alarms", self.address)
    }

    /// What has come so far, in order.
    #[must_use]
    pub fn received(&self) -> Vec<Received> {
        self.received.lock().unwrap_or_else(PoisonError::into_inner).clone()
    }

    /// How often that has come.
    #[must_use]
    pub fn count(&self, what: &str) -> usize {
        self.received().iter().filter(|received| received.what() == what).count()
    }
}

/// One request, answered once it is whole; a connection that gives none is nobody's notice.
fn receive(mut connection: TcpStream) -> Option<Received> {
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
    write!(connection, "HTTP/1.1 200 OK\r\nContent-Length: 0\r\nConnection: close\r\n\r\n").ok()?;
    Some(Received { key: key?, body: serde_json::from_slice(&body).ok()? })
}
