//! What a change does, against the law that made the record and against what a hand reckons.

use super::*;
use crate::advice::course::tests::{course, horizon, situation, standby, wait};
use crate::advice::wait::{Asked, Waiting};
use crate::advice::{Course, PartKind, Step, Wait};
use crate::polymer::Material;
use crate::risk::{Features, Learner, State, Told, ToolRun};
use crate::units::{Celsius, CubicMm, DoseMinutes, Millimetres, Seconds};
use rand::{RngExt, SeedableRng};
use rand_chacha::ChaCha8Rng;

/// Runs that are asked of.
const ASKED: usize = 30;

/// Runs of one to eight waits; whoever prints tries another standby now and then, and a prime each time.
pub(in crate::advice) fn history(rng: &mut ChaCha8Rng, n: usize) -> Vec<Course> {
    let asked = situation(&[], &[]);
    let waiting = Waiting { times: &asked.times, heats_ahead: false };
    let set = |to: f64| Asked {
        facts: asked.facts,
        print: Some(Celsius::new(210.0)),
        standby: Some(Celsius::new(to)),
        retract: Some(Millimetres::new(1.0)),
    };
    let mut held = 210.0;
    let run = |_| {
        if rng.random_bool(0.1) {
            held = [140.0, 160.0, 180.0, 200.0, 210.0][rng.random_range(0..5)];
        }
        let waits: Vec<Wait> = (0..rng.random_range(1..9))
            .map(|_| {
                let minutes = 60.0_f64.powf(rng.random::<f64>());
                let hot = wait(minutes, 210.0, 210.0, 1.9 * minutes);
                waiting.otherwise(&hot, &set(210.0), &set(held)).wait
            })
            .collect();
        let mut made = course(held, waits);
        made.features.prime = Some(CubicMm::new(rng.random_range(5.0..40.0)));
        made
    };
    (0..n).map(run).collect()
}

/// Doubles with the dose of its worst wait, to a half at most.
pub(in crate::advice) fn jams(features: &Features) -> f64 {
    (0.01 * features.dose_max.map_or(0.0, DoseMinutes::get)).min(0.5)
}

pub(in crate::advice) fn told(rng: &mut ChaCha8Rng, courses: &[Course], law: fn(&Features) -> f64) -> (Learner, usize) {
    let runs: Vec<ToolRun> =
        courses.iter().enumerate().map(|(print, of)| ToolRun { print, features: of.features }).collect();
    let happened: Vec<bool> = runs.iter().map(|run| rng.random_bool(law(&run.features))).collect();
    let words: Vec<Told> = (0..).zip(&happened).map(|(at, yes)| Told::of(at, at + 1, Some(*yes))).collect();
    let events = happened.iter().filter(|yes| **yes).count();
    (Learner::of(FailureMode::Jam, &runs, &words), events)
}

fn lesson(learner: &Learner, mode: FailureMode, events: usize) -> Lesson<'_> {
    let loss = Seconds::minutes(120.0);
    Lesson {
        mode,
        learner,
        state: State::Learned,
        inseparable: &[],
        loss,
        n: 150,
        events,
        own_n: 150,
        own_events: events,
    }
}

/// Of 40 histories: how often the interval holds the truth as it is and with the change, the mean of the surety, and
/// the least and the most.
fn asked_of(law: fn(&Features) -> f64, to: f64) -> (u32, u32, Vec<f64>) {
    let (mut now_held, mut after_held, mut sure) = (0, 0, Vec::new());
    for seed in 0..40 {
        let mut rng = ChaCha8Rng::seed_from_u64(400 + seed);
        let courses = history(&mut rng, 150);
        let (learner, events) = told(&mut rng, &courses, law);
        let lessons = [lesson(&learner, FailureMode::Jam, events)];
        let mut asked = situation(&courses[150 - ASKED..], &lessons);
        asked.held.standby = Some(Celsius::new(200.0));
        let found = AsIs::of(&asked).effect(&standby(to)).unwrap().modes[0].effect;
        let truth = |change: Option<&Change>| horizon(&asked, change).iter().map(law).sum::<f64>() / count(ASKED);
        let holds = |told: Estimate, truth: f64| u32::from((told.low..=told.high).contains(&truth));
        now_held += holds(found.now, truth(None));
        after_held += holds(found.after, truth(Some(&standby(to))));
        sure.push(found.falls);
    }
    sure.sort_unstable_by(f64::total_cmp);
    println!(
        "to {to}: held {now_held} and {after_held} of 40, sure {:?}",
        [sure[0], sure[4], sure[20], sure[35], sure[39]]
    );
    (now_held, after_held, sure)
}

