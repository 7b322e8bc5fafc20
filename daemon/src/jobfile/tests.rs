//! Claims about whole job files, from their text.

use super::*;
use crate::entry::{HotEnd, JobFileFrom, ToolNumber};
use dwell_analysis::polymer::dose_rate;
use dwell_analysis::time::Timestamp;
use dwell_analysis::units::{Celsius, Millimetres};
use std::fmt::Write;
use std::sync::Arc;

const REST_TO_REST: MotionLimits = MotionLimits { acceleration: 1500.0, corner: 0.0, speed_max: None };

fn machine() -> Machine {
    Machine { limits: REST_TO_REST, ..Machine::default() }
}

fn outline_on(machine: Machine, text: &str) -> JobOutline {
    let mut outliner = Outliner::new(machine);
    outliner.feed(text.as_bytes());
    outliner.finish()
}

fn outline(text: &str) -> JobOutline {
    outline_on(machine(), text)
}

fn near(found: f64, hand: f64, within: f64) {
    assert!((found - hand).abs() <= within, "{found}, by hand {hand}");
}

fn tool(number: usize) -> ToolNumber {
    ToolNumber::new(number).unwrap()
}

/// Turns of T0 and T1 by turns, each of so many seconds of one long line there and back, T0 first.
fn turns(seconds: &[f64], before_change: impl Fn(&mut String, usize)) -> String {
    let mut text = "M83\nM104 S210 T0\nM104 S230 T1\nG1 F1200\n".to_owned();
    for (place, seconds) in seconds.iter().enumerate() {
        writeln!(
            text,
            "T{}\nG1 X{} E{}",
            place % 2,
            if place.is_multiple_of(2) { 100.0 + seconds * 20.0 } else { 100.0 },
            1.0
        )
        .unwrap();
        before_change(&mut text, place);
    }
    text
}

/// 5 mm of filament at 5 mm/s from rest to rest: 1 s and 5/1500 s; 2.405 mm2 each mm. 100 mm at 20 mm/s: 5.01333 s.
#[test]
fn visits_and_waits_stand_where_the_lines_put_them() {
    let text = "M83\nG1 F1200\nM104 S200 T0\nM104 S180 T1\nT0\nG1 X100 E5\nG4 P2500\nT1\nG1 X0 E4\nT0\nG1 X100 E5\n";
    let told = outline(text);
    let leg = 5.0 + 20.0 / 1500.0;
    let began: Vec<f64> = told.visits.iter().map(|visit| visit.began.get()).collect();
    assert_eq!(told.visits.iter().map(|visit| visit.tool.idx()).collect::<Vec<_>>(), [0, 1, 0]);
    for (found, hand) in began.iter().zip([0.0, leg + 2.5, 2.0 * leg + 2.5]) {
        near(*found, hand, 1e-9);
    }
    near(told.ends.get(), 3.0 * leg + 2.5, 1e-9);
    assert_eq!(told.visits[1].byte, u64::try_from(text.find("T1\nG1").unwrap()).unwrap());
    near(told.visits[0].extruded.get(), 5.0 * 2.405, 1e-9);
    near(told.tools[1].filament.get(), 4.0, 1e-9);
    // T0 waits while T1 works, not before the first filament.
    near(told.tools[0].waited.get(), leg, 1e-9);
    near(told.tools[0].waited_max_at.unwrap().get(), leg + 2.5, 1e-9);
    assert_eq!((told.begins.unwrap().get(), told.layers, told.bytes), (0.0, 1, u64::try_from(text.len()).unwrap()));
    assert_eq!(told.lines, 11);
}

