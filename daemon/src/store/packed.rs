//! Readings ↔ the body of a sample row: columns of whole numbers, each held as what it differs from a guess by, and all of
//! them compressed together. Loss-free for every reading. A body carries a checksum: a flipped bit is found.

use super::column::{Column, Told};
use crate::entry::{CentiCelsius, Heater, Job, JobState, Reading};
use dwell_analysis::time::Timestamp;
use serde::de::DeserializeOwned;
use serde::{Deserialize, Serialize};
use std::sync::Arc;
use zstd::bulk::{Compressor, Decompressor};
use zstd::zstd_safe::CParameter;

/// Above this the bodies of noisy series hardly shrink (19 saves 4 % more and takes ten times as long).
const LEVEL: i32 = 6;
/// The largest body, unpacked: an hour of five readings a second of sixteen tools is 3 MiB.
const UNPACKED_MAX: usize = 16 << 20;

/// A body that does not unpack: the file is damaged.
#[derive(Debug, thiserror::Error)]
#[error("a row of packed readings is damaged: {0}")]
pub struct Damaged(pub(super) &'static str);

#[derive(Serialize, Deserialize)]
struct Packed {
    at_ms: Column,
    after_gap: Vec<u32>,
    state: Column,
    /// From which reading on, which name.
    names: Vec<(u32, Option<String>)>,
    fraction: Told,
    byte: Told,
    active_tool: Told,
    tools: Vec<PackedHeater>,
    bed: Option<PackedHeater>,
}

#[derive(Serialize, Deserialize)]
struct PackedHeater {
    actual: Told,
    target: Told,
    duty: Told,
}

/// The part fan of each tool. Stands behind [`Packed`] where any reading tells one, and only there: bodies without are as
/// they were before fans were read.
type Fans = Vec<Told>;

/// Whether a reading may stand in one row with another: the same tools, and a bed in both or in neither.
pub(super) fn same_shape(a: &Reading, b: &Reading) -> bool {
    a.tools.len() == b.tools.len() && a.bed.is_some() == b.bed.is_some()
}

/// Packs readings of one shape, in time order.
pub(super) fn pack(readings: &[Reading]) -> std::io::Result<Vec<u8>> {
    let number = |value: Option<u32>| value.map(i64::from);
    let first = readings.first();
    let packed = Packed {
        at_ms: Column::pack(readings.iter().map(|reading| reading.at.as_ms()).collect()),
        after_gap: (0..).zip(readings).filter(|(_, reading)| reading.after_gap).map(|(idx, _)| idx).collect(),
        state: Column::pack(readings.iter().map(|reading| state_number(reading.job.state)).collect()),
        names: names(readings),
        fraction: Told::pack(readings.iter().map(|reading| number(reading.job.fraction_millionths))),
        // A byte count above 2^63 is no file; the cast back is the exact inverse, so nothing is lost either way.
        byte: Told::pack(readings.iter().map(|reading| reading.job.byte.map(u64::cast_signed))),
        active_tool: Told::pack(readings.iter().map(|reading| i64::try_from(reading.active_tool?).ok())),
        tools: (0..first.map_or(0, |reading| reading.tools.len()))
            .map(|idx| pack_heater(readings.iter().map(move |reading| reading.tools.get(idx))))
            .collect(),
        bed: first
            .and_then(|reading| reading.bed)
            .map(|_| pack_heater(readings.iter().map(|reading| reading.bed.as_ref()))),
    };
    let tells_fan = |reading: &Reading| reading.tools.iter().any(|tool| tool.fan_thousandths.is_some());
    if !readings.iter().any(tells_fan) {
        return squeeze(&packed);
    }
    let fan =
        |idx: usize| Told::pack(readings.iter().map(|reading| reading.tools.get(idx)?.fan_thousandths.map(i64::from)));
    let fans: Fans = (0..packed.tools.len()).map(fan).collect();
    squeeze(&(packed, fans))
}

/// Unpacks a body.
pub(super) fn unpack(body: &[u8]) -> Result<Vec<Reading>, Damaged> {
    let (packed, fans) = expand_with_fans(body)?;
    let at = packed.at_ms.unpack()?;
    let n = at.len();
    let state = packed.state.unpack()?;
    let [fraction, byte, active_tool] = [packed.fraction, packed.byte, packed.active_tool].map(Told::unpack);
    let (fraction, byte, active_tool) = (fraction?, byte?, active_tool?);
    let tools = packed.tools.into_iter().zip(fans).map(|(tool, fan)| unpack_heater(tool, fan, n));
    let mut tools = tools.collect::<Result<Vec<_>, _>>()?;
    let mut bed = packed.bed.map(|bed| unpack_heater(bed, None, n)).transpose()?;
    if [state.len(), fraction.len(), byte.len(), active_tool.len()].iter().any(|len| *len != n) {
        return Err(Damaged("columns of unequal length"));
    }
    let mut names = packed.names.into_iter().peekable();
    let mut name: Option<Arc<str>> = None;
    let mut readings = Vec::with_capacity(n);
    let columns = at.into_iter().zip(state).zip(fraction.into_iter().zip(byte)).zip(active_tool);
    for (idx, (((at, state), (fraction, byte)), active_tool)) in (0_u32..).zip(columns) {
        if let Some((_, changed)) = names.next_if(|(from, _)| *from == idx) {
            name = changed.map(Arc::from);
        }
        readings.push(Reading {
            at: Timestamp::from_ms(at),
            after_gap: packed.after_gap.binary_search(&idx).is_ok(),
            job: Job {
                state: state_of(state)?,
                name: name.clone(),
                fraction_millionths: fraction.and_then(|value| u32::try_from(value).ok()),
                byte: byte.map(i64::cast_unsigned),
            },
            active_tool: active_tool.and_then(|tool| usize::try_from(tool).ok()),
            tools: tools.iter_mut().filter_map(Iterator::next).collect(),
            bed: bed.as_mut().and_then(Iterator::next),
        });
    }
    Ok(readings)
}

/// Compresses columns into a body.
pub(super) fn squeeze(columns: &impl Serialize) -> std::io::Result<Vec<u8>> {
    let bytes = postcard::to_stdvec(columns).map_err(std::io::Error::other)?;
    let mut compressor = Compressor::new(LEVEL)?;
    compressor.set_parameter(CParameter::ChecksumFlag(true))?;
    compressor.compress(&bytes)
}

/// The columns of a body.
pub(super) fn expand<T: DeserializeOwned>(body: &[u8]) -> Result<T, Damaged> {
    postcard::from_bytes(&decompressed(body)?).map_err(|_| Damaged("not its columns"))
}

/// The columns of a body of readings, and the fan of each tool.
fn expand_with_fans(body: &[u8]) -> Result<(Packed, Vec<Option<Told>>), Damaged> {
    let bytes = decompressed(body)?;
    let (packed, rest): (Packed, _) = postcard::take_from_bytes(&bytes).map_err(|_| Damaged("not its columns"))?;
    let n_tools = packed.tools.len();
    if rest.is_empty() {
        return Ok((packed, std::iter::repeat_with(|| None).take(n_tools).collect()));
    }
    let (fans, rest): (Fans, _) = postcard::take_from_bytes(rest).map_err(|_| Damaged("not its fans"))?;
    if fans.len() != n_tools || !rest.is_empty() {
        return Err(Damaged("not a fan a tool"));
    }
    Ok((packed, fans.into_iter().map(Some).collect()))
}

fn decompressed(body: &[u8]) -> Result<Vec<u8>, Damaged> {
    let bytes = Decompressor::new().and_then(|mut decompressor| decompressor.decompress(body, UNPACKED_MAX));
    bytes.map_err(|_| Damaged("its checksum does not hold"))
}

fn pack_heater<'a>(heaters: impl Iterator<Item = Option<&'a Heater>> + Clone) -> PackedHeater {
    let hundredths = |value: Option<CentiCelsius>| value.map(|value| i64::from(value.hundredths()));
    PackedHeater {
        actual: Told::pack(heaters.clone().map(|heater| hundredths(heater?.actual))),
        target: Told::pack(heaters.clone().map(|heater| hundredths(heater?.target))),
        duty: Told::pack(heaters.map(|heater| heater?.duty_thousandths.map(i64::from))),
    }
}

