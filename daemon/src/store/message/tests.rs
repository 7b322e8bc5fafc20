//! Messages in the table: made once, told of what was dropped, done with when every channel is, and let go in the end.

use super::waits::WAITING_MAX;
use super::*;
use crate::alarm::Priority;
use crate::notify::TOGETHER_MAX;
use crate::store::carried::Carried;
use crate::store::schema;
use dwell_analysis::units::Seconds;

const START: Timestamp = Timestamp::from_ms(1_772_438_400_000);

fn record() -> (tempfile::TempDir, Connection) {
    let folder = tempfile::tempdir().unwrap();
    let db = schema::open_write(&folder.path().join("bench.db")).unwrap();
    (folder, db)
}

fn carrier(channel: &str) -> Carrier {
    Carrier { channel: channel.into(), all: ["log", "post"].map(str::to_owned).into() }
}

fn put(db: &Connection, numbers: std::ops::Range<usize>, priority: Priority) {
    let sql = "INSERT INTO outbox (key, body, at_ms, priority) VALUES (?1, '{}', ?2, ?3)";
    for number in numbers {
        db.execute(sql, (format!("key-{number}"), START.as_ms(), priority.word())).unwrap();
    }
}

fn waiting(db: &mut Connection, channel: &str, now: Timestamp) -> Outbox {
    outbox(db, &carrier(channel), 0, 0, now).unwrap()
}

fn all_of(db: &mut Connection, channel: &str, now: Timestamp) -> Underway {
    let notices = waiting(db, channel, now).pending;
    let draft = Draft { message: Some((Kind::Group, notices)), skipped: Vec::new() };
    make(db, &carrier(channel), &draft, now).unwrap().unwrap()
}

fn count(db: &Connection, what: &str) -> u32 {
    db.query_row(&format!("SELECT count(*) FROM {what}"), [], |row| row.get(0)).unwrap()
}

#[test]
fn a_message_is_there_as_it_was_made_until_it_has_arrived() {
    let (_folder, mut db) = record();
    put(&db, 0..3, Priority::Low);
    let made = all_of(&mut db, "post", START);
    put(&db, 3..5, Priority::High);
    let found = waiting(&mut db, "post", START);
    assert_eq!(found.underway.map(|underway| underway.message), Some(made.message.clone()));
    assert_eq!((made.message.notices.len(), found.pending.len(), found.sent.notices.len()), (3, 2, 3));
    assert_eq!(found.sent.last, Some((START, 3)));
    assert_eq!(waiting(&mut db, "log", START).pending.len(), 5);
    note(&mut db, &carrier("post"), &made, Some(START)).unwrap();
    assert!(waiting(&mut db, "post", START).underway.is_none());
}

#[test]
fn a_notice_is_done_with_when_every_channel_is_and_only_then() {
    let (_folder, mut db) = record();
    put(&db, 0..2, Priority::Low);
    let made = all_of(&mut db, "post", START);
    note(&mut db, &carrier("post"), &made, Some(START)).unwrap();
    assert_eq!(count(&db, "outbox WHERE settled_ms IS NOT NULL"), 0);
    let pending = waiting(&mut db, "log", START).pending;
    let draft = Draft { message: Some((Kind::Single, vec![pending[0].clone()])), skipped: vec![pending[1].clone()] };
    let single = make(&mut db, &carrier("log"), &draft, START).unwrap().unwrap();
    assert_eq!(count(&db, "outbox WHERE settled_ms IS NOT NULL AND key = 'key-1'"), 1);
    assert_eq!(count(&db, "outbox WHERE settled_ms IS NOT NULL"), 1);
    note(&mut db, &carrier("log"), &single, Some(START)).unwrap();
    assert_eq!(count(&db, "outbox WHERE settled_ms IS NOT NULL"), 2);
}

#[test]
fn a_channel_that_is_no_more_holds_no_notice_back() {
    let (_folder, mut db) = record();
    put(&db, 0..2, Priority::Low);
    let made = all_of(&mut db, "post", START);
    note(&mut db, &carrier("post"), &made, Some(START)).unwrap();
    let alone = Carrier { channel: "post".into(), all: ["post".to_owned()].into() };
    settle_all(&db, &alone, START).unwrap();
    assert_eq!(count(&db, "outbox WHERE settled_ms IS NOT NULL"), 2);
}

