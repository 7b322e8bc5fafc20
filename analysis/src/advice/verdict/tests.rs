//! Whether verdicts are right as often as they say, counted over simulated trials of known truth.

use super::*;
use crate::advice::trial::{draw, plan};
use crate::advice::{Basis, Change, Step};
use crate::estimate::count;
use crate::units::Celsius;
use rand::{RngExt, SeedableRng};
use rand_chacha::ChaCha8Rng;
use rand_distr::{Distribution, Normal};
use std::sync::OnceLock;
use std::thread;

const TRIALS: u32 = 1000;
/// Where a share far from its bound is counted.
const FEW: u32 = 400;
/// How unlike prints are, as ln hazard; the model knows it of each.
const UNLIKE: f64 = 0.4;

/// A world in which a change is tried.
#[derive(Clone, Copy, Debug)]
struct World {
    design: Design,
    /// Chance of failure that the model expects in the middle.
    now: f64,
    /// How far off the model's level is, as ln; it says so.
    spread: f64,
    /// What all hazards are multiplied with from the trial's begin on, for another reason.
    shift: f64,
    /// What the change multiplies hazards with.
    ratio: f64,
    /// The planned length.
    prints: usize,
}

/// A simulated trial, and the true ratio of risks in its changed prints.
struct Made {
    plan: Plan,
    prints: Vec<Tried>,
    truth: f64,
}

fn about(value: f64, spread: f64) -> Estimate {
    let end = |by: f64| chance(hazard(value) * (by * 1.645 * spread).exp());
    Estimate { value, low: end(-1.0), high: end(1.0), n: 100 }
}

fn planned(design: Design, prints: usize) -> Plan {
    Plan { design, prints, ratio: 0.5, power: 0.8, detects: Some(0.5) }
}

impl World {
    fn make(&self, seed: u32) -> Made {
        let mut rng = ChaCha8Rng::seed_from_u64(u64::from(seed));
        let plan = planned(self.design, self.prints);
        let level = Normal::new(-self.spread * self.spread / 2.0, self.spread).unwrap().sample(&mut rng);
        let unlike = Normal::new(0.0, UNLIKE).unwrap();
        let (mut with, mut without) = (0.0, 0.0);
        let mut prints = Vec::new();
        for arm in draw(longest(&plan), rng.random()) {
            let arm = (self.design == Design::Alternation).then_some(arm);
            let is_changed = arm != Some(Arm::AsBefore);
            let expected = hazard(self.now) * f64::exp(unlike.sample(&mut rng));
            let spared = expected * f64::exp(level) * self.shift;
            let real = if is_changed { spared * self.ratio } else { spared };
            if is_changed {
                with += chance(real);
                without += chance(spared);
            }
            let happened = Some(rng.random::<f64>() < chance(real));
            let expected = about(chance(expected), self.spread);
            prints.push(Tried { arm, applied: Some(is_changed), happened, expected });
        }
        Made { plan, prints, truth: with / without }
    }

    fn count(&self, trials: u32) -> Counted {
        let mut counted = Counted::default();
        for seed in 0..trials {
            let made = self.make(seed);
            let found = verdict(&made.plan, &made.prints).unwrap();
            let n = found.n_changed + found.n_as_before;
            let holds = |ratio: &Estimate| ratio.low <= made.truth && made.truth <= ratio.high;
            let tally = [
                found.outcome == Outcome::Helped,
                found.outcome == Outcome::Helped && n <= self.prints,
                found.stop == Some(WhyStop::Harm),
                holds(&found.ratio),
                holds(&unwatched(&made)),
            ];
            counted.add(tally, n, f64::from(trials));
        }
        println!("{self:?}: {counted:.3?}");
        counted
    }
}

/// The ratio at the planned end of a trial that nobody looked at before.
fn unwatched(made: &Made) -> Estimate {
    let mut groups = Groups::new(made.plan.design);
    for print in &made.prints[..made.plan.prints] {
        groups.add(print, print.has_change(made.plan.design));
    }
    groups.estimate()
}

/// Shares of the trials.
#[derive(Debug, Default)]
struct Counted {
    helped: f64,
    /// No later than planned.
    helped_as_planned: f64,
    harmed: f64,
    /// Whose interval held the truth where it ended,
    held: f64,
    /// and at the planned end, had nobody looked before.
    held_unwatched: f64,
    /// Their mean length.
    length: f64,
}

impl Counted {
    fn add(&mut self, is: [bool; 5], n: usize, trials: f64) {
        let shares =
            [&mut self.helped, &mut self.helped_as_planned, &mut self.harmed, &mut self.held, &mut self.held_unwatched];
        for (share, is) in shares.into_iter().zip(is) {
            *share += f64::from(u8::from(is)) / trials;
        }
        self.length += count(n) / trials;
    }
}

