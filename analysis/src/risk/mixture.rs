//! Every explanation of a failure mode that is worth a try, each fitted, and how likely each is by the record. Owns
//! the list of explanations, their shares beforehand and their weights; when to fit is the forward account's.
//!
//! An explanation is that nothing recorded matters, or that one factor does, in one of its shapes, or two factors of
//! different groups, or the material; each with and without materials of different risk beside it. Its weight is its
//! share times the probability that it gave the record (Laplace), so a shape that fits by luck alone pays for it.
//! Averaging over all of them (Hoeting et al., Statistical Science 14 (1999) 382) forecasts better than the best one
//! and says how sure the blame is.

use super::measure::{MEASURES, MEASURES_N, Numbers, Placed};
use super::mode::FailureMode;
use super::posterior::{Link, Posterior, Prior, Problem};
use super::run::Group;
use super::term::Term;
use crate::estimate::count;
use std::collections::{BTreeMap, BTreeSet};

/// Materials differ by so much beforehand, for a standard deviation of their column.
const MATERIALS: Prior = Prior::Normal { mean: 0.0, deviation: 0.5 };
/// Shares beforehand: nothing matters, one factor does, two do.
const NOTHING: f64 = 0.3;
const ONE: f64 = 0.55;
const TWO: f64 = 0.15;
/// Explanations that are tried with materials beside them.
const WITH_MATERIALS: usize = 60;
/// Groups whose best explanations are tried together.
const TOGETHER: usize = 4;
/// In records of so many runs, explanations of less than that weight are not fitted again: it is not seen that one
/// comes back, and they are nearly all of the work.
const PRUNED: [(usize, f64); 3] = [(400, 1e-7), (1_000, 1e-5), (4_000, 1e-3)];
/// Explanations of less weight are left out of forecasts.
const UNHEARD: f64 = 1e-5;

/// One explanation, by name, the same from one fit to the next.
type Key = (Vec<(usize, usize)>, bool);

/// One explanation, fitted.
#[derive(Debug)]
pub(super) struct Member {
    pub(super) terms: Vec<Term>,
    /// Whether materials differ.
    pub(super) materials: bool,
    pub(super) posterior: Posterior,
    log_share: f64,
    pub(super) weight: f64,
}

/// All explanations.
#[derive(Debug)]
pub(super) struct Mixture {
    materials: Vec<Placed>,
    /// The heaviest first.
    pub(super) members: Vec<Member>,
    /// The one by which nothing matters.
    nothing: Posterior,
    kept: BTreeMap<Key, Vec<f64>>,
}

/// What is fitted to.
#[derive(Clone, Copy, Debug)]
pub(super) struct Evidence<'a> {
    pub(super) mode: FailureMode,
    pub(super) runs: &'a [&'a Numbers],
    pub(super) happened: &'a [bool],
    pub(super) weights: &'a [f64],
}

/// One member's belief of a run: its log-hazard is Normal.
#[derive(Clone, Copy, Debug)]
pub(super) struct Voice {
    pub(super) weight: f64,
    pub(super) probability: f64,
    pub(super) log_hazard: f64,
    pub(super) spread: f64,
}

impl Mixture {
    /// Fits every explanation; `before` is the last fit, from which it starts and which says what is not worth it.
    /// `None` where not even the plain rate can be fitted.
    pub(super) fn of(evidence: Evidence<'_>, before: Option<&Self>) -> Option<Self> {
        let placed: Vec<Placed> = (0..MEASURES_N).filter_map(|idx| Placed::of(idx, evidence.runs)).collect();
        let is_material = |placed: &&Placed| placed.measure().group == Group::Material;
        let mut materials: Vec<Placed> = placed.iter().filter(is_material).copied().collect();
        // Who holds none of the others holds the last one.
        materials.pop();
        let mut fitter = Fitter { evidence, materials: &materials, before, rows: Vec::new(), tried: Vec::new() };
        let nothing = fitter.nothing()?;
        let mut choices = BTreeMap::new();
        for group in Group::ALL.into_iter().filter(|group| *group != Group::Material) {
            let terms: Vec<Term> = placed
                .iter()
                .filter(|placed| placed.measure().group == group)
                .flat_map(|placed| Term::all(*placed, evidence.mode, evidence.runs))
                .collect();
            choices.insert(group, terms);
        }
        for (group, terms) in &choices {
            let log_share = (ONE * evidence.mode.share(*group) / 2.0).ln();
            fitter.one_each(terms, log_share);
        }
        fitter.with_materials();
        if !materials.is_empty() {
            fitter.fit(Vec::new(), true, (ONE * evidence.mode.share(Group::Material)).ln());
        }
        fitter.pairs(&choices);
        let mut members = fitter.tried;
        weigh(&mut members);
        let floor = PRUNED.iter().rev().find(|(n, _)| evidence.runs.len() >= *n).map_or(0.0, |(_, floor)| *floor);
        members.retain(|member| member.weight >= floor);
        members.sort_by(|a, b| b.weight.total_cmp(&a.weight));
        let kept = members.iter().map(|member| (member.key(), member.posterior.mode.clone())).collect();
        Some(Self { materials, members, nothing, kept })
    }

