//! Readings ↔ the body of a sample batch: columns of whole numbers, each held as the difference to the one before,
//! which the packing turns into one byte where little changes. Loss-free for every reading.

use crate::entry::{CentiCelsius, Heater, Job, JobState, Reading};
use dwell_analysis::time::Timestamp;
use serde::{Deserialize, Serialize};
use std::sync::Arc;

/// A column: runs of equal differences, so that what does not change costs nothing.
type Column = Vec<(u32, Option<i64>)>;

#[derive(Default, Serialize, Deserialize)]
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

#[derive(Default, Serialize, Deserialize)]
struct PackedHeater {
    actual: Vec<Option<i64>>,
    target: Column,
    duty: Vec<Option<i64>>,
}

/// A body that does not unpack: the file is damaged.
#[derive(Debug, thiserror::Error)]
#[error("a sample batch does not unpack: {0}")]
pub struct Damaged(&'static str);

/// Whether a reading may stand in one batch with another: the same tools, and a bed in both or in neither.
pub(super) fn same_shape(a: &Reading, b: &Reading) -> bool {
    a.tools.len() == b.tools.len() && a.bed.is_some() == b.bed.is_some()
}

/// Packs readings of one shape, in time order.
pub(super) fn pack(readings: &[Reading]) -> Vec<u8> {
    let mut packed = Packed::default();
    let first = readings.first();
    packed.at_ms = differences(readings.iter().map(|reading| Some(reading.at.as_ms()))).into_iter().flatten().collect();
    packed.after_gap = indices(readings, |reading| reading.after_gap);
    packed.state = column(readings, |reading| state_number(reading.job.state));
    packed.name = names(readings);
    packed.fraction = column(readings, |reading| reading.job.fraction_millionths.map(i64::from));
    // A byte count above 2^63 is no file; the cast back is the exact inverse, so nothing is lost either way.
    packed.byte = column(readings, |reading| reading.job.byte.map(u64::cast_signed));
    packed.active_tool = column(readings, |reading| reading.active_tool.and_then(|tool| i64::try_from(tool).ok()));
    packed.tools = (0..first.map_or(0, |reading| reading.tools.len()))
        .map(|idx| pack_heater(readings, |reading| reading.tools.get(idx)))
        .collect();
    packed.bed = first.and_then(|reading| reading.bed).map(|_| pack_heater(readings, |reading| reading.bed.as_ref()));
    #[expect(clippy::expect_used, reason = "plain numbers and texts always serialize into memory")]
    postcard::to_stdvec(&packed).expect("a batch has numbers and texts only")
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

fn pack_heater<'a>(readings: &'a [Reading], heater: impl Fn(&'a Reading) -> Option<&'a Heater> + Copy) -> PackedHeater {
    let hundredths = |value: Option<CentiCelsius>| value.map(|value| i64::from(value.hundredths()));
    PackedHeater {
        actual: differences(readings.iter().map(|reading| hundredths(heater(reading)?.actual))),
        target: column(readings, |reading| hundredths(heater(reading)?.target)),
        duty: all_or_nothing(differences(readings.iter().map(|r| heater(r)?.duty_thousandths.map(i64::from)))),
    }
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
    };
    Ok((0..n).map(heater).collect())
}

/// A column of which nothing is told is held as nothing.
fn all_or_nothing(values: Vec<Option<i64>>) -> Vec<Option<i64>> {
    if values.iter().all(Option::is_none) { Vec::new() } else { values }
}

fn indices(readings: &[Reading], which: impl Fn(&Reading) -> bool) -> Vec<u32> {
    (0..).zip(readings).filter(|(_, reading)| which(reading)).map(|(idx, _)| idx).collect()
}

fn names(readings: &[Reading]) -> Vec<(u32, Option<String>)> {
    let mut held: Option<&Arc<str>> = None;
    let mut changes = Vec::new();
    for (idx, reading) in (0..).zip(readings) {
        let name = reading.job.name.as_ref();
        if name != held {
            changes.push((idx, name.map(ToString::to_string)));
            held = name;
        }
    }
    changes
}

/// Each value less the last one told.
fn differences(values: impl Iterator<Item = Option<i64>>) -> Vec<Option<i64>> {
    let mut before = 0_i64;
    let step = |value: i64| {
        let difference = value.wrapping_sub(before);
        before = value;
        difference
    };
    let mut step = step;
    values.map(|value| value.map(&mut step)).collect()
}

fn sums(differences: impl Iterator<Item = Option<i64>>) -> Vec<Option<i64>> {
    let mut before = 0_i64;
    let mut step = |difference: i64| {
        before = before.wrapping_add(difference);
        before
    };
    differences.map(|difference| difference.map(&mut step)).collect()
}

fn column<'a>(readings: &'a [Reading], value: impl Fn(&'a Reading) -> Option<i64>) -> Column {
    let mut runs = Column::new();
    for difference in differences(readings.iter().map(value)) {
        match runs.last_mut() {
            Some((n, held)) if *held == difference => *n += 1,
            Some(_) | None => runs.push((1, difference)),
        }
    }
    runs
}

fn expand(column: &Column, n: usize) -> Result<Vec<Option<i64>>, Damaged> {
    let total: u64 = column.iter().map(|(run, _)| u64::from(*run)).sum();
    if usize::try_from(total) != Ok(n) {
        return Err(Damaged("columns of unequal length"));
    }
    let run = |(n, value): &(u32, Option<i64>)| std::iter::repeat_n(*value, usize::try_from(*n).unwrap_or(0));
    Ok(sums(column.iter().flat_map(run)))
}

fn state_number(state: JobState) -> Option<i64> {
    JobState::ALL.iter().position(|other| *other == state).and_then(|position| i64::try_from(position).ok())
}

fn state_of(number: i64) -> Result<JobState, Damaged> {
    let position = usize::try_from(number).ok();
    position.and_then(|position| JobState::ALL.get(position)).copied().ok_or(Damaged("an unknown state"))
}

#[cfg(test)]
#[expect(clippy::unwrap_used, reason = "a test may stop")]
mod tests {
    use super::*;
    use rand::{Rng, RngExt, SeedableRng};
    use rand_chacha::ChaCha8Rng;

    fn heater(rng: &mut impl Rng) -> Heater {
        Heater {
            actual: rng.random_bool(0.9).then(|| CentiCelsius::from_hundredths(rng.random_range(-27_315..100_000))),
            target: rng.random_bool(0.9).then(|| CentiCelsius::from_hundredths(rng.random_range(0..3) * 10_500)),
            duty_thousandths: rng.random_bool(0.5).then(|| rng.random_range(0..=1000)),
        }
    }

    #[test]
    fn readings_unpack_as_they_were_packed() {
        for seed in 0..200 {
            let mut rng = ChaCha8Rng::seed_from_u64(seed);
            let (n_tools, has_bed) = (rng.random_range(0..4), rng.random_bool(0.5));
            let mut at = 1_770_000_000_000_i64;
            let readings: Vec<Reading> = (0..rng.random_range(1..70))
                .map(|_| {
                    at += rng.random_range(1..20_000);
                    Reading {
                        at: Timestamp::from_ms(at),
                        after_gap: rng.random_bool(0.05),
                        job: Job {
                            state: JobState::ALL[rng.random_range(0..JobState::ALL.len())],
                            name: rng.random_bool(0.8).then(|| Arc::from(["lantern", "gull"][rng.random_range(0..2)])),
                            fraction_millionths: rng.random_bool(0.8).then(|| rng.random_range(0..=1_000_000)),
                            byte: rng.random_bool(0.5).then(|| rng.random()),
                        },
                        active_tool: rng.random_bool(0.9).then(|| rng.random_range(0..2)),
                        tools: (0..n_tools).map(|_| heater(&mut rng)).collect(),
                        bed: has_bed.then(|| heater(&mut rng)),
                    }
                })
                .collect();
            assert_eq!(unpack(&pack(&readings)).unwrap(), readings, "seed {seed}");
        }
    }

    #[test]
    fn a_damaged_body_is_refused_and_never_a_panic() {
        let mut rng = ChaCha8Rng::seed_from_u64(7);
        for _ in 0..2000 {
            let body: Vec<u8> = (0..rng.random_range(0..60)).map(|_| rng.random_range(0..8)).collect();
            if let Ok(readings) = unpack(&body) {
                assert!(readings.len() <= body.len());
            }
        }
    }
}
