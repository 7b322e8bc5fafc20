//! What following came to, a world and a family, and the table that people read.

use super::weeks::{Closed, Weeks, prints_a_day};
use crate::worlds::catalogue::{Family, World};
use crate::worlds::table::median;
use dwell_analysis::estimate::count;
use std::collections::HashSet;
use std::fmt::Write as _;

/// A gain of the oracle of less than so many failures is not worth a share.
const WORTH_SHARING: f64 = 1.0;

/// What came of some histories.
#[derive(Clone, Debug)]
pub struct Figures {
    /// A world's name, or a family's.
    pub name: String,
    /// Histories.
    pub n: usize,
    /// Prints a day.
    pub pace: f64,
    /// Failures in the world's mode that the law expected: without advice, following it, following the law.
    pub expected: [f64; 3],
    /// Those that there were.
    pub failed: [usize; 3],
    /// Failures in any mode.
    pub failed_any: [usize; 3],
    /// Liners replaced before they failed.
    pub replaced: [usize; 3],
    /// Expected following ÷ without: the median of the histories.
    pub median_ratio: Option<f64>,
    /// Of the oracle's gain, what was gained: the median of the histories in which there was any.
    pub median_share: Option<f64>,
    /// Tool, print and mode that failed following alone, and without alone.
    pub discordant: (usize, usize),
    /// Suggestions taken, each counted once a history: learned, mixed, common practice.
    pub taken: [usize; 3],
    /// Those of them that made something else worse.
    pub trade_offs: usize,
    /// Histories in which any was called learned.
    pub with_learned: usize,
    /// Suggestions that nobody knew how to take up.
    pub unknown: usize,
}

impl Figures {
    /// Of these histories.
    #[must_use]
    pub fn of<'a>(name: &str, closed: impl Iterator<Item = &'a Closed>) -> Self {
        let closed: Vec<&Closed> = closed.collect();
        let sum = |of: &dyn Fn(&Weeks) -> f64| arms(&closed, |arm| arm.iter().map(|weeks| of(weeks)).sum());
        let total = |of: &dyn Fn(&Weeks) -> usize| arms(&closed, |arm| arm.iter().map(|weeks| of(weeks)).sum());
        let taken = |basis: &str| closed.iter().map(|one| distinct(one, |said| said == basis, false)).sum();
        let (only_following, only_without) = closed.iter().map(|one| discordant(one)).fold((0, 0), |sum, one| {
            let (following, without) = one;
            (sum.0 + following, sum.1 + without)
        });
        Self {
            name: name.to_owned(),
            n: closed.len(),
            pace: closed.iter().map(|one| prints_a_day(one)).sum::<f64>() / count(closed.len().max(1)),
            expected: sum(&|weeks| weeks.expected),
            failed: total(&|weeks| weeks.failed),
            failed_any: total(&|weeks| weeks.failures.len()),
            replaced: total(&|weeks| weeks.replaced),
            median_ratio: median(closed.iter().map(|one| one.following.expected / one.without.expected)),
            median_share: median(
                closed
                    .iter()
                    .filter_map(|one| share([one.without.expected, one.following.expected, one.oracle.expected])),
            ),
            discordant: (only_following, only_without),
            taken: [taken("learned"), taken("mixed"), taken("common_practice")],
            trade_offs: closed.iter().map(|one| distinct(one, |_| true, true)).sum(),
            with_learned: closed.iter().filter(|one| distinct(one, |said| said == "learned", false) > 0).count(),
            unknown: closed.iter().map(|one| one.following.unknown.len()).sum(),
        }
    }

    /// Failures expected following ÷ without, over all histories.
    #[must_use]
    pub fn ratio(&self) -> f64 {
        self.expected[1] / self.expected[0]
    }

    /// Of the gain of the oracle, what was gained, over all histories; none where there was nothing to gain.
    #[must_use]
    pub fn share(&self) -> Option<f64> {
        share(self.expected)
    }

    /// How likely so many more failures following than without are by chance: of those that only one of both had, each
    /// is as likely either's (exact sign test).
    #[must_use]
    pub fn harm_by_chance(&self) -> f64 {
        let (worse, better) = self.discordant;
        let n = worse + better;
        let ln_choose = |k: usize| (0..k).map(|i| (count(n - i) / count(i + 1)).ln()).sum::<f64>();
        (worse..=n).map(|k| (ln_choose(k) - count(n) * std::f64::consts::LN_2).exp()).sum::<f64>().min(1.0)
    }
}

