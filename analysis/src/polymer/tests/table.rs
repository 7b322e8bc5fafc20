//! The material table, built-in and as a person has set it.

use super::super::dose::arrhenius;
use super::super::{Band, Landmark, Material, MaterialFacts, Materials, OutOfOrder, Source, Sourced};
use super::super::{
    DOSE_REFERENCE, Drive, dose_band, dose_rate, drool_rate, relaxation_time, restart, retraction_needed, viscosity,
};
use super::near;
use crate::units::{Celsius, DoseMinutes, Seconds};

fn celsius(value: f64) -> Sourced<Celsius> {
    Sourced::new(Celsius::new(value), Source::Configuration)
}

/// The built-in rows and some that a person might set: hotter, colder, and with energies at either end.
fn tables() -> Vec<MaterialFacts> {
    let mut all: Vec<MaterialFacts> = Material::ALL.into_iter().map(Material::built_in).collect();
    for facts in all.clone() {
        for energy in [30_000.0, 300_000.0] {
            let band = Sourced::new(Band::exact(energy), Source::Configuration);
            all.push(MaterialFacts { degradation: band, flow: band, ..facts });
        }
        all.push(MaterialFacts {
            first_flow: celsius(260.0),
            print_low: celsius(330.0),
            print_high: celsius(360.0),
            ..facts
        });
    }
    all
}

#[test]
fn every_row_stands_in_the_order_in_which_a_melt_warms_and_its_bands_hold_its_figures() {
    for facts in tables() {
        assert_eq!(facts.check(), Ok(()), "{facts:?}");
        for Band { value, low, high } in [facts.degradation.value, facts.flow.value] {
            assert!(low > 0.0 && low <= value && value <= high, "{facts:?}");
        }
        assert!(facts.residence_limit.value > DoseMinutes::ZERO && facts.viscosity.value.pa_s > 0.0, "{facts:?}");
    }
}

#[test]
fn every_figure_says_where_it_is_from() {
    for (name, facts) in Materials::default().rows() {
        let sources = [
            facts.glass_transition.source,
            facts.first_flow.source,
            facts.print_low.source,
            facts.print_high.source,
            facts.residence_limit.source,
            facts.degradation.source,
            facts.flow.source,
            facts.viscosity.source,
        ];
        for source in sources {
            let told = source.to_string();
            assert!(told.len() >= 11 && source != Source::Configuration, "{name}: {told:?}");
        }
    }
    assert_eq!(Source::Memory("").to_string(), "from memory");
    assert_eq!(Source::Borrowed("PLA's").to_string(), "borrowed: PLA's");
    // Only PLA's own degradation was measured.
    let is_own = |kind: &Material| !kind.built_in().degradation.source.is_borrowed();
    assert_eq!(Material::ALL.into_iter().filter(is_own).collect::<Vec<_>>(), [Material::Pla]);
}

#[test]
fn hotter_never_ages_less_nor_thickens_nor_lengthens_what_pressure_needs() {
    for facts in tables() {
        let mut before: Option<[f64; 5]> = None;
        for at in (0..=400).map(|step| Celsius::new(f64::from(step))) {
            let pull = retraction_needed(&facts, at, Some(Drive::LongTube));
            let now = [
                dose_rate(&facts, at),
                drool_rate(&facts, at),
                -viscosity(&facts, at),
                -relaxation_time(&facts, Drive::Short, at).get(),
                -pull.high.get(),
            ];
            if let Some(before) = before {
                assert!(now.iter().zip(before).all(|(now, before)| *now >= before), "{facts:?} at {at:?}");
                assert!(now[0] > before[0] && now[2] > before[2], "{facts:?} at {at:?}");
            }
            before = Some(now);
        }
        near(dose_rate(&facts, DOSE_REFERENCE), 1.0, 1e-12);
        let known = facts.viscosity.value;
        near(viscosity(&facts, known.at), known.pa_s, 1e-12);
        let cold = facts.first_flow.value - (Celsius::new(0.1) - Celsius::new(0.0));
        assert!(drool_rate(&facts, cold).abs() < f64::EPSILON && drool_rate(&facts, facts.first_flow.value) > 0.0);
    }
}

