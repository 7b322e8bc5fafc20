//! What the reading before told, number by number: whether a host moves at all. Owns what counts as a sign of that.

use crate::entry::{CentiCelsius, Heater, Reading};

/// The numbers of a reading.
#[derive(Clone, Debug, Default)]
pub(super) struct Told {
    /// Of each tool and then the bed.
    actuals: Vec<Option<CentiCelsius>>,
    duties: Vec<Option<u16>>,
    job: (Option<u32>, Option<u64>),
}

/// What is other than before.
#[derive(Clone, Debug, Default)]
pub(super) struct Moved {
    actuals: u32,
    is_elsewhere: bool,
}

impl Told {
    /// Takes the first `n` tools and the bed of a reading.
    pub(super) fn take(&mut self, reading: &Reading, n: usize) -> Moved {
        let job = (reading.job.fraction_millionths, reading.job.byte);
        let mut moved = Moved { actuals: 0, is_elsewhere: std::mem::replace(&mut self.job, job) != job };
        self.actuals.resize(n + 1, None);
        self.duties.resize(n + 1, None);
        let nothing = Heater::default();
        let bed = reading.bed.as_ref().unwrap_or(&nothing);
        for (place, told) in reading.tools.iter().take(n).chain([bed]).enumerate() {
            let (Some(actual), Some(duty)) = (self.actuals.get_mut(place), self.duties.get_mut(place)) else {
                continue;
            };
            if std::mem::replace(actual, told.actual) != told.actual {
                moved.actuals |= 1_u32.checked_shl(u32::try_from(place).unwrap_or(u32::MAX)).unwrap_or(0);
            }
            moved.is_elsewhere |= std::mem::replace(duty, told.duty_thousandths) != told.duty_thousandths;
        }
        moved
    }
}

impl Moved {
    /// Whether anything beside that heater's temperature is other than before.
    pub(super) fn is_beside(&self, place: usize) -> bool {
        let own = u32::try_from(place).ok().and_then(|place| 1_u32.checked_shl(place)).unwrap_or(0);
        self.is_elsewhere || self.actuals & !own != 0
    }
}
