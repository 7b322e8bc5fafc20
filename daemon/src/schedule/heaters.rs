//! Finds out nightly what each tool's heater is like, from the record's own fits, and tells those who watch the printers
//! what is new of it. Owns when that is and what counts as new; the fit is `analysis`'s, and who watches records it.

use crate::app::{AppError, ended};
use crate::clock::Clock;
use crate::entry::{HeaterFact, PrinterName, ToolNumber};
use crate::schedule::day_of;
use crate::store::{Reader, Store, StoreError};
use crate::study::{heater_fits, nozzles};
use dwell_analysis::polymer::Materials;
use dwell_analysis::thermal::HeaterFit;
use dwell_analysis::time::Timestamp;
use dwell_analysis::units::{Celsius, Seconds};
use dwell_dashboards::view::HeaterView;
use jiff::tz::TimeZone;
use std::sync::Arc;
use tokio::sync::watch;

/// How often it is asked whether a night has come, and how soon after the start the first look is.
const LOOK_EVERY: Seconds = Seconds::minutes(1.0);
/// As the learner's: from three o'clock on, when hardly anybody looks.
const NIGHT: Seconds = Seconds::minutes(3.0 * 60.0);
/// What a heater is judged by: a climb from a common standby to a common print temperature, and the fall back (common
/// practice, no source).
const LOW: Celsius = Celsius::new(150.0);
const HIGH: Celsius = Celsius::new(210.0);
/// What differs by less is the same heater: rules allow for more than this share of a climb.
const ALIKE: f64 = 0.05;

/// Finds out about heaters.
pub struct Heaters {
    store: Store,
    clock: Arc<Clock>,
    zone: TimeZone,
    materials: Arc<Materials>,
    told: Vec<Told>,
    /// Who shows what all heaters are like.
    shown: watch::Sender<Option<Arc<HeatersShown>>>,
    /// The instant of the newest look.
    looked: Option<Timestamp>,
}

/// What the record tells of all heaters, and when that was worked out.
#[derive(Clone, Debug)]
pub struct HeatersShown {
    /// When.
    pub at: Timestamp,
    /// A view a tool, by printer; two where its part fan is told apart.
    pub heaters: Vec<HeaterView>,
}

/// Whom to tell of which printer.
struct Told {
    printer: PrinterName,
    heaters: watch::Sender<Vec<HeaterFact>>,
}

impl Heaters {
    /// Looks into the store's record, on nights of `zone`.
    #[must_use]
    pub fn new(store: Store, clock: Arc<Clock>, zone: TimeZone, materials: Arc<Materials>) -> Self {
        Self { store, clock, zone, materials, told: Vec::new(), shown: watch::Sender::new(None), looked: None }
    }

    /// What the record tells of all heaters; `None` until it was looked at for the first time.
    #[must_use]
    pub fn shown(&self) -> watch::Receiver<Option<Arc<HeatersShown>>> {
        self.shown.subscribe()
    }

    /// What is new of a printer's heaters comes out there.
    #[must_use]
    pub fn tell(&mut self, printer: &PrinterName) -> watch::Receiver<Vec<HeaterFact>> {
        let (heaters, told) = watch::channel(Vec::new());
        self.told.push(Told { printer: printer.clone(), heaters });
        told
    }

    /// Looks as it falls due until the daemon stops. A fit under way is waited for: it can't be cut short.
    ///
    /// # Errors
    /// If the work can't be handed over, or the record is damaged; what fails otherwise is told in the log.
    pub async fn run(mut self, stopped: watch::Receiver<bool>) -> Result<(), AppError> {
        let stop = ended(stopped);
        tokio::pin!(stop);
        loop {
            tokio::select! {
                () = tokio::time::sleep(self.clock.real(LOOK_EVERY)) => {}
                () = &mut stop => return Ok(()),
            }
            let work = move || {
                let done = self.look();
                (self, done)
            };
            let (heaters, done) = tokio::task::spawn_blocking(work).await?;
            self = heaters;
            match done {
                Ok(()) => {}
                Err(error @ (StoreError::Damaged { .. } | StoreError::Doubtful(_))) => return Err(error.into()),
                Err(error) => tracing::error!(%error, "what is known of the heaters is not up to date"),
            }
        }
    }

