//! A factor in its own unit: what it was of each run, and how often the mode happened at each level of it. Owns which
//! factors can be read so, and which way the physics lets them go; the pooling is `response`'s.

use super::measure::{MEASURES, Measure, Scale};
use super::mode::{Expect, FailureMode};
use super::response::{Direction, Response, response};
use super::run::{Group, ToolRun};

/// How often a mode happens at each level of a factor, by the way in which more of it is expected to move the risk.
/// `None` where no way is expected, where the factor is a yes or no or a distance either way, or with too few runs or
/// events.
#[must_use]
pub fn response_to(mode: FailureMode, factor: &str, runs: &[ToolRun], happened: &[Option<bool>]) -> Option<Response> {
    let measure = named(factor).filter(|measure| measure.scale != Scale::Departure && !is_flag(measure))?;
    let direction = match mode.expects(measure.name) {
        Expect::More => Direction::Rising,
        Expect::Less => Direction::Falling,
        Expect::Either => return None,
    };
    response(&values(measure, runs), happened, direction).ok()
}

/// What a factor was of each run, in its unit; `None` where that is not known. Nothing if there is no factor of that name.
#[must_use]
pub fn levels_of(factor: &str, runs: &[ToolRun]) -> Vec<Option<f64>> {
    named(factor).map(|measure| values(measure, runs)).unwrap_or_default()
}

/// Whether a factor counts by its doublings, and reads best on a scale of logarithms.
#[must_use]
pub fn counts_by_doubling(factor: &str) -> bool {
    named(factor).is_some_and(|measure| measure.scale == Scale::Log)
}

pub(super) fn named(factor: &str) -> Option<&'static Measure> {
    MEASURES.iter().find(|measure| measure.name == factor)
}

/// What a factor was of each run, in its unit.
pub(super) fn values(measure: &Measure, runs: &[ToolRun]) -> Vec<Option<f64>> {
    runs.iter().map(|run| (measure.read)(&run.features).filter(|value| value.is_finite())).collect()
}

/// Whether a factor is 1 for yes and 0 for no.
pub(super) fn is_flag(measure: &Measure) -> bool {
    matches!(measure.group, Group::Material | Group::Drying) || measure.name == "ooze_shield"
}

#[cfg(test)]
#[expect(clippy::unwrap_used, reason = "a test may stop")]
mod tests {
    use super::*;
    use crate::estimate::count;
    use crate::polymer::Material;
    use crate::risk::Features;
    use crate::units::Millimetres;

    fn retracting() -> Vec<ToolRun> {
        let run = |print| {
            let retract = Some(Millimetres::new(1.0 + count(print % 4)));
            ToolRun { print, features: Features { retract, ..Features::of(Material::Pla) } }
        };
        (0..80).map(run).collect()
    }

    #[test]
    fn a_response_goes_the_way_that_the_mode_expects_of_the_factor() {
        // Happens at 3 and 4 mm only.
        let happened: Vec<Option<bool>> = (0..80).map(|print| Some(print % 4 > 1)).collect();
        let runs = retracting();
        let jam = response_to(FailureMode::Jam, "retract", &runs, &happened).unwrap();
        let steps: Vec<_> = jam.steps.iter().map(|step| (step.from, step.to, step.events, step.n)).collect();
        assert_eq!(steps, [(1.0, 2.0, 0, 40), (3.0, 4.0, 40, 40)]);
        // Longer retractions are expected to string less, so what rises is no answer to them.
        let stringing = response_to(FailureMode::Stringing, "retract", &runs, &happened).unwrap();
        assert_eq!(stringing.steps.len(), 1);
    }

    #[test]
    fn flags_distances_and_what_has_no_expected_way_have_no_response() {
        let happened: Vec<Option<bool>> = (0..80).map(|print| Some(print % 4 > 1)).collect();
        let runs = retracting();
        for (mode, factor) in [
            (FailureMode::Jam, "material_pla"),
            (FailureMode::Jam, "retract_departure"),
            (FailureMode::Other, "retract"),
            (FailureMode::Jam, "no such factor"),
        ] {
            assert_eq!(response_to(mode, factor, &runs, &happened), None, "{factor}");
        }
    }
}
