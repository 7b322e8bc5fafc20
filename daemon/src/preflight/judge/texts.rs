//! What stands out in job files, from their text, and that nothing else does.

use crate::entry::HotEnd;
use crate::gather::look;
use crate::preflight::sample::bench;
use crate::preflight::{Known, document};
use dwell_dashboards::render_preflight_text;
use dwell_dashboards::view::PreflightView;
use serde_json::json;

fn read(known: &Known, text: &str) -> PreflightView {
    look("lantern.gcode", text.as_bytes(), known, None).unwrap()
}

fn found(view: &PreflightView) -> Vec<(&'static str, &'static str, Option<usize>)> {
    view.findings.iter().map(|found| (found.gravity, found.id, found.tool)).collect()
}

fn separate(text: &str) -> PreflightView {
    read(&bench(HotEnd::Separate), text)
}

fn shared(text: &str) -> PreflightView {
    read(&bench(HotEnd::Shared), text)
}

/// T0 prints, waits at 170 °C with a return in time, prints again; T1 alike.
const CLEAN: &str = "M83\nM104 S170 T1\nM109 S210 T0\nT0\nG1 X100 E5 F1200\nM104 S170 T0\nM109 S230 T1\nT1\n\
    G1 X200 E5 F1200\nG4 S100\nM104 S170 T1\nM104 S210 T0\nG4 S20\nM109 S210 T0\nT0\nG1 X0 E5 F1200\n\
    M104 S0 T0\nM104 S0 T1\n";

#[test]
fn a_file_without_a_flaw_has_no_finding_and_what_was_not_read_is_told() {
    assert_eq!(found(&separate(CLEAN)), []);
    assert_eq!(
        found(&separate(&CLEAN.replace("T0\nG1 X0", "T0\nM104 S5000 T0\nG1 X0"))),
        [("look", "lines_not_read", None)]
    );
    let nobody_s = CLEAN.replace("M104 S0 T0", "T99\nG1 X20 E1\nM104 S0 T0");
    assert_eq!(found(&separate(&nobody_s)), [("grave", "no_such_tool", None)]);
}

#[test]
fn a_hot_end_that_is_shared_is_heated_once_for_all_and_must_be_flushed() {
    let job = |flush: &str| {
        let turns = ["T0\n", "G1 X20 E1 F1200\nT1\n", "G1 X0 E1\nT0\n"].map(|turn| format!("{turn}{flush}"));
        format!("M83\nM109 S210\n{}G1 X20 E1\n", turns.concat())
    };
    assert_eq!(found(&shared(&job("G1 E13 F300\n"))), []);
    assert_eq!(found(&shared(&job(""))), [("look", "no_purge", Some(0)), ("look", "no_purge", Some(1))]);
    assert_eq!(
        found(&separate(&job("G1 E13 F300\n"))),
        [("grave", "cold_push", Some(1)), ("note", "no_standby", Some(0))]
    );
}

#[test]
fn a_set_point_that_only_a_macro_may_give_is_no_grave_matter() {
    let bare = "M83\nG1 X20 E5 F1200\n";
    assert_eq!(found(&separate(bare)), [("grave", "cold_push", Some(0))]);
    let with_macro = format!("START_PRINT\n{bare}PARK X=1\n");
    assert_eq!(found(&separate(&with_macro)), [("look", "cold_push", Some(0)), ("look", "macros", None)]);
}

#[test]
fn the_machine_s_own_retraction_is_judged_where_the_file_tells_its_length() {
    let job = "M83\nM109 S210 T0\nG1 X20 E5 F1200\nG10\nG0 X50\nG11\nG1 X70 E5\nM104 S0\n";
    assert_eq!(found(&separate(job)), [("note", "untold_retractions", Some(0))]);
    assert_eq!(found(&separate(&format!("M207 S6 F1800\n{job}"))), [("look", "other_retraction", Some(0))]);
    assert_eq!(found(&separate(&format!("M207 S0.8 F1800\n{job}"))), []);
}

#[test]
fn a_tool_that_gets_cold_in_mid_job_and_works_again_is_not_hot_after_its_last_use() {
    let job = "M83\nM109 S190 T0\nM109 S230 T1\nT1\nG1 X10 E5 F1200\nM104 S170 T1\nT0\nG1 X100 E5\nG4 S1380\n\
               M104 S0 T1\nG4 S1200\nM109 S230 T1\nM104 S0 T0\nT1\nG1 X0 E5\n";
    assert_eq!(found(&separate(job)), [("look", "late_reheat", Some(1)), ("note", "deep_standby", Some(1))]);
    let (at_last, _) = job.split_once("M109 S230 T1\nM104 S0 T0").unwrap();
    assert_eq!(found(&separate(at_last)), [("look", "hot_after_last", Some(1))]);
}

