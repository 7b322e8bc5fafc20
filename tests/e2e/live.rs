//! The live feed over HTTP: fifty readers get the same, and one that does not read holds up nobody.
#![expect(clippy::unwrap_used, reason = "a test may stop")]

use dwell_tests::daemon::Daemon;
use dwell_tests::simulated::Simulated;
use dwellwatch::rehearsal::Shape;
use std::collections::{BTreeMap, HashMap};
use std::io::{BufRead, BufReader, Write};
use std::net::{Ipv4Addr, TcpStream};
use std::thread;
use std::time::Duration;

const PROGRAM: &str = env!("CARGO_BIN_EXE_dwellwatch-under-test");
const READERS: usize = 50;
/// So many states are looked at.
const STATES: usize = 4;
const PATIENCE: Duration = Duration::from_mins(1);
const EVENT_MAX: usize = 2048;

/// What a page holds by element, as of each name that the feed gave it.
type Seen = BTreeMap<String, HashMap<String, String>>;

fn connect(port: u16) -> TcpStream {
    let mut stream = TcpStream::connect((Ipv4Addr::LOCALHOST, port)).unwrap();
    stream.set_read_timeout(Some(PATIENCE)).unwrap();
    stream.write_all(b"GET /live HTTP/1.1\r\nHost: localhost\r\n\r\n").unwrap();
    stream
}

/// Reads until so many states are whole; panics if an event is too long.
fn read(port: u16) -> Seen {
    let (mut seen, mut held, mut bytes) = (Seen::new(), HashMap::new(), 0);
    let (mut kind, mut data, mut name) = (String::new(), Vec::new(), None);
    let mut begun: HashMap<String, String> = HashMap::new();
    for line in BufReader::new(connect(port)).lines() {
        let line = line.unwrap();
        bytes += line.len() + 1;
        if let Some(text) = line.strip_prefix("event: ") {
            text.clone_into(&mut kind);
        } else if let Some(text) = line.strip_prefix("data: ") {
            data.push(text.to_owned());
        } else if let Some(text) = line.strip_prefix("id: ") {
            name = Some(text.to_owned());
        } else if line.is_empty() && !data.is_empty() {
            assert!(bytes <= EVENT_MAX, "{bytes} bytes: {kind} {data:?}");
            let id = data.remove(0);
            let text = begun.remove(&id).unwrap_or_default() + &data.join("\n");
            if kind == "part" {
                begun.insert(id, text);
            } else {
                held.insert(id, text);
            }
            data.clear();
            if let Some(name) = name.take() {
                seen.insert(name, held.clone());
            }
            if seen.len() == STATES {
                break;
            }
        }
        if line.is_empty() {
            bytes = 0;
        }
    }
    seen
}

#[test]
fn fifty_readers_get_the_same_in_events_under_two_kilobytes_though_one_does_not_read() {
    let host = Simulated::at_new_turn(11, 900, 1.0);
    let folder = tempfile::tempdir().unwrap();
    let daemon = Daemon::start(PROGRAM, folder.path(), &host.printer(Shape::Panel, "bench"));
    let port = daemon.port();
    let idle = connect(port);
    let readers: Vec<_> = (0..READERS).map(|_| thread::spawn(move || read(port))).collect();
    let seen: Vec<Seen> = readers.into_iter().map(|reader| reader.join().unwrap()).collect();
    let mut all: HashMap<&String, &HashMap<String, String>> = HashMap::new();
    let mut n_shared = 0;
    for (name, held) in seen.iter().flatten() {
        let first = *all.entry(name).or_insert(held);
        n_shared += usize::from(!std::ptr::eq(first, held));
        // Elements that have gone may be held still; those of the state are the same.
        assert_eq!(first.get("now-words"), held.get("now-words"), "{name}");
        assert_eq!(first.get("now-as-of"), held.get("now-as-of"), "{name}");
    }
    assert!(seen.iter().all(|seen| seen.len() == STATES), "none falls behind");
    // Had each its own rendering, no two would have one of the same name.
    assert!(all.len() <= 4 * STATES && n_shared > READERS, "{} states, {n_shared} shared", all.len());
    drop(idle);
}