    /// Looks once a night, and once after the start.
    fn look(&mut self) -> Result<(), StoreError> {
        let now = self.clock.now().at;
        let night = |at: Timestamp| day_of(at - NIGHT, &self.zone);
        if self.looked.is_some_and(|looked| night(looked) == night(now)) {
            return Ok(());
        }
        self.looked = Some(now);
        for Told { printer, heaters } in &self.told {
            let news = news(&self.store.reader()?, printer, now)?;
            if !news.is_empty() {
                tracing::info!(%printer, n = news.len(), "the heaters are found to be others than was known");
                // Nobody watches a printer that is gone.
                drop(heaters.send(news));
            }
        }
        let heaters = nozzles(&self.store.reader()?, &self.materials)?;
        self.shown.send_replace(Some(Arc::new(HeatersShown { at: now, heaters })));
        Ok(())
    }
}

/// What the record tells of a printer's heaters and was not known yet.
fn news(reader: &Reader, printer: &PrinterName, at: Timestamp) -> Result<Vec<HeaterFact>, StoreError> {
    let held = reader.heater_facts(printer)?;
    let fits = heater_fits(reader, printer)?.into_iter().enumerate();
    let facts = fits.filter_map(|(idx, fit)| fact(&fit.ok()?, ToolNumber::new(idx)?, at));
    let is_news = |fact: &HeaterFact| {
        let held = held.iter().rev().find(|held| held.tool == fact.tool);
        held.is_none_or(|held| !is_alike(held, fact))
    };
    Ok(facts.filter(is_news).collect())
}

/// What a fit tells; nothing where the record tells no climb or no fall, since the rest is a typical heater's.
fn fact(fit: &HeaterFit, tool: ToolNumber, at: Timestamp) -> Option<HeaterFact> {
    let climb = fit.heating(LOW, HIGH, fit.usual).ok().filter(|climb| climb.value > 0.0)?;
    fit.cooling(HIGH, LOW, fit.usual).ok()?;
    let fact = HeaterFact {
        at,
        tool,
        heater: fit.heater,
        surroundings: fit.surroundings(fit.usual),
        heating_spread: climb.high / climb.value - 1.0,
        n: fit.n_heatups + fit.n_cooldowns,
    };
    Some(fact.rounded())
}

/// Whether two facts tell of the same heater: its climb, its fall, what it takes to hold, and how sure that is.
fn is_alike(one: &HeaterFact, other: &HeaterFact) -> bool {
    let measures = |fact: &HeaterFact| {
        let (heater, around) = (fact.heater, fact.surroundings);
        let hold = (HIGH - around).get() / heater.gain.get();
        [heater.heating(LOW, HIGH, around), heater.cooling(HIGH, LOW, around), Some(Seconds::new(hold))]
    };
    let is_near = |(one, other): (Option<Seconds>, Option<Seconds>)| match (one, other) {
        (Some(one), Some(other)) => (one - other).get().abs() <= ALIKE * one.get(),
        // Neither gets there.
        (None, None) => true,
        (Some(_), None) | (None, Some(_)) => false,
    };
    measures(one).into_iter().zip(measures(other)).all(is_near)
        && (one.heating_spread - other.heating_spread).abs() <= ALIKE
}

#[cfg(test)]
#[expect(clippy::unwrap_used, reason = "a test may stop")]
mod tests {
    use super::*;
    use crate::alarm::Rules;
    use crate::entry::{self, CentiCelsius, Entry, Job, JobState, Part, PartChange, PartEvent, Reading};
    use crate::replay::Replay;
    use dwell_analysis::thermal::{AMBIENT, Heater, HeaterState};
    use dwell_analysis::units::CelsiusDelta;
    use std::collections::HashMap;

    fn known(heater: Heater) -> HeaterFact {
        let (at, tool) = (Timestamp::from_ms(0), ToolNumber::new(0).unwrap());
        HeaterFact { at, tool, heater, surroundings: Celsius::new(30.0), heating_spread: 0.1, n: 12 }
    }

    /// Prints that warm a tool of that heater from 150 °C, work, and let it fall back; a poll a second.
    fn prints(store: &Store, heater: Heater, began: Timestamp) {
        let mut state = HeaterState::new(heater, AMBIENT, LOW);
        let mut replay = Replay::new(store, Rules::default(), HashMap::new());
        for second in 0..8 * 900_u32 {
            let (job, target) = match second % 900 {
                0..300 => (JobState::None, LOW),
                300..360 => (JobState::Heating, HIGH),
                360..600 => (JobState::Printing, HIGH),
                _ => (JobState::Completed, LOW),
            };
            state.set(target);
            state.advance(Seconds::new(1.0));
            let degrees = |celsius: Celsius| CentiCelsius::nearest(celsius.get());
            let tool =
                entry::Heater { actual: degrees(state.actual()), target: degrees(target), ..entry::Heater::default() };
            let name = (job != JobState::None).then(|| Arc::from("lantern.gcode"));
            let reading = Reading {
                at: began + Seconds::new(f64::from(second)),
                after_gap: false,
                job: Job { state: job, name, fraction_millionths: None, byte: None },
                active_tool: Some(0),
                tools: vec![tool],
                bed: None,
            };
            replay.take(&bench(), Entry::Reading(reading)).unwrap();
        }
        replay.finish().unwrap();
    }

