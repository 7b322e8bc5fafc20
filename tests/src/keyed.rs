//! Our own server of the same device behind a key: the other implementation can't do these. It describes itself to
//! anyone and tells its values only to who shows the key. Owns no claim.

use crate::device::Live;
use serde_json::{Value, json};
use std::io::{self, BufRead, BufReader, Write};
use std::net::{TcpListener, TcpStream};
use std::sync::atomic::{AtomicBool, Ordering};
use std::sync::{Arc, Mutex};
use std::thread::{JoinHandle, spawn};
use std::time::Duration;

/// A client that says nothing for so long is let go.
const PATIENCE: Duration = Duration::from_secs(5);

/// The text that opens the device.
pub const KEY: &str = "sesame";

/// Where the key goes.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum KeyPlace {
    /// `Authorization: Bearer` (RFC 6750).
    Bearer,
    /// The header `X-Entry`.
    Header,
    /// The query's `entry`. This one has a document a property, and no document of all.
    Query,
}

/// A device behind a key; it goes when it is dropped.
#[derive(Debug)]
pub struct KeyedDevice {
    port: u16,
    live: Live,
    asked: Arc<Mutex<Vec<String>>>,
    is_over: Arc<AtomicBool>,
    thread: Option<JoinHandle<()>>,
}

impl KeyedDevice {
    /// A device whose first job has just begun, at `rate` times real time.
    #[must_use]
    pub fn start(place: KeyPlace, seed: u64, rate: f64) -> Self {
        let listener = TcpListener::bind("127.0.0.1:0").unwrap();
        let port = listener.local_addr().unwrap().port();
        let live = Live::start(seed, rate, |_| {});
        let (asked, is_over) = (Arc::<Mutex<Vec<String>>>::default(), Arc::new(AtomicBool::new(false)));
        let (told, log, over) = (live.shared(), Arc::clone(&asked), Arc::clone(&is_over));
        let thread = spawn(move || {
            for client in listener.incoming() {
                if over.load(Ordering::Relaxed) {
                    return;
                }
                // A client that breaks off is seen by what it makes of it.
                drop(client.and_then(|client| serve(&client, place, &told, &log)));
            }
        });
        Self { port, live, asked, is_over, thread: Some(thread) }
    }

    /// Where it describes itself.
    #[must_use]
    pub fn thing(&self) -> String {
        format!("http://127.0.0.1:{}/thing", self.port)
    }

    /// Whether the property has had that value so far.
    #[must_use]
    pub fn has_told(&self, property: &str, value: &Value) -> bool {
        self.live.has_told(property, value)
    }

    /// The first line of each request so far.
    #[must_use]
    pub fn asked(&self) -> Vec<String> {
        self.asked.lock().unwrap().clone()
    }
}

impl Drop for KeyedDevice {
    fn drop(&mut self) {
        self.is_over.store(true, Ordering::Relaxed);
        // Wakes the thread, which waits for a client; if it has gone, there is nothing to wake.
        drop(TcpStream::connect(("127.0.0.1", self.port)));
        if let Some(thread) = self.thread.take() {
            drop(thread.join());
        }
    }
}

fn serve(client: &TcpStream, place: KeyPlace, told: &Mutex<Vec<Value>>, asked: &Mutex<Vec<String>>) -> io::Result<()> {
    client.set_read_timeout(Some(PATIENCE))?;
    let mut lines = BufReader::new(client.try_clone()?).lines();
    let first = lines.next().unwrap_or_else(|| Ok(String::new()))?;
    let mut headers = Vec::new();
    for line in lines {
        let line = line?;
        if line.is_empty() {
            break;
        }
        headers.push(line);
    }
    let target = first.split(' ').nth(1).unwrap_or_default().to_owned();
    asked.lock().unwrap().push(first);
    let (path, query) = target.split_once('?').unwrap_or((target.as_str(), ""));
    let values = told.lock().unwrap().last().unwrap().clone();
    let (status, body) = match path {
        "/thing" => ("200 OK", thing(place).to_string()),
        _ if !is_shown(place, &headers, query) => ("401 Unauthorized", String::new()),
        "/values" if place != KeyPlace::Query => ("200 OK", values.to_string()),
        path => match path.strip_prefix("/values/").and_then(|name| values.get(name)) {
            Some(value) => ("200 OK", value.to_string()),
            None => ("404 Not Found", String::new()),
        },
    };
    let length = body.len();
    let head = format!("HTTP/1.1 {status}\r\nConnection: close\r\nContent-Type: application/json\r\n");
    let mut client = client;
    write!(client, "{head}Content-Length: {length}\r\n\r\n{body}")
}

fn is_shown(place: KeyPlace, headers: &[String], query: &str) -> bool {
    let has = |name: &str, value: &str| {
        let pairs = headers.iter().filter_map(|header| header.split_once(": "));
        pairs.into_iter().any(|(key, shown)| key.eq_ignore_ascii_case(name) && shown == value)
    };
    match place {
        KeyPlace::Bearer => has("authorization", &format!("Bearer {KEY}")),
        KeyPlace::Header => has("x-entry", KEY),
        KeyPlace::Query => query.split('&').any(|pair| pair == format!("entry={KEY}")),
    }
}

fn thing(place: KeyPlace) -> Value {
    let scheme = match place {
        KeyPlace::Bearer => json!({ "scheme": "bearer", "format": "opaque" }),
        KeyPlace::Header => json!({ "scheme": "apikey", "in": "header", "name": "X-Entry" }),
        KeyPlace::Query => json!({ "scheme": "apikey", "name": "entry" }),
    };
    let property = |name: &str, schema: Value| {
        let mut property = schema;
        property["readOnly"] = json!(true);
        property["forms"] = json!([{ "href": format!("values/{name}") }]);
        (name.to_owned(), property)
    };
    let celsius = |name: &str, title: &str| {
        property(name, json!({ "title": title, "type": "number", "unit": "http://qudt.org/vocab/unit/DEG_C" }))
    };
    let words = ["idle", "heating", "printing", "paused", "complete", "cancelled", "failed"];
    let properties: serde_json::Map<String, Value> = [
        celsius("nozzle0", "Measured temperature of the left nozzle"),
        celsius("nozzle1", "Measured temperature of the right nozzle"),
        celsius("target0", "Target temperature of the left nozzle"),
        celsius("target1", "Target temperature of the right nozzle"),
        celsius("bed", "Measured temperature of the bed"),
        celsius("bedTarget", "Target temperature of the bed"),
        property("activeTool", json!({ "title": "Nozzle at work", "type": "integer", "minimum": 0, "maximum": 1 })),
        property("state", json!({ "title": "State of the job", "type": "string", "enum": words })),
        property("file", json!({ "title": "File of the job", "type": "string" })),
        property("progress", json!({ "title": "Progress of the job", "type": "number", "unit": "%" })),
    ]
    .into_iter()
    .collect();
    let mut thing = json!({
        "@context": "https://www.w3.org/2022/wot/td/v1.1", "title": "two nozzles behind a key",
        "securityDefinitions": { "entry": scheme }, "security": ["entry"], "properties": properties,
    });
    if place != KeyPlace::Query {
        thing["forms"] = json!([{ "href": "/values", "op": ["readallproperties"] }]);
    }
    thing
}
