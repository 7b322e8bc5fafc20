//! What following the advice comes to: in simulated worlds whose law is known, a person who has recorded for eight weeks
//! follows the program for twelve. `cargo bench -p dwell-tests --bench advice` has it over more histories.
#![expect(clippy::print_stdout, reason = "a test may print what it measured")]

use dwell_tests::worlds::{
    Adviser, Closed, Family, Figures, LoopTask, Rhythm, World, by_family, closed_loops, loop_table, program,
};
use serde_json::{Value, json};
use std::sync::OnceLock;

const CAUSES: [Family; 4] = [Family::IdleHeat, Family::LongRetraction, Family::ShortRetraction, Family::Liner];
/// Failures following the advice, of those without it, at most.
const RATIO: f64 = 0.45;
/// Of what somebody gains who knows the law, what is gained at least.
const SHARE: f64 = 0.75;
/// More failures following than without, this unlikely by chance, are harm.
const BY_CHANCE: f64 = 0.05;
const FROM_SEED: u64 = 1;
/// What nobody should advise in worlds where long retraction or hot waiting brings failures.
const NONSENSE: [(&str, f64); 2] = [("retract_mm", 7.0), ("standby_c", 205.0)];
/// What nobody sensible would try anywhere: no standby heat at all, though the tool is at work again in seconds.
const COLD: [(&str, f64); 1] = [("standby_c", 0.0)];

/// Whether to be done in minutes: then none of this is.
fn is_quick() -> bool {
    let is_quick = std::env::var("DWELLWATCH_TESTS").is_ok_and(|tests| tests == "quick");
    if is_quick {
        println!("left out: DWELLWATCH_TESTS=quick has no closed loop");
    }
    is_quick
}

/// The answer of somebody who always says this of both tools.
fn answer(settings: &[(&str, f64)]) -> String {
    let nothing = json!({"mean": 0.0, "low": 0.0, "high": 0.0});
    let of_tool = |tool: usize| {
        let one = |(setting, to): &(&str, f64)| {
            json!({"id": format!("bench-t{tool}-any-{setting}"), "printer": "bench", "tool": tool, "modes": [],
                "setting": setting, "from": null, "to": to, "risk_now": nothing, "risk_after": nothing, "sure": 0.9,
                "minutes_per_print": nothing, "basis": "common_practice", "why": "It is not."})
        };
        settings.iter().map(one).collect::<Vec<_>>()
    };
    Value::Array((0..2).flat_map(of_tool).collect()).to_string()
}

/// Two at a time: the fewest processors that the tests are run on.
fn closed(worlds: impl Iterator<Item = World>, adviser: Adviser<'_>, rhythm: fn(Family) -> Rhythm) -> Vec<Closed> {
    let one = |world: World| LoopTask { world, seed: FROM_SEED, adviser, rhythm: rhythm(world.family) };
    let closed = closed_loops(&worlds.map(one).collect::<Vec<_>>(), 2);
    println!("{}", loop_table(&by_family(&closed)));
    closed
}

/// Each answer learns the whole record anew: asked once a month, and of liners for fewer weeks.
fn seldom(family: Family) -> Rhythm {
    if family == Family::Liner {
        Rhythm { weeks: 2.0, asks_a_week: 2.0 }
    } else {
        Rhythm { weeks: 12.0, asks_a_week: 0.25 }
    }
}

fn of_family(family: Family) -> impl Iterator<Item = World> {
    World::all().into_iter().filter(move |world| world.family == family)
}

/// The first world of each family, advised by the program; once for all tests.
fn advised() -> &'static [Closed] {
    static ADVISED: OnceLock<Vec<Closed>> = OnceLock::new();
    ADVISED.get_or_init(|| {
        let program = program(env!("CARGO_BIN_EXE_dwellwatch-under-test"));
        let judged = CAUSES.into_iter().chain([Family::Nothing]).filter_map(|family| of_family(family).next());
        closed(judged, Adviser::Program(&program), seldom)
    })
}

fn figures(name: &str, closed: &[Closed], families: &[Family]) -> Figures {
    Figures::of(name, closed.iter().filter(|one| families.contains(&one.family)))
}

fn misses(figures: &Figures) -> bool {
    figures.ratio() > RATIO || figures.share().is_none_or(|share| share < SHARE)
}

#[test]
fn following_the_advice_leaves_less_than_half_of_the_failures_and_gains_most_of_what_there_is() {
    if is_quick() {
        return;
    }
    let causes = figures("all causes", advised(), &CAUSES);
    assert!(causes.n > 3 && !misses(&causes), "{}", loop_table(&[causes]));
}

#[test]
fn where_nothing_helps_following_the_advice_does_no_harm_and_none_is_called_learned() {
    if is_quick() {
        return;
    }
    let nothing = figures("nothing", advised(), &[Family::Nothing]);
    assert!(nothing.n > 0 && nothing.harm_by_chance() >= BY_CHANCE, "{}", loop_table(&[nothing]));
    // What rests on the record is claimed to have been learned, and there is nothing to learn.
    assert!(nothing.with_learned == 0, "{}", loop_table(&[nothing]));
}

#[test]
fn nothing_that_is_advised_is_beyond_the_person() {
    if is_quick() {
        return;
    }
    for one in advised() {
        assert!(one.following.unknown.is_empty(), "{}: {:?}", one.world, one.following.unknown);
    }
}

#[test]
fn whoever_knows_the_law_and_answers_as_the_program_would_gains_all_there_is() {
    if is_quick() {
        return;
    }
    let closed = closed(World::all().into_iter(), Adviser::Law, Rhythm::whole);
    for family in CAUSES {
        let figures = figures("law", &closed, &[family]);
        let all = (figures.share().unwrap_or(0.0) - 1.0).abs() < 1e-12;
        assert!(all && !misses(&figures), "{}", loop_table(&[figures]));
    }
    let nothing = figures("nothing", &closed, &[Family::Nothing]);
    assert!(nothing.discordant == (0, 0), "{}", loop_table(&[nothing]));
}

#[test]
fn nonsense_misses_what_is_held_to_and_silence_gains_nothing() {
    if is_quick() {
        return;
    }
    let worlds = of_family(Family::LongRetraction).chain(of_family(Family::IdleHeat));
    let nonsense = closed(worlds, Adviser::Always(&answer(&NONSENSE)), Rhythm::whole);
    for family in [Family::LongRetraction, Family::IdleHeat] {
        let figures = figures("nonsense", &nonsense, &[family]);
        assert!(misses(&figures) && figures.ratio() > 1.0, "{}", loop_table(&[figures]));
    }
    for one in closed(World::all().into_iter(), Adviser::Nobody, Rhythm::whole) {
        assert_eq!(one.following.failures, one.without.failures, "{}", one.world);
    }
}

#[test]
fn advice_beyond_what_is_sensible_shows_as_harm_where_nothing_helps() {
    if is_quick() {
        return;
    }
    let closed = closed(of_family(Family::Nothing).take(1), Adviser::Always(&answer(&COLD)), Rhythm::whole);
    let nothing = figures("nothing", &closed, &[Family::Nothing]);
    assert!(nothing.harm_by_chance() < BY_CHANCE, "{}", loop_table(&[nothing]));
}
