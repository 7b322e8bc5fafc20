//! The rules over made-up tools: when each is raised, what it says, and when it returns.

mod liner;
mod waiting;

use super::*;
use crate::entry::{CentiCelsius, Heater, HotEnd, Job, JobState, PrinterName, Reading, Settings, ToolNumber};
use crate::tracker::{Context, Doing, ToolNow};
use dwell_analysis::time::Timestamp;
use dwell_analysis::units::{Celsius, DoseMinutes, Seconds};
use std::sync::Arc;

const START: Timestamp = Timestamp::from_ms(1_772_438_400_000);
const LIMIT: f64 = 60.0;

/// One printer with one tool, T0, of PLA, a reading every 10 s.
struct Bench {
    ledger: Ledger,
    material: &'static str,
    job: JobState,
    doing: Doing,
    actual: Option<f64>,
    target: Option<f64>,
    bed: Option<(f64, Option<f64>)>,
    dose: f64,
    second: f64,
}

const WAITS: Doing = Doing::Waiting { since: START, context: Context::InPrint, idle: Seconds::ZERO };
const WORKS: Doing = Doing::Working { since: START };

impl Bench {
    /// By the usual rules, but that a level of the melt's dose is told of at once.
    fn new() -> Self {
        let at_once = Change { on_delay: Some(Seconds::ZERO), ..Change::default() };
        let of = |rule| Override { rule, printer: None, material: None, change: at_once };
        let overrides = vec![of(Rule::ResidenceNote), of(Rule::ResidenceWarn)];
        Self::with(&Rules { overrides, ..Rules::default() })
    }

    fn with(rules: &Rules) -> Self {
        Self {
            ledger: Ledger::new(HotEnd::Separate, Arc::new(rules.of(&bench())), Arc::default()),
            material: "PLA",
            job: JobState::Printing,
            doing: WAITS,
            actual: Some(170.0),
            target: None,
            bed: None,
            dose: 0.0,
            second: 0.0,
        }
    }

    /// What one more reading says.
    fn read(&mut self) -> Vec<String> {
        self.read_after(10.0, false)
    }

    fn read_after(&mut self, lasted: f64, after_gap: bool) -> Vec<String> {
        told(&self.effects(lasted, after_gap))
    }

    fn effects(&mut self, lasted: f64, after_gap: bool) -> Vec<AlarmEffect> {
        self.second += lasted;
        let heater = |actual: Option<f64>, target: Option<f64>| Heater {
            actual: actual.and_then(CentiCelsius::nearest),
            target: target.and_then(CentiCelsius::nearest),
            ..Heater::default()
        };
        let reading = Reading {
            at: START + Seconds::new(self.second),
            after_gap,
            job: Job { state: self.job, name: None, fraction_millionths: None, byte: None },
            active_tool: None,
            tools: vec![heater(self.actual, self.target)],
            bed: self.bed.map(|(actual, target)| heater(Some(actual), target)),
        };
        let tool = ToolNow {
            doing: self.doing,
            actual: self.actual.map(Celsius::new),
            target: self.target.map(Celsius::new),
            dose: DoseMinutes::new(self.dose),
            limit: DoseMinutes::new(LIMIT),
        };
        let settings = Settings { material: Some(Arc::from(self.material)), ..Settings::default() };
        let mut effects = self.ledger.weigh(&reading, after_gap, &[tool], [settings].iter());
        // These scenes jump from one temperature to the next, as no heater does; heaters have scenes of their own.
        effects.retain(|effect| !Rule::OF_HEATERS.contains(&effect.key().0.rule));
        effects
    }

    /// What a reading of the tool waiting with that dose says.
    fn at_dose(&mut self, dose: f64) -> Vec<String> {
        (self.doing, self.dose) = (WAITS, dose);
        self.read()
    }

    /// What is said within so many seconds.
    fn wait(&mut self, seconds: f64) -> Vec<String> {
        let until = self.second + seconds;
        let mut all = Vec::new();
        while self.second < until {
            all.extend(self.read());
        }
        all
    }
}

fn bench() -> PrinterName {
    PrinterName::new("bench").unwrap()
}

/// `+rule` or, suppressed, `(+rule)`; `-rule` or, superseded, `~rule`.
fn told(effects: &[AlarmEffect]) -> Vec<String> {
    let told = |effect: &AlarmEffect| match effect {
        AlarmEffect::Raised { subject, suppressed: Some(_), .. } => format!("(+{})", subject.rule.word()),
        AlarmEffect::Raised { subject, .. } => format!("+{}", subject.rule.word()),
        AlarmEffect::Returned { subject, is_superseded: true, .. } => format!("~{}", subject.rule.word()),
        AlarmEffect::Returned { subject, .. } => format!("-{}", subject.rule.word()),
    };
    effects.iter().map(told).collect()
}

