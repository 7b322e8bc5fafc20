//! Worked examples of plans, line by line, and the checks of a plan.

use super::*;
use crate::jobfile::MotionLimits;
use dwell_analysis::polymer::Material;
use dwell_analysis::thermal::Heater;
use dwell_analysis::units::{Celsius, CelsiusDelta, Seconds};
use std::fmt::Write as _;

mod refusals;

/// Corners and starts cost nothing worth a second: a move of 100 mm at 10 mm/s takes ten.
fn machine() -> Machine {
    Machine { limits: MotionLimits { acceleration: 1e6, ..MotionLimits::default() }, ..Machine::default() }
}

/// A heater that gains 5 K a second at any temperature and loses 1 K a second around 200 °C, and no spread in anything.
fn brisk() -> Machine {
    let heater = Heater {
        time_constant: Seconds::new(20_000.0),
        cooling_constant: Seconds::new(175.0),
        gain: CelsiusDelta::new(100_000.0),
        dead_time: Seconds::ZERO,
        cooling_dead_time: Seconds::ZERO,
    };
    let tool = crate::jobfile::MachineTool { heater, ..Default::default() };
    Machine { tools: vec![tool; 2], ..machine() }
}

/// A plan that is to be in time half of the time has no margin but what a controller takes, 15 s.
fn even(standby: Option<f64>) -> Knows {
    let tool = ToolKnows {
        facts: Material::Pla.built_in(),
        asked: standby.map(Celsius::new),
        advised: None,
        typed: None,
        heating_spread: Some(0.1),
    };
    Knows { certainty: 0.5, z: 0.0, pace_spread: Some(0.05), tools: vec![tool; 2] }
}

/// Moves of ten seconds each, a line each, alternating along X.
fn turn(text: &mut String, n: usize) {
    for nth in 0..n {
        let x = if nth % 2 == 0 { 100 } else { 0 };
        writeln!(text, "G1 X{x} E1 F600").unwrap();
    }
}

/// T0 for 200 s, T1 for 200 s, T0 for 20 s, both left hot.
fn hot_job() -> String {
    let mut text = "M83\nM104 S210 T0\nM104 S210 T1\nM109 S210 T0\nT0\n".to_owned();
    turn(&mut text, 20);
    text.push_str("M109 S210 T1\nT1\n");
    turn(&mut text, 20);
    text.push_str("M109 S210 T0\nT0\n");
    turn(&mut text, 2);
    text.push_str("M104 S0 T0\nM104 S0 T1\n");
    text
}

fn planned(text: &str, machine: &Machine, knows: &Knows) -> (String, Counted) {
    let Planned { text, counted } = plan(text.as_bytes(), machine, knows).unwrap();
    (String::from_utf8(text).unwrap(), counted)
}

/// The lines that were added, each with the number of lines of the file before it.
fn added(text: &str) -> Vec<(usize, String)> {
    let (mut n, mut found) = (0, Vec::new());
    for raw in marked::raw_lines(text.as_bytes()) {
        if marked::is_marked(raw.line) {
            found.push((n, String::from_utf8(raw.line.to_vec()).unwrap()));
        } else {
            n += 1;
        }
    }
    found
}

/// By hand. T1 is first needed after 200 s of T0's turn, which begins with line 6. From 25 °C to 210 °C it heats for 37 s
/// and is to be hot 15 s early: 52 s before, so at the sixth last of T0's ten-second lines, with 19 lines before it. T0
/// cools from its last push, line 25, to 140 °C (85 s), and is needed after line 47, 200 s later; from 140 to 210 °C
/// it heats for 14 s, so 29 s before: at the third last of T1's lines, after line 44. T1 is done with line 47.
#[test]
fn a_job_left_hot_is_planned_as_by_hand() {
    let (text, counted) = planned(&hot_job(), &brisk(), &even(None));
    let expected = [
        (3, "M104 S0 T1 ; heatplan"),
        (19, "M104 S210 T1 ; heatplan"),
        (25, "M104 S140 T0 ; heatplan"),
        (44, "M104 S210 T0 ; heatplan"),
        (47, "M104 S0 T1 ; heatplan"),
    ];
    let expected: Vec<_> = expected.iter().map(|(n, line)| (*n, (*line).to_owned())).collect();
    assert_eq!(added(&text), expected, "{text}");
    assert_eq!(strip(text.as_bytes()), (hot_job().into_bytes(), 5));
    let [t0, t1] = &counted.tools[..] else { unreachable!("{counted:?}") };
    assert_eq!((t0.waits, t0.drops, t0.is_heated_later, t0.is_off_after), (1, 1, false, false));
    assert_eq!((t1.waits, t1.drops, t1.is_heated_later, t1.is_off_after), (0, 0, true, true));
    assert!(t0.dose[1].get() < 0.5 * t0.dose[0].get() && t1.dose[1].get() < 0.5 * t1.dose[0].get(), "{counted:?}");
    assert!(counted.longer.get().abs() < 1.0, "{counted:?}");
}

