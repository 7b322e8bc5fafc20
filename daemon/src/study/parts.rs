//! How long the parts in use may still last. Owns which lives of the record speak for which part and how hours become
//! days; how lives are weighed is `analysis`'s.

mod heat;
mod lives;
#[cfg(test)]
#[expect(clippy::unwrap_used, reason = "a test may stop")]
mod tests;

use super::runs::course::OLDER_BY;
use crate::entry::{Part, PartChange, PrinterName, ToolNumber};
use crate::store::{PrinterRow, Reader, StoreError};
use dwell_analysis::estimate::{Confidence, Estimate};
use dwell_analysis::survival::{Basis, End, Lasting, Life, Outlook, Posterior, Prior, days_left, wear_a_day};
use dwell_analysis::time::Timestamp;
use dwell_analysis::units::{Probability, Seconds};
use dwell_dashboards::view::{LivesView, PartExpected, PartView, PastPart, Replace};
use heat::{Heat, Used};
use lives::{Stay, stays};

/// Days of recent use: whole weeks.
const DAYS: usize = 28;
/// No use is the same for longer: ten years.
const DAYS_AHEAD_MAX: f64 = 3650.0;
/// Unless it is likelier than not that such parts wear out, a new one is no safer than an old one.
const WEARS_OUT: f64 = 0.5;
const DAY_S: f64 = 86_400.0;
const DAY_MS: i64 = 86_400_000;

/// Every part in use whose fitting is on record, by printer, tool and kind, and what is expected of it when this chance
/// to fail is accepted. Lives of one kind count together, whichever printer and tool they were in.
///
/// # Errors
/// If the record can't be read; what can't be said of a part is told with it.
pub fn parts(reader: &Reader, accepted: Probability) -> Result<Vec<PartView>, StoreError> {
    let used = used_of_all(reader)?;
    let mut views = Vec::new();
    for part in Part::ALL.iter().copied() {
        let of_kind: Vec<&UsedPart> = used.iter().filter(|used| used.stay.part == part).collect();
        let in_use: Vec<&UsedPart> = of_kind.iter().copied().filter(|used| used.stay.ended.is_none()).collect();
        if in_use.is_empty() {
            continue;
        }
        let lives: Vec<Life> = of_kind.into_iter().filter_map(UsedPart::life).collect();
        let posterior = Posterior::of(&lives, prior(part));
        views.extend(in_use.into_iter().map(|used| view(used, &posterior, accepted)));
    }
    views.sort_by(|a, b| (&a.printer, a.tool).cmp(&(&b.printer, b.tool)));
    Ok(views)
}

/// How long parts of each kind last of which one is in use, and what those came to that are out.
///
/// # Errors
/// If the record can't be read.
pub fn lives(reader: &Reader) -> Result<Vec<LivesView>, StoreError> {
    let used = used_of_all(reader)?;
    let of = |part: Part| {
        let of_kind: Vec<&UsedPart> = used.iter().filter(|used| used.stay.part == part).collect();
        let mut past: Vec<PastPart> = of_kind.iter().filter_map(|used| used.past()).collect();
        past.sort_by_key(|past| past.ended);
        LivesView { part: part.word(), curve: curve(part, &of_kind), past }
    };
    let lives = Part::ALL.iter().copied().map(of);
    Ok(lives.filter(|lives| !lives.curve.is_empty() || !lives.past.is_empty()).collect())
}

/// What is in use of a printer by what was told of its parts, in time order: which part of which tool since when.
#[must_use]
pub fn in_use(changes: &[PartChange]) -> Vec<(ToolNumber, Part, Timestamp)> {
    let tools = (0..ToolNumber::COUNT_MAX).filter_map(ToolNumber::new);
    let stays = tools.flat_map(|tool| Part::ALL.iter().flat_map(move |part| stays(changes, tool, *part)));
    stays.filter(|stay| stay.ended.is_none()).map(|stay| (stay.tool, stay.part, stay.fitted)).collect()
}

