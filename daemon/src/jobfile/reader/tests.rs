//! What lines ask for, and that no cut of the text and no byte in it changes or breaks that.
#![expect(clippy::unwrap_used, clippy::panic, clippy::indexing_slicing, reason = "a test may stop")]
#![expect(clippy::float_cmp, reason = "places are those written")]

use super::{ReadEnd, Reader};
use crate::entry::ToolNumber;
use crate::jobfile::{Act, Heated, JobOutline, LineFault, Machine, Move, Outliner, Patience, What};
use dwell_analysis::units::{Celsius, Seconds};
use rand::{RngExt, SeedableRng};
use rand_chacha::ChaCha8Rng;

#[path = "../../../../tests/fuzz/job_claim.rs"]
mod job_claim;

fn read(text: &str) -> (Vec<Act>, ReadEnd) {
    let (mut reader, mut acts) = (Reader::new(), Vec::new());
    reader.feed(text.as_bytes(), &mut |act| acts.push(act));
    let end = reader.finish(&mut |act| acts.push(act));
    (acts, end)
}

fn whats(text: &str) -> Vec<What> {
    read(text).0.into_iter().map(|act| act.what).collect()
}

fn moves(text: &str) -> Vec<Move> {
    let only = |what| match what {
        What::Move(found) => Some(found),
        _ => None,
    };
    whats(text).into_iter().filter_map(only).collect()
}

fn filament(text: &str) -> Vec<f64> {
    moves(text).iter().map(|found| (found.filament * 1e6).round() / 1e6).collect()
}

fn tool(number: usize) -> ToolNumber {
    ToolNumber::new(number).unwrap()
}

#[test]
fn a_move_is_told_in_millimetres_and_seconds_from_where_the_last_one_ended() {
    let found = moves("G1 X3 Y4 F1200\nG0 Z2\ng1 x3 y4 z2\nY5 E1");
    let expected = Move {
        from: [0.0; 3],
        to: [3.0, 4.0, 0.0],
        length: 5.0,
        enters: [0.6, 0.8, 0.0],
        leaves: [0.6, 0.8, 0.0],
        filament: 0.0,
        speed: 20.0,
    };
    assert_eq!(found.len(), 3, "a move to where it is already is none");
    assert!(found[0].enters.iter().zip(expected.enters).all(|(a, b)| (a - b).abs() < 1e-12));
    assert_eq!(Move { enters: expected.enters, leaves: expected.leaves, ..found[0] }, expected);
    assert!(!found[1].is_travel() && found[0].is_travel());
    assert_eq!((found[2].to, found[2].filament), ([3.0, 5.0, 2.0], 1.0), "the motion stays in force");
}

#[test]
fn a_move_before_any_feed_has_no_speed_and_filament_alone_no_direction() {
    let found = moves("G1 E2\nG1 F600\nG1 E1");
    assert_eq!((found[0].speed, found[0].length, found[0].enters), (0.0, 0.0, [0.0; 3]));
    assert_eq!((found[1].speed, found[1].filament), (10.0, -1.0));
}

#[test]
fn filament_is_counted_as_it_is_told() {
    assert_eq!(filament("G1 E1\nG1 E1.5\nG92 E0\nG1 E0.25\nG1 E-0.75"), [1.0, 0.5, 0.25, -1.0], "absolute");
    assert_eq!(filament("M83\nG1 E1\nG1 E1.5\nM82\nG1 E3"), [1.0, 1.5, 0.5], "relative, and back");
    assert_eq!(filament("G91\nG1 E1\nG1 E1\nG90\nG1 E1\nG1 E3"), [1.0, 1.0, -1.0, 2.0], "as the axes, for a while");
    assert_eq!(filament("M83\nG91\nG1 E1\nG90\nG1 E1"), [1.0, 1.0], "and then as it was told last");
    assert_eq!(filament("M83\nM221 S50\nG1 E1\nM221 S200 T1\nG1 E1\nT1\nG1 E1"), [0.5, 0.5, 2.0], "a share of it");
}

