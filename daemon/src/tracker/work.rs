//! Which tool is at work, and how that is known. Owns the inference from set points; it says nothing when the
//! readings don't tell.

use super::effect::ToolSource;
use crate::entry::{CentiCelsius, Heater, HotEnd, Reading, ToolNumber};

/// A set point this near its highest in the print is the tool's print temperature.
const NEAR_HIGHEST: i32 = 500;
/// A set point this far below its highest is a standby temperature (common practice: drops of 20 K and more).
const STANDBY_DROP: i32 = 1500;
/// A lower set point heats nothing that could print.
const PRINTING_MIN: i32 = 12_000;

/// The highest set points of a print so far; the inference compares with them.
#[derive(Clone, Debug, Default)]
pub(super) struct SetPoints {
    highest: Vec<Option<CentiCelsius>>,
}

/// The tool at work by the host's word; the only tool of a printer needs none.
pub(super) fn told(reading: &Reading) -> Option<ToolNumber> {
    match (reading.active_tool, reading.tools.len()) {
        (Some(told), _) => ToolNumber::new(told),
        (None, 1) => ToolNumber::new(0),
        (None, _) => None,
    }
}

/// The tool at work by this reading: by the host, else by the job file, else by the set points.
pub(super) fn at_work(
    reading: &Reading,
    hot_end: HotEnd,
    by_file: Option<ToolNumber>,
    seen: &mut SetPoints,
) -> Option<(ToolNumber, ToolSource)> {
    if let Some(told) = told(reading) {
        return Some((told, ToolSource::Host));
    }
    let inferred = match hot_end {
        HotEnd::Shared => None,
        // Looked at even if the file says more: it remembers the highest set points.
        HotEnd::Separate => seen.infer(&reading.tools).map(|tool| (tool, ToolSource::SetPoints)),
    };
    by_file.map(|tool| (tool, ToolSource::JobFile)).or(inferred)
}

impl SetPoints {
    /// The only tool that is set to its print temperature while every other one is off or set well below its own.
    fn infer(&mut self, tools: &[Heater]) -> Option<ToolNumber> {
        self.highest.resize(tools.len(), None);
        let mut working = None;
        for (idx, tool) in tools.iter().enumerate() {
            let target = tool.target?.hundredths();
            let highest = self.highest[idx].map_or(target, |highest| highest.hundredths().max(target));
            self.highest[idx] = Some(CentiCelsius::from_hundredths(highest));
            if target < PRINTING_MIN || target <= highest - STANDBY_DROP {
                continue;
            }
            let at_print_heat = target >= highest - NEAR_HIGHEST;
            if !at_print_heat || working.is_some() {
                return None;
            }
            working = ToolNumber::new(idx);
        }
        working
    }
}
