//! What stands out, and that nothing else does.

use super::judge;
use crate::entry::{HotEnd, ToolNumber};
use crate::jobfile::{JobOutline, LineFault, Purge, Restart};
use crate::preflight::finding::{Gravity, Matter};
use crate::preflight::known::{Known, Liner};
use crate::preflight::sample::{bench, lantern, spread, tool};
use crate::preflight::view;
use Gravity::{Grave, Look, Note};
use LaneKind::{Cold, Unknown, Waiting, Working};
use dwell_analysis::units::{Celsius, DoseMinutes, Seconds};
use dwell_dashboards::view::{JOB_BEGINS, LaneKind};

fn found(outline: &JobOutline, known: &Known) -> Vec<(&'static str, Gravity, Option<usize>)> {
    let found = judge(outline, known).findings;
    found.iter().map(|one| (one.matter.id(), one.matter.gravity(), one.tool.map(ToolNumber::idx))).collect()
}

fn ids(outline: &JobOutline, known: &Known) -> Vec<&'static str> {
    found(outline, known).into_iter().map(|(id, ..)| id).collect()
}

/// The job after a change to it, on a printer with separate hot ends.
fn after(change: impl FnOnce(&mut JobOutline)) -> Vec<(&'static str, Gravity, Option<usize>)> {
    let mut outline = lantern();
    change(&mut outline);
    found(&outline, &bench(HotEnd::Separate))
}

fn restart(outline: &mut JobOutline, at: usize) -> &mut Restart {
    outline.visits[at].restart.as_mut().unwrap()
}

#[test]
fn a_job_without_a_flaw_has_no_finding() {
    assert_eq!(found(&lantern(), &bench(HotEnd::Separate)), []);
    assert_eq!(found(&lantern(), &bench(HotEnd::Shared)), []);
    assert_eq!(found(&lantern(), &Known::default()), []);
}

#[test]
fn pushes_too_cold_are_grave_and_counted() {
    let mut outline = lantern();
    restart(&mut outline, 3).expected = Celsius::new(199.0);
    restart(&mut outline, 1).expected = Celsius::new(150.0);
    let judged = judge(&outline, &bench(HotEnd::Separate));
    let [finding] = judged.findings.as_slice() else { unreachable!("{:?}", judged.findings) };
    let Matter::ColdRestart { counted, worst, expected, .. } = &finding.matter else { unreachable!("{finding:?}") };
    assert_eq!((counted.n, counted.of, worst.at), (2, 2, Seconds::new(1500.0)));
    assert_eq!((*expected, finding.tool), (Celsius::new(150.0), Some(tool(1))));

    let at_the_edge = after(|outline| restart(outline, 1).expected = Celsius::new(200.0));
    assert_eq!(at_the_edge, []);
    let set_too_low = after(|outline| {
        let restart = restart(outline, 1);
        (restart.target, restart.expected) = (Some(Celsius::new(170.0)), Celsius::new(170.0));
    });
    assert_eq!(set_too_low, [("cold_restart", Gravity::Grave, Some(1))], "PETG flows from 155 °C");
}

#[test]
fn a_push_that_no_set_point_went_before_is_grave_unless_a_macro_may_have_set_one() {
    let cold = |outline: &mut JobOutline| {
        let restart = restart(outline, 0);
        (restart.target, restart.expected) = (None, Celsius::new(25.0));
    };
    assert_eq!(after(cold), [("cold_push", Gravity::Grave, Some(0))]);
    let with_macro = after(|outline| {
        cold(outline);
        outline.unread.macros = vec![("WARM_UP".to_owned(), 1)];
    });
    assert_eq!(with_macro, [("cold_push", Gravity::Look, Some(0)), ("macros", Gravity::Look, None)]);
}