fn unpack_heater(packed: PackedHeater, fan: Option<Told>, n: usize) -> Result<impl Iterator<Item = Heater>, Damaged> {
    let (actual, target, duty) = (packed.actual.unpack()?, packed.target.unpack()?, packed.duty.unpack()?);
    let fan = fan.map_or_else(|| Ok(vec![None; n]), Told::unpack)?;
    if [actual.len(), target.len(), duty.len(), fan.len()].iter().any(|len| *len != n) {
        return Err(Damaged("columns of unequal length"));
    }
    Ok(actual.into_iter().zip(target).zip(duty.into_iter().zip(fan)).map(|((actual, target), (duty, fan))| Heater {
        actual: centi(actual),
        target: centi(target),
        duty_thousandths: duty.and_then(|duty| u16::try_from(duty).ok()),
        fan_thousandths: fan.and_then(|fan| u16::try_from(fan).ok()),
    }))
}

pub(super) fn centi(value: Option<i64>) -> Option<CentiCelsius> {
    value.and_then(|value| i32::try_from(value).ok()).map(CentiCelsius::from_hundredths)
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

fn state_number(state: JobState) -> i64 {
    let position = JobState::ALL.iter().position(|other| *other == state);
    // Every state stands in the list.
    position.and_then(|position| i64::try_from(position).ok()).unwrap_or(-1)
}

fn state_of(number: i64) -> Result<JobState, Damaged> {
    let position = usize::try_from(number).ok();
    position.and_then(|position| JobState::ALL.get(position)).copied().ok_or(Damaged("an unknown state"))
}

#[cfg(test)]
#[expect(clippy::unwrap_used, reason = "a test may stop")]
mod tests;