fn cause_of(effects: &[AlarmEffect]) -> &str {
    let [AlarmEffect::Raised { cause, .. }, ..] = effects else { unreachable!("not raised: {effects:?}") };
    cause
}

fn only(rule: Rule, change: Change) -> Rules {
    Rules { overrides: vec![Override { rule, printer: None, material: None, change }], ..Rules::default() }
}

const NOTHING: [&str; 0] = [];

#[test]
fn a_gap_and_readings_that_tell_nothing_count_neither_for_nor_against() {
    let mut bench = Bench::new();
    bench.actual = Some(205.0);
    assert_eq!(bench.wait(590.0), NOTHING);
    assert_eq!(bench.read_after(3600.0, true), NOTHING);
    (bench.doing, bench.actual) = (Doing::Unknown, None);
    assert_eq!(bench.wait(3600.0), NOTHING);
    (bench.doing, bench.actual) = (WAITS, Some(205.0));
    assert_eq!(bench.read(), NOTHING);
    assert_eq!(bench.wait(20.0), ["+idle_hot"]);
}

#[test]
fn heaters_on_with_nothing_to_print_are_an_alarm_after_half_an_hour_that_names_each() {
    for job in [JobState::None, JobState::Completed, JobState::Cancelled, JobState::Failed] {
        let mut bench = Bench::new();
        (bench.job, bench.target, bench.bed) = (job, Some(170.0), Some((60.0, Some(60.0))));
        assert_eq!(bench.wait(1800.0), NOTHING, "{job:?}");
        let effects = bench.effects(10.0, false);
        let cause = cause_of(&effects);
        for piece in ["for 30 min", "T0 at 170 °C, set to 170 °C", "the bed at 60 °C, set to 60 °C"] {
            assert!(cause.contains(piece), "{cause}");
        }
        assert_eq!(told(&effects), ["+hot_no_print"]);
        (bench.target, bench.bed) = (Some(0.0), Some((60.0, Some(0.0))));
        assert_eq!(bench.wait(70.0), ["-hot_no_print"], "off, though still hot");
    }
    for job in [JobState::Heating, JobState::Printing] {
        let mut bench = Bench::new();
        (bench.job, bench.target) = (job, Some(170.0));
        assert_eq!(bench.wait(7200.0), NOTHING, "{job:?}");
    }
}

#[test]
fn without_a_told_set_point_what_is_hot_and_does_not_fall_is_on() {
    let mut bench = Bench::new();
    bench.job = JobState::None;
    // A heavy bed that cools: 60 to 45 °C in half an hour.
    let mut cooling = 0.0;
    (bench.doing, bench.actual) = (Doing::Cold, Some(30.0));
    while cooling < 3600.0 {
        bench.bed = Some((25.0 + 35.0 * f64::exp(-cooling / 3000.0), None));
        assert_eq!(bench.read(), NOTHING, "{cooling}");
        cooling += 10.0;
    }
    // One that is held, with the sensor's noise.
    for reading in 0..175 {
        bench.bed = Some((60.0 + if reading % 2 == 0 { 0.9 } else { -0.9 }, None));
        assert_eq!(bench.read(), NOTHING, "{reading}");
    }
    assert_eq!(bench.wait(420.0), ["+hot_no_print"]);
}

#[test]
fn a_pause_with_hot_nozzles_is_an_alarm_and_one_with_a_warm_bed_alone_is_none() {
    let mut bench = Bench::new();
    (bench.job, bench.target, bench.bed) = (JobState::Paused, Some(0.0), Some((60.0, Some(60.0))));
    assert_eq!(bench.wait(7200.0), NOTHING);
    bench.target = Some(170.0);
    assert_eq!(bench.wait(900.0), NOTHING);
    let effects = bench.effects(10.0, false);
    assert!(cause_of(&effects).contains("paused for 15 min"), "{effects:?}");
    bench.job = JobState::Printing;
    assert_eq!(bench.wait(70.0), ["-paused_hot"]);
}

#[test]
fn a_hot_end_over_its_liner_s_rating_is_an_alarm_and_an_untold_liner_is_ptfe() {
    let mut rated = Rules::default();
    rated.liners.push((bench(), 0, Celsius::new(285.0)));
    for (rules, limit, says) in
        [(Rules::default(), 250.0, "does not say what liner"), (rated, 285.0, "its liner is rated for 285 °C")]
    {
        let mut bench = Bench::with(&rules);
        (bench.doing, bench.actual) = (WORKS, Some(limit));
        assert_eq!(bench.wait(600.0), NOTHING, "at its rating");
        bench.actual = Some(limit + 1.0);
        assert_eq!(bench.read(), NOTHING, "for a moment");
        let effects = bench.effects(10.0, false);
        let [AlarmEffect::Raised { cause, consequence, action, priority, .. }] = effects.as_slice() else {
            unreachable!("{effects:?}")
        };
        assert!(cause.contains(says) && cause.contains(&format!("{:.0} °C", limit + 1.0)), "{cause}");
        assert!(consequence.contains("kill birds") && action.contains("Ventilate"), "{consequence} {action}");
        assert_eq!(*priority, Priority::High);
        bench.actual = Some(limit - 3.1);
        assert_eq!(bench.wait(70.0), ["-over_liner"]);
    }
}

