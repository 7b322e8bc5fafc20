//! Short visits on the rehearsal's plant: a real text is run by the simulated machine and heaters, polled once a second
//! without a word of the tool at work, and followed by what its own job file says. Against what the machine truly did.
#![expect(clippy::unwrap_used, reason = "a test may stop")]

use dwell_analysis::polymer::Material;
use dwell_analysis::time::Timestamp;
use dwell_analysis::units::Seconds;
use dwellwatch::entry::{HotEnd, JobFileFrom, JobState, Settings};
use dwellwatch::jobfile::{JobOutline, Machine, MotionLimits, Outliner};
use dwellwatch::rehearsal::plant::STEP_S;
use dwellwatch::rehearsal::rig::Rig;
use dwellwatch::tracker::{Effect, ToolSource, Tracker};
use rand::{RngExt, SeedableRng};
use rand_chacha::ChaCha8Rng;
use std::fmt::Write;
use std::sync::Arc;

const POLL: Seconds = Seconds::new(1.0);

const VISITS: usize = 80;

/// A change: when it was, from which tool to which.
type Change = (f64, usize, usize);

/// Visits of 2 to 5 s, each of short moves at 20 mm/s there and back.
fn text(seed: u64) -> String {
    let mut rng = ChaCha8Rng::seed_from_u64(seed);
    let mut text = "G21\nG90\nM83\nM104 S210 T0\nM104 S210 T1\nG1 F1200\n".to_owned();
    let mut x = 0.0;
    for visit in 0..VISITS {
        writeln!(text, "T{}", visit % 2).unwrap();
        let mut left: f64 = rng.random_range(2.05..4.95);
        while left > 0.0 {
            let lasts = left.min(rng.random_range(0.1..0.6));
            // From rest to rest at 1500 mm/s2, 20/1500 s go to the ramps.
            let length = (lasts - 20.0 / 1500.0).max(0.01) * 20.0;
            x = if x > 100.0 { x - length } else { x + length };
            writeln!(text, "G1 X{x:.3} E{:.4}", length * 0.033).unwrap();
            left -= lasts;
        }
    }
    text
}

fn outline(text: &str) -> JobOutline {
    // The simulated machine comes to rest after each move.
    let limits = MotionLimits { corner: 0.0, ..MotionLimits::default() };
    let mut outliner = Outliner::new(Machine { limits, ..Machine::default() });
    outliner.feed(text.as_bytes());
    outliner.finish()
}

/// What was, what was found, and the idle time of each wait that ended before the print did, in order of beginning.
struct Seen {
    real: Vec<Change>,
    found: Vec<Change>,
    waited: Vec<(usize, f64)>,
    /// The last poll that saw it print.
    last_printing: f64,
}

fn watch(text: &str, outline: &JobOutline, host_tells: bool, every: f64) -> Seen {
    let mut rig = Rig::new(HotEnd::Separate, [Material::Pla, Material::Pla], 7);
    rig.settle([209.5; 2], 59.5);
    rig.begin(Arc::from("lantern.gcode"), Arc::from(text));
    let mut tracker = Tracker::new(HotEnd::Separate, vec![Settings::default(); 2]);
    let (mut seen, mut tool, mut next) =
        (Seen { real: Vec::new(), found: Vec::new(), waited: Vec::new(), last_printing: 0.0 }, None, 0.0);
    let mut steps = 0_u32;
    let origin = Timestamp::from_ms(1_772_438_400_000);
    while steps < 7200 {
        rig.step();
        steps += 1;
        let at = origin + Seconds::new(f64::from(steps) * STEP_S);
        let mut reading = rig.reading(at);
        if reading.job.state == JobState::Printing {
            let now = reading.active_tool.unwrap();
            if let Some(before) = tool.replace(now).filter(|before| *before != now) {
                seen.real.push(((at - origin).get(), before, now));
            }
        }
        let is_over = reading.job.state == JobState::Completed;
        if (at - origin).get() < next && !is_over {
            continue;
        }
        next = (at - origin).get() + every;
        if reading.job.state == JobState::Printing {
            seen.last_printing = (at - origin).get();
        }
        if !host_tells {
            reading.active_tool = None;
        }
        for effect in tracker.read(reading) {
            match effect {
                Effect::PrintStarted { started, .. } => {
                    let file = outline.job_file(started, Arc::from("lantern.gcode"), started, JobFileFrom::Host);
                    tracker.plan(&file.unwrap().rounded());
                }
                Effect::ToolChanged { at, from, to, source, .. } => {
                    assert!(host_tells || source == ToolSource::JobFile);
                    seen.found.push(((at - origin).get(), from.idx(), to.idx()));
                }
                Effect::SpanEnded { tool, measure, .. } => seen.waited.push((tool.idx(), measure.idle.get())),
                _ => {}
            }
        }
        if is_over {
            break;
        }
    }
    seen
}

