//! The *Now* view: the newest reading that the store holds of each printer, and the last two hours.

use super::ahead::{Expected, expected, value};
use super::heard::heard;
use super::lanes::{Window, lanes_with};
use super::reheat::Heaters;
use super::{ViewError, frame};
use crate::alarm::State;
use crate::entry::{HotEnd, PrinterName, Settings};
use crate::host::Skew;
use crate::store::{self, AlarmRow, GapRow, Latest, Reader, StoreError};
use crate::study::{alarm_view, called_alarms, settings_view, told_in_memory, typed_at};
use crate::tracker::{Doing, SILENCE_MAX, ToolNow};
use crate::web::Site;
use dwell_analysis::polymer::{Materials, dose_rate};
use dwell_analysis::time::Timestamp;
use dwell_analysis::units::Seconds;
use dwell_dashboards::view::{
    Ahead, AlarmView, Contact, DoingNow, HostClock, JobNow, NowView, PrinterNow, Refused, ToolNowView, Trouble,
    Unwritten,
};

/// How far back the lanes look, and how long ago an alarm may have returned to be shown still.
pub(super) const LOOK_BACK: Seconds = Seconds::minutes(120.0);

/// How a print went is asked here for two weeks; who has not said by then is asked by *Prints* alone.
const ASKED_FOR: Seconds = Seconds::minutes(14.0 * 24.0 * 60.0);

/// A limit that is further off than a day is not a time that anyone can plan with.
const TIME_LEFT_MAX: Seconds = Seconds::minutes(24.0 * 60.0);

/// Fills the view.
pub(in crate::web) fn now(site: &Site) -> Result<NowView, ViewError> {
    // Read before the record: a view may be newer than the revision that it names, never older, and what is written
    // meanwhile stands in both.
    let revision = *site.store.revisions().borrow();
    let (unwritten, waiting) = (site.store.unwritten(), site.store.unwritten_alarms());
    let reader = site.store.reader()?;
    let names = site.printer_names(&reader)?;
    let known = reader.printers()?;
    let at = site.clock.now().at;
    let refused = reader.refused(None, None)?;
    let gaps = reader.gaps(Some(at - LOOK_BACK - LOOK_BACK), None)?;
    let is_written = unwritten.is_none();
    let mut printers = Vec::with_capacity(names.len());
    for name in &names {
        let hot_end = known.iter().find(|row| row.name == *name).map_or_else(HotEnd::default, |row| row.hot_end);
        let mine = refused.iter().filter(|row| row.printer == *name);
        let refused = mine.map(|row| Refused { reason: row.reason, n: row.n }).collect();
        let source = Source { site, reader: &reader, gaps: &gaps, at, is_written };
        printers.push(PrinterNow { refused, hot_end: hot_end.word(), ..source.printer(name)? });
    }
    let mut alarms = alarms(&reader, &names, at - LOOK_BACK)?;
    told_in_memory(&reader, &mut alarms, waiting)?;
    let open = reader.open_alarms()?;
    let holds = super::alarms::holds(&reader, &open)?;
    let n_unseen = unseen(&open, at - LOOK_BACK);
    let silent_since = super::prints::silent_since(site).max(Some(at - ASKED_FOR));
    let n_silent = reader.unreported_prints(silent_since, 0)?.1;
    let is_empty = alarms.is_empty() && printers.iter().all(|printer| matches!(printer.contact, Contact::Never));
    let unwritten = unwritten.map(in_view);
    Ok(NowView {
        frame: frame(site)?,
        at: (!is_empty).then_some(at),
        unwritten,
        printers,
        alarms,
        n_unseen,
        n_silent,
        holds,
        token: site.token.clone(),
        revision,
        made: String::new(),
    })
}

/// What each printer's view is made from.
struct Source<'a> {
    site: &'a Site,
    reader: &'a Reader,
    /// Of all printers, over the time that lanes look back.
    gaps: &'a [GapRow],
    at: Timestamp,
    is_written: bool,
}