#[test]
fn places_are_relative_in_inches_and_from_a_new_zero_as_told() {
    let to = |text| moves(text).last().unwrap().to;
    assert_eq!(to("G1 X10\nG91\nG1 X5 Y1\nG1 X5"), [20.0, 1.0, 0.0]);
    let inches = moves("G20\nG1 X1 E0.1 F60\nG21\nG1 X26.4");
    assert_eq!(inches[0].to, [25.4, 0.0, 0.0]);
    assert!((inches[0].filament - 2.54).abs() < 1e-12 && (inches[0].speed - 25.4).abs() < 1e-12);
    assert!((inches[1].length - 1.0).abs() < 1e-12);
    // The nozzle is where it was: only what the job calls it changes.
    assert_eq!(to("G1 X10 Y10\nG92 X0\nG1 X5"), [15.0, 10.0, 0.0]);
    assert_eq!(to("G1 X10 Y10\nG92\nG1 X5"), [15.0, 10.0, 0.0]);
    assert_eq!(to("G1 X10 Y10 Z5\nG28 X\nG1 Y11"), [0.0, 11.0, 5.0]);
    assert_eq!(moves("M220 S50\nG1 X1 F600")[0].speed, 5.0);
}

#[test]
fn an_arc_is_a_move_along_it_and_a_false_one_its_chord() {
    let (acts, end) = read("G1 X10 F600\nG3 X0 Y10 I-10\nG2 X10 Y0 R10\nG3 I-10 Z1\nG2 X0 Y10 I-5");
    let lengths: Vec<f64> = acts
        .iter()
        .map(|act| match act.what {
            What::Move(found) => (found.length * 1000.0).round() / 1000.0,
            _ => panic!("{act:?}"),
        })
        .collect();
    assert_eq!(lengths, [10.0, 15.708, 15.708, 62.84, 14.142]);
    assert_eq!(end.unread.faults, [(LineFault::Arc, 1, 5)]);
}

#[test]
fn heat_is_for_the_tool_named_or_at_work() {
    let heat = |heated, target, patience| What::Heat { heated, target: Celsius::new(target), patience };
    let found =
        whats("T1\nM104 S210\nM104 T0 S150\nM109 R180\nM109 S215\nM140 S60\nM190 R50\nM141 S40\nM191 S40\nM104 R5");
    let (one, zero) = (Heated::Tool(tool(1)), Heated::Tool(tool(0)));
    let expected = [
        What::Tool(tool(1)),
        heat(one, 210.0, Patience::None),
        heat(zero, 150.0, Patience::None),
        heat(one, 180.0, Patience::UntilThere),
        heat(one, 215.0, Patience::UntilHot),
        heat(Heated::Bed, 60.0, Patience::None),
        heat(Heated::Bed, 50.0, Patience::UntilThere),
        heat(Heated::Chamber, 40.0, Patience::None),
        heat(Heated::Chamber, 40.0, Patience::UntilHot),
        heat(one, 5.0, Patience::None),
    ];
    assert_eq!(found, expected);
}

#[test]
fn a_tool_is_called_by_its_word_alone_or_with_the_standard_s_change() {
    let (acts, end) = read("T1\nT0 M6\nG1 T1\nM6\nM104 T1 S9\nT16\nM104 T99 S200\nT0.5");
    let tools: Vec<_> = acts.iter().filter(|act| matches!(act.what, What::Tool(_))).collect();
    assert_eq!(tools.iter().map(|act| act.byte).collect::<Vec<_>>(), [0, 3, 15]);
    // Heating calls no tool, and what is none is nobody.
    let nobody = acts.iter().filter(|act| act.what == What::NoTool);
    assert_eq!(nobody.map(|act| act.byte).collect::<Vec<_>>(), [29, 47]);
    assert_eq!(end.unread.tool_out_of_range, 3);
}

#[test]
fn the_machine_s_own_retraction_is_told_as_far_as_the_file_tells_it() {
    let found = whats("G10\nG10\nG11\nG11\nM207 S0.8 F1800\nM208 S0.1\nG10\nT1\nG10\nG11\nG10 L2 P1 X5");
    let drawn = What::Retract { length: Some(0.8), speed: Some(30.0) };
    let forward = What::Recover { length: Some(0.8), extra: Some(0.1), speed: Some(30.0) };
    let untold =
        [What::Retract { length: None, speed: None }, What::Recover { length: None, extra: None, speed: None }];
    assert_eq!(found, [&untold[..], &[drawn, What::Tool(tool(1)), drawn, forward]].concat());
}

