use super::matter::{disk_low, outcome_missing, parts_due};
use super::*;
use crate::alarm::{Change, Override, Priority, State, Suppressed};
use crate::config::Config;
use crate::entry::{Mode, Outcome, PrintEnd, ToolNumber};
use crate::tracker::Effect;
use crate::web::Attempt;
use dwell_analysis::estimate::Estimate;
use dwell_dashboards::view::{PartExpected, PartView, Replace};
use std::path::PathBuf;

const NOON: Timestamp = Timestamp::from_ms(1_772_452_800_000); // 2026-03-02T12:00:00Z
const HOUR: Seconds = Seconds::minutes(60.0);

fn bench() -> PrinterName {
    PrinterName::new("bench").unwrap()
}

fn hours(n: f64) -> Timestamp {
    NOON + Seconds::new(n * HOUR.get())
}

fn matter(rule: Rule) -> Matter {
    let key = (None, Subject { rule, tool: None });
    let words = |what: &str| format!("{what} of {}", rule.word());
    Matter { key, cause: words("cause"), consequence: words("consequence"), action: words("action") }
}

fn found(rule: Rule, holds: bool) -> Vec<Matters> {
    vec![Matters { rule, found: Some(holds.then(|| matter(rule)).into_iter().collect()) }]
}

/// The changes of one look, before which nothing was looked at.
fn settle(
    stands: &[(Key, Timestamp)],
    found: Vec<Matters>,
    rules: &Rules,
    now: Timestamp,
) -> Vec<(Option<PrinterName>, AlarmEffect)> {
    Standing::default().settle(stands, found, rules, now)
}

#[test]
fn a_matter_is_raised_once_and_returns_when_it_is_done() {
    let rules = Rules::default();
    let raised = settle(&[], found(Rule::DiskLow, true), &rules, NOON);
    let [(None, AlarmEffect::Raised { subject, at, priority, suppressed: None, .. })] = raised.as_slice() else {
        unreachable!("one is raised: {raised:?}")
    };
    assert_eq!((subject.rule, *at, *priority), (Rule::DiskLow, NOON, Priority::Medium));
    let stands = [((None, *subject), NOON)];
    assert!(settle(&stands, found(Rule::DiskLow, true), &rules, hours(1.0)).is_empty());
    // What is not known changes nothing, and neither does another rule.
    let unknown = vec![Matters { rule: Rule::DiskLow, found: None }];
    assert!(settle(&stands, unknown, &rules, hours(1.0)).is_empty());
    assert!(settle(&stands, found(Rule::PartDue, false), &rules, hours(1.0)).is_empty());
    let gone = settle(&stands, found(Rule::DiskLow, false), &rules, hours(2.0));
    let returned = AlarmEffect::Returned { subject: *subject, raised: NOON, at: hours(2.0), is_superseded: false };
    assert_eq!(gone, [(None, returned)]);
}

#[test]
fn priorities_are_those_of_the_configuration_and_a_printer_that_is_set_up_calls_nobody() {
    let change = Change { priority: Some(Priority::High), ..Change::default() };
    let overrides = vec![Override { rule: Rule::OutcomeMissing, printer: None, material: None, change }];
    let rules = Rules { overrides, commissioning: vec![bench()], ..Rules::default() };
    let key = (Some(bench()), Subject { rule: Rule::OutcomeMissing, tool: None });
    let found = Some(vec![Matter { key, ..matter(Rule::OutcomeMissing) }]);
    let raised = settle(&[], vec![Matters { rule: Rule::OutcomeMissing, found }], &rules, NOON);
    let [(Some(printer), AlarmEffect::Raised { priority, suppressed, .. })] = raised.as_slice() else {
        unreachable!("one is raised: {raised:?}")
    };
    assert_eq!((printer, *priority, *suppressed), (&bench(), Priority::High, Some(Suppressed::Commissioning)));
}