#[test]
fn each_rule_is_tuned_by_the_configuration() {
    let sooner = Change { on_delay: Some(Seconds::new(20.0)), priority: Some(Priority::Low), ..Change::default() };
    for (rule, job) in
        [(Rule::IdleHot, JobState::Printing), (Rule::HotNoPrint, JobState::None), (Rule::PausedHot, JobState::Paused)]
    {
        let mut bench = Bench::with(&only(rule, sooner));
        (bench.job, bench.actual, bench.target) = (job, Some(200.0), Some(200.0));
        let mut effects = Vec::new();
        for _ in 0..4 {
            effects.extend(bench.effects(10.0, false));
        }
        let [AlarmEffect::Raised { subject, priority, at, .. }] = effects.as_slice() else {
            unreachable!("{effects:?}")
        };
        assert_eq!((subject.rule, *priority, *at), (rule, Priority::Low, START + Seconds::new(30.0)));
    }
    let later = Change { bound: Some(0.9), on_delay: Some(Seconds::ZERO), ..Change::default() };
    let mut bench = Bench::with(&only(Rule::ResidenceWarn, later));
    bench.dose = 53.9;
    assert_eq!(bench.read(), NOTHING);
    bench.dose = 54.0;
    assert_eq!(bench.read(), ["+residence_warn"]);
}

#[test]
fn the_more_specific_tuning_counts_and_of_two_alike_the_later() {
    let over = |printer: bool, material: Option<&str>, bound| Override {
        rule: Rule::IdleHot,
        printer: printer.then(bench),
        material: material.map(str::to_owned),
        change: Change { bound: Some(bound), ..Change::default() },
    };
    let overrides = vec![
        over(true, Some("PETG"), 1.0),
        over(true, None, 2.0),
        over(false, Some("PETG"), 3.0),
        over(false, None, 4.0),
        over(false, None, 5.0),
    ];
    let rules = Rules { overrides, ..Rules::default() };
    let attic = PrinterName::new("attic").unwrap();
    for (printer, material, bound) in
        [(bench(), "petg", 1.0), (bench(), "PLA", 2.0), (attic.clone(), "PETG", 3.0), (attic, "PLA", 5.0)]
    {
        let Bound::Over { at, .. } = rules.of(&printer).tuning(Rule::IdleHot, Some(material)).bound else {
            unreachable!()
        };
        assert_eq!(at, Some(Celsius::new(bound)), "{printer} {material}");
    }
}

#[test]
fn the_alarms_of_a_printer_that_is_being_set_up_are_suppressed() {
    for is_commissioning in [false, true] {
        let commissioning = if is_commissioning { vec![bench()] } else { Vec::new() };
        let mut bench = Bench::with(&Rules { commissioning, ..Rules::default() });
        bench.dose = 62.0;
        let effects = bench.effects(10.0, false);
        let [AlarmEffect::Raised { suppressed, .. }] = effects.as_slice() else { unreachable!("{effects:?}") };
        assert_eq!(*suppressed, is_commissioning.then_some(Suppressed::Commissioning));
    }
}

#[test]
fn after_a_restart_only_what_was_committed_stands() {
    let note = Subject { rule: Rule::ResidenceNote, tool: Some(ToolNumber::FIRST) };
    // Raised, but never committed: it is raised again.
    let mut bench = Bench::new();
    bench.dose = 12.0;
    assert_eq!(bench.read(), ["+residence_note"]);
    bench.ledger.reconcile(&[], &[]);
    assert_eq!(bench.read(), ["+residence_note"]);
    // Committed, and not followed again: it stands, and returns under its own name.
    let mut bench = Bench::new();
    bench.ledger.reconcile(&[(note, START)], &[]);
    bench.dose = 12.0;
    assert_eq!(bench.wait(60.0), NOTHING);
    bench.dose = 1.0;
    let effects: Vec<_> = (0..7).flat_map(|_| bench.effects(10.0, false)).collect();
    let [AlarmEffect::Returned { subject, raised, .. }] = effects.as_slice() else { unreachable!("{effects:?}") };
    assert_eq!((*subject, *raised), (note, START));
    // What a graver alarm spoke for when it was committed stays unsaid.
    let warn = Subject { rule: Rule::ResidenceWarn, ..note };
    let mut bench = Bench::new();
    bench.dose = 12.0;
    bench.read();
    bench.dose = 26.0;
    bench.read();
    bench.ledger.reconcile(&[(warn, START)], &[]);
    assert_eq!(bench.wait(60.0), NOTHING);
}
