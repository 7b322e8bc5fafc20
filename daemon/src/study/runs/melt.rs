//! How old a tool's stagnant melt is, reckoned from its recorded hot times. Owns when that is not known.

use crate::entry::Settings;
use crate::store::{HotDoing, HotTime};
use dwell_analysis::polymer::{MaterialFacts, Materials, Melt, STAGNANT_VOLUME, WORKING_FLOW, dose_rate};
use dwell_analysis::units::{CubicMm, DoseMinutes, Seconds};
use std::sync::Arc;

/// Once so much has been extruded, a twentieth is left of what a stagnant melt took before.
const FLUSHED_MM3: f64 = 3.0 * STAGNANT_VOLUME.get();

/// A tool's melt.
#[derive(Clone, Debug)]
pub(super) struct Loaded {
    material: Option<Arc<str>>,
    melt: Melt,
    /// What is still to be extruded before its dose is known, mm3.
    unsure_mm3: f64,
}

impl Default for Loaded {
    /// What the tool went through before the record began is not known.
    fn default() -> Self {
        Self { material: None, melt: Melt::FRESH, unsure_mm3: FLUSHED_MM3 }
    }
}

impl Loaded {
    /// Takes the material that these settings tell. Another one than before was purged in, and its melt is fresh.
    pub(super) fn load(&mut self, settings: &Settings) {
        if self.material.is_some() && self.material != settings.material {
            self.renew();
        }
        self.material.clone_from(&settings.material);
    }

    /// A nozzle was fitted: there is no melt that has waited in it.
    pub(super) const fn renew(&mut self) {
        (self.melt, self.unsure_mm3) = (Melt::FRESH, 0.0);
    }

    /// Ages by a hot time.
    pub(super) fn age(&mut self, hot: &HotTime, materials: &Materials) {
        let facts: &MaterialFacts = materials.of(self.material.as_deref());
        let lasted = hot.lasted.unwrap_or(Seconds::ZERO);
        let dose = match hot.doing {
            HotDoing::Wait { dose, .. } => dose,
            HotDoing::Work => hot.mean.map(|mean| DoseMinutes::new(dose_rate(facts, mean) * lasted.as_minutes())),
        };
        let taken = dose.unwrap_or(DoseMinutes::ZERO);
        match hot.doing {
            HotDoing::Wait { .. } => self.melt.wait(taken),
            HotDoing::Work => {
                let extruded = CubicMm::new(WORKING_FLOW * lasted.get());
                self.melt.work(taken, extruded);
                self.unsure_mm3 = (self.unsure_mm3 - extruded.get()).max(0.0);
            }
        }
        if hot.lasted.is_none() || lasted > Seconds::ZERO && dose.is_none() {
            self.unsure_mm3 = FLUSHED_MM3;
        }
    }

    /// Dose of its stagnant melt; `None` if too little is recorded of what it went through.
    pub(super) fn stagnant(&self) -> Option<DoseMinutes> {
        (self.unsure_mm3 <= 0.0).then_some(self.melt.stagnant)
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::tracker::Context;
    use dwell_analysis::time::Timestamp;
    use dwell_analysis::units::Celsius;

    fn hot(minutes: f64, mean: Option<Celsius>, doing: HotDoing) -> HotTime {
        let began = Timestamp::from_ms(0);
        let lasted = Seconds::minutes(minutes);
        HotTime { began, ended: Some(began + lasted), print: None, doing, lasted: Some(lasted), mean, max: mean }
    }

    fn waited(dose: Option<f64>) -> HotTime {
        let dose = dose.map(DoseMinutes::new);
        hot(5.0, None, HotDoing::Wait { context: Context::InPrint, end: None, dose, ooze: None })
    }

    #[test]
    fn what_was_not_measured_hides_the_dose_until_work_has_flushed_it() {
        let materials = Materials::default();
        let told = |minutes: f64, before: HotTime| {
            let mut melt = Loaded::default();
            melt.renew();
            melt.age(&before, &materials);
            // 240 mm3 a minute: 93.75 minutes are three hold-ups.
            melt.age(&hot(minutes, Some(Celsius::new(200.0)), HotDoing::Work), &materials);
            melt.stagnant().is_some()
        };
        let unmeasured = hot(1.0, None, HotDoing::Work);
        assert!(told(1.0, waited(Some(3.0))));
        assert!(!told(93.0, waited(None)) && told(94.0, waited(None)));
        assert!(!told(93.0, unmeasured) && told(94.0, unmeasured));
        let lasting = HotTime { lasted: None, ended: None, ..waited(Some(3.0)) };
        assert!(!told(1.0, lasting));
    }

    #[test]
    fn another_material_brings_a_fresh_melt_and_the_first_word_of_one_does_not() {
        let mut melt = Loaded::default();
        let of = |name: &str| Settings { material: Some(Arc::from(name)), ..Settings::default() };
        melt.load(&of("PLA"));
        assert_eq!(melt.stagnant(), None, "nobody knows for how long it was in");
        melt.load(&of("PETG"));
        melt.age(&waited(Some(3.0)), &Materials::default());
        melt.load(&of("PETG"));
        assert_eq!(melt.stagnant(), Some(DoseMinutes::new(3.0)));
        melt.load(&of("PLA"));
        assert_eq!(melt.stagnant(), Some(DoseMinutes::ZERO));
    }
}