/// The share of such parts that lasts to an age, from 0 to beyond the oldest in use; none where none is in use.
fn curve(part: Part, of_kind: &[&UsedPart]) -> Vec<Lasting> {
    let in_use = of_kind.iter().filter(|used| used.stay.ended.is_none());
    let Some(oldest) = in_use.map(|used| used.used.wear_h.unwrap_or(0.0)).reduce(f64::max) else { return Vec::new() };
    let lives: Vec<Life> = of_kind.iter().filter_map(|used| used.life()).collect();
    let posterior = Posterior::of(&lives, prior(part));
    let most = Probability::new(SHOWN_TO).map_or(oldest, |most| posterior.outlook(0.0).age_limit(most));
    let until = most.max(BEYOND * oldest);
    let ages: Vec<f64> = (0..=CURVE_STEPS).map(|step| until * f64::from(step) / f64::from(CURVE_STEPS)).collect();
    posterior.lasting(&ages, Confidence::Percent90)
}

fn used_of_all(reader: &Reader) -> Result<Vec<UsedPart>, StoreError> {
    let mut used = Vec::new();
    for row in reader.printers()? {
        used.extend(used_on(reader, &row)?);
    }
    Ok(used)
}

/// What the liner in use of each printer's tools may still last, in hours of wear; none of a tool whose liner's fitting
/// or wear is not known.
pub(super) fn liner_outlooks(reader: &Reader) -> Result<Vec<(PrinterName, ToolNumber, Outlook)>, StoreError> {
    let mut used = used_of_all(reader)?;
    used.retain(|used| used.stay.part == Part::Liner);
    let lives: Vec<Life> = used.iter().filter_map(UsedPart::life).collect();
    let posterior = Posterior::of(&lives, prior(Part::Liner));
    let outlook = |used: &UsedPart| {
        let age = used.used.wear_h.filter(|_| used.stay.ended.is_none() && !used.is_older)?;
        Some((used.printer.clone(), used.stay.tool, posterior.outlook(age)))
    };
    Ok(used.iter().filter_map(outlook).collect())
}

fn prior(part: Part) -> Prior {
    match part {
        // What wears out first in a hot end is its liner.
        Part::Liner | Part::HotEnd => Prior::liner(),
        Part::Nozzle => Prior::nozzle(),
        Part::HeatBreak | Part::Heater => Prior::lasting(),
    }
}

/// A curve is drawn until so many have failed, and so far beyond the oldest part in use.
const SHOWN_TO: f64 = 0.6;
const BEYOND: f64 = 1.15;
const CURVE_STEPS: u16 = 40;

/// A part, what it went through, and the recent use of the tool that it is in.
struct UsedPart {
    printer: PrinterName,
    stay: Stay,
    used: Used,
    as_of: Option<Timestamp>,
    /// Hours of wear, a day each.
    days: Vec<f64>,
    /// It was fitted long before the record began: its age is not known.
    is_older: bool,
}

impl UsedPart {
    /// Its life in hours of wear; `None` where these are not known, or none.
    fn life(&self) -> Option<Life> {
        let end = self.stay.ended.map_or(End::Censored, |(_, end)| end);
        Life::new(0.0, self.used.wear_h.filter(|_| !self.is_older)?, end)
    }
}

impl UsedPart {
    /// What it came to, if it is out.
    fn past(&self) -> Option<PastPart> {
        let (ended, end) = self.stay.ended?;
        Some(PastPart {
            printer: self.printer.to_string(),
            tool: self.stay.tool.idx(),
            part: self.stay.part.word(),
            fitted: self.stay.fitted,
            ended,
            has_failed: end == End::Failed,
            hot: self.used.hot,
            wear_h: self.wear_h(),
            heat_cycles: self.used.cycles,
        })
    }

    /// Its hours of wear, or why they are not known.
    fn wear_h(&self) -> Result<f64, String> {
        const UNTOLD: &str = "no temperature is known of more than a twentieth of its hot time";
        const OLDER: &str = "it was fitted before the record began";
        match self.used.wear_h {
            _ if self.is_older => Err(OLDER.to_owned()),
            Some(wear) => Ok(wear),
            None => Err(UNTOLD.to_owned()),
        }
    }
}

