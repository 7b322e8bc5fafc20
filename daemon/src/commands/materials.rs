//! The part of `check` that shows materials: each figure of those in use, and what it rests on. Owns the words for
//! figures; the table is the configuration's.

use super::table::Table;
use crate::config::{Config, Printer};
use dwell_analysis::polymer::{Band, MaterialFacts, Source, Sourced};
use dwell_analysis::units::Celsius;

/// The materials that a tool holds by the configuration, and those that it sets.
pub(super) fn shown(config: &Config) -> String {
    let materials = config.materials();
    let tools = || config.printers().iter().flat_map(|printer: &Printer| &printer.settings);
    let is_held = |facts: &MaterialFacts| tools().any(|settings| settings.facts(&materials) == facts);
    let mut table = Table::new(&["material", "figure", ">value", "unit", "source"]);
    for (name, facts) in materials.rows() {
        let figures = figures(facts);
        let is_set = figures.iter().any(|(_, _, _, source)| *source == Source::Configuration);
        if is_set || is_held(facts) {
            for (figure, value, unit, source) in figures {
                table.row([name.to_owned(), figure.to_owned(), value, unit.to_owned(), source.to_string()]);
            }
        }
    }
    table.text("no material")
}

/// Each figure: its name, value, unit and source.
fn figures(facts: &MaterialFacts) -> [(&'static str, String, &'static str, Source); 8] {
    let temperature = |of: Sourced<Celsius>| format!("{}", of.value.get());
    let energy = |Band { value, low, high }: Band| {
        if low < high {
            format!("{} ({} to {})", value / 1000.0, low / 1000.0, high / 1000.0)
        } else {
            format!("{}", value / 1000.0)
        }
    };
    let viscosity = facts.viscosity.value;
    [
        ("glass transition", temperature(facts.glass_transition), "°C", facts.glass_transition.source),
        ("first flow", temperature(facts.first_flow), "°C", facts.first_flow.source),
        ("lowest usual print temperature", temperature(facts.print_low), "°C", facts.print_low.source),
        ("highest usual print temperature", temperature(facts.print_high), "°C", facts.print_high.source),
        (
            "residence limit",
            format!("{}", facts.residence_limit.value.get()),
            "min at 200 °C",
            facts.residence_limit.source,
        ),
        ("activation energy of degradation", energy(facts.degradation.value), "kJ/mol", facts.degradation.source),
        ("activation energy of flow", energy(facts.flow.value), "kJ/mol", facts.flow.source),
        (
            "zero-shear viscosity",
            format!("{} at {} °C", viscosity.pa_s, viscosity.at.get()),
            "Pa s",
            facts.viscosity.source,
        ),
    ]
}

#[cfg(test)]
#[expect(clippy::unwrap_used, reason = "a test may stop")]
mod tests {
    use super::*;
    use std::path::Path;

    #[test]
    fn each_figure_of_a_material_in_use_is_shown_with_what_it_rests_on_and_no_other_material() {
        let text = "[material.felt]\nlike = \"TPU\"\nresidence_limit_min = 45\nflow_kj_mol = 61\n[[printer]]\nname = \"bench\"\n\
            [[printer.document]]\nname = \"all\"\nurl = \"http://127.0.0.1:9/\"\n[printer.job.state]\npath = \"/state\"\n\
            [[printer.tool]]\nactual = { path = \"/t0\" }\nsettings = { material = \"pla\" }\n";
        let shown = shown(&Config::parse(text, Path::new("bench.toml")).unwrap());
        let line = |start: &str, figure: &str| {
            let found = shown.lines().find(|line| line.starts_with(start) && line.contains(figure));
            found.unwrap_or_default().split_whitespace().collect::<Vec<_>>().join(" ")
        };
        assert_eq!(
            line("PLA", "first flow"),
            "PLA first flow 142 °C Read et al., Integr. Mater. Manuf. Innov. 13 (2024) 541, 0.4 mm nozzle"
        );
        assert!(line("PLA", "degradation").contains("119.4 (80 to 170) kJ/mol fitted from 180 to 210 °C"), "{shown}");
        assert_eq!(line("felt", "residence limit"), "felt residence limit 45 min at 200 °C configuration");
        assert_eq!(line("felt", "of flow"), "felt activation energy of flow 61 kJ/mol configuration");
        assert!(line("felt", "degradation").ends_with("borrowed: PLA's; 60 to 200 is a proposal"), "{shown}");
        assert_eq!(shown.lines().count(), 1 + 2 * 8, "{shown}");
    }
}
