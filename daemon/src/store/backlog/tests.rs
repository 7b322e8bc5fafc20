//! What is kept of steps, what goes first, and in which order the rest is written.

use super::*;
use crate::alarm::{Rule, Subject};
use crate::entry::{Job, JobState, Reading};

const START: Timestamp = Timestamp::from_ms(1_772_438_400_000);
const BOUNDS: Bounds = Bounds { steps: 4, total: 6 };

fn at(second: u32) -> Timestamp {
    START + Seconds::new(f64::from(second))
}

fn name(printer: &str) -> PrinterName {
    PrinterName::new(printer).unwrap()
}

fn plain(printer: &str, second: u32) -> Commit {
    let job = Job { state: JobState::None, name: None, fraction_millionths: None, byte: None };
    let reading = Reading { at: at(second), after_gap: false, job, active_tool: None, tools: Vec::new(), bed: None };
    let effects = vec![Effect::Sample { reading, tools: Vec::new() }];
    Commit { printer: name(printer), effects, alarms: Vec::new(), notices: true }
}

fn lost(printer: &str, second: u32) -> Commit {
    Commit { effects: vec![Effect::ContactLost { since: at(second) }], ..plain(printer, second) }
}

/// An alarm of a host that fell silent, raised at that second.
pub(in crate::store) fn alarm(second: u32) -> AlarmEffect {
    let subject = Subject { rule: Rule::HostSilent, tool: None };
    let [cause, consequence, action] = ["c", "d", "e"].map(str::to_owned);
    AlarmEffect::Raised {
        subject,
        at: at(second),
        priority: crate::alarm::Priority::High,
        suppressed: None,
        cause,
        consequence,
        action,
    }
}

fn alarmed(printer: &str, second: u32) -> Commit {
    Commit { alarms: vec![alarm(second)], ..plain(printer, second) }
}

fn backlog(steps: Vec<Commit>, bounds: Bounds) -> Backlog {
    let mut backlog = Backlog::new(bounds);
    for step in steps {
        backlog.push(step);
    }
    backlog
}

/// Writes everything: whose each commit was, the seconds of its readings, and how many alarms it had.
fn written(backlog: &mut Backlog) -> Vec<(String, Vec<f64>, usize)> {
    let mut all = Vec::new();
    while let Some(due) = backlog.due() {
        match due {
            Due::Own { alarms, last, .. } => {
                all.push(("record".to_owned(), Vec::new(), alarms.len()));
                backlog.written(None, last);
            }
            Due::Printer { commit, last } => {
                let seconds = commit.effects.iter().filter_map(|effect| match effect {
                    Effect::Sample { reading, .. } => Some((reading.at - START).get()),
                    _ => None,
                });
                all.push((commit.printer.to_string(), seconds.collect(), commit.alarms.len()));
                backlog.written(Some(&commit.printer), last);
            }
        }
    }
    assert!(backlog.is_empty() && backlog.alarms().is_empty());
    assert_eq!(backlog.count(), Count { steps: 0, events: 0, alarms: 0 });
    all
}

#[test]
fn alarms_are_written_in_the_order_they_came_each_after_what_its_printer_did_until_then() {
    let steps = vec![plain("a", 0), plain("b", 0), alarmed("b", 1), plain("a", 1), alarmed("a", 2), alarmed("b", 2)];
    let mut backlog = backlog(steps, super::BOUNDS);
    backlog.push_own(vec![alarm(3)], true);
    backlog.push(plain("a", 3));
    assert_eq!(backlog.count(), Count { steps: 7, events: 3, alarms: 3 });
    backlog.compose("word", |_, _| Priority::High);
    let keys: Vec<_> = backlog.notices().iter().map(|notice| notice.key().to_owned()).collect();
    assert!(
        keys[0].starts_with("word-b.-host_silent-1772438401000") && keys[3].starts_with("word-record-"),
        "{keys:?}"
    );
    let expected = [("b", vec![0.0, 1.0], 1), ("a", vec![0.0, 1.0, 2.0], 1), ("b", vec![2.0], 1)];
    let rest = [("record", Vec::new(), 1), ("a", vec![3.0], 0)];
    let expected = expected.into_iter().chain(rest).map(|(whose, seconds, n)| (whose.to_owned(), seconds, n));
    assert_eq!(written(&mut backlog), expected.collect::<Vec<_>>());
}

