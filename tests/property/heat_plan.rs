//! Heat plans of files of any make: the plan's lines come out again without a trace, nothing but tools' set points is
//! added, and none is ever above the file's own. Judged by reading both texts, without the plan's own check.
#![expect(clippy::unwrap_used, reason = "a test may stop")]

use dwell_analysis::polymer::Material;
use dwell_analysis::units::Celsius;
use dwellwatch::heatplan::{Knows, NoPlan, Planned, Refused, ToolKnows, plan, strip};
use dwellwatch::jobfile::{Heated, Machine, MachineTool, Reader, What};
use proptest::prelude::*;
use proptest::strategy::ValueTree;
use std::fmt::Write as _;

/// One turn of a made-up job.
#[derive(Clone, Debug)]
struct Turn {
    tool: usize,
    /// Moves of some ten seconds.
    moves: usize,
    /// How the tool is left.
    leaves: Leaves,
    /// What stands before its call.
    waits: bool,
    /// What stands after it.
    heats_after: bool,
    /// The file's own reheat of any tool in the middle of it.
    reheats: Option<usize>,
    /// A line of another kind within it.
    aside: usize,
}

#[derive(Clone, Copy, Debug)]
enum Leaves {
    Hot,
    Standby,
    Off,
}

const ASIDES: [&str; 9] = [
    "; a word of some program",
    "G4 P3000",
    "M106 S128 (blow)",
    "M140 S55",
    "G10",
    "G11",
    "",
    "M117 on with it",
    "G92 X0",
];
/// Lines that a plan has to refuse, or take no harm from.
const ODD: [&str; 12] = [
    "N7 G1 X3",
    "G1 X2*55",
    "/G1 X4",
    "FLUSH ALL=1",
    "M600",
    "G1 X1 (half",
    "T99",
    "M104 S400",
    "M109 R90 T0",
    "T1 M6",
    "M2",
    "M104 S150 T0 ; heatplan",
];

fn turn() -> impl Strategy<Value = Turn> {
    let leaves = prop_oneof![Just(Leaves::Hot), Just(Leaves::Standby), Just(Leaves::Off)];
    let reheats = proptest::option::of(0_usize..3);
    let parts = (0_usize..3, 0_usize..40, leaves, any::<bool>(), any::<bool>(), reheats, 0..ASIDES.len());
    parts.prop_map(|(tool, moves, leaves, waits, heats_after, reheats, aside)| Turn {
        tool,
        moves,
        leaves,
        waits,
        heats_after,
        reheats,
        aside,
    })
}

/// The file's text, with one kind of line end.
fn text(turns: &[Turn], heats_first: [bool; 3], is_off: bool, odd: Option<(usize, usize)>) -> Vec<String> {
    let print = [210, 235, 250];
    let mut lines = vec!["M83".to_owned(), "M140 S60".to_owned()];
    for (tool, heats) in heats_first.iter().enumerate() {
        lines.push(format!("M104 S{} T{tool}", if *heats { print[tool] } else { print[tool] - 40 }));
    }
    for (nth, turn) in turns.iter().enumerate() {
        let tool = turn.tool;
        if turn.waits {
            lines.push(format!("M109 S{} T{tool}", print[tool]));
        }
        lines.push(format!("T{tool}"));
        if turn.heats_after {
            lines.push(format!("M109 S{}", print[tool]));
        }
        for step in 0..turn.moves {
            let mut line = String::new();
            write!(line, "G1 X{} E1 F600", if (step + nth) % 2 == 0 { 100 } else { 0 }).unwrap();
            lines.push(line);
            if step == turn.moves / 2 {
                lines.push(ASIDES[turn.aside].to_owned());
                lines.extend(turn.reheats.map(|tool| format!("M104 S{} T{tool}", print[tool])));
            }
        }
        match turn.leaves {
            Leaves::Hot => {}
            Leaves::Standby => lines.push(format!("M104 S{} T{tool}", print[tool] - 35)),
            Leaves::Off => lines.push(format!("M104 S0 T{tool}")),
        }
    }
    if is_off {
        lines.extend((0..3).map(|tool| format!("M104 S0 T{tool}")));
    }
    if let Some((at, odd)) = odd {
        lines.insert(at % (lines.len() + 1), ODD[odd].to_owned());
    }
    lines
}

