//! Sentences on the job as a whole.

use super::{Words, listed, words};
use crate::entry::ToolNumber;

pub(super) fn no_such_tool(tools: &[ToolNumber], n_tools: Option<usize>, out_of_range: u64) -> Words {
    let named: Vec<_> = tools.iter().map(ToString::to_string).collect();
    let beyond = match (named.as_slice(), n_tools) {
        (named @ [_, ..], Some(n_tools)) => {
            Some(format!("The file names {}; the printer has {n_tools}, numbered from T0.", named.join(", ")))
        }
        _ => None,
    };
    let most = ToolNumber::COUNT_MAX;
    let absurd = (out_of_range > 0)
        .then(|| format!("Commands for tools numbered {most} or more ({}) are not read.", times(out_of_range)));
    words(
        beyond.into_iter().chain(absurd).collect::<Vec<_>>().join(" "),
        "The printer will stop there, or print with another tool.",
        "Check that the file was made for this printer.",
    )
}

pub(super) fn no_filament() -> Words {
    words(
        "The file lays no filament.",
        "Nothing can be said of tools that wait.",
        "Check that it is the file that was meant.",
    )
}

pub(super) fn macros(names: &[(String, u64)]) -> Words {
    words(
        format!("It calls macros: {}.", listed(names)),
        "What they do stands in the printer: a heat, a tool change or a purge may hide there and is not counted here.",
        "Look up what they do.",
    )
}

pub(super) fn pauses(n: u32) -> Words {
    words(
        format!("It waits for a person {}.", times(n)),
        "Hot tools wait as long as nobody comes; that time is not counted here.",
        "Be there, or let the tools cool meanwhile.",
    )
}

fn times(n: impl Into<u64>) -> String {
    let n = n.into();
    if n == 1 { "once".to_owned() } else { format!("{n} times") }
}

pub(super) fn lines_not_read(n: u64, fault: &str, first_line: u64) -> Words {
    words(
        if n == 1 {
            format!("Line {first_line} could not be read: {fault}.")
        } else {
            format!("{n} lines could not be read, the first is line {first_line}; most often: {fault}.")
        },
        "What they ask for is missing here, and the printer may stumble over them.",
        "Look at those lines.",
    )
}

pub(super) fn unknown_codes(codes: &[(String, u64)], other: u64) -> Words {
    let rest =
        if other > 0 { format!(" {other} more commands were too many kinds to be listed.") } else { String::new() };
    words(
        format!("Codes that are not known here: {}.{rest}", listed(codes)).replace(": .", "."),
        "What they do is not counted.",
        "Nothing if none of them heats, pushes filament or changes tools.",
    )
}

pub(super) fn homings(n: u32) -> Words {
    words(
        format!("The axes seek their origin {}.", times(n)),
        "How long that takes is not known; it is not in the times shown.",
        "Reckon with a little more time.",
    )
}

pub(super) fn chamber_waits(n: u32) -> Words {
    words(
        format!("It waits for the chamber's heat {}.", times(n)),
        "How long that takes is not known; hot tools wait meanwhile, and neither is counted here.",
        "Heat the chamber up before the tools.",
    )
}

pub(super) fn visits_left_out(n: u64) -> Words {
    words(
        format!("{n} more visits are not held one by one."),
        "The picture and the counts by path end before them; sums and worst cases hold them all.",
        "Go by the sums for the rest of the job.",
    )
}