/// The file's own standby of 170 °C is answered, and its own reheat, which comes earlier than it need, is put off.
#[test]
fn the_file_s_own_commands_stay_and_are_answered() {
    let mut file = "M83\nM104 S210 T0\nM104 S210 T1\nM109 S210 T0\nM109 S210 T1\nT0\n".to_owned();
    turn(&mut file, 1);
    file.push_str("M104 S170 T0\nT1\n");
    turn(&mut file, 10);
    file.push_str("M104 S210 T0\n");
    turn(&mut file, 10);
    file.push_str("T0\n");
    turn(&mut file, 2);
    file.push_str("M104 S0 T0\nM104 S0 T1\n");
    let (text, counted) = planned(&file, &brisk(), &even(Some(150.0)));
    let told = added(&text);
    // T0 is left after line 7; 150 to 210 °C takes 12 s, so 27 s before its turn, which line 31 begins.
    let expected = [
        (8, "M104 S150 T0 ; heatplan"),
        (20, "M104 S150 T0 ; heatplan"),
        (27, "M104 S210 T0 ; heatplan"),
        (30, "M104 S0 T1 ; heatplan"),
    ];
    let expected: Vec<_> = expected.iter().map(|(n, line)| (*n, (*line).to_owned())).collect();
    assert_eq!(told, expected, "{text}");
    assert_eq!(counted.tools[0].from, StandbyFrom::Asked);
}

/// 100 s: cooling to 140 °C alone takes 85 s, heating 14 s, and 15 s are to spare.
#[test]
fn a_wait_shorter_than_cooling_and_reheating_is_left_alone() {
    let mut file = "M83\nM109 S210 T0\nM109 S210 T1\nT0\n".to_owned();
    for tool in [1, 0, 1, 0] {
        turn(&mut file, 10);
        writeln!(file, "T{tool}").unwrap();
    }
    turn(&mut file, 1);
    file.push_str("M104 S0 T0\nM104 S0 T1\n");
    let (_, counted) = planned(&file, &brisk(), &even(None));
    let t0 = &counted.tools[0];
    assert_eq!((t0.waits, t0.drops, t0.alone.get(&Alone::TooShort)), (2, 0, Some(&2)), "{counted:?}");
}

#[test]
fn a_standby_that_the_file_is_under_already_asks_for_nothing() {
    let file = hot_job().replace("S210", "S135");
    let (text, counted) = planned(&file, &brisk(), &even(Some(140.0)));
    assert_eq!(counted.tools[0].alone.get(&Alone::Cool), Some(&1));
    assert!(!text.contains("S140"), "{text}");
}

/// The room has 25 °C; a heater that nothing holds is off. From 25 to 210 °C it would heat for 37 s of the 200 s.
#[test]
fn a_standby_no_warmer_than_the_room_is_off_and_the_tool_is_hot_in_time_all_the_same() {
    for asked in [0.0, 20.0, 25.0] {
        let (text, counted) = planned(&hot_job(), &brisk(), &even(Some(asked)));
        let t0 = &counted.tools[0];
        assert_eq!((t0.standby, t0.drops), (Celsius::new(0.0), 1), "{asked}");
        assert!(text.contains("M104 S0 T0 ; heatplan") && text.contains("M104 S210 T0 ; heatplan"), "{text}");
        assert!(counted.longer.get() < 1.0 && counted.turns == 3, "{counted:?}");
    }
    let (_, counted) = planned(&hot_job(), &brisk(), &even(Some(26.0)));
    assert_eq!(counted.tools[0].standby, Celsius::new(26.0));
}

#[test]
fn a_job_of_one_tool_is_left_as_it_is() {
    let file = "M83\nM109 S210 T0\nG1 X100 E5 F600\n";
    let (text, counted) = planned(file, &brisk(), &even(None));
    assert!(text == file && counted.is_empty());
}

/// 160 °C is under the file's 210 °C; 215 °C is not, and the material's first flow, 142 °C, counts.
#[test]
fn advice_and_then_settings_are_the_standby_where_the_file_is_no_lower() {
    let cases = [
        (None, Some(160.0), 160.0, StandbyFrom::Settings),
        (None, Some(215.0), 140.0, StandbyFrom::FirstFlow),
        (Some(150.0), Some(160.0), 150.0, StandbyFrom::Advised),
        (Some(215.0), Some(160.0), 160.0, StandbyFrom::Settings),
        // The file has what is advised: none of its waits is cooled further.
        (Some(210.0), Some(160.0), 210.0, StandbyFrom::Advised),
    ];
    for (advised, typed, standby, from) in cases {
        let mut knows = even(None);
        (knows.tools[0].advised, knows.tools[0].typed) = (advised.map(Celsius::new), typed.map(Celsius::new));
        let (_, counted) = planned(&hot_job(), &brisk(), &knows);
        assert_eq!((counted.tools[0].standby, counted.tools[0].from), (Celsius::new(standby), from));
    }
}