#[test]
fn changes_without_a_standby_are_counted_by_path_and_matter_by_the_wait() {
    let mut outline = lantern();
    (outline.visits[0].standby, outline.visits[0].left_hot) = (None, Some(true));
    outline.tools[0].left_hot = 1;
    let judged = judge(&outline, &bench(HotEnd::Separate));
    let Matter::NoStandby { counted, paths, .. } = &judged.findings[0].matter else { unreachable!() };
    assert_eq!((counted.n, counted.of), (1, 2));
    assert_eq!(
        paths.iter().map(|path| (path.from, path.to, path.counted.n, path.counted.of)).collect::<Vec<_>>(),
        [(tool(0), tool(1), 1, 2)]
    );
    assert_eq!(found(&outline, &bench(HotEnd::Shared)), [], "one heater can't be lowered for one tool");
    outline.waits[1].ended = Seconds::new(1540.0);
    assert_eq!(outline.tools[0].waited_max, Seconds::new(1200.0), "which is a wait with a standby");
    assert_eq!(found(&outline, &bench(HotEnd::Separate)), [("no_standby", Gravity::Note, Some(0))]);
}

#[test]
fn a_set_point_over_the_liner_is_grave_and_one_near_it_a_note() {
    let set = |value: f64| move |outline: &mut JobOutline| outline.tools[1].target_max = Some(Celsius::new(value));
    assert_eq!(after(set(251.0)), [("over_liner", Gravity::Grave, Some(1))]);
    assert_eq!(after(set(250.0)), [("near_liner", Gravity::Note, Some(1))]);
    assert_eq!(after(set(240.0)), []);
    let mut known = bench(HotEnd::Separate);
    let mut outline = lantern();
    outline.tools[1].target_max = Some(Celsius::new(261.0));
    known.tools[1].liner = Liner::Assumed;
    assert_eq!(ids(&outline, &known), ["over_liner"]);
    known.tools[1].liner = Liner::Absent;
    assert_eq!(ids(&outline, &known), Vec::<&str>::new());
}

#[test]
fn a_spent_residence_budget_is_grave_and_half_of_it_a_note() {
    // PLA's limit is 60 equivalent minutes.
    let dose = |value: f64| move |outline: &mut JobOutline| outline.tools[0].dose_max = DoseMinutes::new(value);
    assert_eq!(after(dose(60.1)), [("over_residence", Gravity::Grave, Some(0))]);
    assert_eq!(after(dose(30.1)), [("near_residence", Gravity::Note, Some(0))]);
    assert_eq!(after(dose(29.9)), []);
}

#[test]
fn standing_still_for_heat_is_summed_without_the_first_heating_up() {
    let mut outline = lantern();
    for (at, waited) in [(0, 120.0), (1, 90.0), (2, 70.0), (3, 1.0)] {
        restart(&mut outline, at).waited = Seconds::new(waited);
    }
    let judged = judge(&outline, &bench(HotEnd::Separate));
    let [finding] = judged.findings.as_slice() else { unreachable!("{:?}", judged.findings) };
    let Matter::LateReheat { counted, total, .. } = finding.matter else { unreachable!("{finding:?}") };
    assert_eq!((finding.tool, counted.n, counted.of, total), (Some(tool(0)), 1, 1, Seconds::new(70.0)));
}

#[test]
fn heat_without_use_is_found_at_either_end_and_where_a_tool_never_works() {
    let kept_hot = after(|outline| outline.waits[3].target = Some(Celsius::new(170.0)));
    assert_eq!(kept_hot, [("hot_after_last", Gravity::Look, Some(0))]);
    let early = after(|outline| outline.waits[0].began = Seconds::new(600.0));
    assert_eq!(early, [("hot_before_first", Gravity::Look, Some(1))]);
    let unused = after(|outline| {
        outline.visits.retain(|visit| visit.tool == tool(0));
        outline.waits.retain(|wait| wait.tool == tool(0));
        outline.tools[1].visits = 0;
    });
    assert_eq!(unused, [("heated_unused", Gravity::Look, Some(1))]);
}

#[test]
fn a_retraction_is_judged_by_past_prints_and_without_them_by_practice() {
    let length = |value: f64| move |outline: &mut JobOutline| outline.tools[0].retractions.length = spread(40, value);
    for (value, is_unlike) in [(1.5, false), (1.7, true), (0.41, false), (0.39, true), (6.0, true)] {
        let expected = if is_unlike { vec![("other_retraction", Gravity::Look, Some(0))] } else { vec![] };
        assert_eq!(after(length(value)), expected, "{value}");
    }
    let mut outline = lantern();
    length(6.0)(&mut outline);
    let mut known = bench(HotEnd::Separate);
    known.tools[0].retraction.as_mut().unwrap().n = 2;
    assert_eq!(found(&outline, &known), [("long_retraction", Gravity::Note, Some(0))]);
}