/// 25 → 209 °C (a kelvin short of the set point) with tau 200 s, K 700 K, theta 3.5 s: 3.5 + 200 ln(700/516) = 64.5 s,
/// and as much for the bed: 5 + 600 ln(110/76) = 226.9 s to 59 °C.
#[test]
fn waits_for_heat_are_part_of_the_time() {
    let told = outline("M104 S210 T0\nM190 S60\nM109 S210 T0\nM83\nG1 X10 E1 F600\n");
    near(told.heating.get(), 5.0 + 600.0 * (110.0_f64 / 76.0).ln(), 0.01);
    let cold = outline("M109 S210 T0\nM83\nG1 X10 E1 F600\n");
    near(cold.heating.get(), 3.5 + 200.0 * (700.0_f64 / 516.0).ln(), 0.01);
    let restart = cold.visits[0].restart.unwrap();
    near(restart.expected.get(), 209.0, 0.05);
    near(restart.waited.get(), cold.heating.get(), 1e-9);
    assert_eq!(restart.target, Some(Celsius::new(210.0)));
    near(cold.begins.unwrap().get(), cold.heating.get(), 1e-9);
    // A set point that is never reached is not waited for for ever.
    assert!(outline("M109 S900 T0\nG1 X10 E1 F600\n").ends.get() < 10.0);
}

/// Left at 210 °C for 150 °C, T1 works 300 s: T0 has cooled to 150 after 78.4 s, as the worked example has it, and its
/// wait's mean is (tau 60 + 25 · 78.4 + 150 · 221.6)/300 = 157.3 °C.
#[test]
fn standby_is_followed_as_the_heater_cools() {
    let text = "M83\nM109 S210 T0\nM109 S200 T1\nT0\nG1 X20 E1 F1200\nM104 S150 T0\nT1\nG1 X6020 E20 F1200\n";
    let told = outline(text);
    let wait = told.waits.iter().find(|wait| wait.tool == tool(0)).unwrap();
    near(wait.measure.idle.get(), 300.0 + 20.0 / 1500.0, 1e-6);
    near(wait.measure.mean.unwrap().get(), (200.0 * 60.0 + 25.0 * 78.4 + 150.0 * 221.6) / 300.0, 0.1);
    assert_eq!((wait.target, wait.is_followed), (Some(Celsius::new(150.0)), false));
    assert_eq!(told.visits[0].standby, Some(Celsius::new(150.0)));
    assert_eq!((told.tools[0].left, told.tools[0].left_hot, told.tools[0].standby.mode), (1, 0, Some(150.0)));
}

/// T0 has come to its standby when its second turn comes, and is heated only then; T1 was kept at 200 °C for its one turn.
#[test]
fn a_turn_finds_its_tool_as_cold_as_the_standby_left_it_whatever_is_waited_for_afterwards() {
    let text = "M83\nM109 S210 T0\nM109 S200 T1\nT0\nG1 X20 E1 F1200\nM104 S150 T0\nT1\nG1 X6020 E20 F1200\n\
                T0\nM109 S210 T0\nG1 X20 E1 F1200\n";
    let told = outline(text);
    near(told.tools[0].called_min.unwrap().get(), 150.0, 0.1);
    near(told.tools[1].called_min.unwrap().get(), 200.0, 1.0);
    near(told.visits[2].restart.unwrap().expected.get(), 209.0, 0.1);
    assert_eq!(outline("M83\nM109 S210 T0\nG1 X20 E1 F1200\n").tools[0].called_min, None, "it never waited");
}

#[test]
fn a_stagnant_melt_has_taken_the_job_s_whole_heat_at_its_end() {
    let held = |minutes: u32| {
        let told = outline(&format!("M83\nM109 S210 T0\nG1 X100 E5 F1200\nG4 S{}\n", 60 * minutes));
        told.tools[0].stagnant.get()
    };
    let rate = dose_rate(&MachineTool::default().facts, Celsius::new(210.0));
    near(held(70) - held(60), 10.0 * rate, 1e-4);
}

#[test]
fn tool_that_is_left_without_a_lower_set_point_is_told() {
    let lowered = |text: &mut String, place: usize| {
        if place != 2 {
            writeln!(text, "M104 S170 T{}", place % 2).unwrap();
        }
    };
    let again = |text: &mut String, place: usize| {
        lowered(text, place);
        writeln!(text, "M104 S{} T{}", if place.is_multiple_of(2) { 230 } else { 210 }, (place + 1) % 2).unwrap();
    };
    let mut text = turns(&[30.0; 7], again);
    text.push_str("M104 S0 T0\nM104 S0 T1\n");
    let told = outline(&text);
    let left: Vec<_> = told.tools.iter().map(|tool| (tool.left, tool.left_hot, tool.standby.mode)).collect();
    // T0 is left thrice for T1, once hot; the set point 0 at the end is no standby of that time.
    assert_eq!(left, [(3, 1, Some(170.0)), (3, 0, Some(170.0))]);
    // Switched off at the job's end alone, after two minutes of waiting, it has waited hot.
    let late = outline(&(turns(&[120.0; 2], |_, _| ()) + "M104 S0 T0\nM104 S0 T1\n"));
    assert_eq!((late.tools[0].left, late.tools[0].left_hot), (1, 1));
}

