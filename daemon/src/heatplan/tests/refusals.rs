//! What is refused, and which lines are named.

use super::*;
use crate::entry::HotEnd;
use crate::jobfile::LineFault;

fn refused(text: &str) -> Refused {
    match plan(text.as_bytes(), &brisk(), &even(None)) {
        Err(NoPlan::Refused(why)) => why,
        other => unreachable!("{text}: {other:?}"),
    }
}

#[test]
fn what_is_not_understood_is_refused_with_its_line() {
    let with = |line: &str| hot_job().replacen("T1\n", &format!("T1\n{line}\n"), 1);
    let at = |line: &str| refused(&with(line));
    // `M104 S210 T1` is line 3.
    let line = 4;
    let unknown = |name: &str| Refused::Unknown { line, name: name.to_owned() };
    assert_eq!(at("WARM_UP NOW=1"), unknown("WARM_UP"));
    assert_eq!(at("M98 P3"), unknown("M98"));
    assert!(matches!(at("G10 P1 S200 R140"), Refused::Incomplete { line: 4, .. }));
    assert_eq!(at("N5 G1 X1"), Refused::Numbered { line });
    assert_eq!(at("T0*9"), Refused::Numbered { line });
    assert_eq!(at("/G1 X1"), Refused::Conditional { line, begins: '/' });
    assert_eq!(at("o100 if [1]"), Refused::Conditional { line, begins: 'o' });
    assert_eq!(at("G1 X[1+2]"), Refused::Fault { line, fault: LineFault::Expression, n: 1 });
    assert_eq!(at("G1 X1 (open"), Refused::Fault { line, fault: LineFault::CommentOpen, n: 1 });
    assert_eq!(at("T17"), Refused::ToolOutOfRange { line });
    assert_eq!(refused("M83\nT0\nG1 X9 E1 F600\n"), Refused::Unheated { tool: 0, line: 3 });
    assert_eq!(refused("M104 S210 T0\nG28\n"), Refused::NoFilament);
    let harmless = with("M117 half * way\nM73 P5\nM204 S800\nG4 P5\nM106 S9 ; * \n#3=2");
    assert!(plan(harmless.as_bytes(), &brisk(), &even(None)).is_ok());
}

/// Lines 2 and 3 have the same code and are sound; a spelling with blanks or zeros is the same code.
#[test]
fn the_line_at_fault_is_named_and_not_the_first_with_its_code() {
    for faulty in ["M104 T0", "M104 S", "m 0104 T1 (S200)"] {
        let file = hot_job().replacen("M109 S210 T1\n", &format!("M109 S210 T1\nG28 X\n{faulty}\n"), 1);
        let line = u64::try_from(file.lines().position(|line| line == faulty).unwrap()).unwrap() + 1;
        let why = refused(&file);
        assert!(matches!(&why, Refused::Incomplete { line: at, name, .. } if (*at, name.as_str()) == (line, "M104")));
        assert_eq!(
            why.to_string(),
            format!("line {line}: `M104` has no temperature; S and a number would be right"),
            "{faulty}"
        );
    }
    let file = hot_job().replace("M109 S210 T0", "M117 M42 is not meant\nM109 S210 T0") + "M42 P1\nM42 P1\n";
    let line = u64::try_from(file.lines().count()).unwrap() - 1;
    assert_eq!(refused(&file), Refused::Unknown { line, name: "M42".to_owned() });
}

/// A printer that does not stop there would find tools off that the plan took for done.
#[test]
fn commands_behind_the_program_s_end_are_refused_with_both_lines() {
    // `M109 S210 T1` is line 26.
    for end in ["M2", "M30", "M02 ; done"] {
        let file = hot_job().replacen("M109 S210 T1\n", &format!("{end}\n\n(a word)\n; another\nM109 S210 T1\n"), 1);
        assert_eq!(refused(&file), Refused::AfterEnd { end: 26, line: 30 }, "{end}");
        let at_its_end = format!("{}{end}\n\n; a word\n(another)\n%\n", hot_job());
        assert!(plan(at_its_end.as_bytes(), &brisk(), &even(None)).is_ok(), "{end}");
    }
    let delimited = format!("%\n{}%\nT1\n", hot_job());
    let n = u64::try_from(delimited.lines().count()).unwrap();
    assert_eq!(refused(&delimited), Refused::AfterEnd { end: n - 1, line: n });
}

/// One reader takes `T1 M104 S200` for a set point, another for a call alone, and the plan would follow one of them.
#[test]
fn a_tool_s_heat_or_call_beside_another_command_is_refused_with_its_line() {
    let with = |line: &str| hot_job().replacen("T1\n", &format!("T1\n{line}\n"), 1);
    let cases = [
        ("T1 M104 S200", ["T1", "M104"]),
        ("t01m0109s210", ["T1", "M109"]),
        ("T1 (half) M106 S9", ["T1", "M106"]),
        ("T1 G1 X3", ["T1", "G1"]),
        ("G1 X3 M104 S200", ["G1", "M104"]),
        ("M 10 4 S200 M400", ["M104", "M400"]),
        ("T1 M6 M109 S210", ["T1", "M6"]),
    ];
    for (faulty, [first, second]) in cases {
        let (first, second) = (first.to_owned(), second.to_owned());
        assert_eq!(refused(&with(faulty)), Refused::Crowded { line: 4, first, second }, "{faulty}");
    }
    for sound in
        ["T1 M6", "M6 T1", "M104 S210 T1 (M105 T1)", "M104 S210 T1 ; M105", "M117 T1 M104", "G21 G90", "M106 S9 G4 P1"]
    {
        let found = plan(with(sound).as_bytes(), &brisk(), &even(None));
        assert!(found.is_ok(), "{sound}: {found:?}");
    }
}

#[test]
fn a_planned_file_and_a_shared_hot_end_are_refused() {
    let (text, _) = planned(&hot_job(), &brisk(), &even(None));
    assert_eq!(refused(&text), Refused::Planned { line: 4 });
    let shared = Machine { hot_end: HotEnd::Shared, ..brisk() };
    let found = plan(hot_job().as_bytes(), &shared, &even(None));
    assert_eq!(found, Err(NoPlan::Refused(Refused::SharedHotEnd)));
}