/// Where dose does it, and where nothing does, which may be called sure by chance one time in ten.
#[test]
fn a_cooler_standby_is_told_to_help_where_it_does_and_seldom_where_it_does_not() {
    let (now, after, sure) = asked_of(jams, 150.0);
    assert!(now >= 34 && after >= 34 && sure[8] > 0.9, "{now} {after} {sure:?}");
    let (now, after, sure) = asked_of(|_| 0.12, 150.0);
    assert!(now >= 34 && after >= 34 && sure[35] < 0.9, "{now} {after} {sure:?}");
}

/// The law is asked of the hotter standby: it harms, and the effect says so.
#[test]
fn a_hotter_standby_is_not_told_to_help() {
    let (_, _, sure) = asked_of(jams, 210.0);
    assert!(sure[35] < 0.2, "{sure:?}");
}

fn worked(change: &Change, courses: &[Course]) -> Effect {
    let mut rng = ChaCha8Rng::seed_from_u64(3);
    let past = history(&mut rng, 60);
    let (learner, events) = told(&mut rng, &past, jams);
    let lessons = [lesson(&learner, FailureMode::Jam, events), lesson(&learner, FailureMode::Liner, events)];
    AsIs::of(&situation(courses, &lessons)).effect(change).unwrap()
}

/// Two waits a run that were not dropped: from 150 °C each turn waits 200 ln(575/515) + 3.5 = 25.54 s, and a typical
/// heater may take half or twice that.
#[test]
fn turns_that_wait_for_heat_cost_what_the_heater_takes() {
    let hot = || wait(30.0, 210.0, 210.0, 60.0);
    let courses = vec![course(210.0, vec![hot(), hot()]); 3];
    let found = worked(&standby(150.0), &courses);
    let takes = 2.0 * (200.0 * (575.0_f64 / 515.0).ln() + 3.5) / 60.0;
    let told = found.minutes;
    assert!((told.value - takes).abs() < 0.01 && (told.low - takes / 2.0).abs() < 0.01, "{told:?}");
    assert!((told.high - 2.0 * takes).abs() < 0.02 && told.n == 0, "{told:?}");
    assert_eq!((found.n_waits, found.n_long_waits), (6, 6));
    let back = worked(&standby(210.0), &vec![course(150.0, vec![wait(30.0, 151.2, 150.0, 1.2); 2]); 3]).minutes;
    assert!((back.value + takes).abs() < 0.01 && back.low < back.value && back.value < back.high, "{back:?}");
}

/// To 140 °C it takes 95.1 s to cool and 29.0 s to heat: two minutes are too short, and two and a half are not.
#[test]
fn waits_are_long_from_the_round_trip_on_and_heat_that_is_ahead_costs_nothing() {
    let ahead = |minutes| wait(minutes, 160.0, 209.5, 1.0);
    let courses = vec![course(150.0, vec![ahead(2.0), ahead(2.5), ahead(30.0)])];
    let found = worked(&standby(140.0), &courses);
    assert_eq!((found.n_waits, found.n_long_waits), (3, 2));
    assert!(found.minutes.value.abs() < 1e-9 && found.minutes.high.abs() < 1e-9, "{:?}", found.minutes);
}

#[test]
fn what_is_done_once_is_spread_over_the_prints_and_what_goes_on_costs_nothing() {
    let courses = vec![course(150.0, vec![wait(30.0, 151.2, 150.0, 1.2)]); 4];
    let liner = worked(&Change::Replace(PartKind::Liner), &courses).minutes;
    assert!((liner.value - 5.0).abs() < 1e-9 && liner.low < 5.0 && liner.high > 5.0 && liner.n == 0);
    let dried = worked(&Change::Dried(Step { from: Some(true), to: true }), &courses).minutes;
    assert_eq!((dried.low, dried.high), (0.0, 0.0));
    // 20 mm³ more at each of its turns, one a run, at 4 mm³/s are 5 s.
    let prime = Change::Prime(Step { from: Some(CubicMm::new(10.0)), to: CubicMm::new(30.0) });
    let prime = worked(&prime, &courses).minutes;
    assert!((prime.value - 5.0 / 60.0).abs() < 1e-9 && (prime.high - 10.0 / 60.0).abs() < 1e-9, "{prime:?}");
    let shorter = Change::Retract(Step { from: Some(Millimetres::new(2.0)), to: Millimetres::new(1.0) });
    let shorter = worked(&shorter, &courses).minutes;
    assert!(shorter.low < shorter.value && shorter.value < shorter.high && shorter.high < 0.0, "{shorter:?}");
}

