//! What is secret is in no log, however much is logged.

use super::*;
use dwell_tests::peers::{Broker, Papers, are_left_out, mail_server, signed_receiver};
use std::process::Command;

#[test]
fn no_secret_is_in_a_log_of_everything_whether_messages_arrive_or_not() {
    if are_left_out() {
        return;
    }
    let folder = tempfile::tempdir().unwrap();
    let papers = Papers::made(folder.path());
    let broker = Broker::start(folder.path(), Some(&papers), Some(("bench", "hush-broker")));
    let (mail, mail_port) = mail_server("starttls", Some(&papers), Some(("bench", "hush-password")));
    let (receiver, port) = signed_receiver("bench", "hush-0123456789-hush");
    let channels = |port: u16, mail_port: u16, broker_port: u16| {
        format!(
            "[store]\npath = \"bench.db\"\n[notify]\nwebhook = [{{ url = \"http://127.0.0.1:{port}/hush-path?key=hush-query\", \
             headers = {{ X-Entry = \"hush-header\" }}, key_name = \"bench\", key = \"hush-0123456789-hush\" }}]\n\
             [[notify.mail]]\nserver = \"127.0.0.1\"\nport = {mail_port}\ntls = \"starttls\"\nuser = \"bench\"\n\
             password = \"hush-password\"\nfrom = \"bench@workshop.example\"\nto = \"ann@workshop.example\"\n\
             authority_file = \"authority.pem\"\n[[notify.mqtt]]\nserver = \"127.0.0.1\"\nport = {broker_port}\n\
             user = \"bench\"\npassword = \"hush-broker\"\nauthority_file = \"authority.pem\"\n{PRINTER}"
        )
    };
    // The second time nobody is there.
    for (text, arrives) in [(channels(port, mail_port, broker.port), true), (channels(1, 1, 1), false)] {
        let config = folder.path().join("dwellwatch.toml");
        std::fs::write(&config, &text).unwrap();
        let mut run = Command::new(PROGRAM);
        run.args(["alarms", "test", "--config"]).arg(&config).env("RUST_LOG", "trace");
        let output = run.output().unwrap();
        let said = String::from_utf8_lossy(&output.stdout).into_owned() + &String::from_utf8_lossy(&output.stderr);
        assert_eq!(output.status.success(), arrives, "{said}");
        // It did log everything: the HTTP client's own lines are there.
        assert!(said.contains("TRACE"), "{said}");
        // As bytes in base64, as SMTP sends them: the login's middle is the same whatever stands before.
        for secret in ["hush", "aHVzaC1wYXNzd29yZ", "h1c2gtcGFzc3dvcm"] {
            let line = said.lines().find(|line| line.contains(secret));
            assert_eq!(line, None, "{secret} is in a line of {arrives}");
        }
    }
    assert_eq!((mail.told(1).len(), receiver.told(1).len()), (1, 1));
}
