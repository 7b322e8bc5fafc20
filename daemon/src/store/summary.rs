//! What readings came to by the minute and by the hour: what is kept of them when they themselves are not. A step of which
//! nothing was read is absent; a heater of which nothing was told has no figures.

use super::column::{Column, Told};
use super::packed::{Damaged, centi, expand, squeeze};
use super::{StoreError, samples};
use crate::entry::{CentiCelsius, Heater, Reading};
use dwell_analysis::time::Timestamp;
use dwell_analysis::units::Seconds;
use rusqlite::{Connection, OptionalExtension};
use serde::{Deserialize, Serialize};
use std::ops::Range;

/// No row of summaries covers more.
pub(super) const DAY_MS: i64 = 86_400_000;

/// How much time one figure stands for.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Step {
    /// A minute.
    Minute,
    /// An hour.
    Hour,
}

/// A step's figures.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Summary {
    /// The step's beginning: a whole minute or hour, UTC.
    pub began: Timestamp,
    /// How many readings it is made of.
    pub n: u32,
    /// The tools, T0 first.
    pub tools: Vec<Option<Heat>>,
    /// The bed, if the printer tells of one.
    pub bed: Option<Heat>,
}

/// A heater's temperatures in one step.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Heat {
    /// The lowest.
    pub min: CentiCelsius,
    /// The mean of its readings.
    pub mean: CentiCelsius,
    /// The highest.
    pub max: CentiCelsius,
    /// The last set point that was told.
    pub target: Option<CentiCelsius>,
}

impl Step {
    /// Its length.
    #[must_use]
    pub const fn length(self) -> Seconds {
        match self {
            Self::Minute => Seconds::new(60.0),
            Self::Hour => Seconds::minutes(60.0),
        }
    }

    pub(super) const fn seconds(self) -> i64 {
        match self {
            Self::Minute => 60,
            Self::Hour => 3600,
        }
    }

    /// The beginning of the step that an instant lies in.
    fn began(self, at: Timestamp) -> Timestamp {
        let ms = self.seconds() * 1000;
        Timestamp::from_ms(at.as_ms().div_euclid(ms) * ms)
    }
}

/// What readings in time order come to, step by step.
pub(super) fn summarize(readings: &[Reading], step: Step) -> Vec<Summary> {
    readings
        .chunk_by(|one, next| step.began(one.at) == step.began(next.at))
        .filter_map(|within| {
            let n_tools = within.iter().map(|reading| reading.tools.len()).max()?;
            let tool = |idx| heat(within.iter().filter_map(|reading| reading.tools.get(idx)));
            Some(Summary {
                began: step.began(within.first()?.at),
                n: u32::try_from(within.len()).unwrap_or(u32::MAX),
                tools: (0..n_tools).map(tool).collect(),
                bed: heat(within.iter().filter_map(|reading| reading.bed.as_ref())),
            })
        })
        .collect()
}

fn heat<'a>(told: impl Iterator<Item = &'a Heater> + Clone) -> Option<Heat> {
    let actual = || told.clone().filter_map(|heater| heater.actual);
    let (min, max) = (actual().min()?, actual().max()?);
    let n = i64::try_from(actual().count()).ok()?;
    let sum: i64 = actual().map(|actual| i64::from(actual.hundredths())).sum();
    // To the nearest hundredth.
    let mean = i32::try_from((2 * sum + n).div_euclid(2 * n)).ok().map(CentiCelsius::from_hundredths)?;
    Some(Heat { min, mean, max, target: told.filter_map(|heater| heater.target).last() })
}

#[derive(Serialize, Deserialize)]
struct Packed {
    began_s: Column,
    n: Column,
    /// The tools, then the bed.
    heaters: Vec<[Told; 4]>,
}

/// Writes what a day's readings came to, the first of which was read at `first`.
pub(super) fn write(
    db: &Connection,
    printer: i64,
    step: Step,
    first: Timestamp,
    day: &[Summary],
) -> Result<(), StoreError> {
    const SQL: &str = "INSERT INTO summary (printer, step_s, began_ms, ended_ms, body)
        VALUES (?1, ?2, ?3, ?4, ?5)";
    let Some(last) = day.last() else { return Ok(()) };
    let ended = last.began + step.length();
    let body = pack(day).map_err(|error| StoreError::Other(error.to_string()))?;
    db.prepare_cached(SQL)?.execute((printer, step.seconds(), first.as_ms(), ended.as_ms(), body))?;
    Ok(())
}

