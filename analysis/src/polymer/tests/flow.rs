//! Worked examples of flow: the Hagen-Poiseuille law, viscosity by temperature, stored pressure, retraction.

use super::super::ooze::{capillary_resistance, compliance};
use super::super::{
    Band, Drive, Material, MaterialFacts, Source, Sourced, drool_rate, pressure_volume, reheat_expansion,
    relaxation_time, retraction_needed, stored_volume, viscosity,
};
use super::near;
use crate::units::{Celsius, CubicMm, Millimetres, Seconds};

fn pla() -> MaterialFacts {
    Material::Pla.built_in()
}

/// A textbook (`OpenStax` College Physics), example 12.8: 0.120 cm3/s of a fluid like water through a needle of 0.150 mm radius and
/// 2.50 cm length against 1066 Pa take 1.62e4 Pa, 16156.25 Pa before rounding.
#[test]
fn pressure_in_a_needle_agrees_with_the_textbook() {
    let pressure = 1066.0 + 0.120e-6 * capillary_resistance(1.00e-3, 2.50e-2, 0.150e-3);
    near(pressure, 16_156.25, 1e-6);
}

/// Water, 1000 Pa along a metre of 2 mm radius: 6.283185e-6 m3/s. A melt at 50 bar through a land of 0.6 mm and 0.2 mm
/// radius, with 300, 1000 and 3000 Pa s: 17.453293, 5.235988 and 1.745329 mm3/s. Reckoned apart.
#[test]
fn flow_through_a_tube_agrees_with_the_worked_examples() {
    near(1000.0 / capillary_resistance(1.0e-3, 1.0, 2.0e-3), 6.283_185e-6, 1e-6);
    for (pa_s, right) in [(300.0, 17.453_293), (1000.0, 5.235_988), (3000.0, 1.745_329)] {
        near(5.0e6 / capillary_resistance(pa_s, 0.6e-3, 0.2e-3) * 1e9, right, 1e-6);
    }
}

/// Viscosity at 200 over that at 230 °C for flow energies of 50, 65, 80 and 100 kJ/mol, reckoned apart.
#[test]
fn viscosity_falls_from_200_to_230_as_the_flow_energy_says() {
    for (energy, right) in [(50e3, 2.133_600), (65e3, 2.678_224), (80e3, 3.361_869), (100e3, 4.552_249)] {
        let facts = MaterialFacts { flow: Sourced::new(Band::exact(energy), Source::Configuration), ..pla() };
        near(viscosity(&facts, Celsius::new(200.0)) / viscosity(&facts, Celsius::new(230.0)), right, 1e-6);
    }
}

/// 216 Pa of a column of 20 mm push 0.27 mm3 an hour through a wetted 0.4 mm tip at 3000 Pa s.
#[test]
fn drool_of_a_wetted_tip_agrees_with_the_worked_example() {
    let per_hour = drool_rate(&pla(), Celsius::new(200.0)) * 3600.0;
    assert!((per_hour - 0.27).abs() < 0.01, "{per_hour}");
}

/// 48 mm3 from 150 to 210 °C give 2.0 mm3; ours holds 75 mm3.
#[test]
fn reheat_pushes_out_what_the_melt_expands() {
    let pushed = reheat_expansion(Celsius::new(210.0) - Celsius::new(150.0));
    assert!((pushed.get() - 2.0 * 75.0 / 48.0).abs() < 0.05, "{pushed:?}");
    assert_eq!(reheat_expansion(Celsius::new(150.0) - Celsius::new(210.0)), CubicMm::ZERO);
}

/// For 48 mm3 of melt: 50 mm of free filament store 0.26 mm3 at 30 bar and 0.71 at 80, which relax in 0.03 s at 300 Pa s
/// and 0.25 s at 3000; 500 mm store 1.35 and 3.6 mm3, in 0.13 and 1.3 s.
#[test]
fn stored_pressure_and_its_time_agree_with_the_worked_table() {
    let melt = CubicMm::new(48.0);
    for (drive, at_3, at_8, thin, thick) in
        [(Drive::Short, 0.26, 0.71, 0.03, 0.25), (Drive::LongTube, 1.35, 3.6, 0.13, 1.3)]
    {
        let held = compliance(drive, melt);
        near(held * 3.0e6, at_3, 0.02);
        near(held * 8.0e6, at_8, 0.02);
        let time = |pa_s| held * 1e-9 * capillary_resistance(pa_s, 0.6e-3, 0.2e-3);
        assert!((time(300.0) - thin).abs() < 0.006, "{drive:?}: {}", time(300.0));
        near(time(3000.0), thick, 0.04);
    }
}

#[test]
fn stored_pressure_is_over_after_some_relaxation_times_and_less_is_left_of_a_longer_retraction() {
    let (hot, none) = (Celsius::new(200.0), Millimetres::new(0.0));
    let tau = relaxation_time(&pla(), Drive::Short, hot).get();
    let all = stored_volume(Drive::Short, 5.0e6).get();
    let pushed = |length, waited| pressure_volume(&pla(), length, hot, Seconds::new(waited)).get();
    near(pushed(none, tau), all * (1.0 - (-1.0_f64).exp()), 1e-9);
    near(pushed(none, 6.0 * tau), all, 3e-3);
    let mut before = f64::INFINITY;
    for step in 0..40 {
        let now = pushed(Millimetres::new(f64::from(step) * 0.05), 10.0);
        assert!(now <= before && now >= 0.0, "step {step}: {now} after {before}");
        before = now;
    }
    assert!(before.abs() < f64::EPSILON, "two millimetres leave nothing: {before}");
    let cold = pressure_volume(&pla(), none, Celsius::new(140.0), Seconds::new(100.0));
    assert_eq!((cold, pressure_volume(&pla(), none, hot, Seconds::ZERO)), (CubicMm::ZERO, CubicMm::ZERO));
}

/// Common practice: 0.5 to 2 mm with a short drive, 4 to 7 mm with a long tube.
#[test]
fn retraction_needed_lies_where_practice_has_it_and_an_untold_drive_may_be_either() {
    for facts in Material::ALL.map(Material::built_in) {
        let needed = |drive| retraction_needed(&facts, facts.usual_print(), drive);
        let (short, long, either) = (needed(Some(Drive::Short)), needed(Some(Drive::LongTube)), needed(None));
        for (found, right) in [(short.low, 0.5), (short.high, 2.0), (long.low, 4.0), (long.high, 7.0)] {
            assert!((found.get() - right).abs() < 0.15, "{:?}: {short:?} {long:?}", facts.kind);
        }
        assert_eq!((either.low, either.high), (short.low, long.high));
        assert!(short.low < short.middle() && short.middle() < short.high);
    }
}

#[test]
fn a_retraction_departs_from_the_need_only_outside_of_it() {
    let need = retraction_needed(&pla(), Celsius::new(210.0), Some(Drive::Short));
    let departure = |set: f64| need.departure(Millimetres::new(set)).get();
    near(departure(need.low.get() - 0.3), -0.3, 1e-9);
    near(departure(need.high.get() + 2.0), 2.0, 1e-9);
    assert!([need.low, need.middle(), need.high].into_iter().all(|set| departure(set.get()).abs() < f64::EPSILON));
}
