//! Runs under a change, against what a hand reckons.

use super::*;
use crate::advice::{Lesson, LinerKnown, Step, Times, Wait};
use crate::polymer::Material;
use crate::risk::Restarts;
use crate::thermal::{AMBIENT, Heater};
use crate::units::{CubicMm, Millimetres, Probability};

const PLA: MaterialFacts = Material::Pla.built_in();

#[expect(clippy::unnecessary_wraps, reason = "what features hold is known or not")]
pub(in crate::advice) fn celsius(value: f64) -> Option<Celsius> {
    Some(Celsius::new(value))
}

/// A wait between two turns.
pub(in crate::advice) fn wait(minutes: f64, mean: f64, end: f64, dose: f64) -> Wait {
    Wait {
        lasted: Seconds::minutes(minutes),
        mean: Celsius::new(mean),
        max: Celsius::new(210.0),
        end: celsius(end),
        dose: DoseMinutes::new(dose),
        ooze: Some(CubicMm::new(1.0)),
        is_followed: true,
    }
}

/// A run at 210 °C whose waits were held at `standby`, its features as the record has them.
pub(in crate::advice) fn course(standby: f64, waits: Vec<Wait>) -> Course {
    let mut restarts = Restarts::default();
    for wait in &waits {
        restarts.add(wait.lasted, wait.mean, wait.dose);
    }
    let lasted = waits.iter().fold(Seconds::ZERO, |sum, wait| sum + wait.lasted);
    let weighted: f64 = waits.iter().map(|wait| wait.mean.get() * wait.lasted.get()).sum();
    let coldest = waits.iter().filter_map(|wait| wait.end).map(Celsius::get).fold(210.0, f64::min);
    let features = Features {
        dose_max: Some(restarts.dose_max),
        dose_sum: Some(restarts.dose_sum),
        idle_hot: Some(lasted),
        idle_mean: Some(Celsius::new(weighted / lasted.get())),
        idle_max: celsius(210.0),
        restarts: Some(restarts),
        stagnant: Some(DoseMinutes::new(40.0)),
        restart_deficit: Some(CelsiusDelta::new(210.0 - coldest)),
        ooze: Some(CubicMm::new(crate::estimate::count(waits.len()))),
        standby: celsius(standby),
        retract: Some(Millimetres::new(1.0)),
        print_temperature: celsius(210.0),
        print_length: Some(lasted + Seconds::minutes(60.0)),
        done: Some(1.0),
        ..Features::of(Material::Pla)
    };
    Course { features, waits }
}

pub(in crate::advice) fn situation<'a>(courses: &'a [Course], lessons: &'a [Lesson<'a>]) -> Situation<'a> {
    let held = Held { print: celsius(210.0), ..Held::default() };
    let times = Times { heater: Heater::HOT_END, surroundings: AMBIENT, fit: None };
    Situation {
        facts: &PLA,
        held,
        liner: LinerKnown::Assumed,
        is_shared: false,
        drive: None,
        times,
        courses,
        tried: &[],
        ages: Ages::default(),
        liner_outlook: None,
        accepted: Probability::new(0.1).unwrap(),
        neighbour: None,
        lessons,
    }
}

/// The runs to come.
pub(in crate::advice) fn horizon(situation: &Situation<'_>, change: Option<&Change>) -> Vec<Features> {
    runs(&InForce::of(situation, change), change).into_iter().map(|run| run.features).collect()
}

pub(in crate::advice) fn standby(to: f64) -> Change {
    Change::Standby(Step { from: None, to: Celsius::new(to) })
}