#[test]
fn only_a_shared_nozzle_needs_a_purge() {
    let mut outline = lantern();
    outline.visits[2].purge = Purge::default();
    assert_eq!(found(&outline, &bench(HotEnd::Shared)), [("no_purge", Gravity::Look, Some(0))]);
    assert_eq!(found(&outline, &bench(HotEnd::Separate)), []);
}

#[test]
fn what_was_not_read_or_not_counted_is_told() {
    let unread = after(|outline| {
        outline.unread.codes = vec![("M900".to_owned(), 3)];
        outline.unread.faults = vec![(LineFault::TooLong, 9, 1), (LineFault::NoDigit, 2, 7)];
        outline.unread.tool_out_of_range = 1;
        (outline.homings, outline.pauses, outline.visits_left_out) = (1, 2, 5);
        outline.chamber_waits = 1;
        outline.tools[1].retractions.untold = 4;
        outline.tools[1].retractions.on_one_spot = 21;
        outline.tools[0].standby = spread(2, 0.0);
    });
    assert_eq!(
        unread,
        [
            ("no_such_tool", Grave, None),
            ("ground_filament", Look, Some(1)),
            ("pauses", Look, None),
            ("lines_not_read", Look, None),
            ("deep_standby", Note, Some(0)),
            ("untold_retractions", Note, Some(1)),
            ("unknown_codes", Note, None),
            ("homings", Note, None),
            ("chamber_waits", Note, None),
            ("visits_left_out", Note, None),
        ]
    );
    let mut one_tool = bench(HotEnd::Separate);
    one_tool.n_tools = Some(1);
    assert_eq!(ids(&lantern(), &one_tool), ["no_such_tool"]);
    assert_eq!(after(|outline| outline.begins = None), [("no_filament", Look, None)]);
}

/// Whatever is found, it has a cause, a consequence and something to do, and no sentence holds a bare debug form.
#[test]
fn every_finding_is_said_in_sentences() {
    let mut outline = lantern();
    restart(&mut outline, 1).expected = Celsius::new(150.0);
    outline.tools[0].target_max = Some(Celsius::new(270.0));
    outline.tools[0].left_hot = 1;
    outline.tools[1].standby = spread(2, 60.0);
    outline.unread.macros = vec![("PARK".to_owned(), 1), ("WIPE".to_owned(), 7)];
    let known = bench(HotEnd::Separate);
    let shown = view("lantern.gcode", &outline, &known, &judge(&outline, &known));
    assert_eq!(shown.findings.len(), 5);
    for finding in &shown.findings {
        for sentence in [&finding.cause, &finding.consequence, &finding.action] {
            assert!(sentence.ends_with('.') && sentence.starts_with(char::is_uppercase), "{sentence}");
        }
    }
    assert!(shown.findings.iter().any(|finding| finding.cause.contains("PARK (once), WIPE (7 times)")));
}

#[test]
fn a_lane_covers_the_job_from_its_first_filament_and_owns_up_to_what_is_not_held() {
    let mut outline = lantern();
    let known = bench(HotEnd::Separate);
    let lane = |outline: &JobOutline| {
        let shown = view("lantern.gcode", outline, &known, &judge(outline, &known));
        let pieces = shown.tools[1].lane.iter().map(|piece| (piece.kind, (piece.to - JOB_BEGINS).get()));
        pieces.collect::<Vec<_>>()
    };
    assert_eq!(
        lane(&outline),
        [(Cold, 1380.0), (Waiting, 1500.0), (Working, 2700.0), (Waiting, 4500.0), (Working, 5700.0)]
    );
    outline.visits.truncate(2);
    outline.waits.truncate(2);
    outline.visits_left_out = 2;
    assert_eq!(lane(&outline), [(Cold, 1380.0), (Waiting, 1500.0), (Working, 2700.0), (Unknown, 5700.0)]);
}
