//! Verdicts as figures a world, and the table that people read.

use super::catalogue::{Family, World};
use super::judge::{First, Verdict};
use dwell_analysis::estimate::count;
use std::fmt::Write as _;

/// What came of some histories.
#[derive(Clone, Debug)]
pub struct Summary {
    /// A world's name, or a family's.
    pub name: String,
    /// Histories judged.
    pub n: usize,
    /// Those with enough events.
    pub counted: usize,
    /// Of those, the true group ranked first alone.
    pub right: usize,
    /// Of those, together with one other.
    pub shared: usize,
    /// `learned` in the world's mode.
    pub learned: usize,
    /// `learned` in any other mode, of all histories.
    pub learned_else: usize,
    /// Of what can be known, what is known: the median.
    pub ratio: Option<f64>,
    /// The same without the first prints.
    pub late: Option<f64>,
    /// Noted failures of the world's mode, and those that the truth expected.
    pub events: (usize, f64),
    /// Failed tool-runs, least and most.
    pub failed: (f64, f64),
    /// What whoever knew the law's form would have got: the median, of all lines and without the first prints.
    pub to_be_had: [Option<f64>; 2],
    /// Log loss of the running rate less that of the program, a line, without the first prints, over all histories.
    pub gain: f64,
    /// The most of it that a history has, summed over its lines: the logarithm of how many times better the program's
    /// probabilities were than the running rate.
    pub most: f64,
}

impl Summary {
    /// Right or shared, of those that count.
    #[must_use]
    pub fn first_share(&self) -> f64 {
        count(self.right + self.shared) / count(self.counted)
    }

    /// Of these verdicts, whatever else is known of them; `mode` is the world's, for what is learned of others.
    #[must_use]
    pub fn of<'a>(name: &str, mode: &str, verdicts: impl Iterator<Item = &'a Verdict>) -> Self {
        let verdicts: Vec<&Verdict> = verdicts.collect();
        let counted: Vec<&&Verdict> = verdicts.iter().filter(|verdict| verdict.counts()).collect();
        let n_first = |first: &First| counted.iter().filter(|verdict| verdict.first == *first).count();
        let shares = || verdicts.iter().map(|verdict| verdict.failed_share);
        let lines: usize = verdicts.iter().map(|verdict| verdict.late.n).sum();
        let gains = || verdicts.iter().map(|verdict| verdict.late.base - verdict.late.model);
        let has_else = |verdict: &&&Verdict| verdict.learned.iter().any(|learned| learned != mode);
        Self {
            name: name.to_owned(),
            n: verdicts.len(),
            counted: counted.len(),
            right: n_first(&First::Right),
            shared: n_first(&First::Shared),
            learned: verdicts.iter().filter(|verdict| verdict.state == "learned").count(),
            learned_else: verdicts.iter().filter(has_else).count(),
            ratio: median(verdicts.iter().filter_map(|verdict| verdict.score.ratio())),
            late: median(verdicts.iter().filter_map(|verdict| verdict.late.ratio())),
            events: (
                verdicts.iter().map(|verdict| verdict.score.events).sum(),
                verdicts.iter().map(|verdict| verdict.score.expected).sum(),
            ),
            failed: (shares().fold(1.0, f64::min), shares().fold(0.0, f64::max)),
            to_be_had: [
                median(verdicts.iter().filter_map(|verdict| verdict.score.ratio_to_be_had())),
                median(verdicts.iter().filter_map(|verdict| verdict.late.ratio_to_be_had())),
            ],
            gain: gains().sum::<f64>() / count(lines.max(1)),
            most: gains().fold(f64::NEG_INFINITY, f64::max),
        }
    }
}

/// The middle one, or the mean of the middle two.
pub(super) fn median(values: impl Iterator<Item = f64>) -> Option<f64> {
    let mut values: Vec<f64> = values.collect();
    values.sort_by(f64::total_cmp);
    let (low, high) = (values.get(values.len().checked_sub(1)? / 2)?, values.get(values.len() / 2)?);
    Some(f64::midpoint(*low, *high))
}

/// By world and by family, of those that any verdict is of.
#[must_use]
pub fn summaries(verdicts: &[Verdict]) -> Vec<Summary> {
    let mut all = Vec::new();
    for family in Family::ALL {
        let worlds: Vec<World> = World::all().into_iter().filter(|world| world.family == family).collect();
        let of = |name: &str, in_it: &dyn Fn(&Verdict) -> bool| {
            Summary::of(name, family.mode(), verdicts.iter().filter(|verdict| in_it(verdict)))
        };
        all.extend(worlds.iter().map(|world| of(world.name, &|verdict| verdict.world == world.name)));
        let whole = |verdict: &Verdict| worlds.iter().any(|world| world.name == verdict.world);
        all.push(of(&format!("= {family:?}"), &whole));
    }
    all.retain(|summary| summary.n > 0);
    all
}

/// The table that people read.
#[must_use]
pub fn table(summaries: &[Summary]) -> String {
    let mut text = format!("{:<40} {:>4} {:>11} {:>11}", "world", "n", "failed %", "of expected");
    text += " >=12 right shared wrong learned else  ratio   late   to be had     gain   most\n";
    for row in summaries {
        let failed = format!("{:.1}-{:.1}", row.failed.0 * 100.0, row.failed.1 * 100.0);
        let events = format!("{}/{:.1}", row.events.0, row.events.1);
        let ratio = |value: Option<f64>| value.map_or_else(|| "-".to_owned(), |value| format!("{value:.2}"));
        let had = row.to_be_had.map(ratio).join("/");
        let wrong = row.counted - row.right - row.shared;
        writeln!(
            text,
            "{:<40} {:>4} {failed:>11} {events:>11} {:>4} {:>5} {:>6} {wrong:>5} {:>7} {:>4} {:>6} {:>6} {had:>11} {:>8.4} {:>6.1}",
            row.name,
            row.n,
            row.counted,
            row.right,
            row.shared,
            row.learned,
            row.learned_else,
            ratio(row.ratio),
            ratio(row.late),
            row.gain,
            row.most
        )
        .unwrap();
    }
    text
}