/// Held at 210 °C for 30 min, then cooled to 150 °C instead: with tau 200 s in a room of 25 °C it is there after
/// 200 ln(185/125) = 78.41 s, over which its mean is 25 + 200 (185 - 125) / 78.41 = 178.0 °C; so the mean of the wait is
/// 150 + 78.41 (178.0 - 150) / 1800 = 151.22 °C. Dose: the rate integrated over the fall by Simpson's rule, and at 150 °C
/// for the rest.
#[test]
fn a_wait_that_cools_agrees_with_the_closed_form() {
    let rate = |at: f64| dose_rate(&PLA, Celsius::new(at));
    let held = wait(30.0, 210.0, 210.0, 30.0 * rate(210.0));
    let courses = [course(210.0, vec![held])];
    let asked = situation(&courses, &[]);
    let found = under(&standby(150.0), &courses[0], &asked);
    let falls = 200.0 * (185.0_f64 / 125.0).ln();
    let mean = 150.0 + falls / 1800.0 * (25.0 + 200.0 * 60.0 / falls - 150.0);
    assert!((mean - 151.22).abs() < 0.01 && (found.idle_mean.unwrap().get() - mean).abs() < 0.02, "{found:?}");
    let at = |seconds: f64| 25.0 + 185.0 * (-seconds / 200.0_f64).exp();
    let simpson: f64 = (0..=1000)
        .map(|nth| {
            let weight = [2.0, 4.0][usize::from(nth % 2 == 1)];
            let weight = if nth == 0 || nth == 1000 { 1.0 } else { weight };
            weight * rate(at(falls * f64::from(nth) / 1000.0))
        })
        .sum();
    let dose = (simpson * falls / 3000.0 + rate(150.0) * (1800.0 - falls)) / 60.0;
    let told = found.dose_max.unwrap().get();
    assert!((told / dose - 1.0).abs() < 0.01, "{told} against {dose}");
    assert!((found.dose_sum.unwrap().get() - told).abs() < 1e-9 && found.standby == celsius(150.0));
    let restarts = found.restarts.unwrap();
    assert!((restarts.load_max - (mean - 140.0) * 30.0).abs() < 0.7 && restarts.n == 1, "{restarts:?}");
    assert_eq!(restarts.over_max, [Seconds::ZERO; 3], "its mean is under 180 °C");
    // Not seen to be heated ahead, it comes to its turn as cold as it waited.
    assert!((found.restart_deficit.unwrap().get() - 60.0).abs() < 0.1, "{found:?}");
}

/// Whatever the model thinks of the heater, what was measured stands where nothing else is asked.
#[test]
fn the_same_set_points_leave_a_run_to_the_last_bit() {
    let courses = [course(150.0, vec![wait(30.0, 157.0, 149.0, 1.3), wait(4.0, 183.0, 171.0, 0.7)])];
    let mut asked = situation(&courses, &[]);
    asked.held.standby = celsius(150.0);
    asked.times.heater.cooling_constant = Seconds::new(240.0);
    asked.times.heater.gain = CelsiusDelta::new(560.0);
    assert_eq!(InForce::of(&asked, None).run(&courses[0]).features, courses[0].features);
    assert_eq!(horizon(&asked, None), [courses[0].features]);
}

/// From 170 °C to 150 °C a wait of 30 min is some 19 K cooler on the mean, and a model whose time constants are a fifth
/// off says the same within a kelvin, wherever the wait was measured.
#[test]
fn an_error_of_the_model_drops_out() {
    let courses = [course(170.0, vec![wait(30.0, 176.0, 168.0, 5.0)])];
    let found = [160.0, 200.0, 240.0].map(|tau| {
        let mut asked = situation(&courses, &[]);
        asked.times.heater.cooling_constant = Seconds::new(tau);
        under(&standby(150.0), &courses[0], &asked).idle_mean.unwrap().get()
    });
    assert!(found.iter().all(|mean| (mean - 157.0).abs() < 1.0), "{found:?}");
}

/// Ends of 209 °C after a standby of 150 °C: it was heated ahead, and so it is from 130 °C.
#[test]
fn a_tool_that_is_heated_ahead_of_its_turn_still_is() {
    let courses = [course(150.0, vec![wait(30.0, 158.0, 209.0, 2.0)])];
    let asked = situation(&courses, &[]);
    let found = under(&standby(130.0), &courses[0], &asked);
    assert!((found.restart_deficit.unwrap().get() - 1.0).abs() < 0.2, "{found:?}");
    assert!((138.0..142.0).contains(&found.idle_mean.unwrap().get()), "{found:?}");
}

