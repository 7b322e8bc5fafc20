//! What is kept of the file of a job that runs: where its tools change, how long it is expected to take, what it asks of
//! each tool.

use super::{CentiCelsius, Settings, ToolNumber};
use dwell_analysis::time::Timestamp;
use dwell_analysis::units::{Celsius, CubicMm, Millimetres, Seconds};
use std::sync::Arc;

/// Where a print's job file was found.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub enum JobFileFrom {
    /// The printer's host gave it.
    Host,
    /// It lay in a folder.
    Folder,
}
words!(JobFileFrom { Host = "host", Folder = "folder" });

/// What is kept of the file of a job that runs.
#[derive(Clone, Debug, PartialEq)]
pub struct JobFile {
    /// When it had been read: after the first reading of its print.
    pub at: Timestamp,
    /// The job's name, as the host tells it.
    pub name: Arc<str>,
    /// The first reading of the print that runs it.
    pub started: Timestamp,
    /// Where it was found.
    pub from: JobFileFrom,
    /// Its length, bytes; unpacked, if it was packed.
    pub bytes: u64,
    /// Time that it is expected to take from the first filament on.
    pub expected: Seconds,
    /// The tools' turns at work, in order.
    pub turns: Vec<FileTurn>,
    /// One a tool that it names.
    pub tools: Vec<FileTool>,
}

impl JobFile {
    /// The same in whole milliseconds and thousandths, so that what is followed, stored, written to a journal and
    /// replayed is the same to the last digit. Every job file that enters is taken like this. A temperature that no heater
    /// has is nobody's setting.
    #[must_use]
    pub fn rounded(mut self) -> Self {
        let seconds = |value: Seconds| Seconds::new(thousandths(value.get()));
        self.expected = seconds(self.expected);
        for turn in &mut self.turns {
            turn.at = seconds(turn.at);
        }
        for tool in &mut self.tools {
            let settings = &mut tool.settings;
            settings.print = settings.print.and_then(degrees);
            settings.standby = settings.standby.and_then(degrees);
            settings.retract = settings.retract.map(|value| Millimetres::new(thousandths(value.get())));
            settings.retract_mm_s = settings.retract_mm_s.map(thousandths);
            settings.prime = settings.prime.map(|value| CubicMm::new(thousandths(value.get())));
        }
        self
    }

    /// What it asks of a tool; `None` if it does not name it.
    #[must_use]
    pub fn settings(&self, tool: ToolNumber) -> Option<&Settings> {
        self.tools.iter().find(|asked| asked.tool == tool).map(|asked| &asked.settings)
    }

    /// The place in it that a host tells, as a byte or as a fraction of it; `None` if it tells neither, or one beyond its
    /// end.
    #[must_use]
    pub fn place(&self, byte: Option<u64>, fraction_millionths: Option<u32>) -> Option<u64> {
        place_in(self.bytes, byte, fraction_millionths)
    }

    /// When a place of it is expected, from the first filament on.
    #[must_use]
    pub fn expected_at(&self, place: u64) -> Seconds {
        expected_at(&self.turns, (self.bytes, self.expected), place)
    }
}

/// [`JobFile::place`] in a file of so many bytes.
pub(crate) fn place_in(bytes: u64, byte: Option<u64>, fraction_millionths: Option<u32>) -> Option<u64> {
    let by_fraction = |millionths: u32| {
        let place = u128::from(millionths) * u128::from(bytes) / 1_000_000;
        u64::try_from(place).unwrap_or(u64::MAX)
    };
    byte.or_else(|| fraction_millionths.map(by_fraction)).filter(|place| *place <= bytes)
}

/// When a place is expected: turns have their times, between them, and up to the file's end, it is by the bytes.
pub(crate) fn expected_at(turns: &[FileTurn], end: (u64, Seconds), place: u64) -> Seconds {
    let idx = turns.partition_point(|turn| turn.byte < place);
    let before = idx.checked_sub(1).and_then(|idx| turns.get(idx)).map(|turn| (turn.byte, turn.at));
    let after = turns.get(idx).map_or(end, |turn| (turn.byte, turn.at));
    let Some(before) = before else { return after.1 };
    if after.0 <= before.0 {
        return after.1;
    }
    before.1 + Seconds::new((after.1 - before.1).get() * share(place - before.0, after.0 - before.0))
}

#[expect(clippy::as_conversions, clippy::cast_precision_loss, reason = "2^53 bytes are no job file")]
pub(crate) fn share(part: u64, whole: u64) -> f64 {
    if whole == 0 { 0.0 } else { part as f64 / whole as f64 }
}

fn degrees(value: Celsius) -> Option<Celsius> {
    CentiCelsius::nearest(value.get()).map(|_| Celsius::new(thousandths(value.get())))
}

fn thousandths(value: f64) -> f64 {
    (value * 1000.0).round() / 1000.0
}

/// A turn of a tool, as the job file has it.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct FileTurn {
    /// The tool.
    pub tool: ToolNumber,
    /// First byte of the line that calls it to work.
    pub byte: u64,
    /// When it is expected, from the first filament on; negative before it.
    pub at: Seconds,
}

/// What a job file asks of one tool.
#[derive(Clone, Debug, PartialEq)]
pub struct FileTool {
    /// The tool.
    pub tool: ToolNumber,
    /// Temperatures, retraction and prime that the file asks for; for its print they count over those typed in.
    pub settings: Settings,
    /// How often it is left for another tool.
    pub left: u32,
    /// How often of these its set point is not lowered.
    pub left_hot: u32,
}
