//! Programs of the person's.

use super::*;
use dwellwatch::notify::{SendFault, Sender};
use serde_json::Value;
use std::fs;
use std::os::unix::fs::PermissionsExt;

fn program(bench: &Bench, name: &str, script: &str) {
    let path = bench.path().join(name);
    fs::write(&path, format!("#!/bin/sh\n{script}\n")).unwrap();
    fs::set_permissions(&path, fs::Permissions::from_mode(0o755)).unwrap();
}

async fn run(bench: &Bench, run: &str, message: &Message) -> Result<(), SendFault> {
    let said = format!("[[notify.command]]\nrun = {run}\ndeadline_s = 1\n");
    let mut sender = Sender::new(&bench.channel(&said), &bench.store).unwrap();
    sender.send(message, &SendContext::default()).await
}

#[tokio::test(flavor = "multi_thread")]
async fn a_program_gets_the_json_its_arguments_as_they_are_and_next_to_no_environment() {
    let bench = Bench::new();
    program(&bench, "tell.sh", "cat > \"$1\"\nenv > \"$2\"");
    let (json, env) = (bench.path().join("json $(x)"), bench.path().join("env"));
    let message = bench.alarm("one").await;
    run(&bench, &format!("[\"tell.sh\", {json:?}, {env:?}]"), &message).await.unwrap();
    let told: Value = serde_json::from_str(&fs::read_to_string(json).unwrap()).unwrap();
    assert_eq!((told["key"].as_str(), told["rule"].as_str()), (Some("one"), Some("record_full")));
    let names: Vec<String> =
        fs::read_to_string(env).unwrap().lines().map(|line| line.split('=').next().unwrap().to_owned()).collect();
    // The shell brings the last two itself.
    assert!(names.iter().all(|name| ["PATH", "LANG", "PWD", "_"].contains(&name.as_str())), "{names:?}");
    assert!(names.iter().any(|name| name == "PATH"));
}

#[tokio::test(flavor = "multi_thread")]
async fn a_program_that_fails_or_floods_or_does_not_read_is_told_of_by_its_end() {
    let bench = Bench::new();
    program(&bench, "fails.sh", "cat > /dev/null; exit 3");
    program(&bench, "floods.sh", "head -c 3000000 /dev/zero | tr '\\0' x; echo >&2 done");
    program(&bench, "deaf.sh", "exit 0");
    let fault = run(&bench, "[\"fails.sh\"]", &trial("one")).await.unwrap_err();
    assert!(fault.cause.contains("exit status: 3"), "{fault}");
    run(&bench, "[\"floods.sh\"]", &trial("one")).await.unwrap();
    run(&bench, "[\"deaf.sh\"]", &trial("one")).await.unwrap();
}

#[tokio::test(flavor = "multi_thread")]
async fn a_program_that_hangs_is_ended_with_all_that_it_started() {
    let bench = Bench::new();
    program(&bench, "hangs.sh", "sleep 600 & echo $! > \"$1\"; echo $$ >> \"$1\"; wait");
    let pids = bench.path().join("pids");
    let fault = run(&bench, &format!("[\"hangs.sh\", {pids:?}]"), &trial("one")).await.unwrap_err();
    assert!(fault.cause.contains("had not ended after 1 s"), "{fault}");
    let pids = fs::read_to_string(pids).unwrap();
    assert_eq!(pids.lines().count(), 2);
    // One that has ended may still be in the table until its parent, or the first process, has taken note.
    let runs = |pid: &str| {
        let stat = fs::read_to_string(format!("/proc/{pid}/stat")).unwrap_or_default();
        !stat.is_empty() && !stat.contains(") Z ")
    };
    assert!(dwell_tests::eventually(Duration::from_secs(5), || !pids.lines().any(runs)), "{pids}");
}