/// Designs, chances and lengths as they are planned for strong effects.
const WORLDS: [World; 4] = [
    World { design: Design::BeforeAfter, now: 0.2, spread: 0.3, shift: 1.0, ratio: 1.0, prints: 56 },
    World { design: Design::BeforeAfter, now: 0.4, spread: 0.1, shift: 1.0, ratio: 1.0, prints: 32 },
    World { design: Design::Alternation, now: 0.2, spread: 0.4, shift: 1.0, ratio: 1.0, prints: 100 },
    World { design: Design::Alternation, now: 0.4, spread: 0.4, shift: 1.0, ratio: 1.0, prints: 64 },
];
const RATIOS: [f64; 4] = [0.2, 0.5, 1.0, 2.5];

/// Each of these worlds at each of these ratios, counted once for all the claims below.
fn counted(ratio: f64) -> impl Iterator<Item = (World, &'static Counted)> {
    static COUNTED: OnceLock<Vec<(World, Counted)>> = OnceLock::new();
    let count = |world: World| RATIOS.map(|ratio| World { ratio, ..world }).map(|world| (world, world.count(TRIALS)));
    let all = COUNTED.get_or_init(|| {
        thread::scope(|scope| {
            let counts = WORLDS.map(|world| scope.spawn(move || count(world)));
            counts.into_iter().flat_map(|counts| counts.join().unwrap()).collect()
        })
    });
    all.iter().filter(move |(world, _)| (world.ratio - ratio).abs() < 1e-9).map(|(world, counted)| (*world, counted))
}

#[test]
fn what_does_nothing_is_called_helpful_in_at_most_one_trial_of_twenty() {
    for (world, counted) in counted(1.0) {
        assert!(counted.helped <= 0.05, "{world:?}: {counted:?}");
        assert!(counted.harmed <= 0.08, "{world:?}: {counted:?}");
    }
}

#[test]
fn what_halves_the_risk_is_hardly_ever_stopped_as_harmful() {
    for (world, counted) in counted(0.5) {
        assert!(counted.harmed <= 0.01, "{world:?}: {counted:?}");
    }
}

#[test]
fn what_does_harm_is_mostly_stopped_and_early() {
    for (world, counted) in counted(2.5) {
        assert!(counted.harmed >= 0.6, "{world:?}: {counted:?}");
        assert!(counted.length <= 0.75 * count(world.prints), "{world:?}: {counted:?}");
    }
}

/// Nine times in ten, give or take three binomial standard errors of a thousand and what the prior takes where the ratio
/// is far from one. Looks that end a trial at an extreme make it miss a little more often, or less.
#[test]
fn the_interval_holds_the_truth_nine_times_in_ten() {
    for ratio in RATIOS {
        for (world, counted) in counted(ratio) {
            assert!((0.87..=0.945).contains(&counted.held_unwatched), "{world:?}: {counted:?}");
            assert!((0.86..=0.965).contains(&counted.held), "{world:?}: {counted:?}");
        }
    }
}

#[test]
fn a_planned_trial_shows_the_planned_effect_four_times_in_five() {
    let standby = Change::Standby(Step { from: None, to: Celsius::new(150.0) });
    for (basis, now, after, spread) in [
        (Basis::Learned, 0.3, 0.06, 0.3),
        (Basis::Learned, 0.15, 0.03, 0.1),
        (Basis::Mixed, 0.4, 0.12, 0.4),
        (Basis::Mixed, 0.2, 0.04, 0.4),
    ] {
        let plan = plan(&standby, basis, &about(now, spread), &about(after, spread)).unwrap();
        let ratio = hazard(after) / hazard(now);
        let world = World { design: plan.design, now, spread, shift: 1.0, ratio, prints: plan.prints };
        let counted = world.count(FEW);
        println!("{plan:?}");
        assert!((0.75..=0.9).contains(&counted.helped_as_planned), "{plan:?}: {counted:?}");
    }
}

/// All becomes better for another reason just when the change begins: before and after takes it for the change's merit.
#[test]
fn alternation_does_not_fall_for_what_else_changed() {
    let count = |world| World { shift: 0.5, ..world }.count(FEW);
    let (followed, alternated) = (count(WORLDS[1]), count(WORLDS[2]));
    assert!(followed.helped >= 0.5, "{followed:?}");
    assert!(alternated.helped <= 0.05, "{alternated:?}");
}

