//! What a person sets of materials: what it comes to, and that nonsense is refused where it stands.

use super::super::*;
use dwell_analysis::polymer::{Band, Material, MaterialFacts, Source, Sourced};
use dwell_analysis::units::{Celsius, DoseMinutes};
use std::path::Path;

const PRINTER: &str = "[[printer]]\nname = \"bench\"\n[[printer.document]]\nname = \"all\"\nurl = \"http://127.0.0.1:9/\"\n\
    [printer.job.state]\npath = \"/state\"\n[[printer.tool]]\nactual = { path = \"/t0\" }\n";

fn parse(sections: &str) -> Result<Config, ConfigError> {
    Config::parse(&format!("{sections}\n{PRINTER}"), Path::new("dwellwatch.toml"))
}

fn faults(sections: &str) -> Vec<String> {
    match parse(sections) {
        Err(ConfigError::Wrong(faults)) => faults.iter().map(ToString::to_string).collect(),
        other => panic!("{sections}: {other:?}"),
    }
}

#[test]
fn what_is_set_stands_over_the_table_with_its_mark_and_each_printer_has_the_same_table() {
    let config = parse(
        "[material.petg]\nresidence_limit_min = 90\ndegradation_kj_mol = 140\n\
         [material.PETG-CF]\nlike = \"petg\"\nglass_transition_c = 85\nfirst_flow_c = 170\nprint_low_c = 240\n\
         print_high_c = 270\nflow_kj_mol = 75",
    );
    let (config, set) = (config.unwrap(), |value| Sourced::new(value, Source::Configuration));
    let petg = Material::Petg.built_in();
    let materials = config.materials();
    assert_eq!(
        *materials.of(Some("PETG")),
        MaterialFacts {
            residence_limit: set_minutes(90.0),
            degradation: Sourced::new(Band::exact(140_000.0), Source::Configuration),
            ..petg
        }
    );
    assert_eq!(
        *materials.of(Some("petg-cf")),
        MaterialFacts {
            glass_transition: set(Celsius::new(85.0)),
            first_flow: set(Celsius::new(170.0)),
            print_low: set(Celsius::new(240.0)),
            print_high: set(Celsius::new(270.0)),
            flow: Sourced::new(Band::exact(75_000.0), Source::Configuration),
            // What it is like has been set itself.
            ..*materials.of(Some("PETG"))
        }
    );
    assert_eq!(*materials.of(Some("PLA")), Material::Pla.built_in());
    assert_eq!(config.printers()[0].materials, materials);
    assert_eq!(*parse("").unwrap().materials(), dwell_analysis::polymer::Materials::default());
}

fn set_minutes(value: f64) -> Sourced<DoseMinutes> {
    Sourced::new(DoseMinutes::new(value), Source::Configuration)
}

#[test]
fn nonsense_is_refused_where_it_stands() {
    for (section, place, pieces) in [
        (
            "[material.PLA]\nfirst_flow_c = 230",
            "2:1: material.PLA.first_flow_c",
            ["found 230", "under print_low_c, 190 °C"],
        ),
        (
            "[material.PLA]\nprint_low_c = 120",
            "2:1: material.PLA.print_low_c",
            ["found 120", "over first_flow_c, 142 °C"],
        ),
        (
            "[material.PLA]\nprint_low_c = 240\nprint_high_c = 220",
            "2:1: material.PLA.print_low_c",
            ["found 240", "under print_high_c, 220 °C"],
        ),
        (
            "[material.PC]\nglass_transition_c = 200",
            "2:1: material.PC.glass_transition_c",
            ["found 200", "under first_flow_c, 200 °C"],
        ),
        ("[material.PLA]\nresidence_limit_min = 0", "2:1: material.PLA.residence_limit_min", ["found 0", "min"]),
        ("[material.PLA]\nresidence_limit_min = -5", "2:1: material.PLA.residence_limit_min", ["found -5", "min"]),
        ("[material.PLA]\nflow_kj_mol = 80000", "2:1: material.PLA.flow_kj_mol", ["found 80000", "kJ/mol"]),
        ("[material.PLA]\ndegradation_kj_mol = nan", "2:1: material.PLA.degradation_kj_mol", ["found NaN", "kJ/mol"]),
        ("[material.PLA]\nflow_c = 80", "2:1: material.PLA", ["flow_c", "first_flow_c"]),
        ("[material.PLA]\nlike = \"PETG\"", "2:1: material.PLA.like", ["PETG", "PLA is in the table itself"]),
        ("[material.FELT]\nfirst_flow_c = 150", "1:11: material.FELT.like", ["found none", "like = \"PLA\""]),
        ("[material.FELT]\nlike = \"wool\"", "2:1: material.FELT.like", ["\"wool\"", "\"PETG\""]),
        ("[material.PLA]\n[material.pla]", "2:11: material.pla", ["\"pla\" too", "\"PLA\" is the same name"]),
        ("[material.\"\"]", "1:11: material.", ["an empty name", "[material.PETG]"]),
    ] {
        let found = faults(section);
        let [fault] = found.as_slice() else { panic!("{section}: {found:?}") };
        assert!(fault.contains(&format!("dwellwatch.toml:{place}")), "{section}: {fault}");
        assert!(pieces.iter().all(|piece| fault.contains(piece)), "{section}: {fault}");
    }
    let both = faults("[material.PLA]\nresidence_limit_min = 0\n[material.PETG]\nfirst_flow_c = 300");
    assert_eq!(both.len(), 2, "{both:?}");
}
