//! What was worked out reaches whoever watches: when it is another one, and what it holds then.

use super::*;
use crate::store::NewTrial;
use dwell_analysis::advice::{Arm, Design, Plan};
use dwell_analysis::estimate::Estimate;
use dwell_dashboards::view::TrialState;

const LINER: &str = "bench-t0-any-part-liner";

/// A learner that has learned of hot waits at `NOON`, and what was worked out then.
async fn learned() -> (TempDir, Learner, watch::Receiver<Option<Arc<Worked>>>) {
    let (folder, mut learner) = learner();
    hot_waits(&learner.store);
    let worked = learner.worked();
    assert!(!look(&mut learner, 0.0).await && look(&mut learner, 10.0).await);
    (folder, learner, worked)
}

fn trial(suggestion: &str, at: Timestamp) -> NewTrial {
    NewTrial {
        suggestion: suggestion.to_owned(),
        at,
        plan: Plan { design: Design::BeforeAfter, prints: 20, ratio: 0.5, power: 0.8, detects: None },
        modes: vec![Mode::Jam],
        risk: Estimate { value: 0.2, low: 0.1, high: 0.3, n: 0 },
        baseline: "1".to_owned(),
        draws: vec![Arm::Changed; 20],
    }
}

fn held(worked: &mut watch::Receiver<Option<Arc<Worked>>>) -> Arc<Worked> {
    worked.borrow_and_update().clone().unwrap()
}

#[tokio::test]
async fn a_word_on_a_print_leads_to_another_one_that_holds_it() {
    let (_folder, mut learner, mut worked) = learned().await;
    let before = held(&mut worked);
    assert_eq!((before.learned.reported, before.last_word), (0, 0));
    say(&learner.store, 600.0, Mode::Jam);
    assert_eq!(learner.store.reader().unwrap().words_since(before.last_word).unwrap(), 1);
    assert!(!look(&mut learner, 100.0).await && look(&mut learner, 110.0).await);
    assert!(worked.has_changed().unwrap());
    let after = held(&mut worked);
    let reader = learner.store.reader().unwrap();
    assert_eq!(
        (reader.words_since(after.last_word).unwrap(), reader.evidence(None).unwrap()),
        (0, after.evidence.clone())
    );
    assert!(after.evidence != before.evidence && after.learned.prints == before.learned.prints);
}

#[tokio::test]
async fn what_is_adopted_or_declined_shows_at_once_and_nothing_is_learned_anew() {
    let (_folder, mut learner, mut worked) = learned().await;
    let first = kept(&learner).unwrap();
    let before = held(&mut worked);
    learner.renew().await.unwrap();
    assert!(!worked.has_changed().unwrap(), "nothing stands otherwise");
    let id = before.advice.suggestions[0].id.clone();
    let at = learner.store.reader().unwrap().newest().unwrap().unwrap();
    assert!(learner.store.adopt(trial(&id, at)).unwrap());
    assert!(!look(&mut learner, 60.0).await);
    learner.renew().await.unwrap();
    let adopted = held(&mut worked);
    let [one] = adopted.trials.trials.as_slice() else { unreachable!("{:?}", adopted.trials) };
    assert!(one.id == id && matches!(one.state, TrialState::Open { .. }), "{one:?}");
    assert_eq!(adopted.made, before.made);

    let other = before.advice.suggestions.iter().find(|other| other.id != id).unwrap().id.clone();
    learner.store.decline(&other, Some("no room"), at).unwrap();
    learner.renew().await.unwrap();
    let declined = held(&mut worked);
    assert!(
        declined.trials.closed.iter().any(|closed| closed.id == other && closed.is_declined),
        "{:?}",
        declined.trials
    );
    assert_eq!(kept(&learner).unwrap(), first);
}

#[tokio::test]
async fn what_is_withdrawn_with_the_new_advice_is_in_what_is_worked_out_with_it() {
    let (_folder, mut learner) = learner();
    hot_waits(&learner.store);
    learner.store.keep_suggestions(vec![new_liner()], NOON).unwrap();
    let mut worked = learner.worked();
    assert!(!look(&mut learner, 0.0).await && look(&mut learner, 10.0).await);
    let made = held(&mut worked);
    assert!(made.trials.closed.iter().any(|closed| closed.id == LINER && !closed.is_declined), "{:?}", made.trials);
}

/// A trial that can't be read: neither trials nor the pages can be made of it.
#[tokio::test]
async fn advice_is_kept_though_what_became_of_it_cannot_be_worked_out_and_pages_keep_what_they_had() {
    let (folder, mut learner, mut worked) = learned().await;
    let before = held(&mut worked);
    let id = before.advice.suggestions[0].id.clone();
    let at = learner.store.reader().unwrap().newest().unwrap().unwrap();
    assert!(learner.store.adopt(trial(&id, at)).unwrap());
    let db = rusqlite::Connection::open(folder.path().join("record.db")).unwrap();
    db.execute("UPDATE trial SET modes = 'no_such_mode'", []).unwrap();
    learner.store.keep_suggestions(vec![new_liner()], at).unwrap();
    assert_eq!(suggestions(&learner.store).iter().find(|row| row.id == LINER).unwrap().standing, Standing::Open);
    assert!(learner.renew().await.is_err());
    // That is told once, and not tried with every look.
    assert!(learner.renew().await.is_ok());
    let failed = learner.learn("anew".to_owned()).await.unwrap_err().to_string();
    assert!(failed.contains("no trial was ended"), "{failed}");
    assert_eq!(suggestions(&learner.store).iter().find(|row| row.id == LINER).unwrap().standing, Standing::Withdrawn);
    assert!(!worked.has_changed().unwrap());
}

#[tokio::test]
async fn pages_are_told_of_what_was_worked_out_though_the_record_takes_nothing_of_it() {
    let (folder, mut learner) = learner();
    hot_waits(&learner.store);
    let db = rusqlite::Connection::open(folder.path().join("record.db")).unwrap();
    db.execute_batch("CREATE TRIGGER full BEFORE INSERT ON learned BEGIN SELECT RAISE(FAIL, 'full'); END").unwrap();
    let mut worked = learner.worked();
    let failed = learner.learn("anew".to_owned()).await.unwrap_err().to_string();
    assert!(failed.contains("nothing was learned") && failed.contains("full"), "{failed}");
    assert!(!held(&mut worked).advice.suggestions.is_empty());
    // What is advised stands in the record with what it was learned from, or not at all.
    assert!(suggestions(&learner.store).is_empty());
}