#[test]
fn fan_dwell_home_pause_and_end() {
    let found = whats("M106 S51\nM106 P2 S255\nM106\nM107\nG4 P500\nG4 S2\nG4 P0\nG28\nM0\nM2\nG1 X9");
    let dwells = [What::Dwell(Seconds::new(0.5)), What::Dwell(Seconds::new(2.0))];
    assert_eq!(found[..3], [What::Fan(0.2), What::Fan(1.0), What::Fan(0.0)]);
    assert_eq!(found[3..], [dwells[0], dwells[1], What::Home, What::Pause, What::End]);
    assert_eq!(whats("M30 lantern.gcode\nM0").len(), 1, "it names a file, so the program goes on");
    assert_eq!(whats("%\nG1 X1\n%\nG1 X2").len(), 2, "what a percent sign opens, the next one ends");
}

#[test]
fn one_line_is_run_in_its_own_order() {
    let found = whats("M83 G1 E1 X25.4 F600 M104 S200 G91 G20\nG4 S1 T1 M6");
    let [What::Heat { .. }, What::Move(moved), What::Tool(_), What::Dwell(_)] = found[..] else { panic!("{found:?}") };
    assert!((moved.to[0] - 645.16).abs() < 1e-9 && (moved.speed - 254.0).abs() < 1e-9, "{moved:?}");
}

#[test]
fn what_is_not_understood_is_counted_and_does_nothing() {
    let text = "M900 K0.1\nM900 X5 F9\nG38.2\nPURGE A=1\nG1 X1 X2\nG1 Z1 (open\nM98 P1\n#1=[2]\nM117 G1 X7";
    let (acts, end) = read(text);
    assert_eq!(acts.len(), 1);
    let codes: Vec<_> = end.unread.codes.iter().map(|(code, n)| (code.as_str(), *n)).collect();
    assert_eq!(codes, [("M900", 2), ("G38.2", 1), ("M98", 1)]);
    assert_eq!(end.unread.macros, [("PURGE".to_owned(), 1)]);
    let faults = [(LineFault::LetterTwice, 1, 5), (LineFault::CommentOpen, 1, 6), (LineFault::Expression, 1, 8)];
    assert_eq!(end.unread.faults, faults);
    assert_eq!((end.lines, end.commands), (9, 2));
}

#[test]
fn what_is_not_understood_is_bounded() {
    let name = |n: usize| format!("M{}\nMACRO_{}{n} X\n", n + 3000, "x".repeat(n));
    let (_, end) = read(&(0..1000).map(name).collect::<String>());
    assert_eq!((end.unread.codes.len(), end.unread.macros.len()), (64, 32));
    assert!(end.unread.macros.iter().all(|(name, _)| name.len() <= 64));
    assert_eq!(end.unread.other, 2000 - 64 - 32);
}

/// Lines that touch every mode, to be cut up and mangled.
const SAMPLE: &str = "\u{feff}%\r\n; words of some program G1 X99\r\nG21 G90\rM82\nN10 T0*9\nG28\nM140 S60\nM104 T1 S150\n\
    G1 X10.5 Y-.25 F3000 E.5\nG2 X0 Y10 I-10 J0 E1\nG3 X5 Y5 R8\n#3 = 15 G1 x#3\nG92 E0\nT1\nM109 S210 (wait)\nG10\nG11\n\
    PURGE_LINE X=1\nM117 hello\nG91\nG1 Z.2\nM83\nG1 E-.8 F2400\nG4 P500\nM107\nM900 K1\nT17\nG1 X1E3\nM2\n%\n";

#[test]
fn however_a_text_is_cut_the_acts_are_the_same() {
    let mut rng = ChaCha8Rng::seed_from_u64(1);
    let mut text = SAMPLE.replace("M2\n", "").into_bytes();
    text.extend(std::iter::repeat_n(b'7', 5000));
    text.extend(b"\nG1 X3");
    for size in 1..64 {
        job_claim::holds(&text, || size);
    }
    for _ in 0..200 {
        job_claim::holds(&text, || rng.random_range(1..6000));
    }
}

#[test]
fn no_bytes_stop_the_reading() {
    let mut rng = ChaCha8Rng::seed_from_u64(2);
    for _ in 0..2000 {
        let mut text = SAMPLE.as_bytes().to_vec();
        for _ in 0..rng.random_range(1..40) {
            let (at, other) = (rng.random_range(0..text.len()), rng.random_range(0..text.len()));
            match rng.random_range(0..4) {
                0 => text[at] = rng.random(),
                1 => text.swap(at, other),
                2 => text.insert(at, b"0.-#GMT*(N\n"[other % 11]),
                _ => drop(text.remove(at)),
            }
        }
        job_claim::holds(&text, || rng.random_range(1..40));
    }
}
