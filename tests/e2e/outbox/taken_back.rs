//! Messages that are taken back and made anew: those that quiet hours hold back, for something louder, and those that are
//! too large for their receiver. On a time of their own.

use super::long::{at, channel, commit, everything, no_network, open, outbox_keys, printer, raise, runtime, turns};
use dwell_analysis::time::Timestamp;
use dwell_tests::receiver::{Answer, Receiver};
use dwellwatch::alarm::Priority;
use dwellwatch::config::Secret;
use dwellwatch::notify::{Channel, Courier, Kind, Message, Quiet, Route, SendContext, Sender, Turn, Way, WebhookPlan};
use dwellwatch::store::Notice;
use jiff::civil::time;
use jiff::tz::TimeZone;
use std::collections::BTreeMap;
use std::sync::Arc;

#[test]
fn a_message_that_could_not_go_before_quiet_hours_waits_for_their_end_and_what_is_louder_does_not_wait_behind_it() {
    let folder = tempfile::tempdir().unwrap();
    let db = folder.path().join("bench.db");
    let store = open(&db, 1);
    // It is 08:00: quiet is from 09:00 on.
    let quiet = Quiet { from: time(9, 0, 0, 0), to: time(17, 0, 0, 0), zone: TimeZone::UTC, passes: Priority::High };
    let night = channel("night", Route { quiet: Some(quiet), ..everything() });
    let mut courier = Courier::new(store.clone(), &night, &["night".to_owned()].into());
    let runtime = runtime();
    let minute = |minute: i32| at(f64::from(minute) * 60.0);
    let mut came: Vec<(i32, Message)> = Vec::new();
    let mut n_tries = 0;
    for now in 0..10 * 60 {
        match now {
            55 => commit(&store, printer(0), vec![raise(1, minute(now), Priority::Low)]),
            180 => commit(&store, printer(0), vec![raise(2, minute(now), Priority::High)]),
            240 => commit(&store, printer(0), vec![raise(3, minute(now), Priority::Low)]),
            _ => {}
        }
        let is_away = now < 70;
        runtime.block_on(turns(&mut courier, minute(now), |message| {
            if is_away {
                n_tries += 1;
                return no_network();
            }
            came.push((now, message.clone()));
            Ok(())
        }));
    }
    assert!((1..=5).contains(&n_tries), "{n_tries} tries in the five minutes before it is quiet");
    let keys = outbox_keys(&db);
    let told: Vec<(i32, Kind, Vec<&str>)> = came
        .iter()
        .map(|(now, message)| (*now, message.kind, message.notices.iter().map(Notice::key).collect()))
        .collect();
    assert_eq!(
        told,
        [(180, Kind::Single, vec![keys[1].as_str()]), (540, Kind::Digest, vec![keys[0].as_str(), keys[2].as_str()])]
    );
}

fn webhook(receiver: &Receiver) -> Channel {
    let plan = WebhookPlan {
        url: Secret::new(receiver.url()),
        headers: BTreeMap::new(),
        key: None,
        template: None,
        authority: None,
    };
    Channel { name: "far".to_owned(), route: everything(), way: Way::Webhook(plan) }
}

#[test]
fn what_is_too_large_for_a_receiver_comes_in_smaller_messages_in_order_and_once() {
    const BYTES_MAX: usize = 20_000;
    const N_ALARMS: usize = 160;
    let folder = tempfile::tempdir().unwrap();
    let db = folder.path().join("bench.db");
    let store = open(&db, 10);
    let receiver = Receiver::taking_up_to(BYTES_MAX);
    let far = webhook(&receiver);
    let all: Arc<[String]> = [far.name.clone()].into();
    let mut courier = Courier::new(store.clone(), &far, &all);
    for number in 0..N_ALARMS {
        commit(&store, printer(number / 16), vec![raise(number, at(1.0), Priority::Medium)]);
    }
    runtime().block_on(async {
        let mut sender = Sender::beside(&far).unwrap();
        for second in 600..1500 {
            let now: Timestamp = at(f64::from(second));
            while let Turn::Send(underway) = courier.turn(now).await.unwrap() {
                let answer = sender.send(&underway.message, &SendContext::default()).await;
                courier.answered(*underway, answer, now).await.unwrap();
            }
        }
    });
    let keys: Vec<String> = receiver.received().into_iter().map(|notice| notice.key).collect();
    assert_eq!(keys, outbox_keys(&db), "all, once, in order");
    let came = receiver.came();
    let refused = came.iter().filter(|came| came.answer == Answer::Fails(413));
    let mut tries: BTreeMap<&str, usize> = BTreeMap::new();
    refused.for_each(|came| *tries.entry(&came.message.key).or_default() += 1);
    assert!(!tries.is_empty() && tries.values().all(|n| *n == 5), "{tries:?}");
    let taken: Vec<&str> =
        came.iter().filter(|came| came.answer == Answer::Taken).map(|came| came.message.key.as_str()).collect();
    assert!(taken.iter().all(|key| !tries.contains_key(key)), "what was never taken never comes under the same key");
    println!(
        "{N_ALARMS} notices, {} bytes a message at most: {} refused, then {} messages",
        BYTES_MAX,
        came.len() - taken.len(),
        taken.len()
    );
    assert!(taken.len() <= 16, "{} messages", taken.len());
}