/// The surer it is to be and the less is known of the heater, the earlier it is heated.
#[test]
fn certainty_and_ignorance_reheat_earlier() {
    let reheat = |z: f64, spread: Option<f64>| {
        let mut knows = Knows { z, ..even(None) };
        knows.tools.iter_mut().for_each(|tool| tool.heating_spread = spread);
        let (text, _) = planned(&hot_job(), &machine(), &knows);
        let back = |(_, line): &&(usize, String)| line.starts_with("M104 S210 T0");
        added(&text).iter().find(back).map(|(n, _)| *n)
    };
    let (even, sure, typical) = (reheat(0.0, Some(0.1)), reheat(3.0, Some(0.1)), reheat(1.645, None));
    assert!(even > sure && even > typical, "{even:?} {sure:?} {typical:?}");
}

/// Of a heater that is not fitted nobody knows how long it takes from cold, so the file has to wait for it, or it stays.
#[test]
fn a_first_heat_up_is_put_off_only_where_the_heater_is_fitted_or_the_file_waits_for_it() {
    let is_later = |file: &str, spread: Option<f64>| {
        let mut knows = even(None);
        knows.tools.iter_mut().for_each(|tool| tool.heating_spread = spread);
        planned(file, &machine(), &knows).1.tools[1].is_heated_later
    };
    let waits = hot_job();
    let waits_for_nothing = hot_job().replace("M109 S210 T1", "M104 S210 T1");
    let waits_after = hot_job().replace("M109 S210 T1\nT1\n", "T1\nM109 S210\n");
    for (file, with, without) in [(waits, true, true), (waits_for_nothing, true, false), (waits_after, true, true)] {
        assert_eq!((is_later(&file, Some(0.1)), is_later(&file, None)), (with, without), "{file}");
    }
}

#[test]
fn every_kind_of_line_end_is_kept_and_a_last_line_without_one_too() {
    for end in ["\n", "\r\n", "\r"] {
        for tail in ["", "M104 S0 T0", "G1 X3 E1 F600"] {
            let file = format!("\u{feff}{}{tail}", hot_job().replace('\n', end));
            let (text, _) = planned(&file, &brisk(), &even(None));
            assert_eq!(strip(text.as_bytes()).0, file.as_bytes(), "{end:?} {tail}");
            let ends = text.replace(end, "");
            assert!(!ends.contains(['\n', '\r']), "{end:?} {tail}");
        }
    }
}

/// A job that ends with the last push, without a line end: the plan switches off behind it.
#[test]
fn a_tool_is_switched_off_behind_a_last_line_without_an_end() {
    let file = hot_job().replace("M104 S0 T0\nM104 S0 T1\n", "G1 X3 E1 F600");
    let (text, _) = planned(&file, &brisk(), &even(None));
    assert!(text.ends_with("G1 X3 E1 F600\nM104 S0 T0 ; heatplan"), "{text}");
    assert_eq!(strip(text.as_bytes()).0, file.as_bytes());
}

/// Each fault put into a sound plan by hand is found.
#[test]
fn the_check_finds_what_a_plan_must_not_do() {
    let (text, _) = planned(&hot_job(), &brisk(), &even(None));
    let check = |text: &str| verify(hot_job().as_bytes(), text.as_bytes());
    assert_eq!(check(&text), Ok(()));
    let above = check(&text.replacen("S140 T0 ; heatplan", "S211 T0 ; heatplan", 1));
    assert!(matches!(above, Err(Unsound::Above { tool: 0, .. })), "{above:?}");
    let late = check(&text.replacen("M109 S210 T1\n", "M109 S210 T1\nM104 S210 T3 ; heatplan\n", 1));
    assert!(matches!(late, Err(Unsound::Above { tool: 3, .. })), "{late:?}");
    let lost = check(&text.replacen("G1 X100 E1 F600\n", "", 1));
    assert_eq!(lost, Err(Unsound::NotTheOriginal));
    let not_heat = check(&text.replacen("M104 S140 T0 ; heatplan", "M104 T0 ; heatplan", 1));
    assert_eq!(not_heat, Err(Unsound::NotTheOriginal), "it has no set point, so it is none of the plan's lines");
    // Nothing heats T0 before its turn but the file's last command, which is not waited for.
    let cold = text.replacen("M104 S210 T0 ; heatplan\n", "", 1).replace("M109", "M104");
    let file = hot_job().replace("M109", "M104");
    let late = verify::in_time(&verify::outlines(file.as_bytes(), cold.as_bytes(), &brisk()));
    assert!(matches!(late, Err(Unsound::Cold { turn: 3, tool: 0, .. })), "{late:?}");
}
