//! An invented record as it was learned from: one mode of which much is known, and some of which there is little.

use dwell_analysis::estimate::{Confidence, Estimate, Refusal, rate};
use dwell_analysis::risk::*;
use dwell_analysis::time::Timestamp;
use dwell_analysis::units::{Celsius, Probability, Seconds};
use dwell_dashboards::view::*;

pub(crate) fn estimate(value: f64, low: f64, high: f64) -> Estimate {
    Estimate { value, low, high, n: 412 }
}

pub(crate) fn share(events: usize, n: usize) -> Estimate {
    rate(events, n, Confidence::Percent90).unwrap()
}

pub(crate) fn skill(log_loss: f64) -> Skill {
    let (brier, brier_base, ece) = (0.04, 0.05, 0.01);
    Skill { n: 380, log_loss, log_loss_base: 0.201, brier, brier_base, auc: Some(0.87), ece, evidence: 9.0 }
}

pub(crate) fn factor(name: &'static str, group: Group, rank: usize, repeats_prior: bool) -> Factor {
    let (effect, prior) = (estimate(0.69, 0.21, 1.18), estimate(0.3, -0.52, 1.12));
    Factor { factor: name, group, effect, prior, alone: None, repeats_prior, sure: 0.98, carries: 0.7, rank }
}

pub(crate) fn reliability(bins: usize) -> Vec<Reliability> {
    let bin = |at: u8| {
        let low = f64::from(at) / 10.0;
        Reliability { low, high: low + 0.1, n: 20, mean_forecast: low + 0.05, observed: share(usize::from(2 * at), 20) }
    };
    (0..10).take(bins).map(bin).collect()
}

/// A jam of which much is known.
pub(crate) fn jam() -> ModeView {
    let learned = Learned {
        n: 412,
        events: 23,
        doubtful: 7,
        rate: Ok(share(23, 412)),
        state: State::Learned,
        factors: vec![
            factor("restart_dose_max", Group::IdleHeat, 1, false),
            factor("retract", Group::Retraction, 1, false),
            factor("material_petg", Group::Material, 3, true),
            factor("dried", Group::Drying, 4, false),
        ],
        groups: [(Group::IdleHeat, 0.8), (Group::Retraction, 0.12), (Group::Drying, 0.01), (Group::Wear, 0.0)]
            .map(|(group, probability)| Carries { group, probability })
            .to_vec(),
        inseparable: vec![Inseparable {
            factors: ["restart_dose_max", "retract"],
            groups: [Group::IdleHeat, Group::Retraction],
            correlation: 0.97,
        }],
        refused: None,
        skill: Some(skill(0.1623)),
        baseline: Some(skill(0.185)),
        reliability: reliability(10),
        calibration: Some(Calibration {
            slope: estimate(0.9, 0.7, 1.1),
            intercept: estimate(0.0, -0.2, 0.2),
            in_the_large: estimate(0.0, -0.2, 0.2),
        }),
        settling: Settling::Settled,
        predictions: Vec::new(),
    };
    ModeView {
        mode: "jam",
        learned,
        severities: [10, 8, 3],
        unplaced: 2,
        mixed_up_with: Some("under_extrusion"),
        patterns: Ok(patterns()),
        response: Some(response()),
        trials: vec![Some(Trial {
            set: "retract",
            to: 0.8,
            instead: 6.0,
            held: "restart_dose_max",
            bound: Bound::AtLeast(12.4),
            runs: Some(9),
        })],
    }
}

pub(crate) fn patterns() -> Patterns {
    let leaf = |bound, events, n| Pattern {
        conditions: vec![Condition { factor: "wait_longest", bound, chance: 0.001 }],
        events,
        n,
        rate: share(events, n),
    };
    let leaves = vec![leaf(Bound::AtLeast(42.0), 20, 60), leaf(Bound::Under(42.0), 3, 352)];
    Patterns { n: 412, events: 23, leaves, tried: 300, left_out: Vec::new() }
}

