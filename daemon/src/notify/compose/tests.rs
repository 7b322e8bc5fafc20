//! When notices go by themselves, when together, and what quiet hours hold back.

use super::*;
use crate::alarm::Priority;
use crate::store::Past;
use jiff::civil::time;
use jiff::tz::TimeZone;
use rand::{RngExt, SeedableRng};
use rand_chacha::ChaCha8Rng;
use std::collections::HashMap;

/// A Monday, 08:00 UTC.
const START: Timestamp = Timestamp::from_ms(1_772_438_400_000);

fn at(second: f64) -> Timestamp {
    START + Seconds::new(second)
}

fn notice(rule: &str, second: f64, priority: Priority, is_raise: bool) -> Notice {
    let alarm = if is_raise { "raised" } else { "returned" };
    let body = serde_json::json!({ "alarm": alarm, "rule": rule, "printer": "bench" }).to_string();
    Notice::read(format!("{rule}-{second}-{alarm}"), body, at(second), priority)
}

fn raised(rule: &str, second: f64) -> Notice {
    notice(rule, second, Priority::Medium, true)
}

fn route() -> Route {
    Route { from: Priority::Low, returns: true, quiet: None }
}

fn night() -> Quiet {
    Quiet { from: time(22, 0, 0, 0), to: time(7, 0, 0, 0), zone: TimeZone::UTC, passes: Priority::High }
}

/// A channel without a record: what waits and what was sent.
struct Desk {
    route: Route,
    pending: Vec<Notice>,
    sent: Sent,
    messages: Vec<(Timestamp, Kind, Vec<Notice>)>,
    n_skipped: usize,
}

impl Desk {
    fn new(route: Route) -> Self {
        Self { route, pending: Vec::new(), sent: Sent::default(), messages: Vec::new(), n_skipped: 0 }
    }

    /// Sends all that is to go now; gives until when it waits.
    fn run(&mut self, now: Timestamp) -> Option<Timestamp> {
        loop {
            self.sent.notices.retain(|past| now - past.made < CHATTER_WITHIN);
            let Composed { skipped, then } = compose(&self.pending, &self.route, &self.sent, now, TOGETHER_MAX);
            let (kind, chosen) = match &then {
                Then::Send(kind, chosen) => (Some(*kind), chosen.clone()),
                Then::Until(_) | Then::Nothing => (None, Vec::new()),
            };
            let notices: Vec<Notice> = chosen.iter().map(|idx| self.pending[*idx].clone()).collect();
            let is_done = |idx: &usize| skipped.contains(idx) || chosen.contains(idx);
            let rest = (0..self.pending.len()).filter(|idx| !is_done(idx));
            self.pending = rest.map(|idx| self.pending[idx].clone()).collect();
            self.n_skipped += skipped.len();
            let Some(kind) = kind else {
                return if let Then::Until(until) = then { Some(until) } else { None };
            };
            self.sent.notices.extend(notices.iter().map(|notice| Past {
                subject: notice.subject().into(),
                at: notice.at(),
                is_raise: notice.is_raise(),
                made: now,
            }));
            if kind == Kind::Ahead {
                self.sent.ahead.push(now);
            } else {
                self.sent.last = Some((now, notices.len()));
            }
            self.messages.push((now, kind, notices));
        }
    }

    fn kinds(&self) -> Vec<(Kind, usize)> {
        self.messages.iter().map(|(_, kind, notices)| (*kind, notices.len())).collect()
    }
}

#[test]
fn a_few_notices_go_by_themselves_at_once_the_oldest_first() {
    let mut desk = Desk::new(route());
    desk.pending = (0..5_u32).map(|n| raised(&format!("rule{n}"), f64::from(n))).collect();
    assert_eq!(desk.run(at(5.0)), None);
    assert_eq!(desk.kinds(), [(Kind::Single, 1); 5]);
    assert!(desk.messages.windows(2).all(|pair| pair[0].2[0].at() < pair[1].2[0].at()));
}

#[test]
fn ten_at_once_are_a_flood_and_one_message_and_further_ones_wait_ten_minutes() {
    let mut desk = Desk::new(route());
    desk.pending = (0..10_u32).map(|n| raised(&format!("rule{n}"), 0.0)).collect();
    assert_eq!(desk.run(at(1.0)), None);
    assert_eq!(desk.kinds(), [(Kind::Group, 10)]);
    desk.pending = vec![raised("late", 2.0), raised("later", 3.0)];
    assert_eq!(desk.run(at(4.0)), Some(at(601.0)));
    assert_eq!(desk.run(at(601.0)), None);
    assert_eq!(desk.kinds().len(), 2);
}

