//! The rows of readings as schema 3 held them, a minute each, brought into hours. Frozen: it reads what older programs
//! wrote, and nothing else.

use super::StoreError;
use super::packed::Damaged;
use super::samples::{self, HOUR_MS, Rows};
use crate::entry::{CentiCelsius, Heater, Job, JobState, Reading};
use dwell_analysis::time::Timestamp;
use rusqlite::Connection;
use serde::Deserialize;
use std::sync::Arc;

/// Brings every row of `sample_batch` into `sample`.
pub(super) fn all(db: &Connection) -> Result<(), StoreError> {
    const SQL: &str = "SELECT printer, body FROM sample_batch ORDER BY printer, began_ms";
    let mut select = db.prepare(SQL)?;
    let mut rows = select.query(())?;
    let mut under_way: Option<(i64, i64)> = None;
    let mut readings: Vec<Reading> = Vec::new();
    while let Some(row) = rows.next()? {
        let printer: i64 = row.get(0)?;
        let body = row.get_ref(1)?.as_blob().map_err(|error| StoreError::Other(error.to_string()))?;
        for reading in unpack(body)? {
            let hour = (printer, reading.at.as_ms().div_euclid(HOUR_MS));
            if let Some((before, _)) = under_way.filter(|before| *before != hour) {
                samples::write(db, before, &readings, Rows::Hours, true)?;
                readings.clear();
            }
            under_way = Some(hour);
            readings.push(reading);
        }
    }
    if let Some((printer, _)) = under_way {
        samples::write(db, printer, &readings, Rows::Hours, true)?;
    }
    drop(rows);
    Ok(db.execute_batch("DROP TABLE sample_batch")?)
}

/// A column: runs of equal differences.
type Column = Vec<(u32, Option<i64>)>;

#[derive(Deserialize)]
struct Packed {
    at_ms: Vec<i64>,
    after_gap: Vec<u32>,
    state: Column,
    name: Vec<(u32, Option<String>)>,
    fraction: Column,
    byte: Column,
    active_tool: Column,
    tools: Vec<PackedHeater>,
    bed: Option<PackedHeater>,
}

#[derive(Deserialize)]
struct PackedHeater {
    actual: Vec<Option<i64>>,
    target: Column,
    duty: Vec<Option<i64>>,
}

/// Unpacks a body.
pub(super) fn unpack(body: &[u8]) -> Result<Vec<Reading>, Damaged> {
    let packed: Packed = postcard::from_bytes(body).map_err(|_| Damaged("not a packed batch"))?;
    let n = packed.at_ms.len();
    let at = sums(packed.at_ms.iter().map(|at| Some(*at)));
    let state = expand(&packed.state, n)?;
    let fraction = expand(&packed.fraction, n)?;
    let byte = expand(&packed.byte, n)?;
    let active_tool = expand(&packed.active_tool, n)?;
    let tools = packed.tools.iter().map(|tool| unpack_heater(tool, n)).collect::<Result<Vec<_>, _>>()?;
    let bed = packed.bed.as_ref().map(|bed| unpack_heater(bed, n)).transpose()?;
    let mut names = packed.name.into_iter().peekable();
    let mut name: Option<Arc<str>> = None;
    let mut readings = Vec::with_capacity(n);
    for idx in 0..n {
        let idx_32 = u32::try_from(idx).map_err(|_| Damaged("too many readings"))?;
        if let Some((_, changed)) = names.next_if(|(from, _)| *from == idx_32) {
            name = changed.map(Arc::from);
        }
        let number = |value: Option<i64>| value.ok_or(Damaged("a state is missing"));
        readings.push(Reading {
            at: Timestamp::from_ms(at[idx].ok_or(Damaged("a time is missing"))?),
            after_gap: packed.after_gap.contains(&idx_32),
            job: Job {
                state: state_of(number(state[idx])?)?,
                name: name.clone(),
                fraction_millionths: fraction[idx].and_then(|value| u32::try_from(value).ok()),
                byte: byte[idx].map(i64::cast_unsigned),
            },
            active_tool: active_tool[idx].and_then(|tool| usize::try_from(tool).ok()),
            tools: tools.iter().map(|tool| tool[idx]).collect(),
            bed: bed.as_ref().map(|bed| bed[idx]),
        });
    }
    Ok(readings)
}

fn unpack_heater(packed: &PackedHeater, n: usize) -> Result<Vec<Heater>, Damaged> {
    let actual = sums(packed.actual.iter().copied());
    let target = expand(&packed.target, n)?;
    let duty = if packed.duty.is_empty() { vec![None; n] } else { sums(packed.duty.iter().copied()) };
    if actual.len() != n || duty.len() != n {
        return Err(Damaged("columns of unequal length"));
    }
    let celsius =
        |value: Option<i64>| value.and_then(|value| i32::try_from(value).ok()).map(CentiCelsius::from_hundredths);
    let heater = |idx: usize| Heater {
        actual: celsius(actual[idx]),
        target: celsius(target[idx]),
        duty_thousandths: duty[idx].and_then(|duty| u16::try_from(duty).ok()),
        fan_thousandths: None,
    };
    Ok((0..n).map(heater).collect())
}

