//! The ladder of a waiting tool: its rungs, what is said once, and the words.

use super::{Bench, NOTHING, START, WAITS, WORKS, cause_of, only};
use crate::alarm::{Called, Change, Rule, Rules, Subject};
use crate::entry::{JobState, ToolNumber};
use crate::tracker::Doing;
use dwell_analysis::units::Seconds;

#[test]
fn a_waiting_melt_climbs_the_ladder_and_each_level_takes_the_place_of_the_one_below() {
    let mut bench = Bench::new();
    bench.dose = 9.9;
    assert_eq!(bench.read(), NOTHING);
    bench.dose = 10.0;
    assert_eq!(bench.read(), ["+residence_note"]);
    assert_eq!(bench.wait(600.0), NOTHING);
    bench.dose = 25.0;
    assert_eq!(bench.read(), ["+residence_warn", "~residence_note"]);
    bench.dose = 60.0;
    assert_eq!(bench.read(), ["+residence_budget", "~residence_warn"]);
    assert_eq!(bench.wait(600.0), NOTHING);
}

#[test]
fn falling_back_says_nothing_again_until_the_melt_is_under_the_lowest_level() {
    let mut bench = Bench::new();
    bench.dose = 61.0;
    assert_eq!(bench.read(), ["+residence_budget"], "the levels below are passed over");
    // Half flushed by a turn at work, it waits again.
    (bench.doing, bench.dose) = (WORKS, 53.0);
    assert_eq!(bench.wait(70.0), ["-residence_budget"]);
    (bench.doing, bench.dose) = (WAITS, 30.0);
    assert_eq!(bench.wait(120.0), NOTHING);
    bench.dose = 60.0;
    assert_eq!(bench.read(), ["+residence_budget"]);
    (bench.doing, bench.dose) = (WORKS, 1.0);
    assert_eq!(bench.wait(70.0), ["-residence_budget"]);
    bench.job = JobState::Completed;
    assert_eq!(bench.at_dose(10.0), ["+residence_note"]);
}

#[test]
fn what_nobody_tuned_calls_once_a_day_but_for_the_highest_in_prints_and_outside_of_them_and_is_recorded_each_time() {
    let mut bench = Bench::with(&Rules::default());
    let turn = |bench: &mut Bench, actual, dose| {
        (bench.doing, bench.dose) = (WORKS, 0.0);
        bench.wait(70.0);
        (bench.doing, bench.actual, bench.dose) = (WAITS, Some(actual), dose);
        let mut said = bench.wait(620.0);
        // A tool that is left on is another family's.
        said.retain(|said| !said.ends_with("hot_no_print"));
        said
    };
    assert_eq!(turn(&mut bench, 170.0, 25.0), ["+residence_warn"]);
    for (actual, dose, recorded) in
        [(170.0, 11.0, "(+residence_note)"), (170.0, 26.0, "(+residence_warn)"), (200.0, 9.0, "(+idle_hot)")]
    {
        assert_eq!(turn(&mut bench, actual, dose), [recorded], "{actual} {dose}");
    }
    // A restart goes on by what called before it.
    let raised = START + Seconds::new(300.0);
    let called = |rule, in_print| Called { subject: Subject { rule, tool: ToolNumber::new(0) }, raised, in_print };
    bench.ledger.reconcile(&[], &[called(Rule::ResidenceWarn, true)]);
    assert_eq!(turn(&mut bench, 170.0, 26.0), ["(+residence_warn)"]);
    bench.ledger.reconcile(&[], &[called(Rule::ResidenceWarn, false)]);
    assert_eq!(turn(&mut bench, 170.0, 26.0), ["+residence_warn"]);
    for _ in 0..2 {
        assert_eq!(turn(&mut bench, 170.0, 60.0), ["+residence_budget"]);
    }
    bench.ledger.reconcile(&[], &[]);
    // What happens outside of a print was not told of.
    bench.job = JobState::Completed;
    assert_eq!(turn(&mut bench, 170.0, 10.0), ["+residence_note"]);
    assert_eq!(turn(&mut bench, 200.0, 9.0), ["+idle_hot"]);
    assert_eq!(turn(&mut bench, 200.0, 9.0), ["(+idle_hot)"]);
    // Nor was what happens in it a day later.
    (bench.job, bench.doing, bench.dose) = (JobState::Printing, WORKS, 0.0);
    bench.wait(20.0 * 3600.0);
    assert_eq!(turn(&mut bench, 170.0, 10.0), ["+residence_note"]);
}