#[test]
fn beyond_the_bound_the_oldest_low_ones_go_and_the_next_message_says_how_many() {
    let (_folder, mut db) = record();
    let step = db.transaction().unwrap();
    put(&step, 0..10, Priority::High);
    put(&step, 10..WAITING_MAX, Priority::Low);
    put(&step, WAITING_MAX..WAITING_MAX + 7, Priority::Medium);
    step.commit().unwrap();
    let Outbox { pending, n_pending, .. } = waiting(&mut db, "post", START);
    let keys: Vec<_> = pending.iter().map(Notice::key).collect();
    assert_eq!((n_pending, keys[0], keys[9], keys[10]), (WAITING_MAX, "key-0", "key-9", "key-17"));
    assert_eq!(keys.len(), 10 + TOGETHER_MAX + 1 + 7, "of each priority more than a message takes, and no more");
    let draft = Draft { message: Some((Kind::Group, pending[..3].to_vec())), skipped: Vec::new() };
    let made = make(&mut db, &carrier("post"), &draft, START).unwrap().unwrap();
    assert_eq!((made.message.n_dropped, made.message.notices.len()), (7, 3));
    let again = waiting(&mut db, "post", START).underway.unwrap();
    assert_eq!(again.message, made.message, "a restart tells the same");
    note(&mut db, &carrier("post"), &made, Some(START)).unwrap();
    let next = all_of(&mut db, "post", START);
    assert_eq!(next.message.n_dropped, 0, "it is told once");
}

/// A channel that takes nothing, beside one that takes all, for more than twice what is kept.
#[test]
fn beside_a_dead_channel_no_more_is_kept_than_may_wait_for_it_and_is_kept_of_what_is_done_with() {
    const EACH: usize = 2500;
    let (_folder, mut db) = record();
    let mut now = START;
    let (mut done_to, mut n_most) = (0, 0);
    for round in 0..(2 * WAITING_MAX + 4 * EACH) / EACH {
        now = now + Seconds::minutes(1.0);
        let step = db.transaction().unwrap();
        put(&step, round * EACH..(round + 1) * EACH, Priority::Low);
        step.commit().unwrap();
        // The dead one has made a message once, and never again.
        let dead = waiting(&mut db, "post", now);
        if dead.underway.is_none() {
            let draft = Draft { message: Some((Kind::Group, dead.pending[..3].to_vec())), skipped: Vec::new() };
            make(&mut db, &carrier("post"), &draft, now).unwrap().unwrap();
        }
        loop {
            let live = outbox(&mut db, &carrier("log"), done_to, 0, now).unwrap();
            done_to = live.done_to;
            if live.pending.is_empty() {
                break;
            }
            let draft = Draft { message: Some((Kind::Group, live.pending)), skipped: Vec::new() };
            let made = make(&mut db, &carrier("log"), &draft, now).unwrap().unwrap();
            note(&mut db, &carrier("log"), &made, Some(now)).unwrap();
        }
        n_most = n_most.max(count(&db, "outbox"));
    }
    let n_waiting = u32::try_from(WAITING_MAX).unwrap();
    assert_eq!(count(&db, "outbox WHERE settled_ms IS NULL"), n_waiting + 3);
    assert!(n_most <= 2 * n_waiting + 3 + u32::try_from(EACH).unwrap(), "{n_most}");
    assert!(count(&db, "delivery") <= 2 * n_most, "{}", count(&db, "delivery"));
    let told: i64 = db.query_row("SELECT n FROM untold WHERE channel = 'post'", [], |row| row.get(0)).unwrap();
    assert_eq!(told, i64::from(n_waiting) + 4 * 2500 - 3, "what was dropped is counted until a message tells of it");
}

#[test]
fn what_is_done_with_is_let_go_after_a_month_and_what_waits_is_not() {
    let (_folder, mut db) = record();
    put(&db, 0..3, Priority::Low);
    for channel in ["log", "post"] {
        let made = all_of(&mut db, channel, START);
        note(&mut db, &carrier(channel), &made, Some(START)).unwrap();
    }
    put(&db, 3..5, Priority::Low);
    let later = START + Seconds::minutes(29.0 * 24.0 * 60.0);
    let made = all_of(&mut db, "log", later);
    note(&mut db, &carrier("log"), &made, Some(later)).unwrap();
    assert_eq!(count(&db, "outbox"), 5);
    put(&db, 5..6, Priority::Low);
    let later = START + Seconds::minutes(30.0 * 24.0 * 60.0 + 1.0);
    let made = all_of(&mut db, "log", later);
    note(&mut db, &carrier("log"), &made, Some(later)).unwrap();
    assert_eq!((count(&db, "outbox"), count(&db, "delivery"), count(&db, "message")), (3, 3, 2));
    assert_eq!(waiting(&mut db, "post", later).pending.len(), 3);
}