    /// Probability that a run fails, and the same if nothing mattered.
    pub(super) fn forecast(&self, run: &Numbers) -> (f64, f64) {
        let mut row = Vec::new();
        let (mut sum, mut all) = (0.0, 0.0);
        for member in self.heard() {
            member.row(run, &self.materials, &mut row);
            sum += member.weight * member.posterior.probability(&row);
            all += member.weight;
        }
        let nothing = self.nothing.probability(&[1.0]);
        (if all > 0.0 { sum / all } else { nothing }, nothing)
    }

    /// What each explanation says of a run.
    pub(super) fn voices(&self, run: &Numbers) -> Vec<Voice> {
        let all: f64 = self.heard().map(|member| member.weight).sum();
        let voice = |member: &Member| {
            let mut row = Vec::new();
            member.row(run, &self.materials, &mut row);
            let posterior = &member.posterior;
            Voice {
                weight: member.weight / all,
                probability: posterior.probability(&row),
                log_hazard: super::posterior::dot(&row, &posterior.mode),
                spread: posterior.spread(&row),
            }
        };
        self.heard().map(voice).collect()
    }

    fn heard(&self) -> impl Iterator<Item = &Member> {
        self.members.iter().take_while(|member| member.weight >= UNHEARD)
    }

    /// How much of the explaining each group does: the weight of its explanations, shared where they are of two
    /// groups by what each moves. What is missing from one is that nothing matters.
    pub(super) fn credits(&self) -> Credits {
        let mut credits = Credits { groups: [0.0; Group::ALL.len()], factors: [0.0; MEASURES_N] };
        for member in self.heard() {
            let parts = member.parts(&self.materials);
            let moved: f64 = parts.iter().map(|(_, moved)| moved).sum();
            for (idx, part) in parts.into_iter().filter(|_| moved > 0.0) {
                let credit = member.weight * part / moved;
                credits.factors[idx] += credit;
                credits.groups[place(MEASURES[idx].group)] += credit;
            }
        }
        credits
    }

    /// The likeliest explanation of a group alone, as the column by which it moves the log-hazard of runs.
    pub(super) fn best_of(&self, group: Group, runs: &[&Numbers]) -> Option<(f64, Vec<f64>)> {
        let is_its = |member: &&Member| match member.terms.as_slice() {
            [] => member.materials && group == Group::Material,
            [term] => term.placed.measure().group == group && !member.materials,
            _ => false,
        };
        let member = self.members.iter().find(is_its)?;
        let mut row = Vec::new();
        let moves = |run: &&Numbers| {
            member.row(run, &self.materials, &mut row);
            super::posterior::dot(&row[1..], &member.posterior.mode[1..])
        };
        Some((member.weight.ln() - member.log_share, runs.iter().map(moves).collect()))
    }
}

/// How much each group and each factor explains.
#[derive(Clone, Debug)]
pub(super) struct Credits {
    /// In the order of [`Group::ALL`].
    pub(super) groups: [f64; Group::ALL.len()],
    pub(super) factors: [f64; MEASURES_N],
}

pub(super) fn place(group: Group) -> usize {
    Group::ALL.iter().position(|other| *other == group).unwrap_or(0)
}

fn weigh(members: &mut [Member]) {
    let log_weight = |member: &Member| member.log_share + member.posterior.log_evidence;
    let top = members.iter().map(log_weight).fold(f64::NEG_INFINITY, f64::max);
    let all: f64 = members.iter().map(|member| (log_weight(member) - top).exp()).sum();
    for member in members {
        member.weight = (log_weight(member) - top).exp() / all;
    }
}

impl Member {
    fn key(&self) -> Key {
        key(&self.terms, self.materials)
    }

    fn row(&self, run: &Numbers, materials: &[Placed], row: &mut Vec<f64>) {
        row.clear();
        push_row(&self.terms, if self.materials { materials } else { &[] }, run, row);
    }

    /// How much each factor moves the log-hazard: the square of its slope, since columns have deviation one.
    fn parts(&self, materials: &[Placed]) -> Vec<(usize, f64)> {
        let slopes = self.posterior.mode.iter().skip(1);
        let factors = self.terms.iter().map(|term| term.placed.idx).chain(materials.iter().map(|placed| placed.idx));
        factors.zip(slopes).map(|(idx, slope)| (idx, slope * slope)).collect()
    }
}