#[test]
fn delays_of_the_configuration_count_from_the_look_that_found_it_first() {
    let text = "[[alarm.rule]]\nrule = \"disk_low\"\non_delay_s = 7200\noff_delay_s = 3600\n[[printer]]\nname = \"bench\"\n\
        [[printer.document]]\nname = \"all\"\nurl = \"http://127.0.0.1:9/\"\n[printer.job.state]\npath = \"/state\"\n\
        [[printer.tool]]\nactual = { path = \"/t0\" }\n";
    let config = Config::parse(text, std::path::Path::new("dwellwatch.toml")).unwrap();
    let mut standing = Standing::default();
    let mut stands: Vec<(Key, Timestamp)> = Vec::new();
    let mut look = |hour: f64, found: Option<bool>| {
        let matters = found.map(|holds| holds.then(|| matter(Rule::DiskLow)).into_iter().collect());
        let found = vec![Matters { rule: Rule::DiskLow, found: matters }];
        let changes = standing.settle(&stands, found, config.rules(), hours(hour));
        for (printer, change) in &changes {
            match change {
                AlarmEffect::Raised { subject, at, .. } => stands.push(((printer.clone(), *subject), *at)),
                AlarmEffect::Returned { .. } => stands.clear(),
            }
        }
        (changes.len(), stands.len(), standing.is_turning())
    };
    assert_eq!(look(0.0, Some(true)), (0, 0, true));
    assert_eq!(look(1.9, Some(true)), (0, 0, true));
    // It went away, and its two hours begin anew.
    assert_eq!(look(1.95, Some(false)), (0, 0, false));
    assert_eq!(look(3.0, Some(true)), (0, 0, true));
    // Not known: neither for nor against.
    assert_eq!(look(4.0, None), (0, 0, false));
    assert_eq!(look(5.0, Some(true)), (0, 0, true));
    assert_eq!(look(6.0, Some(true)), (0, 0, true));
    assert_eq!(look(7.0, Some(true)), (1, 1, false));
    assert_eq!(look(8.0, Some(false)), (0, 1, true));
    assert_eq!(look(8.9, Some(false)), (0, 1, true));
    assert_eq!(look(9.0, Some(false)), (1, 0, false));
}

#[test]
fn what_did_not_get_into_the_record_is_raised_again_after_its_delay() {
    let rules = Rules::default();
    let mut standing = Standing::default();
    assert_eq!(standing.settle(&[], found(Rule::DiskLow, true), &rules, NOON).len(), 1);
    assert_eq!(standing.settle(&[], found(Rule::DiskLow, true), &rules, hours(0.1)).len(), 1);
}

#[test]
fn a_disk_is_low_under_what_is_needed_and_well_again_a_tenth_above_it() {
    let room = |free| Room { folder: PathBuf::from("/srv/record"), free, needed: 400_000_000 };
    assert!(disk_low(&room(400_000_000), false).is_none() && disk_low(&room(399_999_999), false).is_some());
    assert!(disk_low(&room(430_000_000), true).is_some() && disk_low(&room(440_000_000), true).is_none());
    let cause = disk_low(&room(123_400_000), false).unwrap().cause;
    assert!(cause.contains("/srv/record, has 123.4 MB free; 400.0 MB should be"), "{cause}");
}

fn part(tool: usize, part: &'static str, replace: Replace) -> PartView {
    let left = Estimate { value: 1.0, low: 0.1, high: 9.0, n: 3 };
    let expected = PartExpected {
        left_h: left,
        left_days: Err("too few days".to_owned()),
        limit_h: 98.0,
        accepted: Probability::new(0.1).unwrap(),
        replace,
        basis: "mixed",
        n_lives: 3,
        n_failures: 1,
    };
    PartView {
        printer: "bench".to_owned(),
        tool,
        part,
        fitted: NOON,
        as_of: Some(NOON),
        hot: HOUR,
        wear_h: Ok(103.2),
        heat_cycles: 9,
        expected: Ok(expected),
    }
}

#[test]
fn a_tool_s_parts_that_are_due_are_one_matter_with_when_the_next_is() {
    let before = Replace::Before { at: hours(480.0), low: NOON, high: NOON };
    let due = parts_due(&[
        part(0, "liner", before.clone()),
        part(1, "liner", Replace::Due),
        part(1, "nozzle", before),
        part(1, "heater", Replace::Unknown("they fail by chance".to_owned())),
    ]);
    let [matter] = due.as_slice() else { unreachable!("T1 alone: {due:?}") };
    assert_eq!(matter.key, (Some(bench()), Subject { rule: Rule::PartDue, tool: ToolNumber::new(1) }));
    let says = "T1: its liner, fitted on Mon 2 Mar 2026, has 103 h of wear; the chance that it fails stays under 10 % up to \
        98 h. Next: the nozzle before Sun 22 Mar 2026.";
    assert_eq!(matter.cause, says);
}

/// A store with prints that ended so many hours before noon.
fn store(ended: &[f64]) -> (tempfile::TempDir, Store) {
    let folder = tempfile::tempdir().unwrap();
    let store = Store::open(&folder.path().join("record.db")).unwrap();
    store.ensure_printer(&bench(), crate::entry::HotEnd::Separate, 2).unwrap();
    for before in ended {
        let (started, at) = (hours(-before - 1.0), hours(-before));
        let began = Effect::PrintStarted { started, name: Some(Arc::from("lantern.gcode")) };
        let end = Effect::PrintEnded { started, at, end: PrintEnd::Completed, fraction_millionths: None };
        let effects = vec![began, end];
        store.commit(Commit { printer: bench(), effects, alarms: Vec::new(), notices: false }).unwrap();
    }
    (folder, store)
}

fn prints(store: &Store) -> Vec<crate::store::PrintRow> {
    store.reader().unwrap().prints(&PrintFilter::default()).unwrap()
}