#[test]
fn what_nobody_told_is_in_force_costs_no_certain_time() {
    let courses = vec![course(150.0, vec![wait(30.0, 151.2, 150.0, 1.2)]); 4];
    let may_go_either_way = [
        Change::Retract(Step { from: None, to: Millimetres::new(1.0) }),
        Change::RetractSpeed(Step { from: None, to: 35.0 }),
        Change::Prime(Step { from: None, to: CubicMm::new(30.0) }),
    ];
    for change in may_go_either_way {
        let found = worked(&change, &courses).minutes;
        assert!(found.low < 0.0 && found.high > 0.0, "{change:?}: {found:?}");
        assert!((found.low..=found.high).contains(&found.value) && found.n == 0, "{change:?}: {found:?}");
    }
    // A slower draw takes longer, by a length that nobody told.
    let slower = worked(&Change::RetractSpeed(Step { from: Some(35.0), to: 20.0 }), &courses).minutes;
    assert!(slower.low > 0.0 && slower.high > slower.low, "{slower:?}");
    // It may be dried already, or be printed as it comes.
    let dried = worked(&Change::Dried(Step { from: None, to: true }), &courses).minutes;
    assert!((dried.low, dried.high) == (0.0, 10.0) && (dried.value - 5.0).abs() < 1e-9, "{dried:?}");
    let left_off = worked(&Change::Dried(Step { from: None, to: false }), &courses).minutes;
    assert_eq!((left_off.low, left_off.value, left_off.high), (-10.0, 0.0, 0.0));
}

/// The chance that either happens is a + b - a b, draw by draw.
#[test]
fn modes_are_put_together_draw_by_draw_and_weighed_by_what_they_cost() {
    let courses = vec![course(210.0, vec![wait(30.0, 210.0, 210.0, 60.0); 2]); 5];
    let found = worked(&standby(150.0), &courses);
    let [jam, liner] = [&found.modes[0], &found.modes[1]];
    let RiskMove { now, after, sure } = found.any(&[FailureMode::Jam]).unwrap();
    assert_eq!((now, after, sure), (jam.effect.now, jam.effect.after, jam.effect.falls));
    let both = found.any(&[FailureMode::Jam, FailureMode::Liner]).unwrap().now;
    let by_hand = jam.draws.now.iter().zip(&liner.draws.now).map(|(a, b)| a + b - a * b).sum::<f64>() / 400.0;
    assert!((both.value - by_hand).abs() < 1e-12 && both.value > now.value, "{both:?} {by_hand}");
    let mut rng = ChaCha8Rng::seed_from_u64(3);
    let (learner, _) = told(&mut rng, &courses, |_| 0.5);
    let gain = found.gain(&[lesson(&learner, FailureMode::Jam, 1)]);
    let saved = 120.0 * (jam.effect.now.value - jam.effect.after.value) - found.minutes.value;
    assert!((gain.value - saved).abs() < 1e-9 && gain.low < gain.value && gain.value < gain.high, "{gain:?}");
}

#[test]
fn what_has_no_liner_can_not_fail_by_it_and_jams_as_before() {
    let courses = vec![course(210.0, vec![wait(30.0, 210.0, 210.0, 60.0)]); 5];
    let found = worked(&Change::AllMetal, &courses);
    let liner = found.modes[1].effect;
    assert!(liner.after.high <= 0.0 && liner.now.low > 0.0 && liner.falls >= 1.0, "{liner:?}");
    assert_eq!(found.modes[0].draws.now, found.modes[0].draws.after);
}

#[test]
fn a_tool_without_runs_has_no_effect_to_tell() {
    let mut rng = ChaCha8Rng::seed_from_u64(3);
    let past = history(&mut rng, 60);
    let (learner, events) = told(&mut rng, &past, jams);
    let lessons = [lesson(&learner, FailureMode::Jam, events)];
    assert_eq!(AsIs::of(&situation(&[], &lessons)).effect(&standby(150.0)), None);
    let untold = AsIs::of(&situation(&past, &[])).effect(&standby(150.0)).unwrap();
    assert_eq!((untold.modes.len(), untold.any(&[FailureMode::Jam])), (0, None));
    assert_eq!(past[0].features.material, Material::Pla);
}