/// A higher energy ages faster over the reference and slower under it; at the reference the band has no width.
#[test]
fn the_dose_s_band_is_that_of_its_energies_at_a_steady_temperature() {
    let waited = Seconds::minutes(30.0);
    for facts in tables() {
        let Band { value, low, high } = facts.degradation.value;
        for at in [140.0, 180.0, 200.0, 215.0, 240.0, 290.0].map(Celsius::new) {
            let of = |energy| 30.0 * arrhenius(energy, at, DOSE_REFERENCE);
            let (least, most) = dose_band(&facts, DoseMinutes::new(of(value)), waited);
            near(least.get(), of(low).min(of(high)), 1e-9);
            near(most.get(), of(low).max(of(high)), 1e-9);
        }
        let none = dose_band(&facts, DoseMinutes::ZERO, waited);
        assert_eq!(none, (DoseMinutes::ZERO, DoseMinutes::ZERO));
    }
}

/// Thirty minutes at an assumed 215 °C before a time-out ruined nozzles full of PLA: about 75 minutes at 200 °C.
#[test]
fn half_an_hour_at_215_comes_to_75_minutes_at_the_reference() {
    let found = 30.0 * dose_rate(&Material::Pla.built_in(), Celsius::new(215.0));
    assert!((found - 75.0).abs() < 2.0, "{found}");
}

#[test]
fn a_name_finds_its_row_in_any_case_and_an_unknown_one_that_of_other() {
    let mut materials = Materials::default();
    let stiff = MaterialFacts {
        residence_limit: Sourced::new(DoseMinutes::new(90.0), Source::Configuration),
        ..Material::Petg.built_in()
    };
    assert_eq!(materials.set(" PETG-CF ", stiff), Ok(()));
    let pla = MaterialFacts { first_flow: celsius(150.0), ..Material::Abs.built_in() };
    assert_eq!(materials.set("pla", pla), Ok(()));
    assert_eq!(materials.of(Some("petg-cf")), &stiff);
    assert_eq!(materials.of(Some("petg")), &Material::Petg.built_in());
    let pla = materials.of(Some("PLA"));
    assert_eq!((pla.kind, pla.first_flow.value), (Material::Pla, Celsius::new(150.0)));
    for name in [None, Some(""), Some("felt"), Some("other")] {
        assert_eq!(materials.of(name).kind, Material::Other, "{name:?}");
    }
    assert_eq!(materials.set("Petg-Cf", Material::Petg.built_in()), Ok(()));
    assert_eq!(materials.of(Some("PETG-CF")), &Material::Petg.built_in());
    let names: Vec<String> = materials.rows().map(|(name, _)| name.to_owned()).collect();
    assert_eq!(names, ["PLA", "PETG", "TPU", "PVA", "ABS", "ASA", "PA", "PC", "other", "PETG-CF"]);
    for kind in Material::ALL {
        assert_eq!((materials.family(kind).kind, materials.of(Some(kind.name())).kind), (kind, kind));
    }
}

#[test]
fn a_row_out_of_order_is_not_taken_and_names_the_two() {
    let mut materials = Materials::default();
    let pla = Material::Pla.built_in();
    for (facts, lower, upper) in [
        (MaterialFacts { first_flow: celsius(195.0), ..pla }, Landmark::FirstFlow, Landmark::PrintLow),
        (MaterialFacts { first_flow: celsius(57.0), ..pla }, Landmark::GlassTransition, Landmark::FirstFlow),
        (MaterialFacts { print_high: celsius(190.0), ..pla }, Landmark::PrintLow, Landmark::PrintHigh),
    ] {
        assert_eq!(materials.set("PLA", facts), Err(OutOfOrder { lower, upper }));
        assert_eq!(materials, Materials::default());
    }
}

#[test]
fn a_restart_s_deficit_is_what_is_missing_to_the_print_temperature() {
    let pla = Material::Pla.built_in();
    for (melt, deficit, over) in [(150.0, 60.0, 8.0), (210.0, 0.0, 68.0), (230.0, 0.0, 88.0), (100.0, 110.0, -42.0)] {
        let found = restart(&pla, Celsius::new(210.0), Celsius::new(melt));
        assert!((found.deficit.get() - deficit).abs() < 1e-9, "{melt} °C: {found:?}");
        assert!((found.over_first_flow.get() - over).abs() < 1e-9, "{melt} °C: {found:?}");
    }
}