/// The first day from an instant on, by its beginning; its steps may begin up to a day later.
pub(super) fn next_day(
    db: &Connection,
    printer: i64,
    step: Step,
    began: Range<i64>,
) -> Result<Option<(i64, Vec<Summary>)>, StoreError> {
    const SQL: &str = "SELECT began_ms, body FROM summary
        WHERE printer = ?1 AND step_s = ?2 AND began_ms >= ?3 AND began_ms < ?4 ORDER BY began_ms LIMIT 1";
    let key = (printer, step.seconds(), began.start, began.end);
    let found: Option<(i64, Vec<u8>)> =
        db.prepare_cached(SQL)?.query_row(key, |row| Ok((row.get(0)?, row.get(1)?))).optional()?;
    Ok(found.map(|(began, body)| unpack(&body).map(|day| (began, day))).transpose()?)
}

/// The end of a printer's newest summary.
pub(super) fn newest(db: &Connection, printer: i64) -> Result<Option<Timestamp>, StoreError> {
    const SQL: &str = "SELECT ended_ms FROM summary WHERE printer = ?1 AND step_s = 3600
        ORDER BY began_ms DESC LIMIT 1";
    let found: Option<i64> = db.prepare_cached(SQL)?.query_row([printer], |row| row.get(0)).optional()?;
    Ok(found.map(Timestamp::from_ms))
}

/// When a printer's record begins: with its oldest summary, or its oldest reading.
pub(super) fn oldest(db: &Connection, printer: i64) -> Result<Option<Timestamp>, StoreError> {
    const SQL: &str = "SELECT began_ms FROM summary WHERE printer = ?1 AND step_s = 3600 ORDER BY began_ms LIMIT 1";
    let found: Option<i64> = db.prepare_cached(SQL)?.query_row([printer], |row| row.get(0)).optional()?;
    let samples = samples::oldest(db, printer)?;
    let summaries = found.map(Timestamp::from_ms);
    Ok(match (summaries, samples) {
        (Some(one), Some(other)) => Some(one.min(other)),
        (one, other) => one.or(other),
    })
}

fn pack(day: &[Summary]) -> std::io::Result<Vec<u8>> {
    let n_tools = day.iter().map(|summary| summary.tools.len()).max().unwrap_or(0);
    let tools = (0..n_tools).map(|idx| pack_heat(day.iter().map(|summary| summary.tools.get(idx).copied().flatten())));
    squeeze(&Packed {
        began_s: Column::pack(day.iter().map(|summary| summary.began.as_ms() / 1000).collect()),
        n: Column::pack(day.iter().map(|summary| i64::from(summary.n)).collect()),
        heaters: tools.chain([pack_heat(day.iter().map(|summary| summary.bed))]).collect(),
    })
}

fn pack_heat(heat: impl Iterator<Item = Option<Heat>>) -> [Told; 4] {
    let heat: Vec<Option<Heat>> = heat.collect();
    let above = |one: CentiCelsius, other: CentiCelsius| i64::from(one.hundredths()) - i64::from(other.hundredths());
    [
        Told::pack(heat.iter().map(|heat| heat.map(|heat| i64::from(heat.mean.hundredths())))),
        Told::pack(heat.iter().map(|heat| heat.map(|heat| above(heat.mean, heat.min)))),
        Told::pack(heat.iter().map(|heat| heat.map(|heat| above(heat.max, heat.mean)))),
        Told::pack(heat.iter().map(|heat| heat.and_then(|heat| Some(i64::from(heat.target?.hundredths()))))),
    ]
}

