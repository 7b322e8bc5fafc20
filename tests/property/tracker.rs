//! The tracker against a naive model: whatever the readings, silences and clock jumps, a tool's turns never overlap,
//! and a print's time is the sum of its tools' work, waiting, cold, unknown and silent time.
//!
//! The model knows no state machine: it looks at each pair of neighbouring readings alone and asks what the earlier
//! one said.
#![expect(clippy::unwrap_used, reason = "a test may stop")]

use dwell_analysis::time::Timestamp;
use dwellwatch::entry::{CentiCelsius, Heater, HotEnd, Job, JobState, Reading, Settings};
use dwellwatch::tracker::{Context, Effect, SILENCE_MAX, Tracker};
use proptest::prelude::*;
use std::collections::BTreeMap;

const HOT: f64 = 200.0;
const COLD: f64 = 25.0;

fn heater(hot: bool) -> Heater {
    let degrees = if hot { HOT } else { COLD };
    Heater {
        actual: CentiCelsius::nearest(degrees),
        target: CentiCelsius::nearest(0.0),
        duty_thousandths: None,
        fan_thousandths: None,
    }
}

/// One poll: milliseconds since the one before (below zero when the clock was set back), and what it says.
fn poll() -> impl Strategy<Value = (i64, bool, JobState, Option<usize>, bool, bool)> {
    let step = prop_oneof![
        20 => 200_i64..6_000,
        2 => 15_000_i64..25_000,
        1 => 25_000_i64..100_000_000,
        1 => -5_000_i64..1,
    ];
    let state = prop_oneof![
        12 => Just(JobState::Printing),
        2 => Just(JobState::Paused),
        2 => Just(JobState::Heating),
        1 => Just(JobState::None),
        1 => Just(JobState::Completed),
        1 => Just(JobState::Cancelled),
        1 => Just(JobState::Failed),
    ];
    let tool = prop_oneof![10 => (0_usize..2).prop_map(Some), 1 => Just(None), 1 => Just(Some(2))];
    (step, prop::bool::weighted(0.02), state, tool, prop::bool::weighted(0.8), prop::bool::weighted(0.8))
}

fn readings() -> impl Strategy<Value = Vec<Reading>> {
    prop::collection::vec(poll(), 1..120).prop_map(|polls| {
        let mut at = 1_700_000_000_000_i64;
        let mut readings = Vec::new();
        for (step, after_gap, state, active_tool, first_hot, second_hot) in polls {
            at += step;
            readings.push(Reading {
                at: Timestamp::from_ms(at),
                after_gap,
                job: Job { state, name: None, fraction_millionths: None, byte: None },
                active_tool,
                tools: vec![heater(first_hot), heater(second_hot)],
                bed: None,
            });
        }
        readings
    })
}

#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
enum Kind {
    Work,
    Idle,
    Paused,
    NoPrint,
    Silent,
}

/// Milliseconds by (print start, tool, kind); a print start of `None` is outside any print.
type Times = BTreeMap<(Option<i64>, usize, Kind), i64>;

/// What the model makes of one history: the times, and each print's start and end.
fn model(readings: &[Reading]) -> (Times, Vec<(i64, i64)>) {
    let silence_max = ms(SILENCE_MAX.get());
    let (mut times, mut prints) = (Times::new(), Vec::new());
    let mut last: Option<&Reading> = None;
    let mut print: Option<i64> = None;
    let mut told: Option<(usize, i64)> = None;
    for reading in readings {
        let at = reading.at.as_ms();
        let stale = last.is_some_and(|last| at <= last.at.as_ms());
        if stale || reading.active_tool.is_some_and(|tool| tool > 1) {
            continue;
        }
        let silent = last.is_some_and(|last| reading.after_gap || at - last.at.as_ms() > silence_max);
        if let Some(before) = last {
            let lasted = at - before.at.as_ms();
            for tool in 0..2 {
                let kind = if silent { Some(Kind::Silent) } else { kind_of(before, tool, print, told) };
                if let Some(kind) = kind {
                    *times.entry((print, tool, kind)).or_default() += lasted;
                }
            }
        }
        if let Some(started) = print {
            let end = match reading.job.state {
                JobState::Printing | JobState::Heating | JobState::Paused => None,
                JobState::None if silent => last.map(|last| last.at.as_ms()),
                JobState::None | JobState::Completed | JobState::Cancelled | JobState::Failed => Some(at),
            };
            if let Some(end) = end {
                if end < at {
                    for tool in 0..2 {
                        *times.entry((print, tool, Kind::Silent)).or_default() -= at - end;
                    }
                }
                prints.push((started, end));
                print = None;
                told = None;
            }
        } else if reading.job.state == JobState::Printing {
            print = Some(at);
            told = None;
        }
        if print.is_some() && reading.job.state != JobState::Paused {
            told = match reading.active_tool {
                Some(tool) => Some((tool, at)),
                // Across silence nothing is carried over.
                None if silent => None,
                None => told,
            };
        }
        last = Some(reading);
    }
    times.retain(|(print, _, kind), lasted| *lasted != 0 && (print.is_some() || *kind != Kind::Silent));
    times.retain(|(print, _, _), _| print.is_none_or(|print| prints.iter().any(|(started, _)| *started == print)));
    (times, prints)
}