fn arms<T: Copy>(closed: &[&Closed], of: impl Fn(&[&Weeks]) -> T) -> [T; 3] {
    let arm = |of_one: fn(&Closed) -> &Weeks| -> Vec<&Weeks> { closed.iter().map(|one| of_one(one)).collect() };
    [of(&arm(|one| &one.without)), of(&arm(|one| &one.following)), of(&arm(|one| &one.oracle))]
}

fn share([without, following, oracle]: [f64; 3]) -> Option<f64> {
    (without - oracle > WORTH_SHARING).then(|| (without - following) / (without - oracle))
}

/// Suggestions taken on these grounds, each once.
fn distinct(closed: &Closed, basis: impl Fn(&str) -> bool, only_trade_offs: bool) -> usize {
    let taken = closed.following.taken.iter().filter(|one| basis(&one.basis) && (one.is_trade_off || !only_trade_offs));
    taken.map(|one| &one.id).collect::<HashSet<_>>().len()
}

fn discordant(closed: &Closed) -> (usize, usize) {
    let all = |weeks: &Weeks| weeks.failures.iter().copied().collect::<HashSet<_>>();
    let (following, without) = (all(&closed.following), all(&closed.without));
    (following.difference(&without).count(), without.difference(&following).count())
}

/// By world and by family, of those that any history is of.
#[must_use]
pub fn by_family(closed: &[Closed]) -> Vec<Figures> {
    let mut all = Vec::new();
    for family in Family::ALL {
        let of_family = || closed.iter().filter(move |one| one.family == family);
        for world in World::all() {
            all.push(Figures::of(world.name, of_family().filter(|one| one.world == world.name)));
        }
        all.push(Figures::of(&format!("= {family:?}"), of_family()));
    }
    all.retain(|figures| figures.n > 0);
    all
}

/// The table that people read: expected failures without advice, following it and following the law.
#[must_use]
pub fn loop_table(figures: &[Figures]) -> String {
    let mut text = format!("{:<38} {:>3} {:>4} {:>23}", "world", "n", "/day", "expected w/o foll law");
    text += "    drawn w/o foll law  ratio (median)    law  share (median)  liners w/o foll law";
    text += "  learned mixed practice trade-offs unknown  worse better p\n";
    for row in figures {
        let [without, following, law] = row.expected;
        let expected = format!("{without:.1} {following:.1} {law:.1}");
        let counts = |counts: [usize; 3]| counts.map(|n| n.to_string()).join(" ");
        let text_of = |value: Option<f64>| value.map_or_else(|| "-".to_owned(), |value| format!("{value:.2}"));
        let [learned, mixed, practice] = row.taken;
        writeln!(
            text,
            "{:<38} {:>3} {:>4.1} {expected:>23} {:>21} {:>6.2} {:>8} {:>6.2} {:>6} {:>8} {:>20} {learned:>8} {mixed:>5} {practice:>8} {:>10} {:>7} {:>6} {:>6} {:.3}",
            row.name,
            row.n,
            row.pace,
            counts(row.failed),
            row.ratio(),
            text_of(row.median_ratio),
            law / without,
            text_of(row.share()),
            text_of(row.median_share),
            counts(row.replaced),
            row.trade_offs,
            row.unknown,
            row.discordant.0,
            row.discordant.1,
            row.harm_by_chance()
        )
        .unwrap();
    }
    text
}
