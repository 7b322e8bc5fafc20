//! The laws of a melt's two doses.

use super::super::{MELT_VOLUME, Melt, STAGNANT_VOLUME};
use crate::units::{CubicMm, DoseMinutes};

fn melt(dose: f64) -> Melt {
    let mut melt = Melt::FRESH;
    melt.wait(DoseMinutes::new(dose));
    melt
}

#[test]
fn flushing_never_adds_to_a_dose_and_two_flushes_are_one() {
    for dose in [0.0, 0.5, 30.0, 400.0] {
        let mut before = melt(dose);
        for step in 1..40 {
            let mut left = melt(dose);
            left.extrude(CubicMm::new(f64::from(step) * 7.5));
            assert!(left.mixed <= before.mixed && left.stagnant <= before.stagnant, "{dose}, step {step}: {left:?}");
            assert!(left.mixed >= DoseMinutes::ZERO && left.stagnant >= left.mixed, "{dose}, step {step}: {left:?}");
            before = left;
        }
        let (mut twice, mut once) = (melt(dose), melt(dose));
        twice.extrude(CubicMm::new(20.0));
        twice.extrude(CubicMm::new(33.0));
        once.extrude(CubicMm::new(53.0));
        assert!((twice.mixed.get() - once.mixed.get()).abs() <= 1e-12 * dose, "{twice:?} against {once:?}");
        assert!((twice.stagnant.get() - once.stagnant.get()).abs() <= 1e-12 * dose, "{twice:?} against {once:?}");
    }
}

/// A volume of the melt leaves 1/e of the mixed dose, as the law says; the stagnant one keeps 99 %.
#[test]
fn one_melt_s_volume_leaves_an_eth_of_the_mixed_dose_and_hardly_touches_the_stagnant_one() {
    let mut melt = melt(60.0);
    melt.extrude(MELT_VOLUME);
    assert!((melt.mixed.get() - 60.0 * (-1.0_f64).exp()).abs() < 1e-12, "{melt:?}");
    assert!((melt.stagnant.get() - 60.0 * (-0.01_f64).exp()).abs() < 1e-9, "{melt:?}");
    melt.extrude(STAGNANT_VOLUME);
    assert!((melt.stagnant.get() - 60.0 * (-1.01_f64).exp()).abs() < 1e-9, "{melt:?}");
}

/// The law `dD/dt = r - D Q/V` stepped in a million small steps (Euler's rule) comes to the same as one step.
#[test]
fn printing_solves_the_law_of_ageing_and_flushing() {
    let (rate, volume, steps) = (12.0, 150.0, 1_000_000);
    let mut right = 40.0;
    let step = 1.0 / f64::from(steps);
    for _ in 0..steps {
        right += step * (rate - right * volume / MELT_VOLUME.get());
    }
    let mut once = melt(40.0);
    once.work(DoseMinutes::new(rate), CubicMm::new(volume));
    assert!((once.mixed.get() / right - 1.0).abs() < 1e-5, "{once:?} against {right}");
    let mut pieces = melt(40.0);
    for _ in 0..7 {
        pieces.work(DoseMinutes::new(rate / 7.0), CubicMm::new(volume / 7.0));
    }
    assert!((pieces.mixed.get() / once.mixed.get() - 1.0).abs() < 1e-12, "{pieces:?} against {once:?}");
    assert!((pieces.stagnant.get() / once.stagnant.get() - 1.0).abs() < 1e-12, "{pieces:?} against {once:?}");
}

#[test]
fn a_print_that_pushes_nothing_is_a_wait_and_what_is_drawn_back_flushes_nothing() {
    let (mut waited, mut worked, mut drawn) = (melt(5.0), melt(5.0), melt(5.0));
    waited.wait(DoseMinutes::new(3.0));
    worked.work(DoseMinutes::new(3.0), CubicMm::ZERO);
    drawn.work(DoseMinutes::new(3.0), CubicMm::new(-4.0));
    assert_eq!((waited, waited), (worked, drawn));
    let mut hardly = melt(5.0);
    hardly.work(DoseMinutes::new(3.0), CubicMm::new(1e-12));
    assert!((hardly.mixed.get() - 8.0).abs() < 1e-9, "{hardly:?}");
}
