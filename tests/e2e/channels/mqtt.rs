//! A broker that is not ours, by both versions of the protocol.

use super::*;
use dwell_tests::daemon::Daemon;
use dwell_tests::eventually;
use dwell_tests::peers::{Broker, Papers, are_left_out};
use dwellwatch::entry::{HotEnd, PrinterName};
use dwellwatch::notify::Sender;
use serde_json::{Value, json};

fn said(port: u16, version: &str, rest: &str) -> String {
    format!("[[notify.mqtt]]\nserver = \"127.0.0.1\"\nport = {port}\nversion = \"{version}\"\n{rest}")
}

const PLAIN: &str = "tls = false\n";

fn state(broker: &Broker, topic: &str) -> Option<Value> {
    broker.retained(topic).map(|told| told["state"].clone())
}

fn becomes(broker: &Broker, topic: &str, wanted: &str) {
    let found = || state(broker, topic) == Some(json!(wanted));
    assert!(eventually(PATIENCE, found), "{topic} is {:?}, not {wanted}", broker.retained(topic));
}

#[tokio::test(flavor = "multi_thread")]
async fn messages_are_published_once_acknowledged_and_what_stands_is_retained() {
    if are_left_out() {
        return;
    }
    for version in ["3.1.1", "5"] {
        let bench = Bench::new();
        let gull = PrinterName::new("gull/1 #2").unwrap();
        bench.store.ensure_printer(&gull, HotEnd::Separate, 2).unwrap();
        let broker = Broker::start(bench.path(), None, None);
        let subscriber = broker.subscriber("dwellwatch/notice");
        let mut sender = Sender::new(&bench.channel(&said(broker.port, version, PLAIN)), &bench.store).unwrap();
        becomes(&broker, "dwellwatch/daemon", "watching");
        for topic in ["record", "gull%2F1 %232/T0", "gull%2F1 %232/T1", "gull%2F1 %232/printer"] {
            becomes(&broker, &format!("dwellwatch/{topic}/alarms"), "normal");
        }
        sender.send(&bench.alarm("one").await, &with_links()).await.unwrap();
        let published = || subscriber.lines().iter().any(|line| line.contains("\"key\":\"one\""));
        assert!(eventually(PATIENCE, published), "{version}: {:?}", subscriber.lines());
        becomes(&broker, "dwellwatch/record/alarms", "unacknowledged");
        let told = broker.retained("dwellwatch/record/alarms").unwrap();
        assert_eq!((&told["priority"], &told["alarms"][0]["rule"]), (&json!("high"), &json!("record_full")));
        bench.return_from(0.0).await;
        becomes(&broker, "dwellwatch/record/alarms", "normal");
        sender.close().await;
        becomes(&broker, "dwellwatch/daemon", "stopped");
        // Messages are of the moment: nothing of them is retained.
        assert_eq!(broker.retained("dwellwatch/notice"), None);
        assert_eq!(subscriber.lines().len(), 1);
    }
}

#[tokio::test(flavor = "multi_thread")]
async fn a_broker_that_is_away_gets_the_message_and_what_stands_when_it_is_back() {
    if are_left_out() {
        return;
    }
    for version in ["3.1.1", "5"] {
        let bench = Bench::new();
        let mut broker = Broker::start(bench.path(), None, None);
        let mut sender = Sender::new(&bench.channel(&said(broker.port, version, PLAIN)), &bench.store).unwrap();
        becomes(&broker, "dwellwatch/record/alarms", "normal");
        broker.stop();
        let message = bench.alarm("one").await;
        let fault = sender.send(&message, &SendContext::default()).await.unwrap_err();
        assert!(fault.cause.contains("onnection"), "{version}: {fault}");
        broker.restart();
        let subscriber = broker.subscriber("dwellwatch/#");
        becomes(&broker, "dwellwatch/record/alarms", "unacknowledged");
        sender.send(&message, &SendContext::default()).await.unwrap();
        let published = || subscriber.lines().iter().any(|line| line.starts_with("dwellwatch/notice "));
        assert!(eventually(PATIENCE, published), "{version}: {:?}", subscriber.lines());
        sender.close().await;
    }
}

#[tokio::test(flavor = "multi_thread")]
async fn tls_and_a_login_are_spoken_and_a_wrong_password_is_told_without_it() {
    if are_left_out() {
        return;
    }
    let bench = Bench::new();
    let papers = Papers::made(bench.path());
    let broker = Broker::start(bench.path(), Some(&papers), Some(("bench", "hush-broker")));
    for version in ["3.1.1", "5"] {
        let login = "user = \"bench\"\npassword = \"hush-broker\"\nauthority_file = \"authority.pem\"\n";
        let mut sender = Sender::new(&bench.channel(&said(broker.port, version, login)), &bench.store).unwrap();
        sender.send(&trial("one"), &SendContext::default()).await.unwrap();
        sender.close().await;
        for (wrong, why) in [
            (login.replace("hush-broker", "hush-other"), "onnection"),
            (login.replace("authority_file = \"authority.pem\"\n", ""), "ertificate"),
        ] {
            let mut sender = Sender::new(&bench.channel(&said(broker.port, version, &wrong)), &bench.store).unwrap();
            let fault = sender.send(&trial("one"), &SendContext::default()).await.unwrap_err();
            assert!(fault.cause.contains(why) && !fault.cause.contains("hush"), "{version}: {fault}");
        }
    }
}

#[test]
fn a_daemon_that_is_killed_is_told_of_by_the_broker_and_a_test_beside_it_says_nothing_of_it() {
    if are_left_out() {
        return;
    }
    let folder = tempfile::tempdir().unwrap();
    let broker = Broker::start(folder.path(), None, None);
    let subscriber = broker.subscriber("dwellwatch/notice");
    let mut daemon = Daemon::start(PROGRAM, folder.path(), &(said(broker.port, "5", PLAIN) + PRINTER));
    becomes(&broker, "dwellwatch/daemon", "watching");
    let mut tried = std::process::Command::new(PROGRAM);
    tried.args(["alarms", "test", "--config"]).arg(folder.path().join("dwellwatch.toml"));
    assert!(tried.status().unwrap().success());
    let published = || subscriber.lines().iter().any(|line| line.contains("\"kind\":\"test\""));
    assert!(eventually(PATIENCE, published), "{:?}", subscriber.lines());
    assert_eq!(state(&broker, "dwellwatch/daemon"), Some(json!("watching")));
    daemon.kill();
    becomes(&broker, "dwellwatch/daemon", "gone");
    daemon.restart();
    becomes(&broker, "dwellwatch/daemon", "watching");
    assert!(daemon.stop().success());
    becomes(&broker, "dwellwatch/daemon", "stopped");
}