fn knows(standby: f64, z: f64) -> Knows {
    let tool = ToolKnows {
        facts: Material::Pla.built_in(),
        asked: Some(Celsius::new(standby)),
        advised: None,
        typed: None,
        heating_spread: Some(0.1),
    };
    Knows { certainty: 0.9, z, pace_spread: None, tools: vec![tool; 3] }
}

fn machine() -> Machine {
    Machine { tools: vec![MachineTool::default(); 3], ..Machine::default() }
}

/// What a text asks for: everything but tools' heat, each with the set points of the tools in force then.
fn asked(text: &[u8]) -> Vec<(What, [f64; 16])> {
    let (mut reader, mut acts) = (Reader::new(), Vec::new());
    reader.feed(text, &mut |act| acts.push(act.what));
    let _end = reader.finish(&mut |act| acts.push(act.what));
    let (mut set, mut asked) = ([0.0; 16], Vec::new());
    for what in acts {
        match what {
            What::Heat { heated: Heated::Tool(tool), target, .. } => set[tool.idx()] = target.get(),
            other => asked.push((other, set)),
        }
    }
    // At the end too.
    asked.push((What::End, set));
    asked
}

fn holds(original: &[u8], knows: &Knows) -> Result<(), TestCaseError> {
    let planned = match plan(original, &machine(), knows) {
        Ok(Planned { text, .. }) => text,
        Err(NoPlan::Refused(_)) => return Ok(()),
        Err(NoPlan::Unsound(why)) => return Err(TestCaseError::fail(format!("unsound: {why}"))),
    };
    let (stripped, n) = strip(&planned);
    prop_assert_eq!(&stripped, original, "stripping gives the original back");
    let (old, new) = (asked(original), asked(&planned));
    prop_assert_eq!(old.len(), new.len());
    for ((by_file, file), (by_plan, plan)) in old.iter().zip(&new) {
        prop_assert_eq!(by_file, by_plan);
        prop_assert!(plan.iter().zip(file).all(|(plan, file)| plan <= file), "{:?} above {:?}", plan, file);
    }
    match plan(&planned, &machine(), knows) {
        Err(NoPlan::Refused(Refused::Planned { .. })) => prop_assert!(n > 0),
        Ok(again) => prop_assert!(n == 0 && again.text == planned),
        Err(other) => return Err(TestCaseError::fail(format!("{other}"))),
    }
    Ok(())
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(300))]

    #[test]
    fn a_plan_only_lowers_and_comes_out_without_a_trace(
        turns in proptest::collection::vec(turn(), 1..14),
        heats_first in any::<[bool; 3]>(),
        is_off in any::<bool>(),
        odd in proptest::option::weighted(0.3, (0_usize..500, 0..ODD.len())),
        end in prop_oneof![Just("\n"), Just("\r\n"), Just("\r")],
        is_ended in any::<bool>(),
        has_mark in any::<bool>(),
        standby in prop_oneof![Just(0.0), 100.0..220.0_f64],
        z in 0.0..3.0_f64,
    ) {
        let lines = text(&turns, heats_first, is_off, odd);
        let mut original = if has_mark { "\u{feff}".to_owned() } else { String::new() };
        original += &lines.join(end);
        if is_ended {
            original += end;
        }
        holds(original.as_bytes(), &knows(standby, z))?;
    }

    #[test]
    fn a_text_without_a_plan_is_not_changed_by_stripping(text in proptest::collection::vec(any::<u8>(), 0..400)) {
        prop_assert_eq!(strip(&text), (text.clone(), 0));
    }
}

/// The made-up files are of use: most are planned, and something is added to them.
#[test]
fn most_made_up_files_get_a_plan() {
    let mut runner = proptest::test_runner::TestRunner::deterministic();
    let (mut planned, n) = (0, 60);
    for _ in 0..n {
        let turns = proptest::collection::vec(turn(), 4..14).new_tree(&mut runner).unwrap().current();
        let file = text(&turns, [true; 3], true, None).join("\n");
        let found = plan(file.as_bytes(), &machine(), &knows(140.0, 1.0));
        planned += usize::from(found.is_ok_and(|found| !found.counted.is_empty()));
    }
    assert!(2 * planned > n, "{planned} of {n}");
}
