//! What the heaters' alarms are worth, over the simulated printers: how soon each planted fault is found and by which
//! rule, how many alarms of any rule a thousand hours bring in which no heater fails, and what watching for them costs a
//! reading. An alarm counts as false if the reading that raised it does not show what it says by itself: tools that wait hot
//! and heaters that are on without a job are what the simulated people leave behind.
//! `cargo bench -p dwell-tests --bench alarms`.
#![expect(clippy::unwrap_used, clippy::print_stdout, reason = "a bench may stop, and prints what it measured")]

use dwell_tests::heaters::{LEARNED, Planted, Raised, SHOWN, Scene, Watched, story};
use dwellwatch::alarm::{Concern, Ledger, Rule};
use dwellwatch::entry::{Entry, HotEnd, Reading, Settings};
use dwellwatch::rehearsal::Story;
use dwellwatch::tracker::{Effect, ToolNow, Tracker};
use std::collections::BTreeMap;
use std::hint::black_box;
use std::sync::Arc;
use std::thread;
use std::time::{Duration, Instant};

/// Seeds of the quiet hours: each watches eight scenes and two stories.
const SEEDS: u64 = 5;
/// Hours of each scene.
const HOURS: f64 = 48.0;
/// How often each fault is planted, at instants that lie this far apart, hours.
const TIMES: u32 = 6;
const APART_H: f64 = 0.29;

fn main() {
    // `cargo test` runs benches too, without the words that `cargo bench` gives.
    if !std::env::args().any(|word| word == "--bench") {
        return;
    }
    cost();
    println!("faults that show in temperatures, from the first hour on:");
    delays(SHOWN, 0.3);
    println!("faults that show beside what was learned in six hours:");
    delays(LEARNED, 6.0);
    quiet();
}

fn delays(planted: &[Planted], first_h: f64) {
    let lines = thread::scope(|scope| {
        let runs: Vec<_> = planted.iter().map(|planted| scope.spawn(move || delay(planted, first_h))).collect();
        runs.into_iter().map(|run| run.join().unwrap()).collect::<Vec<_>>()
    });
    for line in lines {
        println!("  {line}");
    }
}

fn delay((seat, fault, rules, _): &Planted, first_h: f64) -> String {
    let mut found: BTreeMap<&str, Vec<f64>> = BTreeMap::new();
    let mut n_missed = 0;
    for nth in 0..TIMES {
        let mut watched = Watched::new(Scene::usual(u64::from(20 + nth)));
        watched.watch(first_h + APART_H * f64::from(nth));
        match watched.until((*seat, *fault), rules, 24.0).last().filter(|last| rules.contains(&last.rule)) {
            Some(last) => found.entry(last.rule.word()).or_default().push(last.after_s),
            None => n_missed += 1,
        }
    }
    let told: Vec<String> = found.iter_mut().map(|(rule, delays)| told(rule, delays)).collect();
    format!("{seat:?} {fault:?}: {}; missed {n_missed} of {TIMES}", told.join("; "))
}

fn told(rule: &str, delays: &mut [f64]) -> String {
    delays.sort_by(f64::total_cmp);
    let (median, longest) = (delays[delays.len() / 2], delays[delays.len() - 1]);
    format!("{rule} {} times, median {median:.0} s, longest {longest:.0} s", delays.len())
}

