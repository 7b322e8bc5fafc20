//! What people's words on a print come to: what those that stand say of a tool and a failure mode.

use crate::entry::{Mode, ToolNumber};
use crate::store::{OutcomeRow, is_failure};

/// Whether a mode happened on a tool of a print with these tools, as far as its words in force tell. Whoever reports
/// names what went wrong: a mode that nobody named did not happen. Without any word nothing is known.
pub(super) fn happened(held: &[OutcomeRow], mode: Mode, tool: ToolNumber, tools: &[ToolNumber]) -> Option<bool> {
    let named = |of: Option<ToolNumber>| held.iter().any(|row| row.mode == mode && row.tool == of);
    if named(Some(tool)) {
        return Some(true);
    }
    if is_unplaced(held, mode, tools) {
        // On which tool it was, nobody said; but a tool that was called clean since is not the one.
        let cleared = |tool: ToolNumber| held.iter().any(|row| !is_failure(row.mode) && row.tool == Some(tool));
        let suspects = tools.iter().filter(|tool| !cleared(**tool)).count();
        return if cleared(tool) { Some(false) } else { (suspects == 1).then_some(true) };
    }
    let speaks_of_it = |row: &OutcomeRow| is_failure(row.mode) || row.tool.is_none_or(|of| of == tool);
    held.iter().any(speaks_of_it).then_some(false)
}

/// Whether a mode was named without a tool, or of one that took no part in the print.
pub(super) fn is_unplaced(held: &[OutcomeRow], mode: Mode, tools: &[ToolNumber]) -> bool {
    held.iter().any(|row| row.mode == mode && row.tool.is_none_or(|of| !tools.contains(&of)))
}

#[cfg(test)]
#[expect(clippy::unwrap_used, reason = "a test may stop")]
mod tests {
    use super::*;
    use crate::store::in_force;
    use dwell_analysis::time::Timestamp;

    fn said(words: &[(Mode, Option<usize>)]) -> Vec<OutcomeRow> {
        let row = |(at, (mode, tool)): (i64, &(Mode, Option<usize>))| OutcomeRow {
            at: Timestamp::from_ms(at),
            tool: tool.map(|tool| ToolNumber::new(tool).unwrap()),
            mode: *mode,
            severity: None,
            note: None,
            undone: None,
        };
        in_force(&(0..).zip(words).map(row).collect::<Vec<_>>())
    }

    fn jam_of(words: &[(Mode, Option<usize>)]) -> [Option<bool>; 2] {
        let tools = [0, 1].map(|tool| ToolNumber::new(tool).unwrap());
        tools.map(|tool| happened(&said(words), Mode::Jam, tool, &tools))
    }

    #[test]
    fn a_failure_without_a_tool_is_that_of_the_only_tool() {
        let only = ToolNumber::new(1).unwrap();
        assert_eq!(happened(&said(&[(Mode::Jam, None)]), Mode::Jam, only, &[only]), Some(true));
        assert_eq!(happened(&said(&[(Mode::Jam, None)]), Mode::Blob, only, &[only]), Some(false));
    }

    #[test]
    fn a_failure_of_a_tool_that_took_no_part_is_somebody_s_and_nobody_is_clean() {
        assert_eq!(jam_of(&[(Mode::Jam, Some(5))]), [None, None]);
    }

    #[test]
    fn the_latest_word_on_a_print_counts() {
        use Mode::{Clean, Jam, Stringing};
        assert_eq!(jam_of(&[]), [None, None]);
        assert_eq!(jam_of(&[(Clean, None)]), [Some(false), Some(false)]);
        assert_eq!(jam_of(&[(Jam, Some(1))]), [Some(false), Some(true)]);
        assert_eq!(jam_of(&[(Jam, Some(1)), (Clean, None)]), [Some(false), Some(false)]);
        assert_eq!(jam_of(&[(Clean, None), (Jam, Some(0))]), [Some(true), Some(false)]);
        assert_eq!(jam_of(&[(Jam, None)]), [None, None]);
        assert_eq!(jam_of(&[(Jam, None), (Clean, Some(0))]), [Some(false), Some(true)]);
        assert_eq!(jam_of(&[(Clean, Some(0)), (Jam, None)]), [None, None]);
        assert_eq!(jam_of(&[(Jam, Some(1)), (Clean, Some(0))]), [Some(false), Some(true)]);
        assert_eq!(jam_of(&[(Clean, Some(0))]), [Some(false), None]);
        assert_eq!(jam_of(&[(Stringing, Some(0))]), [Some(false), Some(false)]);
        assert_eq!(said(&[(Clean, None), (Jam, Some(0))]).len(), 1);
    }
}
