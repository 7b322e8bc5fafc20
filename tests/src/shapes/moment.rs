//! The printer at one second, with what a host may know besides the reading; and windows of seconds in which
//! something is to be seen. Owns the virtual time; must not wait for the real one.

use dwell_analysis::time::Timestamp;
use dwellwatch::entry::{CentiCelsius, Heater, HotEnd, JobState, Reading};
use dwellwatch::rehearsal::LiveJob;

/// Layers of each job that a host tells of: the rehearsal's own layers are too few to move within a window.
const LAYERS: u32 = 140;
/// What the host expects each job to take, s; longer than the rehearsal's jobs do.
const EXPECTED_S: u32 = 4200;
/// When the watch begins, ms.
const ORIGIN_MS: i64 = 1_780_000_000_000;
/// Length of a window, s: as long as a person would wait in front of a search.
const WINDOW_S: usize = 20;
/// The first job, the rest after it, and the second one's beginning.
const FOLLOWED_S: u32 = 4600;

/// The printer at one second.
#[derive(Clone, Debug)]
pub struct Moment {
    /// Seconds since the printer was switched on.
    pub second: u32,
    /// What there is to tell.
    pub reading: Reading,
    /// Size of the job's file, bytes.
    pub size: u64,
    /// Layers done, of [`Moment::layers`].
    pub layer: u32,
    /// Layers of the job.
    pub layers: u32,
    /// Seconds since the job began.
    pub elapsed_s: u32,
    /// Seconds that the job is expected to take.
    pub expected_s: u32,
}

/// A stretch of seconds, 1 s apart.
#[derive(Clone, Debug)]
pub struct Window {
    /// What is to be seen in it.
    pub name: &'static str,
    /// Second by second.
    pub moments: Vec<Moment>,
}

/// A tool change, steady printing, and a job that begins with cold heaters.
#[must_use]
pub fn windows(hot_end: HotEnd) -> Vec<Window> {
    let moments = followed(hot_end);
    let tool = |idx: usize| moments[idx].reading.active_tool;
    let state = |idx: usize| moments[idx].reading.job.state;
    let length = 0..WINDOW_S;
    let change = (60..moments.len()).find(|&idx| tool(idx) != tool(idx - 1) && state(idx) == JobState::Printing);
    let steady = (100..moments.len() - WINDOW_S).find(|&first| {
        let seen = || (first - 60..first + WINDOW_S).map(|idx| (state(idx), tool(idx)));
        seen().all(|one| one == (JobState::Printing, tool(first)))
    });
    let heating = (1..moments.len()).find(|&idx| state(idx) == JobState::Heating && state(idx - 1) != state(idx));
    let window = |name, first: usize| Window { name, moments: moments[first..first + length.end].to_vec() };
    vec![
        window("tool change", change.unwrap() - 9),
        window("steady printing", steady.unwrap()),
        window("heating up", heating.unwrap() - 3),
    ]
}

fn followed(hot_end: HotEnd) -> Vec<Moment> {
    let mut live = LiveJob::new(23, hot_end);
    let (mut began, mut before) = (0, JobState::None);
    let moment = |second: u32| {
        let reading = live.reading(Timestamp::from_ms(ORIGIN_MS + i64::from(second) * 1000));
        if reading.job.state == JobState::Heating && before != JobState::Heating {
            began = second;
        }
        before = reading.job.state;
        let millionths = u64::from(reading.job.fraction_millionths.unwrap_or(0));
        let layer = u32::try_from(millionths * u64::from(LAYERS) / 1_000_000).unwrap();
        Moment {
            second,
            size: u64::try_from(live.text().len()).unwrap(),
            layer,
            layers: LAYERS,
            elapsed_s: second - began,
            expected_s: EXPECTED_S,
            reading,
        }
    };
    (0..FOLLOWED_S).map(moment).collect()
}

impl Moment {
    /// The job's name.
    #[must_use]
    pub fn name(&self) -> Option<&str> {
        self.reading.job.name.as_deref()
    }

    /// Progress, 0 to 1.
    #[must_use]
    pub fn fraction(&self) -> Option<f64> {
        self.reading.job.fraction_millionths.map(|millionths| f64::from(millionths) / 1e6)
    }

    /// Progress of a whole, rounded to the step: 1000 and 1 give whole thousandths.
    #[must_use]
    pub fn progress(&self, whole: f64, step: f64) -> Option<f64> {
        self.fraction().map(|share| rounded(share * whole, step))
    }

    /// The heater of a tool.
    #[must_use]
    pub fn tool(&self, number: usize) -> Heater {
        self.reading.tools[number]
    }

    /// The bed.
    #[must_use]
    pub fn bed(&self) -> Heater {
        self.reading.bed.unwrap_or_default()
    }

    /// Whether that tool is at work.
    #[must_use]
    pub fn works(&self, number: usize) -> bool {
        self.reading.active_tool == Some(number)
    }

    /// A number that moves in a way of its own and means nothing to the printer, 0 to 1.
    #[must_use]
    pub fn drift(&self, salt: u32) -> f64 {
        let mixed = self.second.wrapping_mul(7919).wrapping_add(salt.wrapping_mul(104_729)) % 997;
        f64::from(mixed) / 997.0
    }
}

/// °C in steps of `step`.
pub(super) fn celsius(temp: Option<CentiCelsius>, step: f64) -> Option<f64> {
    temp.map(|temp| rounded(temp.celsius().get(), step))
}

/// °C in steps of `step`; null for a heater that is off.
pub(super) fn wanted_or_null(temp: Option<CentiCelsius>, step: f64) -> Option<f64> {
    celsius(temp, step).filter(|degrees| *degrees > 0.0)
}

/// °F in steps of `step`.
pub(super) fn fahrenheit(temp: Option<CentiCelsius>, step: f64) -> Option<f64> {
    temp.map(|temp| rounded(temp.celsius().get() * 1.8 + 32.0, step))
}

/// A whole number of tenths of a kelvin.
pub(super) fn kelvin_tenths(temp: Option<CentiCelsius>) -> Option<i32> {
    // 273.15 K lies between two tenths: 273.2 is the one that is told for 0 °C.
    temp.map(|temp| (temp.hundredths() + 27_315 + 5).div_euclid(10))
}

/// A duty of a whole, in steps of `step`.
pub(super) fn duty(heater: Heater, whole: f64, step: f64) -> Option<f64> {
    heater.duty_thousandths.map(|thousandths| rounded(f64::from(thousandths) / 1000.0 * whole, step))
}

/// Rounded so that JSON shows no more digits than the step has.
pub(super) fn rounded(number: f64, step: f64) -> f64 {
    let per_unit = (1.0 / step).round();
    (number * per_unit).round() / per_unit
}

/// A number without a fraction, as a host that counts in whole numbers writes it.
#[expect(clippy::as_conversions, clippy::cast_possible_truncation, reason = "temperatures and shares: small numbers")]
pub(super) fn whole(number: Option<f64>) -> Option<i64> {
    number.map(|number| number.round() as i64)
}