/// Told to wait at 150 °C it was never lowered, so its end at 210 °C does not say that it is heated ahead.
#[test]
fn what_was_never_lowered_does_not_tell_of_heating_ahead() {
    let courses = [course(150.0, vec![wait(30.0, 209.0, 210.0, 58.0)])];
    let found = under(&standby(130.0), &courses[0], &situation(&courses, &[]));
    assert!((found.restart_deficit.unwrap().get() - 20.0).abs() < 0.1, "{found:?}");
}

/// What one wait can't tell, the others do: none was cooled, but in the run before they were, and were heated ahead.
#[test]
fn what_was_never_cooled_is_heated_ahead_as_the_others_are() {
    let hot = course(210.0, vec![wait(30.0, 210.0, 210.0, 60.0)]);
    let alone = [hot.clone()];
    let deficit = |courses: &[Course]| {
        under(&standby(150.0), courses.last().unwrap(), &situation(courses, &[])).restart_deficit.unwrap().get()
    };
    assert!((deficit(&alone) - 60.0).abs() < 0.1);
    let both = [course(150.0, vec![wait(30.0, 158.0, 209.0, 2.0)]), hot];
    assert!(deficit(&both) < 2.0, "{}", deficit(&both));
}

/// In 20 s it cools by 17 K whether it would go on to 150 or to 100 °C.
#[test]
fn a_short_wait_hardly_changes() {
    let rate = dose_rate(&PLA, Celsius::new(201.0));
    let courses = [course(150.0, vec![wait(1.0 / 3.0, 201.0, 192.0, rate / 3.0)])];
    let found = under(&standby(100.0), &courses[0], &situation(&courses, &[]));
    let told = courses[0].features;
    assert!((found.dose_max.unwrap().get() / told.dose_max.unwrap().get() - 1.0).abs() < 1e-6, "{found:?}");
    let long = [course(150.0, vec![wait(30.0, 151.2, 150.0, 1.2)])];
    let less = under(&standby(100.0), &long[0], &situation(&long, &[])).dose_max.unwrap().get();
    assert!(less < 0.6, "{less}");
}

#[test]
fn a_tool_that_was_off_stays_as_it_was() {
    let courses = [course(150.0, vec![wait(60.0, 70.0, 30.0, 0.01)])];
    let found = under(&standby(170.0), &courses[0], &situation(&courses, &[]));
    assert_eq!(found, Features { standby: celsius(170.0), ..courses[0].features });
}

/// Its standby is not known, but it came to a mean of 157 °C: cooled to 150 °C or near, and 130 °C would be cooler.
#[test]
fn a_standby_that_nobody_told_is_read_off_the_wait() {
    let mut known = course(150.0, vec![wait(30.0, 151.2, 150.0, 1.2)]);
    let told = under(&standby(130.0), &known, &situation(&[], &[])).idle_mean.unwrap().get();
    known.features.standby = None;
    let found = under(&standby(130.0), &known, &situation(&[], &[])).idle_mean.unwrap().get();
    assert!((found - told).abs() < 0.5 && (found - 132.0).abs() < 1.5, "{found} against {told}");
}

/// A wait after its last turn is hot, too, and no restart.
#[test]
fn what_no_turn_ended_counts_as_waiting_and_not_as_a_restart() {
    let mut after = wait(60.0, 210.0, 210.0, 120.0);
    after.is_followed = false;
    let mut both = course(210.0, vec![wait(10.0, 210.0, 210.0, 20.0)]);
    both.waits.push(after);
    both.features.dose_sum = Some(DoseMinutes::new(140.0));
    both.features.dose_max = Some(DoseMinutes::new(120.0));
    let found = under(&standby(150.0), &both, &situation(&[], &[]));
    let restarts = found.restarts.unwrap();
    assert!(
        restarts.dose_sum.get() < 1.0 && (restarts.dose_sum - restarts.dose_max).get().abs() < 1e-9,
        "{restarts:?}"
    );
    assert!(found.dose_sum.unwrap().get() > restarts.dose_sum.get() + 1.0, "{found:?}");
}