/// A term's share among those of its group: every factor has the same, and each kind of shape the same of that.
fn share_among(term: &Term, terms: &[Term]) -> f64 {
    let factors = terms.chunk_by(|a, b| a.placed.idx == b.placed.idx).count();
    let shapes = || terms.iter().filter(|other| other.placed.idx == term.placed.idx).map(|other| other.bend.kind());
    let kinds: BTreeSet<usize> = shapes().collect();
    let kin = shapes().filter(|kind| *kind == term.bend.kind()).count();
    1.0 / (count(factors) * count(kinds.len()) * count(kin))
}

fn key(terms: &[Term], materials: bool) -> Key {
    (terms.iter().map(|term| (term.placed.idx, term.slot)).collect(), materials)
}

fn push_row(terms: &[Term], materials: &[Placed], run: &Numbers, row: &mut Vec<f64>) {
    row.push(1.0);
    row.extend(terms.iter().map(|term| term.value(run)));
    row.extend(materials.iter().map(|placed| placed.standard(run)));
}

/// Fits explanations one after the other.
struct Fitter<'a> {
    evidence: Evidence<'a>,
    materials: &'a [Placed],
    before: Option<&'a Mixture>,
    rows: Vec<f64>,
    tried: Vec<Member>,
}

impl Fitter<'_> {
    fn nothing(&mut self) -> Option<Posterior> {
        self.fit(Vec::new(), false, NOTHING.ln());
        self.tried.first().map(|member| member.posterior.clone())
    }

    /// Every term by itself.
    fn one_each(&mut self, terms: &[Term], log_share: f64) {
        for term in terms {
            let log_share = log_share + share_among(term, terms).ln();
            self.fit(vec![*term], false, log_share);
        }
    }

    /// The likeliest of them again, with materials beside them; the others would be no likelier.
    fn with_materials(&mut self) {
        if self.materials.is_empty() {
            return;
        }
        let log_weight = |member: &Member| member.log_share + member.posterior.log_evidence;
        let mut likely: Vec<(f64, f64, Term)> = self
            .tried
            .iter()
            .filter_map(|member| Some((log_weight(member), member.log_share, *member.terms.first()?)))
            .collect();
        likely.sort_by(|a, b| b.0.total_cmp(&a.0));
        likely.truncate(WITH_MATERIALS);
        for (_, log_share, term) in likely {
            self.fit(vec![term], true, log_share);
        }
    }

    /// The best term of each of the likeliest groups, two by two.
    fn pairs(&mut self, choices: &BTreeMap<Group, Vec<Term>>) {
        let mut best: Vec<(f64, Group, Term)> = Vec::new();
        for group in choices.keys() {
            let log_weight = |member: &&Member| member.log_share + member.posterior.log_evidence;
            let is_its =
                |member: &&Member| matches!(member.terms.as_slice(), [term] if term.placed.measure().group == *group);
            let found = self.tried.iter().filter(is_its).max_by(|a, b| log_weight(a).total_cmp(&log_weight(b)));
            best.extend(found.map(|member| (log_weight(&member), *group, member.terms[0])));
        }
        best.sort_by(|a, b| b.0.total_cmp(&a.0));
        best.truncate(TOGETHER);
        for (nth, (_, one, first)) in best.iter().enumerate() {
            for (_, other, second) in best.iter().skip(nth + 1) {
                let share = self.evidence.mode.share(*one) * self.evidence.mode.share(*other);
                let shapes = share_among(first, &choices[one]) * share_among(second, &choices[other]);
                let log_share = (TWO * share * shapes).ln();
                for materials in [false, true] {
                    if !materials || !self.materials.is_empty() {
                        self.fit(vec![*first, *second], materials, log_share);
                    }
                }
            }
        }
    }

    fn fit(&mut self, terms: Vec<Term>, has_materials: bool, log_share: f64) {
        let key = key(&terms, has_materials);
        let start = self.before.and_then(|before| before.kept.get(&key));
        let is_pruned = self.evidence.runs.len() >= PRUNED[0].0 && self.before.is_some() && start.is_none();
        // Pairs are of what is best at the time, so a new one may be among them.
        if is_pruned && terms.len() == 1 {
            return;
        }
        let materials = if has_materials { self.materials } else { &[] };
        self.rows.clear();
        for run in self.evidence.runs {
            push_row(&terms, materials, run, &mut self.rows);
        }
        let mut priors = vec![self.evidence.mode.usual()];
        priors.extend(terms.iter().map(|term| term.prior(self.evidence.mode)));
        priors.extend(materials.iter().map(|_| MATERIALS));
        let problem = Problem {
            link: Link::Hazard,
            rows: &self.rows,
            happened: self.evidence.happened,
            weights: self.evidence.weights,
            priors: &priors,
        };
        if let Ok(posterior) = problem.fit(start.map(Vec::as_slice)) {
            self.tried.push(Member { terms, materials: has_materials, posterior, log_share, weight: 0.0 });
        }
    }
}