#[test]
fn retractions_are_gathered_by_tool_and_by_visit() {
    let mut text = "M82\nT0\nG92 E0\n".to_owned();
    let mut place = 0.0;
    for n in 0..10 {
        place += 100.0;
        let length = if n < 7 { 0.8 } else { 2.0 };
        let (back, forth) = (place - length, place + 0.05);
        writeln!(text, "G1 X{} E{place} F1200\nG1 E{back} F2100\nG1 X5 F7200\nG1 E{forth} F1800", 100 + n).unwrap();
        place = forth;
    }
    let told = outline(&text);
    let retractions = &told.tools[0].retractions;
    assert_eq!((retractions.n, retractions.length.mode, retractions.speed.mode), (10, Some(0.8), Some(35.0)));
    assert_eq!(
        (retractions.length.max, retractions.length.mode_share, retractions.extra.mode),
        (Some(2.0), Some(0.7), Some(0.05))
    );
    near(retractions.per_metre.unwrap(), 10.0 / (10.0 * 100.05 / 1000.0), 1e-9);
    assert_eq!((retractions.on_one_spot, told.visits[0].n_retractions), (1, 10));
    assert_eq!(told.visits[0].retract, Some(Millimetres::new(0.8)));
    // The machine's own retraction, by a length that is told, and by one that is not.
    let own = outline("M207 S1.5 F1800\nM208 S0.1\nM83\nG1 X10 E5 F600\nG10\nG1 X0 F6000\nG11\nG1 X10 E5 F600\n");
    let own = &own.tools[0].retractions;
    assert_eq!((own.n, own.length.mode, own.speed.mode, own.untold), (1, Some(1.5), Some(30.0), 0));
    let untold = outline("M83\nG1 X10 E5 F600\nG10\nG1 X0 F6000\nG11\nG1 X10 E5 F600\n");
    let untold = &untold.tools[0].retractions;
    assert_eq!((untold.n, untold.length.n, untold.untold), (1, 0, 1));
}

#[test]
fn both_melts_of_a_shared_hot_end_wait_in_one_heat() {
    let text = "M83\nM109 S210 T0\nT0\nG1 X20 E1 F1200\nM104 S150 T0\nM109 S230 T1\nT1\nG1 X6020 E20 F1200\n";
    let shared = outline_on(Machine { hot_end: HotEnd::Shared, ..machine() }, text);
    let wait = shared.waits.iter().find(|wait| wait.tool == tool(0)).unwrap();
    near(wait.measure.max.unwrap().get(), 230.0, 0.01);
    let separate = outline(text);
    let wait = separate.waits.iter().find(|wait| wait.tool == tool(0)).unwrap();
    assert!(wait.measure.max.unwrap().get() <= 210.0, "{wait:?}");
}

#[test]
fn file_without_filament_or_of_any_bytes_has_an_outline_too() {
    for text in
        ["", "\n\n", "T1\nT0\n", "G1 X10\n", "G4 P99999999999999\n", "\u{0}\u{1}\u{2}", "G1 X1e999 E-5\nM104 S-40\n"]
    {
        let told = outline(text);
        assert!(told.begins.is_none() && told.ends.get().is_finite(), "{text:?}: {told:?}");
    }
}