/// The first time T0 is left 2 K lower, for a minute; then 40 K lower, for ten.
#[test]
fn a_set_point_a_little_lower_is_no_standby_and_counts_by_path_and_by_its_own_wait() {
    let job = "M83\nM104 S170 T1\nM109 S210 T0\nT0\nG1 X10 E5 F1200\nM104 S208 T0\nM109 S230 T1\nT1\nG1 X100 E5\n\
               G4 S30\nM104 S170 T1\nM104 S210 T0\nG4 S15\nT0\nG1 X10 E5 F1200\nM104 S170 T0\nM104 S230 T1\nG4 S30\n\
               T1\nG1 X100 E5\nG4 S600\nM104 S170 T1\nM104 S210 T0\nG4 S20\nT0\nG1 X10 E5 F1200\n\
               M104 S0 T0\nM104 S0 T1\n";
    let view = separate(job);
    assert_eq!(found(&view), [("note", "no_standby", Some(0))], "a minute is short, ten were none");
    assert_eq!(view.findings[0].cause, "It is left at its print temperature at 1 of 2 changes to T1.");
}

#[test]
fn changes_without_a_standby_are_counted_on_each_path() {
    let mut known = bench(HotEnd::Separate);
    known.n_tools = Some(3);
    let job = "M83\nM104 S210\nM104 S210 T1\nM104 S210 T2\nM109 S210 T0\nT0\nG1 X10 E5 F1200\nT1\nG1 X200 E5\n\
               M104 S0 T1\nT0\nG1 X0 E5\nM104 S170 T0\nT2\nG1 X100 E5\nM104 S170 T2\nM104 S210 T0\n\
               G4 S20\nT0\nG1 X0 E5\nM104 S210 T2\nG4 S10\nT2\nG1 X100 E5\nG4 S70\nM104 S0 T0\nM104 S0 T1\nM104 S0 T2\n";
    let view = read(&known, job);
    assert_eq!(found(&view), [("note", "no_standby", Some(0))]);
    let told = "It is left at its print temperature at 2 of 3 changes (T0 → T1: 1 of 1, T0 → T2: 1 of 2).";
    assert_eq!(view.findings[0].cause, told);
}

#[test]
fn a_reheat_is_late_where_the_job_stands_still_for_it_and_grave_where_it_does_not() {
    let job = |before: &str| CLEAN.replace("M104 S170 T0\n", "M104 S0 T0\n").replace("M104 S210 T0\nG4 S20\n", before);
    let waited = found(&separate(&job("G4 S20\n")));
    assert_eq!(waited, [("note", "deep_standby", Some(0)), ("note", "late_reheat", Some(0))]);
    let not_waited = job("M104 S210 T0\nG4 S20\n").replace("M109 S210 T0\nT0\nG1 X0", "T0\nG1 X0");
    assert_eq!(found(&separate(&not_waited)), [("grave", "cold_restart", Some(0)), ("note", "deep_standby", Some(0))]);
}

#[test]
fn two_objects_one_after_the_other_count_each_height_once() {
    let object = |x: u32| {
        let layer = |z: u32| format!("G1 Z0.{z}\nG1 X{} E2\nG1 X{x} E2\n", x + 20);
        (1..=5).map(layer).collect::<String>()
    };
    let view = separate(&format!("M83\nM109 S210 T0\nG1 F1200\n{}{}M104 S0 T0\n", object(0), object(100)));
    assert_eq!((found(&view), view.layers), (vec![], 5));
}

/// T0 and T1 go to a box first; T1 pushes out standing still too.
#[test]
fn where_a_tool_purges_reaches_text_and_json_and_a_place_alone_says_so() {
    let turn = |tool: u32, push: &str| {
        format!(
            "T{tool}\nG0 X5 Y5\n{push}G1 X45 E8 F1200\nG1 X5 E8\nG0 X100 Y100\nG1 X120 E1\nG1 E-0.8 F1800\nG1 E0.8\n"
        )
    };
    let turns: String = (0..6).map(|at| turn(at % 2, "")).collect();
    let view = shared(&format!("M83\nM109 S210\n{turns}M104 S0\n"));
    let text = render_preflight_text(&view).split_whitespace().collect::<Vec<_>>().join(" ");
    assert!(text.contains("taken for"), "{text}");
    let json = document(&view);
    let place = &json["tools"][0]["purge_place"];
    assert_eq!((&place["at"], &place["least_mm"][0], &place["most_mm"][0]), (&json!("box"), &json!(5.0), &json!(45.0)));
    let visit = &json["visits"][2];
    assert_eq!((&visit["n_retractions"], &visit["retract_mm"], &visit["purge_place"]), (&json!(1), &json!(0.8), place));
    let volume = visit["purge_mm3"].as_f64().unwrap();
    assert!(((volume * 1000.0).round() / 1000.0 - volume).abs() < f64::EPSILON, "{volume}");
    let spot = shared("M83\nM109 S210\nT0\nG1 X20 E1 F1200\nT1\nG0 X7 Y9\nG1 E13 F300\nG1 X0 E1\nM104 S0\n");
    assert_eq!(document(&spot)["tools"][1]["purge_place"], json!({"at": "spot", "x_mm": 7.0, "y_mm": 9.0}));
}