#[test]
fn every_change_of_a_plant_with_short_visits_is_found_within_a_poll_and_none_is_made_up() {
    for seed in 0..6 {
        let text = text(seed);
        let outline = outline(&text);
        let lengths = outline.visits.iter().map(|visit| (visit.ended - visit.began).get());
        let short = lengths.filter(|length| (2.0..=5.0).contains(length)).count();
        assert_eq!(short, VISITS);
        let seen = watch(&text, &outline, false, POLL.get());
        assert_eq!(seen.real.len(), VISITS - 1, "seed {seed}");
        assert_eq!(seen.found.len(), VISITS - 1, "seed {seed}: {:?} against {:?}", seen.found, seen.real);
        for (found, real) in seen.found.iter().zip(&seen.real) {
            assert_eq!((found.1, found.2), (real.1, real.2), "seed {seed}");
            // The machine's own step adds to the poll: the truth is known to that.
            assert!((found.0 - real.0).abs() <= POLL.get() + STEP_S, "seed {seed}: {found:?} against {real:?}");
        }
        // What a tool waited, polled, is what the file's timeline has, to a poll at each end.
        let expected = outline.waits.iter().filter(|wait| wait.is_followed).count();
        assert!((76..=79).contains(&expected), "{expected}");
        let mut worst = 0.0_f64;
        for number in 0..2 {
            let file: Vec<f64> = outline
                .waits
                .iter()
                .filter(|wait| wait.is_followed && wait.tool.idx() == number)
                .map(|wait| wait.measure.idle.get())
                .collect();
            let polled: Vec<f64> =
                seen.waited.iter().filter(|(tool, _)| *tool == number).map(|(_, idle)| *idle).collect();
            // The first wait of T1 begins before the print does, and the last ones after their last visit.
            let skip = polled.len() - file.len();
            for (file, polled) in file.iter().zip(&polled[skip.min(1)..]) {
                worst = worst.max((file - polled).abs());
            }
        }
        assert!(worst <= 2.0 * (POLL.get() + STEP_S), "seed {seed}: a wait is off by {worst} s");
    }
}

/// A host that tells its tool, but is asked every five seconds, hides most of the visits; the file tells them.
#[test]
fn visits_between_two_polls_are_found_by_the_file_though_the_host_tells_its_tool() {
    for seed in 0..6 {
        let text = text(seed);
        let outline = outline(&text);
        let mut seen = watch(&text, &outline, true, 5.0);
        assert_eq!(seen.real.len(), VISITS - 1, "seed {seed}");
        // What comes after the last poll that saw it print has no place between two of them.
        seen.real.retain(|(at, _, _)| *at <= seen.last_printing);
        assert!(seen.real.len() > VISITS - 4);
        assert_eq!(seen.found.len(), seen.real.len(), "seed {seed}: {:?} against {:?}", seen.found, seen.real);
        for (found, real) in seen.found.iter().zip(&seen.real) {
            assert_eq!((found.1, found.2), (real.1, real.2), "seed {seed}");
            assert!((found.0 - real.0).abs() <= 5.0 + STEP_S, "seed {seed}: {found:?} against {real:?}");
        }
    }
}