#[test]
fn beyond_the_bound_the_oldest_plain_readings_go_first_and_are_counted() {
    let steps = vec![plain("a", 0), lost("a", 1), plain("a", 2), plain("a", 3), alarmed("a", 4), plain("a", 5)];
    let mut backlog = backlog(steps, BOUNDS);
    assert_eq!(backlog.n_dropped, Dropped { readings: 2, events: 0 });
    // All printers together: of whoever has the most plain readings.
    for step in [plain("b", 6), plain("b", 7), plain("b", 8)] {
        backlog.push(step);
    }
    assert_eq!(backlog.n_dropped, Dropped { readings: 3, events: 0 });
    assert!(!backlog.has_lost(&name("a"), at(0)), "a reading is no beginning");
    let all = written(&mut backlog);
    let expected = [("a", vec![3.0, 4.0], 1), ("a", vec![5.0], 0), ("b", vec![7.0, 8.0], 0)];
    assert_eq!(all, expected.map(|(whose, seconds, n)| (whose.to_owned(), seconds, n)));
}

#[test]
fn events_alone_are_kept_up_to_the_bound_of_all_and_what_went_is_known_by_its_beginning() {
    let steps: Vec<_> = (0..6).map(|second| lost("a", second)).collect();
    let mut backlog = backlog(steps, BOUNDS);
    assert_eq!(backlog.n_dropped, Dropped::default(), "a printer's own bound is for plain readings");
    backlog.push(alarmed("a", 6));
    backlog.push(alarmed("a", 7));
    assert_eq!(backlog.n_dropped, Dropped { readings: 0, events: 2 });
    let known = |second| backlog.has_lost(&name("a"), at(second));
    assert_eq!((known(0), known(1), known(2)), (true, true, false));
    assert!(!backlog.has_lost(&name("b"), at(0)));
    assert_eq!(backlog.alarms().len(), 2);
    for second in 8..16 {
        backlog.push(alarmed("a", second));
    }
    assert_eq!((backlog.n_steps, backlog.alarms().len()), (6, 6), "dropped steps take their alarms with them");
    assert_eq!(written(&mut backlog).len(), 6);
}

#[test]
fn a_step_that_is_dropped_while_it_is_written_takes_no_later_one_with_it() {
    let mut backlog = backlog((0..4).map(|second| plain("a", second)).collect(), BOUNDS);
    let Some(Due::Printer { last, .. }) = backlog.due() else { unreachable!("plain readings wait") };
    backlog.push(plain("a", 4));
    backlog.push(plain("a", 5));
    backlog.written(Some(&name("a")), last);
    assert_eq!(written(&mut backlog), [("a".to_owned(), vec![4.0, 5.0], 0)]);
}

#[test]
fn how_long_the_memory_lasts_follows_from_how_fast_steps_come() {
    let bounds = Bounds { steps: 100, total: 150 };
    let alone = backlog((0..11).map(|step| plain("a", step * 2)).collect(), bounds);
    // 89 more at one in two seconds.
    assert_eq!(alone.lasts_until(), Some(at(20 + 178)));
    let both = (0..11).flat_map(|step| [plain("a", step * 2), plain("b", step * 2)]).collect();
    let both = backlog(both, bounds);
    // 128 more at 21 in twenty seconds: the bound of all comes first.
    assert_eq!(both.lasts_until(), Some(at(20) + Seconds::new(20.0 / 21.0 * 128.0)));
    assert_eq!(backlog(vec![plain("a", 0)], bounds).lasts_until(), None);
    let full = backlog((0..101).map(|step| plain("a", step)).collect(), bounds);
    assert_eq!(full.lasts_until(), None);
}

#[test]
fn many_steps_are_written_in_several_commits() {
    let mut backlog = backlog((0..1300).map(|step| plain("a", step)).collect(), super::BOUNDS);
    let lengths: Vec<_> = written(&mut backlog).iter().map(|(_, seconds, _)| seconds.len()).collect();
    assert_eq!(lengths, [TOGETHER_MAX, TOGETHER_MAX, 1300 - 2 * TOGETHER_MAX]);
}

#[test]
fn a_return_calls_at_its_raise_s_priority_if_that_waits_here_and_by_the_record_s_word_if_not() {
    let subject = Subject { rule: Rule::HostSilent, tool: None };
    let returned = |raised, second, is_superseded| {
        let gone = AlarmEffect::Returned { subject, raised: at(raised), at: at(second), is_superseded };
        Commit { alarms: vec![gone], ..plain("a", second) }
    };
    let steps = vec![returned(0, 5, false), alarmed("a", 10), returned(10, 15, false)];
    let mut backlog = backlog(steps, super::BOUNDS);
    backlog.push(alarmed("a", 20));
    backlog.push(returned(20, 25, true));
    backlog.compose("word", |_, _| Priority::Low);
    let told: Vec<_> = backlog.notices().iter().map(|notice| (notice.is_raise(), notice.priority())).collect();
    let [low, high] = [Priority::Low, Priority::High];
    assert_eq!(told, [(false, low), (true, high), (false, high), (true, high)], "one that was superseded calls nobody");
}