fn report(store: &Store, before: f64) {
    let (at, started, job) = (NOON, hours(-before - 1.0), Arc::from("lantern.gcode"));
    let said = Outcome { at, job, started, tool: None, mode: Mode::Clean, severity: None, note: None };
    store.record_outcome(&bench(), &said).unwrap();
}

#[test]
fn outcomes_are_missing_from_three_prints_on_that_people_had_a_day_for_and_until_the_last_is_told() {
    let (_folder, record) = store(&[200.0, 100.0, 60.0, 5.0]);
    // One is too long ago and one too fresh: two are not enough.
    assert!(outcome_missing(&bench(), &prints(&record), false, NOON).is_none());
    let (_folder, record) = store(&[200.0, 160.0, 100.0, 60.0, 5.0]);
    let missed = outcome_missing(&bench(), &prints(&record), false, NOON).unwrap();
    assert_eq!(missed.cause, "Prints of the last 7 days wait for a word on how they came out.");
    for (before, stands) in [(160.0, true), (100.0, true), (60.0, false)] {
        report(&record, before);
        let still = outcome_missing(&bench(), &prints(&record), true, NOON);
        assert_eq!(still.is_some(), stands, "{before}");
        assert!(still.is_none_or(|still| still.cause == missed.cause), "what it said when it was raised stays true");
        assert!(outcome_missing(&bench(), &prints(&record), false, NOON).is_none());
    }
}

fn duties(store: &Store, learning: Learning, attempts: &Arc<Attempts>) -> Duties {
    // Faster than real time, so that the wall clock has no say.
    let clock = Arc::new(Clock::rehearsal(NOON, 1.001));
    Duties::new(store.clone(), clock, Rules::default(), learning, Arc::clone(attempts))
}

/// The alarms of a rule: when each was raised, and whether it stands.
fn alarms(store: &Store, rule: Rule) -> Vec<(Timestamp, bool, State)> {
    let rows = store.reader().unwrap().alarms(None, None).unwrap().into_iter();
    rows.filter(|row| row.subject.rule == rule).map(|row| (row.raised, row.returned.is_none(), row.state)).collect()
}

#[test]
fn what_stands_survives_a_restart_without_a_second_alarm_and_returns_when_it_is_done() {
    let (_folder, store) = store(&[100.0, 80.0, 60.0]);
    let attempts = Arc::default();
    duties(&store, Learning::default(), &attempts).look().unwrap();
    let first = alarms(&store, Rule::OutcomeMissing);
    assert!(matches!(first[..], [(_, true, State::Unacknowledged)]), "{first:?}");
    let mut again = duties(&store, Learning::default(), &attempts);
    again.look().unwrap();
    again.look().unwrap();
    assert_eq!(alarms(&store, Rule::OutcomeMissing), first);
    for before in [100.0, 80.0, 60.0] {
        report(&store, before);
    }
    again.look().unwrap();
    let after = alarms(&store, Rule::OutcomeMissing);
    assert!(matches!(after[..], [(_, false, _)]), "{after:?}");
}

#[test]
fn nobody_is_asked_for_outcomes_where_silence_means_clean() {
    let (_folder, store) = store(&[100.0, 80.0, 60.0]);
    let silent = Learning { silence_means_clean: true, ..Learning::default() };
    duties(&store, silent, &Arc::default()).look().unwrap();
    assert!(alarms(&store, Rule::OutcomeMissing).is_empty());
    // Set while it stands, it returns.
    duties(&store, Learning::default(), &Arc::default()).look().unwrap();
    duties(&store, silent, &Arc::default()).look().unwrap();
    assert!(matches!(alarms(&store, Rule::OutcomeMissing)[..], [(_, false, _)]));
}

#[test]
fn many_attempts_are_one_alarm_of_the_record_that_names_the_newest() {
    let (_folder, store) = store(&[]);
    let attempts: Arc<Attempts> = Arc::default();
    let mut looks = duties(&store, Learning::default(), &attempts);
    for _ in 0..9 {
        attempts.note(Attempt::WrongToken, NOON);
    }
    looks.look().unwrap();
    assert!(alarms(&store, Rule::SignInFailures).is_empty());
    attempts.note(Attempt::ForgedLink, NOON);
    looks.look().unwrap();
    looks.look().unwrap();
    let raised = alarms(&store, Rule::SignInFailures);
    assert_eq!(raised.len(), 1, "{raised:?}");
    let row = store.reader().unwrap().alarms(None, None).unwrap().pop().unwrap();
    assert!(row.printer.is_none() && row.cause.contains("the newest was a link whose signature"), "{}", row.cause);
    // A restart forgets the attempts, not that they were many within the hour.
    duties(&store, Learning::default(), &Arc::default()).look().unwrap();
    assert!(matches!(alarms(&store, Rule::SignInFailures)[..], [(_, true, _)]));
}
