//! Every explanation of a failure mode that is worth a try, each fitted, and how likely each is by the record. Owns
//! the list of explanations, their shares beforehand and their weights; when to fit is the forward account's.
//!
//! An explanation is that nothing recorded matters, or that one factor does, in one of its shapes, or two factors of
//! different groups, or the material; each with and without materials of different risk beside it. Its weight is its
//! share times the probability that it gave the record (Laplace), so a shape that fits by luck alone pays for it.
//! Averaging over all of them (Hoeting et al., Statistical Science 14 (1999) 382) forecasts better than the best one
//! and says how sure the blame is.

use super::alike::Alike;
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
            let of_group = || placed.iter().filter(|placed| placed.measure().group == group);
            let shapes = |placed: &Placed| {
                let is_given_up = fitter.is_given_up(placed.idx);
                if is_given_up {
                    vec![Term::straight(*placed)]
                } else {
                    Term::all(*placed, evidence.mode, evidence.runs)
                }
            };
            let terms = of_group().flat_map(shapes).collect();
            choices.insert(group, Choice { factors: of_group().count(), terms });
        }
        for (group, choice) in &choices {
            let log_share = (ONE * evidence.mode.share(*group) / 2.0).ln();
            fitter.one_each(choice, log_share);
        }
        fitter.with_materials();
        if !materials.is_empty() {
            fitter.fit(Vec::new(), true, (ONE * evidence.mode.share(Group::Material)).ln());
        }
        fitter.pairs(&choices);
        let mut members = fitter.tried;
        weigh(&mut members);
        let floor = PRUNED.iter().rev().find(|(n, _)| evidence.runs.len() >= *n).map_or(0.0, |(_, floor)| *floor);
        members.retain(|member| member.weight >= floor || member.is_plain());
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

    /// Runs as rows of one of its explanations, one after the other.
    pub(super) fn rows(&self, member: &Member, runs: &[Numbers]) -> Vec<f64> {
        let mut rows = Vec::with_capacity(runs.len() * member.posterior.mode.len());
        let materials = if member.materials { &self.materials[..] } else { &[] };
        for run in runs {
            push_row(&member.terms, materials, run, &mut rows);
        }
        rows
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

    /// The explanations that are heard in forecasts.
    pub(super) fn heard(&self) -> impl Iterator<Item = &Member> {
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
    /// One factor, straight: it is always fitted again, so that what begins to matter late is found.
    fn is_plain(&self) -> bool {
        !self.materials && matches!(self.terms.as_slice(), [term] if term.slot == 0)
    }

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

/// What there is to choose from in a group.
struct Choice {
    /// Factors that vary.
    factors: usize,
    /// Every shape of those that are worth a fit.
    terms: Vec<Term>,
}

/// A term's share among those of its group: every factor has the same, and each kind of shape the same of that.
fn share_among(term: &Term, choice: &Choice) -> f64 {
    let is_its = |other: &&Term| other.placed.idx == term.placed.idx;
    let shapes = || choice.terms.iter().filter(is_its).map(|other| other.bend.kind());
    let kinds: BTreeSet<usize> = shapes().collect();
    let kin = shapes().filter(|kind| *kind == term.bend.kind()).count();
    1.0 / (count(choice.factors) * count(kinds.len()) * count(kin))
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
    /// The last fit, where what it did not keep is not fitted again.
    fn pruned(&self) -> Option<&Mixture> {
        self.before.filter(|_| self.evidence.runs.len() >= PRUNED[0].0)
    }

    /// Whether no shape of a factor but the straight one is fitted again.
    fn is_given_up(&self, idx: usize) -> bool {
        let is_its = |(terms, _): &Key| matches!(terms.as_slice(), [(of, slot)] if *of == idx && *slot > 0);
        self.pruned().is_some_and(|before| !before.kept.keys().any(is_its))
    }

    fn nothing(&mut self) -> Option<Posterior> {
        self.fit(Vec::new(), false, NOTHING.ln());
        self.tried.first().map(|member| member.posterior.clone())
    }

    /// Every term by itself.
    fn one_each(&mut self, choice: &Choice, log_share: f64) {
        for term in &choice.terms {
            let log_share = log_share + share_among(term, choice).ln();
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
    fn pairs(&mut self, choices: &BTreeMap<Group, Choice>) {
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
        // Pairs are of what is best at the time, so a new one may be among them.
        if start.is_none() && terms.len() == 1 && self.pruned().is_some() {
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
        let Evidence { happened, weights, .. } = self.evidence;
        #[cfg(feature = "fits")]
        super::fits::note(&Problem { link: Link::Hazard, rows: &self.rows, happened, weights, priors: &priors });
        let alike = Alike::of(&self.rows, priors.len(), happened, weights);
        let (rows, happened, weights) = alike
            .as_ref()
            .map_or((&self.rows[..], happened, weights), |alike| (&alike.rows, &alike.happened, &alike.weights));
        let problem = Problem { link: Link::Hazard, rows, happened, weights, priors: &priors };
        if let Ok(posterior) = problem.fit(start.map(Vec::as_slice)) {
            self.tried.push(Member { terms, materials: has_materials, posterior, log_share, weight: 0.0 });
        }
    }
}