    fn bench() -> PrinterName {
        PrinterName::new("bench").unwrap()
    }

    #[test]
    fn a_heater_is_told_once_and_again_when_it_has_become_another() {
        let folder = tempfile::tempdir().unwrap();
        let store = Store::open(&folder.path().join("record.db")).unwrap();
        let began = Timestamp::from_ms(1_770_000_000_000);
        prints(&store, Heater::HOT_END, began);
        let look = || {
            let clock = Arc::new(Clock::rehearsal(began + Seconds::minutes(1500.0), 1.001));
            let mut heaters = Heaters::new(store.clone(), clock, TimeZone::UTC, Arc::default());
            let (mut told, shown) = (heaters.tell(&bench()), heaters.shown());
            assert!(shown.borrow().is_none());
            heaters.look().unwrap();
            let seen = shown.borrow().clone().unwrap();
            assert!(seen.at >= began && matches!(seen.heaters.as_slice(), [one] if one.told.is_ok()), "{seen:?}");
            let news = told.borrow_and_update().clone();
            // The same night it is not looked again.
            heaters.look().unwrap();
            assert!(!told.has_changed().unwrap());
            news
        };
        let first = look();
        let [fact] = first.as_slice() else { unreachable!("one heater: {first:?}") };
        let climb = |heater: Heater, around| heater.heating(LOW, HIGH, around).unwrap().get();
        let (found, truth) = (climb(fact.heater, fact.surroundings), climb(Heater::HOT_END, AMBIENT));
        assert!((found / truth - 1.0).abs() < 0.05, "{found} s, and {truth} s is true: {fact:?}");
        assert!(fact.heating_spread < 0.3 && fact.n >= 14, "{fact:?}");
        store.record_heater(&bench(), fact).unwrap();
        assert_eq!(store.reader().unwrap().heater_facts(&bench()).unwrap(), first);
        assert_eq!(look(), []);
        // As after a heater of half the power was put in, once its prints are the newest.
        let weak = Heater { gain: CelsiusDelta::new(400.0), ..Heater::HOT_END };
        let (at, tool) = (began + Seconds::minutes(130.0), ToolNumber::new(0).unwrap());
        let (part, event) = (Part::Heater, PartEvent::Fitted);
        store.record_part(&bench(), &PartChange { at, tool, part, event, reason: None, note: None }).unwrap();
        prints(&store, weak, began + Seconds::minutes(140.0));
        let second = look();
        let [fact] = second.as_slice() else { unreachable!("one heater: {second:?}") };
        let (found, truth) = (climb(fact.heater, fact.surroundings), climb(weak, AMBIENT));
        assert!((found / truth - 1.0).abs() < 0.05, "{found} s, and {truth} s is true: {fact:?}");
    }

    #[test]
    fn a_heater_is_new_when_its_climb_fall_hold_or_certainty_is_and_not_for_a_hair() {
        let held = known(Heater::HOT_END);
        let slower = |share: f64| Heater { time_constant: Seconds::new(200.0 * share), ..Heater::HOT_END };
        assert!(is_alike(&held, &known(slower(1.04))) && !is_alike(&held, &known(slower(1.10))));
        let falls = Heater { cooling_constant: Seconds::new(180.0), ..Heater::HOT_END };
        assert!(!is_alike(&held, &known(falls)));
        // Weaker by a tenth and as much quicker: the climb is nearly the same, what it takes to hold is not.
        let weaker = Heater { gain: CelsiusDelta::new(630.0), time_constant: Seconds::new(176.0), ..Heater::HOT_END };
        assert!(!is_alike(&held, &known(weaker)));
        assert!(!is_alike(&held, &HeaterFact { heating_spread: 0.16, ..held }));
        assert!(is_alike(&held, &HeaterFact { n: 99, at: Timestamp::from_ms(5), ..held }));
        // A heater that never gets there is another one than one that does.
        let cold = Heater { gain: CelsiusDelta::new(150.0), ..Heater::HOT_END };
        assert!(!is_alike(&held, &known(cold)));
    }
}
