//! Each figure of the materials in use, and what it rests on. Owns the words for figures; the table is the
//! configuration's.

use crate::config::{Config, Printer};
use dwell_analysis::polymer::{Band, MaterialFacts, Source, Sourced};
use dwell_analysis::units::Celsius;
use dwell_dashboards::view::MaterialFigure;

/// The materials that a tool holds by the configuration, and those that it sets.
pub(crate) fn material_figures(config: &Config) -> Vec<MaterialFigure> {
    let materials = config.materials();
    let tools = || config.printers().iter().flat_map(|printer: &Printer| &printer.settings);
    let is_held = |facts: &MaterialFacts| tools().any(|settings| settings.facts(&materials) == facts);
    let mut rows = Vec::new();
    for (name, facts) in materials.rows() {
        let figures = figures(facts);
        let is_set = figures.iter().any(|(_, _, _, source)| *source == Source::Configuration);
        if is_set || is_held(facts) {
            rows.extend(figures.map(|(figure, value, unit, source)| {
                let (material, source) = (name.to_owned(), source.to_string());
                MaterialFigure { material, figure, value, unit, source }
            }));
        }
    }
    rows
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