#[test]
fn who_has_to_act_now_is_told_at_once_in_a_flood_and_puts_off_nobody_else() {
    let mut desk = Desk::new(route());
    desk.pending = (0..10_u32).map(|n| raised(&format!("rule{n}"), 0.0)).collect();
    desk.run(at(1.0));
    desk.pending = vec![raised("late", 2.0), notice("urgent", 3.0, Priority::High, true)];
    assert_eq!(desk.run(at(4.0)), Some(at(601.0)), "the others' turn comes when it would have come");
    assert_eq!(desk.kinds(), [(Kind::Group, 10), (Kind::Ahead, 1)]);
    assert_eq!(desk.messages[1].2[0].priority(), Priority::High);
    // Five in ten minutes, not a message for each of a hundred.
    desk.pending.extend((0..20_u32).map(|n| notice(&format!("urgent{n}"), 5.0, Priority::High, true)));
    assert_eq!(desk.run(at(6.0)), Some(at(601.0)));
    assert_eq!((desk.messages.len(), desk.pending.len()), (6, 17));
    assert_eq!(desk.run(at(601.0)), None);
    assert_eq!(desk.kinds().last(), Some(&(Kind::Group, 17)));
}

#[test]
fn what_is_urgent_and_chatters_or_was_raised_long_ago_overtakes_nobody() {
    let mut desk = Desk::new(route());
    for n in 0..3_u32 {
        desk.pending.push(notice("urgent", f64::from(n), Priority::High, true));
        desk.pending.push(notice("urgent", f64::from(n) + 0.5, Priority::High, false));
        desk.run(at(f64::from(n) + 0.5));
    }
    desk.pending.extend((0..10_u32).map(|n| raised(&format!("rule{n}"), 4.0)));
    desk.run(at(5.0));
    desk.pending = vec![notice("urgent", 6.0, Priority::High, true), notice("old", -3000.0, Priority::High, true)];
    desk.run(at(7.0));
    assert!(desk.messages.iter().all(|(_, kind, _)| *kind != Kind::Ahead), "{:?}", desk.kinds());
}

#[test]
fn nine_in_ten_minutes_are_no_flood() {
    let mut desk = Desk::new(route());
    desk.pending = (0..9_u32).map(|n| raised(&format!("rule{n}"), 0.0)).collect();
    assert_eq!(desk.run(at(1.0)), None);
    assert_eq!(desk.kinds(), [(Kind::Single, 1); 9]);
}

#[test]
fn an_alarm_that_chatters_goes_together_and_holds_no_other_one_back() {
    let mut desk = Desk::new(route());
    for n in 0..4_u32 {
        let second = f64::from(n) * 60.0;
        desk.pending.push(raised("chatters", second));
        desk.run(at(second));
        desk.pending.push(notice("chatters", second + 30.0, Priority::Medium, false));
        desk.run(at(second + 30.0));
    }
    // Two that came and went, then no more by themselves.
    assert_eq!(desk.kinds(), [(Kind::Single, 1); 4]);
    desk.pending.push(raised("other", 230.0));
    assert_eq!(desk.run(at(231.0)), Some(at(90.0 + 600.0)));
    assert_eq!(desk.messages.last().unwrap().2[0].subject(), "bench\n\nother");
    assert_eq!(desk.run(at(690.0)), None);
    assert_eq!(desk.kinds().last(), Some(&(Kind::Group, 4)));
}

#[test]
fn quiet_hours_hold_all_but_urgent_ones_for_one_digest_at_their_end() {
    let mut desk = Desk::new(Route { quiet: Some(night()), ..route() });
    let hour = 3600.0;
    // 22:00 is 14 hours after the start, 07:00 is 23.
    desk.pending = vec![raised("low", 14.5 * hour), notice("urgent", 15.0 * hour, Priority::High, true)];
    assert_eq!(desk.run(at(15.0 * hour)), Some(at(23.0 * hour)));
    assert_eq!(desk.messages[0].2[0].priority(), Priority::High);
    desk.pending.push(raised("other", 22.9 * hour));
    assert_eq!(desk.run(at(22.9 * hour)), Some(at(23.0 * hour)));
    assert_eq!(desk.run(at(23.0 * hour)), None);
    assert_eq!(desk.kinds(), [(Kind::Single, 1), (Kind::Digest, 2)]);
}

#[test]
fn where_it_is_always_quiet_there_is_a_digest_a_day() {
    let quiet = Quiet { from: time(9, 0, 0, 0), to: time(9, 0, 0, 0), ..night() };
    let mut desk = Desk::new(Route { quiet: Some(quiet), ..route() });
    desk.pending = vec![raised("a", 60.0), raised("b", 120.0)];
    assert_eq!(desk.run(at(130.0)), Some(at(3600.0)));
    assert_eq!(desk.run(at(3600.0)), None);
    desk.pending = vec![raised("c", 4000.0)];
    assert_eq!(desk.run(at(4000.0)), Some(at(25.0 * 3600.0)));
    assert_eq!(desk.kinds(), [(Kind::Digest, 2)]);
}

#[test]
fn what_could_not_be_sent_for_long_goes_together_in_order() {
    let mut desk = Desk::new(route());
    desk.pending = (0..7_u32).map(|n| raised(&format!("rule{n}"), f64::from(n) * 3600.0)).collect();
    assert_eq!(desk.run(at(7.0 * 3600.0)), None);
    assert_eq!(desk.kinds(), [(Kind::Group, 7)]);
    assert!(desk.messages[0].2.windows(2).all(|pair| pair[0].at() < pair[1].at()));
}