#[test]
fn a_rule_that_was_tuned_is_said_each_time() {
    let change = Change { bound: Some(180.0), ..Change::default() };
    let mut bench = Bench::with(&only(Rule::IdleHot, change));
    for _ in 0..3 {
        (bench.doing, bench.actual) = (WAITS, Some(181.0));
        assert_eq!(bench.wait(620.0), ["+idle_hot"]);
        bench.doing = WORKS;
        assert_eq!(bench.wait(70.0), ["-idle_hot"]);
    }
}

#[test]
fn a_note_waits_ten_minutes_and_a_warning_five_for_the_tool_s_own_turn() {
    for (dose, after, says) in [(12.0, 600.0, "+residence_note"), (26.0, 300.0, "+residence_warn")] {
        let mut bench = Bench::with(&Rules::default());
        for _ in 0..3 {
            (bench.doing, bench.dose) = (WAITS, dose);
            assert_eq!(bench.wait(after), NOTHING);
            bench.doing = WORKS;
            assert_eq!(bench.wait(10.0), NOTHING);
        }
        bench.doing = WAITS;
        assert_eq!(bench.wait(after), NOTHING);
        assert_eq!(bench.read(), [says]);
    }
}

#[test]
fn while_a_job_heats_up_its_tools_may_wait_but_a_spent_melt_is_an_alarm() {
    let mut bench = Bench::new();
    (bench.job, bench.actual) = (JobState::Heating, Some(205.0));
    assert_eq!(bench.at_dose(26.0), NOTHING);
    assert_eq!(bench.wait(1200.0), NOTHING);
    assert_eq!(bench.at_dose(60.0), ["+residence_budget"]);
    // The print's own waiting counts from its beginning on.
    let mut bench = Bench::new();
    (bench.job, bench.actual) = (JobState::Heating, Some(205.0));
    assert_eq!(bench.wait(1200.0), NOTHING);
    bench.job = JobState::Printing;
    assert_eq!(bench.wait(600.0), NOTHING);
    assert_eq!(bench.read(), ["+idle_hot"]);
}

#[test]
fn a_note_and_a_warning_rest_while_the_tool_is_off_or_under_first_flow_and_a_spent_melt_does_not() {
    for (actual, target) in [(185.0, Some(0.0)), (141.9, Some(190.0)), (94.0, None), (45.0, Some(0.0))] {
        for (dose, says) in [(12.0, "+residence_note"), (26.0, "+residence_warn")] {
            let mut bench = Bench::new();
            (bench.actual, bench.target) = (Some(actual), target);
            assert_eq!(bench.at_dose(dose), NOTHING, "{actual} {target:?}");
            assert_eq!(bench.wait(600.0), NOTHING, "{actual} {target:?}");
            // Hot again, it is told of.
            (bench.actual, bench.target) = (Some(150.0), Some(150.0));
            assert_eq!(bench.read(), [says], "{actual} {target:?}");
        }
    }
    let mut bench = Bench::new();
    (bench.actual, bench.target) = (Some(185.0), Some(0.0));
    assert_eq!(bench.at_dose(60.0), ["+residence_budget"]);
    // One that was told of before it was switched off stands until the melt is cold.
    let mut bench = Bench::new();
    assert_eq!(bench.at_dose(12.0), ["+residence_note"]);
    (bench.actual, bench.target) = (Some(94.0), Some(0.0));
    assert_eq!(bench.wait(600.0), NOTHING);
    bench.doing = Doing::Cold;
    assert_eq!(bench.read(), ["-residence_note"]);
}

