//! How well causes are found in simulated worlds whose truth is known, and what is made of worlds where there is nothing
//! to find: the table over many histories. `cargo bench -p dwell-tests --bench worlds`; `DWELLWATCH_BIN` names another
//! build to judge, `DWELLWATCH_SEEDS` how many histories a world, `DWELLWATCH_FROM` the first seed,
//! `DWELLWATCH_WORLDS` a part of the names of the worlds to judge.
#![expect(clippy::unwrap_used, clippy::print_stdout, reason = "a bench may stop, and prints what it measured")]

use dwell_tests::worlds::{Placebo, Task, Verdict, World, program, summaries, table, verdicts};
use std::env::var;

const AT_ONCE: usize = 2;

fn main() {
    // `cargo test` runs benches too, without the words that `cargo bench` gives.
    if !std::env::args().any(|word| word == "--bench") {
        return;
    }
    let number = |name: &str, otherwise: u64| var(name).map_or(otherwise, |text| text.parse().unwrap());
    let (seeds, from) = (number("DWELLWATCH_SEEDS", 20), number("DWELLWATCH_FROM", 1_000));
    let wanted = var("DWELLWATCH_WORLDS").unwrap_or_default();
    let worlds: Vec<World> = World::all().into_iter().filter(|world| world.name.contains(&wanted)).collect();
    let program = program(env!("CARGO_BIN_EXE_dwellwatch-under-test"));
    println!("{}: {} worlds, {seeds} histories each, from seed {from}", program.display(), worlds.len());
    for (title, placebo) in [
        ("as it was", None),
        ("outcomes shuffled", Some(Placebo::Shuffled)),
        ("outcomes shifted by seven prints, where that leaves nothing", Some(Placebo::Shifted)),
    ] {
        let fits = |world: &&World| placebo != Some(Placebo::Shifted) || world.is_memoryless();
        let fitting: Vec<World> = worlds.iter().filter(fits).copied().collect();
        let of_seed = |seed| fitting.iter().map(move |world| Task { world: *world, seed, placebo });
        let tasks: Vec<Task> = (from..from + seeds).flat_map(of_seed).collect();
        let found = verdicts(&program, &tasks, AT_ONCE);
        println!("\n{title}");
        found.iter().for_each(line);
        println!("{}", table(&summaries(&found)));
    }
}

fn line(verdict: &Verdict) {
    println!(
        "{:<40} {:>5} {:>6} readings {:>3} events {:<10} {:?} {:?} ratio {:.2} late {:.2} learned {:?}",
        verdict.world,
        verdict.seed,
        verdict.readings,
        verdict.score.events,
        verdict.state,
        verdict.first,
        verdict.groups,
        verdict.score.ratio().unwrap_or(f64::NAN),
        verdict.late.ratio().unwrap_or(f64::NAN),
        verdict.learned
    );
}