/// Unpacks a day.
pub(super) fn unpack(body: &[u8]) -> Result<Vec<Summary>, Damaged> {
    let packed: Packed = expand(body)?;
    let began = packed.began_s.unpack()?;
    let n = packed.n.unpack()?.into_iter().map(u32::try_from).collect::<Result<Vec<_>, _>>();
    let n = n.map_err(|_| Damaged("a count of readings that is none"))?;
    let mut heaters =
        packed.heaters.into_iter().map(|heat| unpack_heat(heat, began.len())).collect::<Result<Vec<_>, _>>()?;
    let mut beds = heaters.pop().ok_or(Damaged("no bed's column"))?;
    if n.len() != began.len() {
        return Err(Damaged("columns of unequal length"));
    }
    let day = began.into_iter().zip(n).map(|(began, n)| Summary {
        began: Timestamp::from_ms(began.saturating_mul(1000)),
        n,
        tools: heaters.iter_mut().map(|tool| tool.next().flatten()).collect(),
        bed: beds.next().flatten(),
    });
    Ok(day.collect())
}

fn unpack_heat(columns: [Told; 4], n: usize) -> Result<std::vec::IntoIter<Option<Heat>>, Damaged> {
    let [mean, below, above, target] = columns.map(Told::unpack);
    let (mean, below, above, target) = (mean?, below?, above?, target?);
    if [&mean, &below, &above, &target].iter().any(|column| column.len() != n) {
        return Err(Damaged("columns of unequal length"));
    }
    let heat =
        mean.into_iter().zip(below).zip(above.into_iter().zip(target)).map(|((mean, below), (above, target))| {
            let (mean, below, above) = (mean?, below?, above?);
            Some(Heat {
                min: centi(Some(mean.saturating_sub(below)))?,
                mean: centi(Some(mean))?,
                max: centi(Some(mean.saturating_add(above)))?,
                target: centi(target),
            })
        });
    Ok(heat.collect::<Vec<_>>().into_iter())
}

#[cfg(test)]
#[expect(clippy::unwrap_used, reason = "a test may stop")]
mod tests {
    use super::*;
    use crate::entry::{Job, JobState};

    fn reading(second: i64, tools: &[Option<f64>], bed: Option<f64>) -> Reading {
        let heater = |actual: Option<f64>| Heater {
            actual: actual.and_then(CentiCelsius::nearest),
            target: (second % 3 == 0).then(|| CentiCelsius::from_hundredths(20_000)),
            duty_thousandths: None,
            fan_thousandths: None,
        };
        Reading {
            at: Timestamp::from_ms(1_772_438_400_000 + second * 1000),
            after_gap: false,
            job: Job { state: JobState::None, name: None, fraction_millionths: None, byte: None },
            active_tool: None,
            tools: tools.iter().map(|actual| heater(*actual)).collect(),
            bed: bed.map(|bed| heater(Some(bed))),
        }
    }

    #[test]
    fn a_minute_is_what_its_readings_were_and_an_unread_minute_is_none() {
        let readings = [
            reading(0, &[Some(20.0), None], None),
            reading(30, &[Some(22.0), None], None),
            reading(59, &[Some(21.5), None], None),
            reading(180, &[Some(30.0), Some(50.0)], Some(60.0)),
        ];
        let minutes = summarize(&readings, Step::Minute);
        let told = |summary: &Summary| ((summary.began - readings[0].at).get(), summary.n);
        assert_eq!(minutes.iter().map(told).collect::<Vec<_>>(), [(0.0, 3), (180.0, 1)]);
        let heat = minutes[0].tools[0].unwrap();
        let hundredths = [heat.min, heat.mean, heat.max].map(CentiCelsius::hundredths);
        assert_eq!(hundredths, [2_000, 2_117, 2_200]);
        assert_eq!((minutes[0].tools[1], minutes[0].bed), (None, None));
        assert_eq!(minutes[1].bed.unwrap().mean.hundredths(), 6_000);
        let hours = summarize(&readings, Step::Hour);
        assert_eq!((hours.len(), hours[0].n, hours[0].tools[1].unwrap().max.hundredths()), (1, 4, 5_000));
    }

    #[test]
    fn a_day_unpacks_as_it_was_packed() {
        let readings: Vec<Reading> = (0..20_000)
            .filter(|second| second % 977 > 200)
            .map(|second| {
                let degrees = 200.0 + 3.0 * f64::from(i32::try_from(second % 61).unwrap()) / 10.0;
                reading(second, &[Some(degrees), (second % 500 < 300).then_some(25.0)], Some(60.0))
            })
            .collect();
        for step in [Step::Minute, Step::Hour] {
            let day = summarize(&readings, step);
            assert_eq!(unpack(&pack(&day).unwrap()).unwrap(), day);
        }
    }
}