#[test]
fn a_tool_that_has_cooled_ends_its_alarm_and_the_same_melt_is_not_told_of_again() {
    let mut bench = Bench::new();
    bench.dose = 12.0;
    assert_eq!(bench.read(), ["+residence_note"]);
    (bench.doing, bench.actual) = (Doing::Cold, Some(44.0));
    assert_eq!(bench.wait(600.0), ["-residence_note"]);
    (bench.doing, bench.actual) = (WAITS, Some(170.0));
    assert_eq!(bench.wait(600.0), NOTHING);
    bench.dose = 26.0;
    assert_eq!(bench.read(), ["+residence_warn"]);
}

#[test]
fn a_level_s_words_name_dose_limit_share_and_when_the_next_is_reached() {
    let mut bench = Bench::new();
    // A minute at 200 °C is a minute of dose.
    (bench.dose, bench.actual, bench.material) = (12.0, Some(200.0), "ABS");
    let effects = bench.effects(10.0, false);
    let cause = cause_of(&effects);
    for piece in ["T0 waits at 200 °C", "12 of its 60 equivalent min", "(20 %)", "it reaches 42 % in about 13 min."] {
        assert!(cause.contains(piece), "{cause}");
    }
    // Near its first flow the next level is far off; at the highest level there is none.
    let mut bench = Bench::new();
    (bench.dose, bench.actual) = (25.0, Some(143.0));
    let effects = bench.effects(10.0, false);
    assert!(cause_of(&effects).ends_with("it reaches 100 % in more than a day."), "{effects:?}");
    bench.dose = 70.0;
    let effects = bench.effects(10.0, false);
    assert!(cause_of(&effects).ends_with("(117 %)."), "{effects:?}");
}

#[test]
fn a_level_that_is_reached_and_waits_for_its_on_delay_is_not_told_as_the_next() {
    let at_once = Change { on_delay: Some(Seconds::ZERO), ..Change::default() };
    for (rule, dose, next) in [
        (Rule::ResidenceNote, 24.0, "reaches 42 % in"),
        (Rule::ResidenceNote, 25.0, "reaches 100 % in"),
        (Rule::IdleHot, 3.0, "reaches 42 % in"),
        (Rule::IdleHot, 26.0, "reaches 100 % in"),
    ] {
        let mut bench = Bench::with(&only(rule, at_once));
        (bench.dose, bench.actual) = (dose, Some(200.0));
        let effects = bench.effects(10.0, false);
        let cause = cause_of(&effects);
        assert!(cause.contains(next) && cause.matches("reaches").count() == 1, "{cause}");
    }
}

#[test]
fn a_tool_waits_too_hot_from_its_material_s_lowest_print_temperature_on_for_ten_minutes() {
    for (material, at) in [("PLA", 190.0), ("petg", 210.0)] {
        let mut bench = Bench::new();
        (bench.material, bench.actual) = (material, Some(at - 0.1));
        assert_eq!(bench.wait(1200.0), NOTHING, "{material}");
        bench.actual = Some(at);
        assert_eq!(bench.wait(600.0), NOTHING, "{material}");
        assert_eq!(bench.read(), ["+idle_hot"], "{material}");
        // Inside the deadband of 3 K it stands; below it, it returns after a minute.
        bench.actual = Some(at - 2.9);
        assert_eq!(bench.wait(600.0), NOTHING, "{material}");
        bench.actual = Some(at - 3.1);
        assert_eq!(bench.wait(60.0), NOTHING, "{material}");
        assert_eq!(bench.read(), ["-idle_hot"], "{material}");
    }
}

#[test]
fn what_a_graver_alarm_says_of_a_waiting_tool_is_not_said_again_by_a_lesser() {
    let mut bench = Bench::new();
    (bench.actual, bench.dose) = (Some(205.0), 12.0);
    assert_eq!(bench.wait(610.0), ["+residence_note", "+idle_hot", "~residence_note"]);
    bench.dose = 25.0;
    assert_eq!(bench.read(), ["+residence_warn", "~idle_hot"]);
    assert_eq!(bench.wait(1200.0), NOTHING);
}