#[test]
fn what_is_taken_back_waits_again_in_its_order_and_what_was_dropped_is_told_by_the_next_message() {
    let (_folder, mut db) = record();
    put(&db, 0..4, Priority::Low);
    add_untold(&db, &carrier("post"), 7).unwrap();
    let made = all_of(&mut db, "post", START);
    assert_eq!(made.message.n_dropped, 7);
    put(&db, 4..5, Priority::High);
    // While the disk takes nothing, that is known in memory alone.
    let mut carried = Carried::default();
    carried.unmake(&carrier("post"), &made);
    let found = waiting(&mut db, "post", START);
    let seen = carried.lay_over(&carrier("post"), found, Vec::new());
    assert!(seen.underway.is_none());
    unmake(&mut db, &carrier("post"), &made.message.key).unwrap();
    let found = waiting(&mut db, "post", START);
    assert_eq!((&seen.pending, seen.n_pending), (&found.pending, found.n_pending));
    let keys: Vec<_> = found.pending.iter().map(Notice::key).collect();
    assert_eq!(keys, ["key-0", "key-1", "key-2", "key-3", "key-4"]);
    let draft = Draft { message: Some((Kind::Group, found.pending[..2].to_vec())), skipped: Vec::new() };
    let smaller = make(&mut db, &carrier("post"), &draft, START).unwrap().unwrap();
    assert_eq!(smaller.message.n_dropped, 7);
    assert_ne!(smaller.message.key, made.message.key);
    unmake(&mut db, &carrier("post"), &made.message.key).unwrap();
    assert!(waiting(&mut db, "post", START).underway.is_some(), "another message is none of its business");
}

#[test]
fn the_same_notices_make_the_same_key_and_others_another() {
    let (_folder, mut db) = record();
    put(&db, 0..3, Priority::Low);
    let notices = waiting(&mut db, "post", START).pending;
    assert_eq!(key(&notices[..1]), "key-0");
    assert_eq!(key(&notices[..2]), key(&notices[..2]));
    assert_ne!(key(&notices[..2]), key(&notices[1..]));
}

/// A receiver may have seen it before the program was renewed.
#[test]
fn a_notice_of_before_keys_were_words_keeps_its_number_and_one_of_before_channels_still_leaves() {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("third.db");
    let db = Connection::open(&path).unwrap();
    for schema in &schema::MIGRATIONS[..3] {
        db.execute_batch(schema).unwrap();
    }
    db.execute_batch(
        "PRAGMA user_version = 3; INSERT INTO outbox VALUES (16, '{}', 3, 4000, 4500), (17, '{}', 2, 5000, NULL)",
    )
    .unwrap();
    drop(db);
    let mut db = schema::open_write(&path).unwrap();
    let made = all_of(&mut db, "webhook", START);
    assert_eq!(made.message.notices.iter().map(Notice::key).collect::<Vec<_>>(), ["17"]);
}

#[test]
fn a_way_is_stuck_from_the_third_try_on_until_it_has_delivered() {
    let (folder, mut db) = record();
    let stuck = || crate::store::Reader::open(&folder.path().join("bench.db")).unwrap().stuck().unwrap();
    put(&db, 0..2, Priority::Low);
    let due = START + Seconds::new(60.0);
    let made = all_of(&mut db, "post", START);
    put(&db, 2..7, Priority::High);
    let tried = |attempts| Underway { attempts, due, ..made.clone() };
    note(&mut db, &carrier("post"), &tried(2), None).unwrap();
    assert_eq!(stuck(), []);
    note(&mut db, &carrier("post"), &tried(3), None).unwrap();
    let expected = crate::store::StuckRow {
        channel: "post".to_owned(),
        n_tries: 3,
        next: due,
        since: START,
        n_in_message: 2,
        n_behind: 5,
    };
    assert_eq!(stuck(), [expected]);
    note(&mut db, &carrier("post"), &tried(4), Some(due)).unwrap();
    assert_eq!(stuck(), []);
}