/// A run is 90 min hot, 30 of them waiting at 200 °C and 60 working at 210 °C.
#[test]
fn parts_age_from_run_to_run_and_a_new_one_begins_at_nothing() {
    let courses = vec![course(200.0, vec![wait(30.0, 200.0, 200.0, 30.0)]); 3];
    let mut asked = situation(&courses, &[]);
    asked.held.standby = celsius(200.0);
    asked.ages =
        Ages { liner_hours: Some(300.0), liner_wear: Some(200.0), liner_cycles: Some(40.0), nozzle_hours: Some(10.0) };
    let hours = |change: Option<&Change>| {
        horizon(&asked, change).iter().map(|run| run.liner_hours.unwrap()).collect::<Vec<_>>()
    };
    assert_eq!(hours(None), [300.0, 301.5, 303.0]);
    let new = Change::Replace(PartKind::Liner);
    assert_eq!(hours(Some(&new)), [0.0, 1.5, 3.0]);
    let runs = horizon(&asked, Some(&new));
    let wear = runs[1].liner_wear.unwrap();
    assert!((wear - 0.5 * (-1.0_f64).exp() - (-0.5_f64).exp()).abs() < 1e-9, "{wear}");
    assert_eq!((runs[2].liner_cycles, runs[2].nozzle_hours), (Some(2.0), Some(13.0)));
}

/// An hour of work at 4 mm³/s leaves exp(-14400/7500) = 14.7 % of the melt that stuck before it.
#[test]
fn a_cleaned_nozzle_begins_without_stagnant_melt() {
    let courses = vec![course(210.0, vec![wait(30.0, 210.0, 210.0, 60.0)]); 2];
    let asked = situation(&courses, &[]);
    let found: Vec<f64> = horizon(&asked, Some(&Change::Clean)).iter().map(|run| run.stagnant.unwrap().get()).collect();
    let left = (-14_400.0_f64 / 7500.0).exp();
    assert!((found[0] - 40.0 * (1.0 - left)).abs() < 1e-9 && (found[1] - 40.0 * (1.0 - left * left)).abs() < 1e-9);
    assert_eq!(under(&Change::Clean, &courses[0], &asked).stagnant, Some(DoseMinutes::ZERO));
}

#[test]
fn plain_settings_change_themselves_alone() {
    let courses = [course(150.0, vec![wait(30.0, 157.0, 150.0, 1.3)])];
    let asked = situation(&courses, &[]);
    let told = courses[0].features;
    let dried = under(&Change::Dried(Step { from: None, to: true }), &courses[0], &asked);
    assert_eq!(dried, Features { dried: Some(true), ..told });
    let longer = Change::Retract(Step { from: None, to: Millimetres::new(2.0) });
    let found = under(&longer, &courses[0], &asked);
    assert_eq!(found, Features { retract: Some(Millimetres::new(2.0)), ooze: found.ooze, ..told });
}

/// Printed at 220 °C and not dropped before, it is not dropped after.
#[test]
fn a_hotter_print_waits_hotter_where_there_is_no_drop() {
    let courses = [course(210.0, vec![wait(30.0, 210.0, 210.0, 60.0)])];
    let mut asked = situation(&courses, &[]);
    asked.held.standby = celsius(210.0);
    let hotter = Change::PrintTemperature(Step { from: None, to: Celsius::new(220.0) });
    let found = under(&hotter, &courses[0], &asked);
    assert!((found.idle_mean.unwrap().get() - 220.0).abs() < 1e-6, "{found:?}");
    assert!((found.restart_deficit.unwrap().get()).abs() < 1e-6);
    asked.held.standby = celsius(150.0);
    let dropped = under(&hotter, &courses[0], &asked);
    assert!((dropped.idle_mean.unwrap().get() - 151.5).abs() < 1.0, "{dropped:?}");
}
