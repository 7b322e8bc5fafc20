//! From a committed notice to people: nothing is lost, nothing comes twice but under one key, each channel has its order,
//! and whatever comes, there are few messages. Long stories run on a time of their own; what needs a socket runs on the
//! real clock.
#![expect(clippy::unwrap_used, clippy::print_stdout, reason = "a test may stop, and says what it measured")]

#[path = "outbox/long.rs"]
mod long;
#[path = "outbox/taken_back.rs"]
mod taken_back;

use dwell_tests::daemon::Daemon;
use dwell_tests::eventually;
use dwell_tests::receiver::{Answer, Came, Receiver};
use dwell_tests::simulated::Simulated;
use dwellwatch::rehearsal::{Fault, Shape};
use std::collections::BTreeSet;
use std::process::Command;
use std::time::Duration;

const PROGRAM: &str = env!("CARGO_BIN_EXE_dwellwatch-under-test");
const PATIENCE: Duration = Duration::from_mins(1);
/// A host that refuses is asked again after a minute.
const LONG: Duration = Duration::from_secs(150);

fn start(host: &Simulated, receiver: &Receiver) -> (tempfile::TempDir, Daemon) {
    let folder = tempfile::tempdir().unwrap();
    let notify = format!("[notify]\nwebhook = \"{}\"\n", receiver.url());
    let daemon = Daemon::start(PROGRAM, folder.path(), &(notify + &host.printer(Shape::Hearths, "bench")));
    (folder, daemon)
}

/// Tries of one message: the same key, and the same to the last byte.
fn all_the_same(came: &[Came]) {
    let first = &came[0];
    assert!(came.iter().all(|came| came.message.key == first.message.key && came.text == first.text), "{came:?}");
}

#[test]
fn a_message_is_tried_until_it_is_taken_the_same_at_each_try_and_no_sooner_than_the_receiver_asks() {
    let host = Simulated::start(11, 1.0);
    let receiver = Receiver::answering([Answer::Fails(503), Answer::Busy(6), Answer::Hangs]);
    let (_folder, mut daemon) = start(&host, &receiver);
    host.fault(Some(Fault::Unauthorized));
    let taken = || receiver.count("host_refuses raised") == 1;
    assert!(eventually(PATIENCE, taken), "{:?}; {}", receiver.came(), daemon.log());
    // The host's silence is an alarm of its own, and may be told by now.
    let mine = |came: &Came| came.message.key.ends_with("-raised") && came.text.contains("host_refuses");
    let came: Vec<_> = receiver.came().into_iter().filter(mine).collect();
    all_the_same(&came);
    let answers: Vec<_> = came.iter().map(|came| came.answer).collect();
    assert_eq!(answers, [Answer::Fails(503), Answer::Busy(6), Answer::Hangs, Answer::Taken]);
    let waited: Vec<_> = came.windows(2).map(|pair| pair[1].at - pair[0].at).collect();
    // Its own pauses are a second and two; a machine that is busy makes them longer, and none shorter.
    assert!(waited[0] >= Duration::from_secs(1), "{waited:?}");
    assert!(waited[1] >= Duration::from_secs(6), "a receiver that asked for six seconds was asked after {waited:?}");
    assert!(waited[2] >= Duration::from_secs(10), "{waited:?}");
    host.fault(None);
    assert!(eventually(LONG, || receiver.count("host_refuses returned") == 1), "{:?}", receiver.came());
    assert!(daemon.stop().success());
}

#[test]
fn a_receiver_that_is_away_over_a_kill_gets_everything_in_order_and_once() {
    let host = Simulated::start(11, 1.0);
    let receiver = Receiver::answering([Answer::Fails(500); 1000]);
    let (_folder, mut daemon) = start(&host, &receiver);
    host.fault(Some(Fault::Unauthorized));
    assert!(eventually(PATIENCE, || receiver.came().len() >= 2), "{}", daemon.log());
    host.fault(None);
    let returned = || daemon.record().alarms(None, None).unwrap().iter().any(|alarm| alarm.returned.is_some());
    assert!(eventually(LONG, returned), "{}", daemon.log());
    daemon.kill();
    daemon.restart();
    receiver.answer([]);
    let arrived = || receiver.count("host_refuses returned") > 0;
    assert!(eventually(PATIENCE, arrived), "{:?}; {}", receiver.came(), daemon.log());
    let messages = receiver.received();
    let keys: BTreeSet<_> = messages.iter().map(|notice| &notice.key).collect();
    assert_eq!(keys.len(), messages.len(), "{messages:?}");
    let db = rusqlite::Connection::open(daemon.db()).unwrap();
    let mut statement = db.prepare("SELECT key FROM outbox ORDER BY id").unwrap();
    let expected: Vec<String> = statement.query_map([], |row| row.get(0)).unwrap().map(Result::unwrap).collect();
    assert_eq!(messages.iter().map(|notice| notice.key.clone()).collect::<Vec<_>>(), expected);
    assert_eq!(messages[0].what(), "host_refuses raised");
    let came = receiver.came();
    let n_first = came.iter().filter(|came| came.message.key == messages[0].key).count();
    all_the_same(&came[..n_first]);
    // The log had each at once, though the webhook failed for so long.
    let log = daemon.log();
    for way in ["raised", "returned"] {
        let lines = log.lines().filter(|line| line.contains("notify::send") && line.contains(&format!("-{way}\"")));
        let n_lines = lines.filter(|line| line.contains("host_refuses")).count();
        assert_eq!(n_lines, 1, "{way}: {log}");
    }
    assert!(daemon.stop().success());
}

#[test]
fn a_test_message_says_of_each_channel_whether_it_arrived() {
    let folder = tempfile::tempdir().unwrap();
    let receiver = Receiver::answering([Answer::Taken, Answer::Fails(403)]);
    let printer = Simulated::start(11, 1.0).printer(Shape::Hearths, "bench");
    let own = format!("[store]\npath = \"bench.db\"\n[notify]\nwebhook = \"{}\"\n", receiver.url());
    let file = folder.path().join("dwellwatch.toml");
    std::fs::write(&file, own + &printer).unwrap();
    let test = |more: &[&str]| {
        let run = Command::new(PROGRAM).args(["alarms", "test", "--config"]).arg(&file).args(more).output().unwrap();
        let said = String::from_utf8(run.stdout).unwrap() + &String::from_utf8(run.stderr).unwrap();
        (run.status.code(), said)
    };
    let (code, said) = test(&[]);
    assert_eq!(code, Some(0), "{said}");
    assert!(["log", "webhook"].iter().all(|name| said.contains(&format!("{name}  "))), "{said}");
    let (code, said) = test(&["--channel", "webhook"]);
    assert_eq!(code, Some(1), "{said}");
    assert!(said.contains("has not arrived: ") && said.contains("receiver answers 403"), "{said}");
    let (code, said) = test(&["--channel", "pigeon"]);
    assert!(code == Some(2) && said.contains("`webhook`"), "{said}");
    let came = receiver.came();
    assert_eq!(came.len(), 2);
    assert!(came.iter().all(|came| came.message.body["kind"] == "test"), "{came:?}");
    assert!(!folder.path().join("bench.db").exists(), "no record has to do with it");
}