fn kind_of(before: &Reading, tool: usize, print: Option<i64>, told: Option<(usize, i64)>) -> Option<Kind> {
    let hot = before.tools[tool].actual == CentiCelsius::nearest(HOT);
    if print.is_none() {
        return hot.then_some(Kind::NoPrint);
    }
    if before.job.state == JobState::Paused {
        return hot.then_some(Kind::Paused);
    }
    match (before.active_tool, told) {
        (Some(active), _) if active == tool => Some(Kind::Work),
        (Some(_), _) if hot => Some(Kind::Idle),
        // Without a tool's number nothing is known of this stretch: neither work nor waiting.
        (Some(_) | None, _) => None,
    }
}

/// The same sums, from what the tracker said.
fn tracked(effects: &[Effect]) -> (Times, Vec<(i64, i64)>) {
    let (mut times, mut prints) = (Times::new(), Vec::new());
    let mut gaps = Vec::new();
    let mut visit_prints = BTreeMap::new();
    let mut span_contexts = BTreeMap::new();
    for effect in effects {
        match effect {
            Effect::PrintEnded { started, at, .. } => prints.push((started.as_ms(), at.as_ms())),
            Effect::ContactRegained { since, at } => gaps.push((since.as_ms(), at.as_ms())),
            Effect::VisitBegan { started, tool, began } => {
                visit_prints.insert((tool.idx(), began.as_ms()), started.as_ms());
            }
            Effect::VisitEnded { tool, began, ended, gap, .. } => {
                let print = visit_prints[&(tool.idx(), began.as_ms())];
                let worked = ended.as_ms() - began.as_ms() - ms(gap.get());
                *times.entry((Some(print), tool.idx(), Kind::Work)).or_default() += worked;
            }
            Effect::SpanBegan { tool, began, context, print, .. } => {
                span_contexts.insert((tool.idx(), began.as_ms()), (*context, print.map(Timestamp::as_ms)));
            }
            Effect::SpanEnded { tool, began, measure, .. } => {
                let (context, print) = span_contexts[&(tool.idx(), began.as_ms())];
                let kind = match context {
                    Context::InPrint => Kind::Idle,
                    Context::Paused => Kind::Paused,
                    Context::NoPrint => Kind::NoPrint,
                };
                *times.entry((print, tool.idx(), kind)).or_default() += ms(measure.idle.get());
            }
            _ => {}
        }
    }
    for (since, at) in gaps {
        if let Some((started, _)) = prints.iter().find(|(started, ended)| *started <= since && at <= *ended) {
            for tool in 0..2 {
                *times.entry((Some(*started), tool, Kind::Silent)).or_default() += at - since;
            }
        }
    }
    times.retain(|(print, _, _), lasted| {
        *lasted != 0 && print.is_none_or(|print| prints.iter().any(|(started, _)| *started == print))
    });
    (times, prints)
}

#[expect(clippy::as_conversions, clippy::cast_possible_truncation, reason = "test durations are far below 2^53 ms")]
fn ms(seconds: f64) -> i64 {
    (seconds * 1000.0).round() as i64
}

fn follow(readings: &[Reading]) -> Vec<Effect> {
    let mut tracker = Tracker::new(HotEnd::Separate, vec![Settings::default(); 2]);
    readings.iter().flat_map(|reading| tracker.read(reading.clone())).collect()
}

/// A last reading long after: it ends whatever is open, without adding to it.
fn closed(mut readings: Vec<Reading>) -> Vec<Reading> {
    let mut last = readings.iter().max_by_key(|reading| reading.at).unwrap().clone();
    last.at = Timestamp::from_ms(last.at.as_ms() + 1_000_000);
    last.after_gap = true;
    last.active_tool = Some(0);
    last.job.state = JobState::None;
    last.tools = vec![heater(false), heater(false)];
    readings.push(last);
    readings
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(600))]

    #[test]
    fn every_second_of_a_print_is_booked_as_the_naive_model_books_it(history in readings()) {
        let history = closed(history);
        let (expected, expected_prints) = model(&history);
        let (found, found_prints) = tracked(&follow(&history));
        prop_assert_eq!(&found_prints, &expected_prints);
        prop_assert_eq!(&found, &expected);
        for (started, ended) in found_prints {
            for tool in 0..2 {
                let booked: i64 = found.iter().filter(|((print, of, _), _)| *print == Some(started) && *of == tool)
                    .map(|(_, lasted)| lasted).sum();
                prop_assert!(booked <= ended - started, "{booked} ms booked in {} ms", ended - started);
            }
        }
    }

    #[test]
    fn a_tools_turns_never_overlap(history in readings()) {
        for tool in 0..2 {
            let mut busy_until = i64::MIN;
            for effect in follow(&history) {
                let turn = match effect {
                    Effect::VisitEnded { tool: of, began, ended, .. } if of.idx() == tool => Some((began, ended)),
                    Effect::SpanEnded { tool: of, began, ended, .. } if of.idx() == tool => Some((began, ended)),
                    _ => None,
                };
                if let Some((began, ended)) = turn {
                    prop_assert!(began <= ended);
                    prop_assert!(began.as_ms() >= busy_until);
                    busy_until = ended.as_ms();
                }
            }
        }
    }
}