fn sums(differences: impl Iterator<Item = Option<i64>>) -> Vec<Option<i64>> {
    let mut before = 0_i64;
    let mut step = |difference: i64| {
        before = before.wrapping_add(difference);
        before
    };
    differences.map(|difference| difference.map(&mut step)).collect()
}

fn expand(column: &Column, n: usize) -> Result<Vec<Option<i64>>, Damaged> {
    let total: u64 = column.iter().map(|(run, _)| u64::from(*run)).sum();
    if usize::try_from(total) != Ok(n) {
        return Err(Damaged("columns of unequal length"));
    }
    let run = |(n, value): &(u32, Option<i64>)| std::iter::repeat_n(*value, usize::try_from(*n).unwrap_or(0));
    Ok(sums(column.iter().flat_map(run)))
}

fn state_of(number: i64) -> Result<JobState, Damaged> {
    let position = usize::try_from(number).ok();
    position.and_then(|position| JobState::ALL.get(position)).copied().ok_or(Damaged("an unknown state"))
}

#[cfg(test)]
#[expect(clippy::unwrap_used, reason = "a test may stop")]
mod tests {
    use super::*;
    use crate::entry::PrinterName;
    use crate::store::schema::MIGRATIONS;
    use crate::store::{PrintFilter, Reader, SpanFilter, Store};
    use rusqlite::Connection;

    const ROWS: &str = include_str!("testdata/schema_3.sql");
    const START_MS: i64 = 1_772_438_400_000;

    /// What was read at that second, as the journal that was recorded has it.
    fn told(second: i64) -> Reading {
        let is_second = second / 300 % 2 == 1;
        let noise = f64::from(i32::try_from(second * 7919 % 61 - 30).unwrap()) / 10.0;
        let state = match second {
            ..60 => JobState::Heating,
            60..3900 => JobState::Printing,
            _ => JobState::Completed,
        };
        let heater = |actual: f64, target: f64, duty_thousandths| Heater {
            actual: CentiCelsius::nearest(actual),
            target: CentiCelsius::nearest(target),
            duty_thousandths,
            fan_thousandths: None,
        };
        let waiting = if is_second { (235.0, 235.0) } else { (190.5, 190.0) };
        let fraction = (f64::from(i32::try_from(second).unwrap()) / 3900.0).min(1.0);
        Reading {
            at: Timestamp::from_ms(START_MS + second * 1000),
            after_gap: second == 1260,
            job: Job {
                state,
                name: Some("lantern.gcode".into()),
                // The journal was written to four places.
                fraction_millionths: format!("{:.0}", fraction * 10_000.0).parse::<u32>().ok().map(|n| n * 100),
                byte: None,
            },
            active_tool: (state == JobState::Printing).then_some(usize::from(is_second)),
            tools: vec![heater(210.0 + noise, 210.0, None), heater(waiting.0, waiting.1, Some(310))],
            bed: (second < 3000).then(|| heater(60.1, 60.0, None)),
        }
    }

    #[test]
    fn a_record_of_the_third_schema_keeps_every_reading_and_every_row() {
        let folder = tempfile::tempdir().unwrap();
        let path = folder.path().join("third.db");
        let db = Connection::open(&path).unwrap();
        for migration in &MIGRATIONS[..3] {
            db.execute_batch(migration).unwrap();
        }
        db.execute_batch(ROWS).unwrap();
        drop(db);
        drop(Store::open(&path).unwrap());
        let (reader, bench) = (Reader::open(&path).unwrap(), PrinterName::new("bench").unwrap());
        let kept: Vec<Reading> = reader.readings(&bench, None, None).unwrap().collect::<Result<_, _>>().unwrap();
        let seconds = (0..4200).step_by(5).filter(|second| !(1200..1260).contains(second));
        let wanted: Vec<Reading> = seconds.map(told).collect();
        for (kept, wanted) in kept.iter().zip(&wanted) {
            assert_eq!(Reading { after_gap: false, ..kept.clone() }, Reading { after_gap: false, ..wanted.clone() });
        }
        assert_eq!(kept.len(), wanted.len());
        // Two hours of two shapes: the bed is told for 50 minutes, and nothing is left of the minutes.
        let db = Connection::open(&path).unwrap();
        let rows = |sql: &str| db.query_row(sql, [], |row| row.get::<_, i64>(0)).unwrap();
        assert_eq!(rows("SELECT count(*) FROM sample WHERE closed"), 3);
        assert_eq!(rows("SELECT count(*) FROM sample WHERE NOT closed"), 0);
        assert_eq!(rows("SELECT count(*) FROM sqlite_master WHERE name = 'sample_batch'"), 0);
        assert_eq!(rows("SELECT count(*) FROM tool_change") + rows("SELECT count(*) FROM visit"), 25);
        assert_eq!(reader.spans(&SpanFilter::default()).unwrap().len(), 17);
        let prints = reader.prints(&PrintFilter::default()).unwrap();
        assert_eq!((prints.len(), prints[0].outcomes.len(), reader.gaps(None, None).unwrap().len()), (1, 1, 1));
        assert_eq!(reader.alarms(None, None).unwrap().len(), 2);
    }
}
