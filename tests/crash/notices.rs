//! The real daemon dies at each place of a notice's way: the notice arrives nevertheless, under the same key.

use dwell_tests::daemon::Daemon;
use dwell_tests::eventually;
use dwell_tests::simulated::Simulated;
use dwellwatch::points::Point;
use dwellwatch::rehearsal::{Fault, Shape};
use std::io::{Read, Write};
use std::net::TcpListener;
use std::sync::mpsc::{Receiver, Sender, channel};
use std::thread;
use std::time::Duration;

const PROGRAM: &str = env!("CARGO_BIN_EXE_dwellwatch-under-test");
/// An alarm and its notice take a poll or two and a second, on a busy machine longer.
const PATIENCE: Duration = Duration::from_secs(20);

/// The places that are on no other way.
pub(crate) const PLACES: [Point; 3] = [Point::NoticeRead, Point::NoticeSent, Point::NoticeDelivered];

/// A notice as it came: its key and its body.
type Came = (String, String);

/// Answers 200 to every notice and hands it on, until the test ends.
fn receive(listener: TcpListener, came: Sender<Came>) {
    thread::spawn(move || {
        for connection in listener.incoming() {
            let Ok(mut connection) = connection else { continue };
            let Some(notice) = notice(&mut connection) else { continue };
            // Told before it is answered: a daemon that has its answer has delivered.
            drop(came.send(notice));
            // The daemon may have died meanwhile.
            drop(write!(connection, "HTTP/1.1 200 OK\r\nContent-Length: 0\r\nConnection: close\r\n\r\n"));
        }
    });
}

fn notice(connection: &mut impl Read) -> Option<Came> {
    let mut asked = String::new();
    loop {
        if let Some((head, body)) = asked.split_once("\r\n\r\n") {
            let field = |name: &str| head.lines().find_map(|line| line.strip_prefix(name)).map(str::to_owned);
            let length: usize = field("content-length: ")?.parse().ok()?;
            if body.len() >= length {
                return Some((field("idempotency-key: ")?, body.to_owned()));
            }
        }
        let mut piece = [0; 4096];
        let n_read = connection.read(&mut piece).ok().filter(|n_read| *n_read > 0)?;
        asked.push_str(&String::from_utf8_lossy(&piece[..n_read]));
    }
}

/// One alarm is raised, the daemon dies at the place, and is started again: how often the notice came.
fn dies_at(point: Point) -> Vec<Came> {
    let host = Simulated::start(11, 1.0);
    let folder = tempfile::tempdir().unwrap();
    let listener = TcpListener::bind("127.0.0.1:0").unwrap();
    let notify = format!("[notify]\nwebhook = \"http://{}/alarms\"\n", listener.local_addr().unwrap());
    let (sender, receiver): (_, Receiver<Came>) = channel();
    receive(listener, sender);
    let mut daemon = Daemon::start(PROGRAM, folder.path(), &(notify + &host.printer(Shape::Hearths, "bench")));
    assert!(daemon.stop().success());
    daemon.restart_to_die(Some(&format!("{}:1", point.word())));
    host.fault(Some(Fault::Unauthorized));
    assert!(daemon.dies(PATIENCE), "{point:?} was not passed; the log: {}", daemon.log());
    daemon.restart();
    let delivered = || {
        let db = rusqlite::Connection::open(daemon.db()).unwrap();
        let sql = "SELECT count(*) = 1 AND count(settled_ms) = 1 FROM outbox";
        db.query_row(sql, [], |row| row.get::<_, bool>(0)).unwrap()
    };
    assert!(eventually(PATIENCE, delivered), "{point:?}: {}", daemon.log());
    let alarms = daemon.record().alarms(None, None).unwrap();
    assert!(alarms.len() == 1, "{point:?}: raised once: {alarms:?}");
    assert!(daemon.stop().success());
    receiver.try_iter().collect()
}

#[test]
fn a_notice_arrives_wherever_on_its_way_the_daemon_dies_and_twice_only_under_one_key() {
    thread::scope(|scope| {
        for (point, n_times) in PLACES.into_iter().zip([1, 2, 1]) {
            scope.spawn(move || {
                let came = dies_at(point);
                assert_eq!(came.len(), n_times, "{point:?}: {came:?}");
                assert!(came.iter().all(|notice| *notice == came[0] && notice.1.contains("host_refuses")), "{came:?}");
            });
        }
    });
}
