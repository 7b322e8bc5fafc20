//! What a tool's run in this job will be like, as the learner takes it: the same factors, in the same units, as a run
//! of the record. Owns nothing that no job file tells (wear, drying, an ooze shield, what the melt took before): these
//! stay open.

use super::known::Known;
use crate::jobfile::{JobOutline, ToolOutline};
use dwell_analysis::risk::Features;
use dwell_analysis::units::{Celsius, CelsiusDelta};

/// A tool's run, expected, if the job is printed to its end; of its stagnant melt what this job alone does to it.
#[must_use]
pub fn features(outline: &JobOutline, tool: &ToolOutline, known: &Known) -> Features {
    let settings = tool.settings();
    let changes: u64 = outline.tools.iter().map(|tool| u64::from(tool.left)).sum();
    Features {
        dose_max: Some(tool.wait_dose_max),
        dose_sum: Some(tool.dose_sum),
        idle_hot: Some(tool.waited),
        idle_mean: tool.wait_mean,
        wait_longest: Some(tool.waited_max),
        restarts: Some(tool.restarts),
        stagnant: Some(tool.stagnant),
        restart_deficit: settings.print.map(|print| deficit(print, tool.called_min)),
        idle_max: tool.wait_max,
        ooze: Some(tool.ooze),
        standby: settings.standby,
        retract: settings.retract,
        retract_mm_s: settings.retract_mm_s,
        print_temperature: settings.print,
        prime: settings.prime,
        tool_changes: usize::try_from(changes).ok(),
        // The outline is at the printer's own pace, and the record holds real times.
        print_length: outline.begins.map(|begins| outline.ends - begins),
        done: Some(1.0),
        ..Features::of(known.facts(tool.tool).kind)
    }
}

/// Most that the melt is colder than its print set point when its turn comes; none if it never does.
fn deficit(print: Celsius, called_min: Option<Celsius>) -> CelsiusDelta {
    CelsiusDelta::new(called_min.map_or(0.0, |coldest| (print - coldest).get().max(0.0)))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::entry::HotEnd;
    use crate::preflight::sample::{bench, lantern};
    use dwell_analysis::estimate::Estimate;
    use dwell_analysis::polymer::Material;
    use dwell_analysis::risk::Restarts;
    use dwell_analysis::units::{CubicMm, DoseMinutes, Millimetres, Seconds};

    #[test]
    fn a_run_to_come_has_the_factors_of_a_run_that_was_and_the_outline_s_length() {
        let mut known = bench(HotEnd::Separate);
        known.pace = Some(Ok(Estimate { value: 1.1, low: 1.0, high: 1.2, n: 12 }));
        let outline = lantern();
        let run = outline.tools.get(1).map(|tool| features(&outline, tool, &known));
        let expected = Features {
            dose_max: Some(DoseMinutes::new(2.5)),
            dose_sum: Some(DoseMinutes::new(4.0)),
            idle_hot: Some(Seconds::minutes(50.0)),
            idle_mean: Some(Celsius::new(176.0)),
            wait_longest: Some(Seconds::minutes(30.0)),
            stagnant: Some(DoseMinutes::new(3.5)),
            restart_deficit: Some(CelsiusDelta::new(14.0)),
            done: Some(1.0),
            restarts: Some(Restarts { n: 1, load_max: 900.0, ..Restarts::default() }),
            idle_max: Some(Celsius::new(210.0)),
            ooze: Some(CubicMm::new(0.8)),
            standby: Some(Celsius::new(170.0)),
            retract: Some(Millimetres::new(0.8)),
            retract_mm_s: Some(35.0),
            print_temperature: Some(Celsius::new(210.0)),
            prime: Some(CubicMm::new(30.0)),
            tool_changes: Some(3),
            print_length: Some(Seconds::new(5400.0)),
            ..Features::of(Material::Petg)
        };
        assert_eq!(run, Some(expected));
    }
}