/// 5 mm at 5 mm/s from rest to rest is 1 s and 5/1500 s, whoever draws it back.
#[test]
fn retraction_of_the_machine_s_own_takes_as_long_as_one_that_is_written_out() {
    let own = outline("M207 S5 F300\nM83\nG1 X10 E1 F600\nG10\nG11\nG1 X20 E1\n");
    let written = outline("M83\nG1 X10 E1 F600\nG1 E-5 F300\nG1 E5 F300\nG1 X20 E1 F600\n");
    near(own.ends.get(), written.ends.get(), 1e-9);
    near(own.ends.get(), 2.0 * (1.0 + 10.0 / 1500.0) + 2.0 * (1.0 + 5.0 / 1500.0), 1e-9);
    // Brought forward at its own speed, if that is told: 0.5 s for 5 mm at 10 mm/s.
    let quick = outline("M207 S5 F300\nM208 F600\nM83\nG1 X10 E1 F600\nG10\nG11\nG1 X20 E1\n");
    near(own.ends.get() - quick.ends.get(), 0.5 - 5.0 / 1500.0, 1e-9);
    // A length below nothing is none.
    let below = outline("M207 S-5 F300\nM83\nG1 X10 E1 F600\nG10\nG11\nG1 X20 E1\n");
    assert_eq!((below.tools[0].retractions.untold, below.tools[0].filament), (1, Millimetres::new(2.0)));
}

#[test]
fn pace_stretches_moves_and_waits_but_neither_heat_nor_stops() {
    let text = "M109 S210 T0\nM83\nT0\nG1 X100 E1 F1200\nG4 P2000\nM104 S180 T0\nT1\nG1 X0 E1\n";
    let (plain, slow) = (outline(text), outline_on(Machine { pace: 1.5, ..machine() }, text));
    let leg = 5.0 + 20.0 / 1500.0;
    assert_eq!(plain.heating, slow.heating);
    near(slow.ends.get() - slow.heating.get(), 2.0 + 1.5 * 2.0 * leg, 1e-9);
    near(slow.tools[0].waited.get(), 1.5 * leg, 1e-9);
    near(slow.moving.get(), 1.5 * slow.moving_by_file.get(), 1e-9);
    assert_eq!((plain.moving, plain.moving_by_file), (slow.moving_by_file, slow.moving_by_file));
}

#[test]
fn set_point_of_a_shared_hot_end_is_every_tool_s() {
    let text = "M104 S210\nM83\nT0\nG1 X20 E1 F1200\nT1\nG1 X0 E1\nT0\nG1 X20 E1\n";
    let shared = outline_on(Machine { hot_end: HotEnd::Shared, ..machine() }, text);
    assert!(shared.visits.iter().all(|visit| visit.restart.unwrap().target == Some(Celsius::new(210.0))));
    assert_eq!(shared.tools[1].print, Some(Celsius::new(210.0)));
    let separate = outline(text);
    assert_eq!(separate.visits[1].restart.unwrap().target, None);
}

#[test]
fn heights_are_counted_once_though_two_parts_are_laid_one_after_the_other() {
    let mut text = "M83\nG1 F1200\n".to_owned();
    for part in [0, 100] {
        for layer in 1..=5 {
            writeln!(text, "G1 Z{:.1}\nG1 X{} E1\nG1 X{} E1", f64::from(layer) * 0.2, part + 10, part).unwrap();
        }
    }
    assert_eq!((outline(&text).layers, outline(&text).tools[0].layers), (5, 5));
}

#[test]
fn what_follows_a_tool_that_no_printer_has_is_nobody_s() {
    let told = outline("M83\nG1 F1200\nT0\nG1 X20 E1\nT99\nG1 X0 E7\nG1 E-2\nT1\nG1 X20 E3\n");
    assert_eq!(told.unread.tool_out_of_range, 1);
    let used: Vec<f64> = told.tools.iter().map(|tool| tool.filament.get()).collect();
    assert_eq!((used, told.tools[0].retractions.n), (vec![1.0, 3.0], 0));
    assert!(told.visits[0].ended < told.visits[1].began);
    let kept =
        told.job_file(Timestamp::from_ms(0), Arc::from("lantern.gcode"), Timestamp::from_ms(0), JobFileFrom::Host);
    assert!(kept.unwrap().turns.is_empty());
}

#[test]
fn set_point_that_no_heater_takes_is_not_read() {
    let told = outline("M104 S5000 T0\nM83\nG1 X10 E1 F600\n");
    assert_eq!(told.unread.faults, [(LineFault::OutOfRange, 1, 1)]);
    assert_eq!((told.tools[0].target_max, told.visits[0].restart.unwrap().target), (None, None));
}