fn used_on(reader: &Reader, row: &PrinterRow) -> Result<Vec<UsedPart>, StoreError> {
    let changes: Vec<_> = reader.parts(Some(&row.name))?.into_iter().map(|row| row.change).collect();
    let as_of = reader.newest_of(&row.name)?;
    let mut used = Vec::new();
    for tool in (0..ToolNumber::COUNT_MAX).filter_map(ToolNumber::new) {
        let kinds = Part::ALL.iter().flat_map(|part| stays(&changes, tool, *part));
        let stays: Vec<Stay> = kinds.collect();
        if stays.is_empty() {
            continue;
        }
        let heat = Heat::of(reader, &row.name, tool)?;
        let since = reader.oldest_of(&row.name)?.into_iter().chain(heat.first()).min();
        let days = since.zip(as_of).map_or_else(Vec::new, |(since, until)| heat.days(since, until, DAYS));
        let end_of_record = Timestamp::from_ms(i64::MAX);
        used.extend(stays.into_iter().map(|stay| {
            let to = stay.ended.map_or(end_of_record, |(at, _)| at);
            let (printer, used) = (row.name.clone(), heat.used(stay.fitted, to));
            let is_older = since.is_some_and(|since| stay.fitted + OLDER_BY < since);
            // A part that was fitted since the last reading is as of its fitting.
            let as_of = as_of.map(|as_of| as_of.max(stay.fitted));
            UsedPart { printer, stay, used, as_of, is_older, days: days.clone() }
        }));
    }
    Ok(used)
}

fn view(used: &UsedPart, posterior: &Posterior, accepted: Probability) -> PartView {
    let wear_h = used.wear_h();
    let expected = wear_h.clone().map(|age| expected(used, posterior, age, accepted));
    PartView {
        printer: used.printer.to_string(),
        tool: used.stay.tool.idx(),
        part: used.stay.part.word(),
        fitted: used.stay.fitted,
        as_of: used.as_of,
        hot: used.used.hot,
        wear_h,
        heat_cycles: used.used.cycles,
        expected,
    }
}

fn expected(used: &UsedPart, posterior: &Posterior, age: f64, accepted: Probability) -> PartExpected {
    let outlook = posterior.outlook(age);
    let (left, limit) = (outlook.remaining(Confidence::Percent90), outlook.age_limit(accepted));
    let a_day = wear_a_day(&used.days, Confidence::Percent90);
    let no_days = |refusal: &dyn std::fmt::Display| format!("the tool's recent use a day is not known: {refusal}");
    PartExpected {
        left_h: left,
        left_days: a_day.as_ref().map(|a_day| days_left(&left, a_day)).map_err(|refusal| no_days(refusal)),
        limit_h: limit,
        accepted,
        replace: match (used.as_of, &a_day) {
            _ if posterior.wears_out() < WEARS_OUT => Replace::Unknown(
                "as far as is known such parts fail by chance rather than by age, so that a new one is no safer"
                    .to_owned(),
            ),
            _ if limit <= age => Replace::Due,
            (Some(as_of), Ok(a_day)) => replace(as_of, limit - age, a_day),
            (_, Err(refusal)) => Replace::Unknown(no_days(refusal)),
            (None, Ok(_)) => Replace::Unknown("the printer was never read".to_owned()),
        },
        basis: Basis::word(posterior.basis()),
        n_lives: posterior.n(),
        n_failures: posterior.failures(),
    }
}

fn replace(as_of: Timestamp, left_h: f64, a_day: &Estimate) -> Replace {
    if left_h / a_day.value > DAYS_AHEAD_MAX {
        return Replace::Unknown("at the tool's recent use it is more than ten years ahead".to_owned());
    }
    let day = |wear_h: f64| {
        let at = as_of + Seconds::new((left_h / wear_h).min(DAYS_AHEAD_MAX) * DAY_S);
        Timestamp::from_ms(at.as_ms() - at.as_ms().rem_euclid(DAY_MS))
    };
    Replace::Before { at: day(a_day.value), low: day(a_day.high), high: day(a_day.low) }
}