/// All becomes worse, which hides from before and after what the change does.
#[test]
fn alternation_finds_what_else_hides() {
    let count = |world| World { shift: 2.0, ratio: 0.5, ..world }.count(FEW);
    let (followed, alternated) = (count(WORLDS[0]), count(WORLDS[2]));
    assert!(followed.helped <= 0.05, "{followed:?}");
    assert!(alternated.helped >= 0.4, "{alternated:?}");
}

fn print(arm: Option<Arm>, applied: Option<bool>, happened: Option<bool>) -> Tried {
    Tried { arm, applied, happened, expected: about(0.3, 0.3) }
}

#[test]
fn prints_of_which_nothing_is_known_count_for_neither_side() {
    let plan = planned(Design::BeforeAfter, 20);
    let known = [print(None, Some(true), Some(false)); 3];
    let mut prints = known.to_vec();
    prints.push(print(None, Some(true), None));
    prints.push(print(None, Some(false), Some(true)));
    let found = verdict(&plan, &prints).unwrap();
    assert_eq!((found.n_changed, found.n_as_before, found.seen), (3, 0, 0));
    assert_eq!(found.not_applied, 1);
    assert_eq!((found.outcome, found.stop), (Outcome::NotYet { more: 17 }, None));
    assert_eq!(found.ratio, verdict(&plan, &known).unwrap().ratio);
    assert_eq!(verdict(&plan, &[]), Err(Refusal::TooFew { have: 0, need: 1 }));
    assert_eq!(verdict(&plan, &prints[3..]), Err(Refusal::TooFew { have: 0, need: 1 }));
}

#[test]
fn failures_expected_are_those_of_the_changed_prints() {
    let prints = [print(None, None, Some(false)); 10];
    let found = verdict(&planned(Design::BeforeAfter, 40), &prints).unwrap();
    assert!((found.expected.value - 3.0).abs() < 0.01, "{found:?}");
    assert!(found.expected.low > 1.5 && found.expected.high < 5.0, "{found:?}");

    // Likely ones of which little is known: what is expected stays what the prints' own chances come to.
    let unsure: Vec<Tried> = [(0.54, 1.2), (0.9, 1.5), (0.05, 0.8)]
        .into_iter()
        .flat_map(|(chance, spread)| [Tried { expected: about(chance, spread), ..prints[0] }; 9])
        .collect();
    let found = verdict(&planned(Design::BeforeAfter, 40), &unsure).unwrap();
    assert!((found.expected.value - 9.0 * 1.49).abs() < 0.01, "{found:?}");
    assert!(found.expected.low < 10.0 && found.expected.high > 16.0, "{found:?}");

    // The model expects 3 of 10; the prints as before say that it is far too low.
    let pair = [print(Some(Arm::Changed), None, Some(false)), print(Some(Arm::AsBefore), None, Some(true))];
    let found = verdict(&planned(Design::Alternation, 40), &pair.repeat(5)).unwrap();
    assert!(found.expected.value > 3.0, "{found:?}");
    assert_eq!((found.seen, found.seen_as_before, found.n_changed, found.n_as_before), (0, 5, 5, 5));
}

#[test]
fn the_verdict_goes_by_the_draw_and_tells_what_was_really_applied() {
    let plan = planned(Design::Alternation, 100);
    let as_drawn =
        [print(Some(Arm::Changed), Some(true), Some(false)), print(Some(Arm::AsBefore), Some(false), Some(false))];
    let mut prints = as_drawn.repeat(6);
    assert_eq!(verdict(&plan, &prints).unwrap().ratio_as_applied, None);
    // Three times it was left out where it was drawn, and failed.
    prints.extend([print(Some(Arm::Changed), Some(false), Some(true)); 3]);
    let found = verdict(&plan, &prints).unwrap();
    assert_eq!((found.not_applied, found.seen, found.n_changed), (3, 3, 9));
    assert!(found.ratio_as_applied.unwrap().value < 1.0 && found.ratio.value > 1.0, "{found:?}");
}

#[test]
fn a_trial_that_ended_stays_as_it_ended() {
    let world = World { ratio: 0.2, ..WORLDS[1] };
    let made = world.make(3);
    let ended = verdict(&made.plan, &made.prints).unwrap();
    assert_eq!((ended.outcome, ended.stop), (Outcome::Helped, Some(WhyStop::Settled)));
    let mut prints = made.prints.clone();
    prints.extend([print(None, Some(true), Some(true)); 20]);
    assert_eq!(verdict(&made.plan, &prints).unwrap(), ended);
    let before = &made.prints[..ended.n_changed - 1];
    assert_eq!(verdict(&made.plan, before).unwrap().outcome, Outcome::NotYet { more: 32 - before.len() });
}
