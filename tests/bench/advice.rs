//! What following the advice comes to in simulated worlds whose law is known: the table over many histories, beside the
//! same person without advice and one advised by somebody who knows the law. `cargo bench -p dwell-tests --bench advice`;
//! `DWELLWATCH_BIN` names another build to judge, `DWELLWATCH_SEEDS` how many histories a world, `DWELLWATCH_FROM` the
//! first seed, `DWELLWATCH_WORLDS` a part of the names of the worlds to judge.
#![expect(clippy::unwrap_used, clippy::print_stdout, reason = "a bench may stop, and prints what it measured")]

use dwell_tests::worlds::{Adviser, Closed, LoopTask, Rhythm, World, by_family, closed_loops, loop_table, program};
use std::collections::BTreeMap;
use std::env::var;

const AT_ONCE: usize = 2;

fn main() {
    // `cargo test` runs benches too, without the words that `cargo bench` gives.
    if !std::env::args().any(|word| word == "--bench") {
        return;
    }
    let number = |name: &str, otherwise: u64| var(name).map_or(otherwise, |text| text.parse().unwrap());
    let (seeds, from) = (number("DWELLWATCH_SEEDS", 2), number("DWELLWATCH_FROM", 1_000));
    let wanted = var("DWELLWATCH_WORLDS").unwrap_or_default();
    let worlds: Vec<World> = World::all().into_iter().filter(|world| world.name.contains(&wanted)).collect();
    let program = program(env!("CARGO_BIN_EXE_dwellwatch-under-test"));
    println!("{}: {} worlds, {seeds} histories each, from seed {from}", program.display(), worlds.len());
    let adviser = Adviser::Program(&program);
    let of_seed = |seed| {
        worlds.iter().map(move |world| {
            let rhythm = Rhythm::whole(world.family);
            LoopTask { world: *world, seed, adviser, rhythm }
        })
    };
    let tasks: Vec<LoopTask<'_>> = (from..from + seeds).flat_map(of_seed).collect();
    let closed = closed_loops(&tasks, AT_ONCE);
    closed.iter().for_each(line);
    println!("\n{}", loop_table(&by_family(&closed)));
}

/// What was taken, with how often: ids are stable while the advised value moves.
fn line(closed: &Closed) {
    let mut taken: BTreeMap<String, usize> = BTreeMap::new();
    for one in &closed.following.taken {
        *taken.entry(format!("{} ({})", one.id, one.basis)).or_default() += 1;
    }
    println!(
        "{:<40} {:>5} {:>3}+{} prints: {:.1} without, {:.1} following, {:.1} by the law; {taken:?} {:?}",
        closed.world,
        closed.seed,
        closed.learned_prints,
        closed.without.prints,
        closed.without.expected,
        closed.following.expected,
        closed.oracle.expected,
        closed.following.unknown
    );
}