#[test]
fn a_way_without_returns_is_told_in_a_group_what_has_gone_again_and_else_nothing_of_it() {
    let mut desk = Desk::new(Route { returns: false, ..route() });
    desk.pending = vec![raised("a", 0.0)];
    desk.run(at(0.0));
    desk.pending = vec![notice("a", 10.0, Priority::Medium, false)];
    desk.run(at(10.0));
    assert_eq!((desk.kinds(), desk.n_skipped), (vec![(Kind::Single, 1)], 1));
    desk.pending = vec![raised("b", 1000.0), raised("c", 1001.0), notice("b", 1002.0, Priority::Medium, false)];
    desk.run(at(5000.0));
    assert_eq!(desk.kinds()[1], (Kind::Group, 3));
}

#[test]
fn what_is_less_urgent_than_the_way_carries_is_left_out() {
    let mut desk = Desk::new(Route { from: Priority::High, ..route() });
    desk.pending = vec![raised("a", 0.0), notice("b", 1.0, Priority::High, true)];
    desk.run(at(1.0));
    assert_eq!((desk.kinds(), desk.n_skipped), (vec![(Kind::Single, 1)], 1));
}

/// Whatever comes when, by whichever way: every notice that is carried is in one message, none in two; those of one alarm
/// go in order; no more than a group's interval passes unless it is quiet; and no hour has more messages than nine by
/// themselves each ten minutes and as many as its notices fill.
#[test]
fn any_course_of_alarms_goes_out_whole_once_in_order_and_in_few_messages() {
    for seed in 0..300_u64 {
        let mut random = ChaCha8Rng::seed_from_u64(seed);
        let quiet = random.random_bool(0.5).then(night);
        let from = Priority::ALL[random.random_range(0..3)];
        let mut desk = Desk::new(Route { from, returns: random.random_bool(0.7), quiet });
        let mut now = random.random_range(0.0..86_400.0);
        let mut came = 0;
        let mut standing: HashSet<String> = HashSet::new();
        let busy = random.random_range(1.0..400.0_f64);
        for _ in 0..random.random_range(1..400) {
            now += if random.random_bool(0.05) { 3600.0 } else { random.random_range(0.1..busy) };
            let number = random.random_range(0..12_usize);
            let rule = format!("rule{number}");
            let priority = Priority::ALL[number % 3];
            let is_raise = !standing.remove(&rule);
            if is_raise {
                standing.insert(rule.clone());
            }
            desk.pending.push(notice(&rule, now, priority, is_raise));
            came += 1;
            // Now and then nothing can be sent.
            if random.random_bool(0.8) {
                desk.run(at(now));
            }
        }
        let mut until = desk.run(at(now));
        for _ in 0..100 {
            let Some(next) = until else { break };
            assert!(next > at(now) && next - at(now) <= Seconds::minutes(9.0 * 60.0), "seed {seed}: {next:?}");
            now = (next - START).get();
            until = desk.run(next);
        }
        assert!(desk.pending.is_empty() && until.is_none(), "seed {seed}: {until:?}, {:?}", desk.pending);
        judge(&desk, came, seed);
    }
}

fn judge(desk: &Desk, came: usize, seed: u64) {
    let all: Vec<&Notice> = desk.messages.iter().flat_map(|(_, _, notices)| notices).collect();
    let keys: HashSet<&str> = all.iter().map(|notice| notice.key()).collect();
    assert_eq!((keys.len(), all.len() + desk.n_skipped), (all.len(), came), "seed {seed}");
    let mut newest: HashMap<&str, Timestamp> = HashMap::new();
    for notice in &all {
        let before = newest.insert(notice.subject(), notice.at());
        assert!(before.is_none_or(|before| before < notice.at()), "seed {seed}: {notice:?}");
    }
    let is_one = |kind: &Kind| matches!(kind, Kind::Single | Kind::Ahead);
    assert!(desk.messages.iter().all(|(_, kind, notices)| (notices.len() == 1) == is_one(kind)));
    for (made, _, _) in &desk.messages {
        let within = desk.messages.iter().filter(|(other, ..)| *other >= *made && *other - *made < APART).count();
        assert!(within <= 2 * FLOOD, "seed {seed}: {within} messages in ten minutes");
    }
}

#[test]
fn ten_thousand_alarms_in_an_hour_are_few_messages_and_none_is_lost() {
    let mut desk = Desk::new(route());
    let mut now = 0.0;
    for n in 0..10_000_u32 {
        now = f64::from(n) * 0.36;
        desk.pending.push(raised(&format!("rule{}", n % 700), now));
        if n % 3 == 0 {
            desk.run(at(now));
        }
    }
    while let Some(until) = desk.run(at(now)) {
        now = (until - START).get();
    }
    let n_notices: usize = desk.kinds().iter().map(|(_, n)| n).sum();
    assert_eq!((n_notices, desk.pending.len()), (10_000, 0));
    assert!(desk.messages.len() < 50, "{} messages", desk.messages.len());
    let waited = desk.messages.iter().map(|(made, _, notices)| (*made - notices[0].at()).get());
    assert!(waited.fold(0.0, f64::max) <= APART.get() + 1.0);
}