pub(crate) fn response() -> ResponseView {
    let step = |at: u8| {
        let from = f64::from(at) * 1234.5;
        Step { from, to: from + 1000.0, events: usize::from(at), n: 40, rate: share(usize::from(at), 40) }
    };
    let response = Response { direction: Direction::Rising, steps: (0..12).map(step).collect(), unplaced: 3 };
    ResponseView { factor: "restart_dose_max", response, runs: Vec::new(), is_by_doubling: true }
}

/// A mode of which little is known.
pub(crate) fn unknown(mode: &'static str, n: usize, events: usize) -> ModeView {
    let learned = Learned {
        n,
        events,
        doubtful: 0,
        rate: rate(events, n, Confidence::Percent90),
        state: State::TooLittle,
        factors: Vec::new(),
        groups: Vec::new(),
        inseparable: Vec::new(),
        refused: Some(Refusal::TooFew { have: events, need: 4 }),
        skill: None,
        baseline: None,
        reliability: Vec::new(),
        calibration: None,
        settling: if events == 0 { Settling::NoRate } else { Settling::RunsToRuleOut(290) },
        predictions: Vec::new(),
    };
    let patterns = Err(Refusal::NoEvents);
    ModeView {
        mode,
        learned,
        severities: [0; 3],
        unplaced: 0,
        mixed_up_with: None,
        patterns,
        response: None,
        trials: Vec::new(),
    }
}

pub(crate) fn reading(mode: &ModeView) -> ReadingView {
    let Learned { n, events, rate, state, groups, .. } = mode.learned.clone();
    ReadingView { n, events, rate, state, first: groups.first().map(|of| of.group) }
}

pub(crate) fn silence(modes: &[ModeView]) -> SilenceView {
    let both = |mode: &ModeView| BothReadings { mode: mode.mode, shown: reading(mode), other: reading(mode) };
    SilenceView { means_clean: false, prints: 24, readings: modes.iter().map(both).collect() }
}

pub(crate) fn part(printer: &str, replace: Replace) -> PartView {
    let expected = PartExpected {
        left_h: estimate(131.0, 15.0, 767.0),
        left_days: Ok(estimate(72.0, 8.0, 432.0)),
        limit_h: 58.0,
        accepted: Probability::new(0.1).unwrap(),
        replace,
        basis: "prior",
        n_lives: 4,
        n_failures: 1,
    };
    PartView {
        printer: printer.to_owned(),
        tool: 1,
        part: "liner",
        fitted: at(),
        as_of: Some(at()),
        hot: Seconds::minutes(3000.0),
        wear_h: Ok(49.0),
        heat_cycles: 12,
        expected: Ok(expected),
    }
}

pub(crate) fn at() -> Timestamp {
    // 2026-03-02T08:00:00Z, a Monday.
    Timestamp::from_ms(1_772_438_400_000)
}

/// A full record.
pub(crate) fn full() -> LearnView {
    let modes = vec![unknown("blob", 412, 0), unknown("liner", 412, 2), jam(), unknown("scrape", 412, 0)];
    let habit = |wait: f64, events| Habit {
        n: 200,
        wait_longest: Seconds::minutes(wait),
        idle_mean: Celsius::new(213.0),
        changes_per_hour: Some(6.2),
        events,
        rate: Ok(share(events, 180)),
    };
    let day = at() + Seconds::minutes(4.0 * 1440.0);
    LearnView {
        as_of: Some(at()),
        prints: 230,
        runs: 460,
        reported: 206,
        silence: silence(&modes),
        modes,
        habits: vec![habit(95.0, 20), habit(0.0, 3)],
        parts: vec![
            part("bench", Replace::Before { at: day, low: day, high: day }),
            part(&"gull".repeat(16), Replace::Due),
            part("bench", Replace::Unknown("no use".to_owned())),
        ],
    }
}

pub(crate) fn of_jam(view: &mut LearnView) -> &mut ModeView {
    view.modes.iter_mut().find(|mode| mode.mode == "jam").unwrap()
}
