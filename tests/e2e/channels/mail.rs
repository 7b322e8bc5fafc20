//! Mail, taken by a server that is not ours.

use super::*;
use dwell_tests::peers::{Papers, are_left_out, mail_server};
use dwellwatch::notify::Sender;
use serde_json::Value;

fn said(port: u16, rest: &str) -> String {
    format!("[[notify.mail]]\nserver = \"127.0.0.1\"\nport = {port}\nfrom = \"Bench <bench@workshop.example>\"\n{rest}")
}

const LOGIN: &str = "user = \"bench\"\npassword = \"hush-password\"\nauthority_file = \"authority.pem\"\n";

#[tokio::test(flavor = "multi_thread")]
async fn an_alarm_arrives_as_text_and_html_after_starttls_and_login() {
    if are_left_out() {
        return;
    }
    let bench = Bench::new();
    let papers = Papers::made(bench.path());
    let (server, port) = mail_server("starttls", Some(&papers), Some(("bench", "hush-password")));
    let to = "tls = \"starttls\"\nto = [\"ann@workshop.example\", \"ben@workshop.example\"]\n";
    let channel = bench.channel(&said(port, &format!("{to}{LOGIN}")));
    let mut sender = Sender::new(&channel, &bench.store).unwrap();
    let message = bench.alarm("word-record-record_full-1").await;
    for _ in 0..2 {
        sender.send(&message, &with_links()).await.unwrap();
    }
    let mails = server.told(2);
    let receivers: Vec<_> = mails.iter().map(|mail| mail["to"][0].as_str().unwrap()).collect();
    // The second try is of the same key, and whoever has the message is not sent it again.
    assert_eq!(receivers, ["ann@workshop.example", "ben@workshop.example"]);
    let mail = &mails[0];
    assert!(mail["is_tls"] == true && mail["is_signed_in"] == true, "{mail}");
    let header = |name: &str| mail["headers"][name].as_str().unwrap_or_default().to_owned();
    assert_eq!(mail["type"], "multipart/alternative");
    assert_eq!(header("auto-submitted"), "auto-generated");
    assert_eq!(header("date"), "Mon, 02 Mar 2026 08:00:00 +0000");
    assert!(header("message-id").ends_with("@workshop.example>"), "{}", header("message-id"));
    assert!(header("subject").contains("high priority"), "{}", header("subject"));
    assert_eq!(header("to"), "ann@workshop.example, ben@workshop.example");
    for kind in ["text/plain", "text/html"] {
        let body = mail["parts"][kind].as_str().unwrap();
        assert!(
            body.contains("no space left") && body.contains("https://bench.example/alarms/link/"),
            "{kind}: {body}"
        );
    }
    // Started anew, dwellwatch sends the same to the last byte.
    Sender::new(&channel, &bench.store).unwrap().send(&message, &with_links()).await.unwrap();
    let bytes: Vec<Value> = server.told(4).into_iter().map(|mail| mail["bytes"].clone()).collect();
    assert_eq!(bytes.len(), 4);
    assert!(bytes.iter().all(|other| *other == bytes[0]));
}

#[tokio::test(flavor = "multi_thread")]
async fn a_receiver_who_is_gone_keeps_no_alarm_from_the_others_and_one_who_is_busy_gets_it_later() {
    if are_left_out() {
        return;
    }
    let bench = Bench::new();
    let (server, port) = mail_server("none", None, None);
    let to = "tls = \"none\"\nto = [\"gone@workshop.example\", \"later@workshop.example\", \"ann@workshop.example\"]\n";
    let mut sender = Sender::new(&bench.channel(&said(port, to)), &bench.store).unwrap();
    let fault = sender.send(&trial("one"), &SendContext::default()).await.unwrap_err();
    assert!(fault.cause.contains("451"), "{fault}");
    sender.send(&trial("one"), &SendContext::default()).await.unwrap();
    let mails = server.told(2);
    let to: Vec<_> = mails.iter().map(|mail| (mail["to"][0].as_str().unwrap(), mail["is_tls"] == true)).collect();
    assert_eq!(to, [("ann@workshop.example", false), ("later@workshop.example", false)]);
    let alone = said(port, "tls = \"none\"\nto = \"gone@workshop.example\"\n");
    let fault =
        Sender::new(&bench.channel(&alone), &bench.store).unwrap().send(&trial("two"), &SendContext::default()).await;
    let fault = fault.unwrap_err();
    assert!(fault.cause.contains("refuses every receiver") && fault.cause.contains("550"), "{fault}");
}

#[tokio::test(flavor = "multi_thread")]
async fn a_wrong_password_an_unknown_authority_or_no_starttls_sends_nothing_and_says_why() {
    if are_left_out() {
        return;
    }
    let bench = Bench::new();
    let papers = Papers::made(bench.path());
    let (server, port) = mail_server("implicit", Some(&papers), Some(("bench", "other-password")));
    let (plain, plain_port) = mail_server("none", None, None);
    let to = "to = \"ann@workshop.example\"\n";
    let login = format!("{to}{LOGIN}");
    let unknown = login.replace("authority_file = \"authority.pem\"\n", "");
    for (port, rest, why) in [
        (port, login.clone(), "535"),
        (port, unknown, "certificate"),
        (plain_port, format!("tls = \"starttls\"\n{login}"), "STARTTLS"),
        (1, login, "onnection"),
    ] {
        let mut sender = Sender::new(&bench.channel(&said(port, &rest)), &bench.store).unwrap();
        let fault = sender.send(&trial("one"), &SendContext::default()).await.unwrap_err();
        assert!(fault.cause.contains(why) && !fault.cause.contains("hush"), "{why}: {fault}");
    }
    assert!(server.told(0).is_empty() && plain.told(0).is_empty());
}
