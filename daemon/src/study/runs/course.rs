//! One tool's course through the record: its hot times, settings and parts in time order, cut at the beginnings of
//! prints. Owns what had been set, fitted and heated when a print began.

use super::age::{Age, LastHot, is_from_cold};
use super::melt::Loaded;
use super::waits::Waits;
use crate::entry::{HotEnd, Part, PartEvent, Settings, ToolNumber};
use crate::store::{EndedPrint, HotDoing, HotTime, PrinterRow, Reader, StoreError};
use dwell_analysis::polymer::Materials;
use dwell_analysis::time::Timestamp;
use dwell_analysis::units::{DoseMinutes, Seconds};
use std::iter::Peekable;
use std::vec::IntoIter;

/// A tool as it stood at an instant.
#[derive(Clone, Debug, Default)]
pub(super) struct Stand {
    /// As typed in.
    pub(super) settings: Settings,
    /// `None` if the fitting of what is there was never recorded.
    pub(super) liner: Option<Age>,
    /// Likewise.
    pub(super) nozzle: Option<Age>,
    pub(super) melt: Loaded,
}

/// A tool in one print.
#[derive(Clone, Debug)]
pub(super) struct InPrint {
    /// The print, by its place in the list.
    pub(super) print: usize,
    /// When the print began.
    pub(super) stand: Stand,
    pub(super) waits: Waits,
    /// Dose of its stagnant melt at the end; `None` if it is not known.
    pub(super) stagnant: Option<DoseMinutes>,
}

/// A part that was fitted longer than this before the first reading may have been used before it.
pub(in crate::study) const OLDER_BY: Seconds = Seconds::minutes(24.0 * 60.0);

enum Event {
    Set(Box<Settings>),
    Fitted { liner: bool, nozzle: bool },
    Removed { liner: bool, nozzle: bool },
}

/// Moves forwards only.
struct Course<'p> {
    prints: &'p [EndedPrint],
    materials: &'p Materials,
    /// Whether the single waits are kept.
    with_each: bool,
    /// The first print that is still to begin.
    next: usize,
    ahead: Peekable<IntoIter<(Timestamp, Event)>>,
    stand: Stand,
    last: Option<LastHot>,
    /// Of prints that began, those in which it was hot, and the newest.
    found: Vec<InPrint>,
}

/// A tool in each of these prints of its printer in which it was hot, oldest first, and as it stands after everything
/// recorded; with each of its waits, if `with_each`.
pub(super) fn follow(
    reader: &Reader,
    printer: &PrinterRow,
    tool: ToolNumber,
    prints: &[EndedPrint],
    materials: &Materials,
    with_each: bool,
) -> Result<(Vec<InPrint>, Stand), StoreError> {
    let ahead = events(reader, printer, tool)?.into_iter().peekable();
    let stand = Stand::default();
    let mut course = Course { prints, materials, with_each, next: 0, ahead, stand, last: None, found: Vec::new() };
    reader.hot_times(&printer.name, tool, |hot| course.take(&hot))?;
    course.settle();
    course.pass(Timestamp::from_ms(i64::MAX));
    Ok((course.found, course.stand))
}

/// What was set, fitted and removed, in time order.
fn events(reader: &Reader, printer: &PrinterRow, tool: ToolNumber) -> Result<Vec<(Timestamp, Event)>, StoreError> {
    let mut events = Vec::new();
    let since = reader.oldest_of(&printer.name)?;
    let is_older = |at: Timestamp| since.is_some_and(|since| at + OLDER_BY < since);
    for row in reader.settings_changes(&printer.name)?.into_iter().filter(|row| row.change.tool == tool) {
        events.push((row.change.at, Event::Set(Box::new(row.change.settings))));
    }
    for row in reader.parts(Some(&printer.name))? {
        let is_own = row.change.tool == tool;
        let (liner, nozzle) = match row.change.part {
            Part::Liner => (is_own, false),
            // Tools that share a hot end share its nozzle.
            Part::Nozzle => (false, is_own || printer.hot_end == HotEnd::Shared),
            Part::HotEnd => (is_own, is_own || printer.hot_end == HotEnd::Shared),
            Part::HeatBreak | Part::Heater => (false, false),
        };
        events.push(match row.change.event {
            // What it was used before the record began is not known.
            PartEvent::Fitted if is_older(row.change.at) => (row.change.at, Event::Removed { liner, nozzle }),
            PartEvent::Fitted => (row.change.at, Event::Fitted { liner, nozzle }),
            PartEvent::Removed => (row.change.at, Event::Removed { liner, nozzle }),
        });
    }
    events.sort_by_key(|(at, _)| *at);
    Ok(events)
}

impl Course<'_> {
    fn take(&mut self, hot: &HotTime) {
        while let Some(print) = self.prints.get(self.next).filter(|print| print.started <= hot.began) {
            self.pass(print.started);
            self.settle();
            let waits = if self.with_each { Waits::with_each() } else { Waits::default() };
            let stand = self.stand.clone();
            self.found.push(InPrint { print: self.next, stand, waits, stagnant: None });
            self.next += 1;
        }
        self.pass(hot.began);
        self.stand.melt.age(hot, self.materials);
        if let Some(within) = self.found.last_mut()
            && hot.print.is_some()
            && hot.print == self.prints.get(within.print).map(|print| print.id)
        {
            within.waits.add(hot);
            within.stagnant = self.stand.melt.stagnant();
        }
        if let Some(ended) = hot.ended {
            self.pass(ended);
            self.heat(hot, ended);
        }
    }

    fn heat(&mut self, hot: &HotTime, ended: Timestamp) {
        let from_cold = is_from_cold(self.last, hot.began);
        let end = match hot.doing {
            HotDoing::Wait { end, .. } => end,
            HotDoing::Work => None,
        };
        self.last = Some(LastHot { ended, end });
        for age in [&mut self.stand.liner, &mut self.stand.nozzle].into_iter().flatten() {
            age.add(hot.lasted.unwrap_or(Seconds::ZERO), hot.mean, from_cold);
        }
    }

    /// Takes what was set and fitted up to an instant.
    fn pass(&mut self, to: Timestamp) {
        while let Some((_, event)) = self.ahead.next_if(|(at, _)| *at <= to) {
            let (liner, nozzle, age) = match event {
                Event::Set(settings) => {
                    self.stand.settings.update(&settings);
                    self.stand.melt.load(&self.stand.settings);
                    continue;
                }
                Event::Fitted { liner, nozzle } => (liner, nozzle, Some(Age::NEW)),
                // What takes its place is not known until it is told.
                Event::Removed { liner, nozzle } => (liner, nozzle, None),
            };
            if nozzle && age.is_some() {
                self.stand.melt.renew();
            }
            self.stand.liner = if liner { age } else { self.stand.liner };
            self.stand.nozzle = if nozzle { age } else { self.stand.nozzle };
        }
    }

    /// Lets go of the newest print if the tool was not hot in it.
    fn settle(&mut self) {
        self.found.pop_if(|within| !within.waits.any);
    }
}
