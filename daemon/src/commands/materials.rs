//! The part of `check` that shows materials: each figure of those in use, and what it rests on.

use super::table::Table;
use crate::config::Config;
use crate::setup::material_figures;

/// A table of them.
pub(super) fn shown(config: &Config) -> String {
    let mut table = Table::new(&["material", "figure", ">value", "unit", "source"]);
    for row in material_figures(config) {
        table.row([row.material, row.figure.to_owned(), row.value, row.unit.to_owned(), row.source]);
    }
    table.text("no material")
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