/// A part's first feature is no purge for certain, so it is no setting; what is pushed out standing still is.
#[test]
fn prime_is_a_setting_only_where_it_is_pushed_out_standing_still() {
    let visit = |place: usize, purge: &str| {
        let left = if place.is_multiple_of(2) { 20 } else { 90 };
        format!("T{}\nG1 X-5 Y-5\n{purge}\nG1 X{left} Y20\nG1 X{} Y20 E1\n", place % 2, left + 30)
    };
    let text = |purge: &str| (0..8).fold("M83\nG1 F1200\n".to_owned(), |text, place| text + &visit(place, purge));
    let laid = outline(&text("G1 X35 Y-5 E8"));
    near(laid.tools[1].purge.mode.unwrap(), 19.24, 0.01);
    assert_eq!((laid.tools[1].settings().prime, laid.visits[3].purge.place.is_some()), (None, true));
    let pushed = outline(&text("G1 E8 F300\nG1 F1200"));
    near(pushed.tools[1].settings().prime.unwrap().get(), 19.24, 0.01);
}

#[test]
fn text_that_never_ends_is_not_read_for_ever() {
    let why = outline_of(std::io::repeat(b';'), machine()).unwrap_err().to_string();
    assert_eq!(why, "unpacks to more than 4 GiB; no job file is as long");
}

/// A part of each tool, side by side or one on the other, with no tower: whatever the gap, none of it is a purge.
#[test]
fn parts_of_both_tools_are_no_purge_however_near_they_are() {
    for (gap, is_split) in [(-20, false), (-10, false), (0, false), (2, false), (30, false), (0, true)] {
        let mut text = "M83\nG1 F1200\n".to_owned();
        for layer in 0..6 {
            for tool in 0..2 {
                let left = if tool == 0 { 50 } else { 70 + gap };
                writeln!(text, "T{tool}\nG1 Z{}\nG1 X{left} Y50", 1 + layer).unwrap();
                for row in 0..10 {
                    writeln!(text, "G1 X{} E1\nG1 X{left} Y{} E1", left + 20, 51 + row).unwrap();
                }
                if is_split {
                    writeln!(text, "G1 X{left} Y120\nG1 X{} E1", left + 20).unwrap();
                }
            }
        }
        let told = outline(&text);
        let purges: Vec<_> = told.tools.iter().map(|tool| tool.purge.max).collect();
        assert_eq!(purges, [Some(0.0); 2], "{gap} {is_split}");
    }
}

#[test]
fn tool_that_was_never_heated_is_not_left_hot_and_one_that_is_not_named_is_not_told() {
    let told = outline("M104 S200 T7\nM83\nT0\nG1 X10 E1 F600\nT1\nG1 X20 E2\n");
    let tools: Vec<_> = told.tools.iter().map(|tool| (tool.tool.idx(), tool.left, tool.left_hot)).collect();
    assert_eq!(tools, [(0, 1, 0), (1, 0, 0), (7, 0, 0)]);
    assert_eq!(told.visits[0].left_hot, None);
}

/// PLA flows from 142 °C on; a tool that is warmed to 120 °C lets nothing out, and one at 150 °C what 8 K push out of 75
/// mm3 at 0.0007 a kelvin, 0.42 mm3, and what pressure is left.
#[test]
fn melt_that_does_not_flow_does_not_ooze() {
    let ooze = |target: u32| {
        let text = format!("M104 S{target} T1\nM83\nM109 S210 T0\nT0\nG1 X100 E5 F60\n");
        outline(&text).tools[1].ooze.get()
    };
    near(ooze(60), 0.0, 1e-12);
    near(ooze(120), 0.0, 1e-12);
    assert!((0.0..0.9 + 0.05).contains(&ooze(150)), "{}", ooze(150));
}

#[test]
fn heat_that_was_lowered_since_is_not_on_its_way_up() {
    let ahead = |text: &str| outline(text).visits[0].restart.unwrap().raised_ahead;
    assert!(ahead("M109 S210 T0\nM104 S210 T0\nM83\nG1 X10 E1 F600\n").is_some(), "set again, it goes on");
    assert_eq!(ahead("M109 S210 T0\nM109 R50 T0\nM83\nG1 X10 E1 F600\n"), None);
}