fn quiet() {
    let (mut hours, mut raised) = (0.0, Vec::<Raised>::new());
    for seed in 100..100 + SEEDS {
        let of_seed = thread::scope(|scope| {
            let scenes = Scene::all(seed).into_iter();
            let scenes = scenes.map(|scene| scope.spawn(move || (HOURS, Watched::new(scene).watch(HOURS))));
            let stories = [false, true].map(|is_measured| scope.spawn(move || story(seed, is_measured)));
            let runs: Vec<_> = scenes.chain(stories).collect();
            runs.into_iter().map(|run| run.join().unwrap()).collect::<Vec<_>>()
        });
        for (of_run, alarms) in of_seed {
            hours += of_run;
            for alarm in alarms.iter().filter(|alarm| !alarm.is_so) {
                println!("  false, seed {seed}: {}: {}", alarm.rule.word(), alarm.cause);
            }
            raised.extend(alarms);
        }
        let n = raised.iter().filter(|raised| !raised.is_so).count();
        println!("  {n} false alarms in {hours:.0} quiet hours so far");
    }
    println!(
        "alarms of {hours:.0} hours in which no heater fails, and in a thousand hours; false is what the printer is not:"
    );
    let line = |word: &str, which: &dyn Fn(&Raised) -> bool| {
        let count = |is_so| raised.iter().filter(|raised| raised.is_so == is_so && which(raised)).count();
        let (is_so, is_false) = (count(true), count(false));
        let [is_so_h, is_false_h] = [is_so, is_false].map(|n| 1000.0 * per(n, hours));
        println!("  {word}: {is_false} false, {is_false_h:.2}; {is_so} of what the printer did, {is_so_h:.2}");
    };
    // The rest are no reading's.
    let others = [Rule::HostRefuses, Rule::PartDue, Rule::OutcomeMissing];
    for rule in Rule::ALL.into_iter().filter(|rule| rule.concern() != Concern::Record && !others.contains(rule)) {
        line(rule.word(), &|raised| raised.rule == rule);
    }
    line("all", &|_| true);
}

fn per(n: usize, hours: f64) -> f64 {
    f64::from(u32::try_from(n).unwrap_or(u32::MAX)) / hours
}

/// The ledger over the readings of a story, with its heaters and, for what it costs without their rules, with none told;
/// and the tracker over the same. The quickest of several rounds each, in turn.
fn cost() {
    let readings: Vec<Reading> = Story::new(7).entries().into_iter().filter_map(reading).collect();
    let mut tracker = Tracker::new(HotEnd::Separate, vec![Settings::default(); 2]);
    let samples: Vec<(Reading, Vec<ToolNow>)> =
        readings.iter().flat_map(|reading| tracker.read(reading.clone())).filter_map(sample).collect();
    let bare: Vec<_> = samples.iter().map(|(reading, tools)| (without_heaters(reading), tools.clone())).collect();
    let (mut with, mut without, mut alone) = (Duration::MAX, Duration::MAX, Duration::MAX);
    for _ in 0..7 {
        with = with.min(weighed(&samples));
        without = without.min(weighed(&bare));
        let began = Instant::now();
        let mut tracker = Tracker::new(HotEnd::Separate, vec![Settings::default(); 2]);
        for reading in &readings {
            drop(black_box(tracker.read(reading.clone())));
        }
        alone = alone.min(began.elapsed());
    }
    let ratio = |one: Duration, other: Duration| one.as_secs_f64() / other.as_secs_f64();
    println!("cost of a reading, as ratios in this run over {} readings:", samples.len());
    println!("  ledger with the heaters' rules to ledger without: {:.2}", ratio(with, without));
    println!("  tracker and ledger to tracker and ledger without: {:.2}", ratio(alone + with, alone + without));
}

fn weighed(samples: &[(Reading, Vec<ToolNow>)]) -> Duration {
    let began = Instant::now();
    let settings = [Settings::default(), Settings::default()];
    let mut ledger = Ledger::new(HotEnd::Separate, Arc::default(), Arc::default());
    for (reading, tools) in samples {
        black_box(ledger.weigh(reading, false, tools, settings.iter()));
    }
    began.elapsed()
}

fn reading(entry: Entry) -> Option<Reading> {
    if let Entry::Reading(reading) = entry { Some(reading) } else { None }
}

fn sample(effect: Effect) -> Option<(Reading, Vec<ToolNow>)> {
    if let Effect::Sample { reading, tools } = effect { Some((reading, tools)) } else { None }
}

fn without_heaters(reading: &Reading) -> Reading {
    Reading { tools: Vec::new(), bed: None, ..reading.clone() }
}
