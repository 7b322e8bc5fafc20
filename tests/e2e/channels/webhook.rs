//! Webhooks: signatures, as somebody else's verifier finds them, and what a receiver may do wrong. That a message is
//! tried until it is taken is the outbox's.

use super::*;
use dwell_tests::peers::{are_left_out, signed_receiver};
use dwell_tests::receiver::{Answer, Receiver};
use dwellwatch::notify::Sender;
use serde_json::{Value, json};

const KEY: &str = "hush-0123456789-hush";

fn said(port: u16, rest: &str) -> String {
    format!("[[notify.webhook]]\nurl = \"http://127.0.0.1:{port}/alarms/in?key=hush-query\"\n{rest}")
}

#[tokio::test(flavor = "multi_thread")]
async fn a_signature_is_valid_for_somebody_else_s_verifier_and_covers_what_matters() {
    if are_left_out() {
        return;
    }
    let bench = Bench::new();
    let (receiver, port) = signed_receiver("bench", KEY);
    let signed = format!("key_name = \"bench\"\nkey = \"{KEY}\"\n");
    let mut sender = Sender::new(&bench.channel(&said(port, &signed)), &bench.store).unwrap();
    sender.send(&bench.alarm("one").await, &with_links()).await.unwrap();
    let told = &receiver.told(1)[0];
    let covered = json!(["@method", "@path", "content-type", "content-digest", "idempotency-key", "@signature-params"]);
    assert_eq!((&told["covered"], &told["headers"]["idempotency-key"]), (&covered, &json!("one")));
    let body: Value = serde_json::from_str(told["body"].as_str().unwrap()).unwrap();
    assert_eq!(
        (&body["kind"], &body["rule"], &body["alarm"]),
        (&json!("single"), &json!("record_full"), &json!("raised"))
    );
    assert!(body["links"]["acknowledge"].as_str().unwrap().starts_with("https://bench.example/alarms/link/"), "{body}");

    let other = signed.replace("hush-0", "hush-1");
    let mut forger = Sender::new(&bench.channel(&said(port, &other)), &bench.store).unwrap();
    let fault = forger.send(&trial("two"), &SendContext::default()).await.unwrap_err();
    assert!(fault.cause.contains("401") && receiver.told(2)[1]["refused"].is_string(), "{fault}");
}

#[tokio::test(flavor = "multi_thread")]
async fn a_template_gives_several_notices_a_shape_of_the_receiver_s_own() {
    if are_left_out() {
        return;
    }
    let bench = Bench::new();
    let (receiver, port) = signed_receiver("bench", KEY);
    std::fs::write(
        bench.path().join("line.txt"),
        "{{ n }}{% for notice in notices %} {{ notice.rule }}/{{ notice.alarm }}{% endfor %}",
    )
    .unwrap();
    let rest =
        format!("key_name = \"bench\"\nkey = \"{KEY}\"\ntemplate_file = \"line.txt\"\ncontent_type = \"text/plain\"\n");
    let mut sender = Sender::new(&bench.channel(&said(port, &rest)), &bench.store).unwrap();
    bench.raise(0.0).await;
    bench.return_from(0.0).await;
    sender.send(&bench.message(Kind::Group, "two").await, &SendContext::default()).await.unwrap();
    let told = &receiver.told(1)[0];
    assert_eq!(told["headers"]["content-type"], "text/plain");
    assert_eq!(told["body"], "2 record_full/raised record_full/returned");
}

#[tokio::test(flavor = "multi_thread")]
async fn a_receiver_s_failure_is_told_without_the_address_and_with_the_wait_that_it_asks_for() {
    let bench = Bench::new();
    let receiver = Receiver::answering([Answer::Busy(77), Answer::Fails(404), Answer::Fails(301), Answer::Taken]);
    let port = receiver.url().rsplit(':').next().unwrap().split('/').next().unwrap().parse().unwrap();
    let mut sender = Sender::new(&bench.channel(&said(port, "")), &bench.store).unwrap();
    let mut faults = Vec::new();
    for _ in 0..3 {
        faults.push(sender.send(&trial("one"), &SendContext::default()).await.unwrap_err());
    }
    assert_eq!(faults[0].wait, Some(Duration::from_secs(77)));
    assert!(faults[1].wait.is_none() && faults[1].cause.contains("404") && faults[2].cause.contains("301"));
    sender.send(&trial("one"), &SendContext::default()).await.unwrap();
    drop(receiver);
    let mut nobody = Sender::new(&bench.channel(&said(1, "")), &bench.store).unwrap();
    faults.push(nobody.send(&trial("one"), &SendContext::default()).await.unwrap_err());
    assert!(
        faults.iter().all(|fault| !fault.cause.contains("hush") && !fault.cause.contains("alarms/in")),
        "{faults:?}"
    );
    assert!(faults[3].cause.contains("no connection"), "{}", faults[3]);
}