impl Source<'_> {
    fn printer(&self, name: &PrinterName) -> Result<PrinterNow, ViewError> {
        let (site, reader) = (self.site, self.reader);
        let latest = site.store.latest(name);
        let polls = site.store.polls(name);
        let newest = latest.as_ref().map(|latest| latest.reading.at).max(reader.newest_of(name)?);
        let contact = contact(reader, name, newest, self.at)?;
        let is_silent = !matches!(contact, Contact::In { .. });
        let expected = latest.as_ref().map(|latest| expected(site, reader, name, latest, is_silent)).transpose()?;
        Ok(PrinterNow {
            name: name.to_string(),
            hot_end: HotEnd::default().word(),
            is_commissioning: site.commissioning.contains(name),
            contact,
            troubles: polls.troubles.into_iter().map(trouble).collect(),
            host_clock: polls.skew.map(host_clock),
            job: latest.as_ref().map(|latest| job(reader, name, latest)).transpose()?,
            ahead: expected.as_ref().map_or(Ahead::Silent, |expected| expected.ahead),
            heard: newest.map(|newest| heard(reader, name, self.gaps, newest, self.at)).transpose()?,
            tools: match latest.as_ref().zip(expected) {
                Some((latest, expected)) => self.tools(name, latest, &expected)?,
                None => Vec::new(),
            },
            refused: Vec::new(),
        })
    }

    /// Tools are told of from the newest reading alone: after a restart there are none until it comes.
    fn tools(
        &self,
        printer: &PrinterName,
        latest: &Latest,
        expected: &Expected,
    ) -> Result<Vec<ToolNowView>, StoreError> {
        let (reader, newest, n_tools) = (self.reader, latest.reading.at, latest.tools.len());
        let settings = typed_at(reader, printer, newest, n_tools)?;
        let heaters = Heaters::of(reader, printer)?;
        let from = newest - LOOK_BACK;
        // What ended or was silent since then is not in the record yet: its lanes end where it does.
        let window = if self.is_written {
            Window { printer, from, newest, latest: Some(&latest.reading) }
        } else {
            Window { printer, from, newest: reader.newest_of(printer)?.unwrap_or(from), latest: None }
        };
        let past = Some(&*self.site.past).filter(|_| self.is_written);
        let lanes = lanes_with(reader, window, n_tools, self.gaps, past)?;
        let each = latest.tools.iter().zip(settings).zip(lanes).enumerate();
        Ok(each
            .map(|(number, ((tool, typed), history))| {
                let time_left = time_left(tool, &typed, &self.site.materials);
                let next = expected.of(number, tool, &typed, time_left);
                let settings = settings_view(&typed, expected.asked(number));
                ToolNowView {
                    number,
                    material: typed.material.as_deref().map(str::to_owned),
                    doing: doing(tool.doing),
                    actual: tool.actual,
                    target: tool.target,
                    dose: tool.dose,
                    limit: tool.limit,
                    time_left,
                    history,
                    next: next.pieces,
                    works: next.works,
                    standby: settings.standby,
                    reheat: heaters.reheat(number, tool, settings.print.map(value)),
                }
            })
            .collect())
    }
}

fn contact(
    reader: &Reader,
    printer: &PrinterName,
    newest: Option<Timestamp>,
    now: Timestamp,
) -> Result<Contact, StoreError> {
    Ok(match newest {
        None => Contact::Never,
        Some(newest) if now - newest > SILENCE_MAX => Contact::Silent { since: newest },
        Some(newest) => {
            let since = reader.contact_since(printer)?.unwrap_or(newest);
            Contact::In { since: since.min(newest), newest }
        }
    })
}

pub(super) fn trouble(trouble: store::Trouble) -> Trouble {
    Trouble { since: trouble.since, cause: trouble.cause }
}

pub(super) fn host_clock(skew: Skew) -> HostClock {
    HostClock { ahead: skew.ahead, within: skew.within }
}

fn job(reader: &Reader, printer: &PrinterName, latest: &Latest) -> Result<JobNow, StoreError> {
    let job = &latest.reading.job;
    Ok(JobNow {
        state: job.state.word(),
        name: job.name.as_deref().map(str::to_owned),
        fraction: job.fraction_millionths.map(|millionths| f64::from(millionths) / 1e6),
        started: reader.running_print(printer)?.map(|(_, started)| started),
    })
}

fn doing(doing: Doing) -> DoingNow {
    match doing {
        Doing::Working { since } => DoingNow::Working { since },
        Doing::Waiting { since, context, idle } => DoingNow::Waiting { context: context.word(), since, idle },
        Doing::Cold => DoingNow::Cold,
        Doing::Unknown => DoingNow::Unknown,
    }
}

/// Until the limit, at the present temperature.
fn time_left(tool: &ToolNow, settings: &Settings, materials: &Materials) -> Option<Seconds> {
    let actual = tool.actual.filter(|_| matches!(tool.doing, Doing::Waiting { .. }))?;
    let left = Seconds::minutes((tool.limit - tool.dose).get() / dose_rate(settings.facts(materials), actual));
    (left.get().is_finite() && left > Seconds::ZERO && left <= TIME_LEFT_MAX).then_some(left)
}

/// What the disk has not taken.
fn in_view(unwritten: store::Unwritten) -> Unwritten {
    let count = |n: usize| u32::try_from(n).unwrap_or(u32::MAX);
    Unwritten {
        since: unwritten.since,
        cause: unwritten.cause,
        n_steps: count(unwritten.n_steps),
        n_events: count(unwritten.n_events),
        n_alarms: count(unwritten.n_alarms),
        readings_dropped: count(unwritten.dropped.readings),
        events_dropped: count(unwritten.dropped.events),
        lasts_until: unwritten.lasts_until,
    }
}

/// How many came and went before that, without anybody having looked at them.
fn unseen(open: &[AlarmRow], before: Timestamp) -> u32 {
    let is_past = |row: &&AlarmRow| row.returned.is_some_and(|at| at < before);
    let mine = open.iter().filter(|row| row.state == State::ReturnedUnacknowledged).filter(is_past);
    u32::try_from(mine.count()).unwrap_or(u32::MAX)
}

fn alarms(reader: &Reader, printers: &[PrinterName], since: Timestamp) -> Result<Vec<AlarmView>, StoreError> {
    let concerns = |row: &AlarmRow| row.printer.as_ref().is_none_or(|printer| printers.contains(printer));
    let (called, _) = called_alarms(reader, reader.alarms(Some(since), None)?, since, None)?;
    Ok(called.into_iter().filter(concerns).map(alarm_view).collect())
}
