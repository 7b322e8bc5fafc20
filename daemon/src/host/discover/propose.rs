//! The whole of a proposal: heaters, tools, job and time put together. Owns what follows from their combination; each is
//! judged where it is found.

use super::answers::{Answers, is_at};
use super::certainty::Certainty;
use super::doings::Doings;
use super::duty::{Duty, duties};
use super::found::{Found, Snapshot};
use super::heat::{self, Heater, Heats};
use super::inlets::{SHARED_TOOLS, inlets};
use super::leaf::{Leaf, leaves};
use super::order::{Ordered, order};
use super::pair::Role;
use super::proposal::{Kind, Place, Proposal, Proposed};
use super::state;
use super::{instant, job, tool, words};
use crate::entry::HotEnd;
use crate::host::TemperatureUnit;

/// A heater that is on and further from its set point is heating up, K.
const STILL_HEATING: f64 = 6.0;
/// No hot end prints colder, °C (common practice, no source).
const PRINT_MIN: f64 = 140.0;

/// Proposes a printer's section from what a host has and what it showed while it was watched.
#[must_use]
pub fn propose(found: &Found, snapshots: &[Snapshot], answers: &Answers) -> Proposal {
    let names: Vec<&str> = found.documents.iter().map(|document| document.name.as_str()).collect();
    let said = answers;
    let answers = answers.numbered(&names);
    let leaves = leaves(found, snapshots);
    let lost_answers = answers.beside(&leaves, said);
    let seen = Seen::of(&leaves, &answers);
    let taken = seen.taken();
    let mut spoken_for = taken.clone();
    spoken_for.extend(seen.duties.iter().flatten().map(|duty| duty.leaf));
    let fraction = place_answer(Kind::Fraction, "fraction", &leaves, &answers, job::fraction(&leaves, &spoken_for));
    let fraction_leaf = fraction.as_ref().and_then(|field| job::leaf_of(&leaves, field));
    let byte = place_answer(Kind::Byte, "byte", &leaves, &answers, job::byte(&leaves, &spoken_for, fraction_leaf));
    let byte_leaf = byte.as_ref().and_then(|field| job::leaf_of(&leaves, field));
    let progress = [fraction_leaf, byte_leaf].map(|leaf| job::progresses(leaf, snapshots.len()));
    let progresses = progress[0].iter().zip(&progress[1]).map(|(one, other)| *one || *other).collect();
    let is_full = fraction.as_ref().map(|field| job::is_full(&leaves, field)).unwrap_or_default();
    let doings = seen.doings(&leaves, snapshots.len(), progresses, is_full);
    let title = job::name(&leaves, None);
    let mut presence = job::presence(&leaves, title.as_ref());
    presence.extend(fraction_leaf.or(byte_leaf));
    let mut judged = state::judge(&leaves, &taken, &doings, &presence, &answers);
    judged.field = judged.field.filter(|_| !answers.is_none("state"));
    let state_path = judged
        .field
        .as_ref()
        .and_then(|field| field.places.first())
        .filter(|place| place.form.iter().any(|(key, _)| *key == "words"))
        .map(|place| place.path.clone());
    let name = place_answer(Kind::Name, "job_name", &leaves, &answers, job::name(&leaves, state_path.as_deref()));
    let (hot_end, tools) = seen.hot_end(&leaves, &answers);
    let at_work = tool::active_tool(&leaves, &seen.ordered, tools);
    let mut active = place_answer(Kind::ActiveTool, "active_tool", &leaves, &answers, at_work);
    if let (Some(field), Some(leaf)) = (&mut active, answers.leaf("active_tool", &leaves)) {
        field.places = vec![tool::answered(leaf, &leaves, &seen.ordered, tools)];
    }
    let time = place_answer(Kind::Time, "time", &leaves, &answers, instant::time(&leaves, snapshots, &taken));
    let mut fields: Vec<Proposed> = [time, judged.field, name, fraction, byte, active].into_iter().flatten().collect();
    seen.heater_fields(&leaves, &mut fields);
    let mut open = open_lines(&fields, tools);
    open.extend(wordless(&fields, &leaves));
    let documents =
        found.documents.iter().map(|document| (document.name.clone(), document.address.as_str().to_owned()));
    let mut proposal = Proposal {
        name: answers.get("name").unwrap_or("bench").to_owned(),
        hot_end,
        tools,
        fields,
        open_words: judged.open_words,
        open,
        lost_answers,
        materials: materials(&leaves, &seen.ordered),
        documents: documents.collect(),
        secrets: found.secrets.clone(),
        order: seen.ordered.certainty,
        given: Vec::new(),
        authority: None,
    };
    proposal.keep_documents();
    proposal
}

impl Proposal {
    /// Marks those documents that no field stands in as not needed, by an empty address.
    fn keep_documents(&mut self) {
        for (idx, (_, address)) in self.documents.iter_mut().enumerate() {
            let is_needed = self.fields.iter().flat_map(|field| &field.places).any(|place| place.document == idx);
            if !is_needed {
                address.clear();
            }
        }
    }
}

/// An answer in place of a finding.
fn place_answer(
    kind: Kind,
    key: &str,
    leaves: &[Leaf],
    answers: &Answers,
    found: Option<Proposed>,
) -> Option<Proposed> {
    if answers.is_none(key) {
        return None;
    }
    let Some(leaf) = answers.leaf(key, leaves) else { return found };
    let known = found.as_ref().and_then(|field| {
        let all = field.places.iter().chain(&field.alternatives);
        all.into_iter().find(|place| place.document == leaf.document && place.path == leaf.path).cloned()
    });
    Some(Proposed::one(kind, known.unwrap_or_else(|| Place::of(leaf)), Certainty::Sure, "as answered"))
}

/// Every heater, told apart.
struct Seen {
    ordered: Ordered,
    duties: Vec<Option<Duty>>,
    beds: Vec<Heater>,
    elsewhere: Vec<Heater>,
}

impl Seen {
    fn of(leaves: &[Leaf], answers: &Answers) -> Self {
        let mut heaters = heat::heaters(leaves);
        let is_under =
            |heater: &Heater, answer: &str| heater.leaf(leaves).is_some_and(|leaf| is_at(leaf, answer, true));
        let mut asked: Vec<(usize, Heater)> = Vec::new();
        for number in 0..crate::entry::ToolNumber::COUNT_MAX {
            let answer = answers.get(&format!("tool.{number}"));
            let found = answer.and_then(|answer| heaters.iter().position(|heater| is_under(heater, answer)));
            if let Some(found) = found {
                let mut heater = heaters.remove(found);
                heater.heats = Heats::Tool;
                heater.kind = (Certainty::Sure, "as answered".to_owned());
                asked.push((number, heater));
            }
        }
        if let Some(answer) = answers.get("bed") {
            for heater in &mut heaters {
                let is_bed = is_under(heater, answer);
                if is_bed {
                    heater.kind = (Certainty::Sure, "as answered".to_owned());
                    heater.heats = Heats::Bed;
                } else if heater.heats == Heats::Bed {
                    heater.heats = Heats::Elsewhere;
                }
            }
        }
        let (tools, rest): (Vec<_>, Vec<_>) = heaters.into_iter().partition(|heater| heater.heats == Heats::Tool);
        let (mut beds, elsewhere): (Vec<_>, Vec<_>) = rest.into_iter().partition(|heater| heater.heats == Heats::Bed);
        // What is set is the bed sooner than a sensor near it.
        beds.sort_by_key(|bed| bed.target.is_none());
        let mut ordered = ordered(leaves, asked, &tools);
        // A hot end that seems to have no set point may be one all the same, and would have a number.
        if ordered.tools.len() == 1 && heat::may_lack_one(leaves, &ordered.tools, &elsewhere, &beds) {
            ordered.certainty = ordered.certainty.min(Certainty::Likely);
        }
        let duties = duties(leaves, &ordered.tools);
        Self { ordered, duties, beds, elsewhere }
    }

    /// Every leaf that is a heater's.
    fn taken(&self) -> Vec<usize> {
        let all = self.ordered.tools.iter().chain(&self.beds).chain(&self.elsewhere);
        all.flat_map(|heater| [heater.actual, heater.target]).flatten().collect()
    }

    fn doings(&self, leaves: &[Leaf], snapshots: usize, progresses: Vec<bool>, is_full: Vec<bool>) -> Doings {
        let heaters = self.ordered.tools.iter().chain(&self.beds);
        let rests = resting(leaves, &self.ordered.tools, snapshots);
        let works = working(leaves, &self.ordered.tools, snapshots);
        Doings { progresses, heats: heating(leaves, heaters, snapshots), rests, works, is_full }
    }

    fn hot_end(&self, leaves: &[Leaf], answers: &Answers) -> ((HotEnd, Certainty, String), usize) {
        let heaters = self.ordered.tools.len();
        let inlets = inlets(leaves);
        if let Some(answer) = answers.get("hot_end").and_then(HotEnd::of_word) {
            let tools = if answer == HotEnd::Shared { heaters.max(SHARED_TOOLS).max(inlets) } else { heaters };
            return ((answer, Certainty::Sure, "as answered".to_owned()), tools);
        }
        if heaters == 1 {
            let tells_tool = tool::active_tool(leaves, &self.ordered, SHARED_TOOLS)
                .is_some_and(|field| field.certainty > Certainty::Guess);
            if inlets >= SHARED_TOOLS || tells_tool {
                let why = "one heater, and several tools are spoken of".to_owned();
                return ((HotEnd::Shared, Certainty::Likely, why), inlets.max(SHARED_TOOLS));
            }
            let why = "one heater, and nothing speaks of a second tool".to_owned();
            return ((HotEnd::Separate, Certainty::Guess, why), 1);
        }
        let alike = self.ordered.tools.windows(2).all(|pair| {
            [Role::Actual, Role::Target]
                .iter()
                .all(|role| pair[0].celsius(leaves, *role) == pair[1].celsius(leaves, *role))
        });
        if heaters > 1 && alike {
            let why = "several hot ends are told, though all their temperatures are the same".to_owned();
            return ((HotEnd::Separate, Certainty::Guess, why), heaters);
        }
        let firm =
            self.ordered.tools.iter().all(|tool| tool.kind.0 == Certainty::Sure && tool.pair.0 > Certainty::Guess);
        // More than two of them may be one told twice.
        let certainty = if firm && heaters == 2 { Certainty::Sure } else { Certainty::Likely };
        ((HotEnd::Separate, certainty, format!("{heaters} hot ends with temperatures of their own")), heaters)
    }

    fn heater_fields(&self, leaves: &[Leaf], fields: &mut Vec<Proposed>) {
        let order = self.ordered.certainty;
        for (number, heater) in self.ordered.tools.iter().enumerate() {
            let why = &self.ordered.why;
            let mut both = [Kind::ToolActual(number), Kind::ToolTarget(number)].into_iter();
            for (kind, role) in both.by_ref().zip([Role::Actual, Role::Target]) {
                fields.extend(temperature(leaves, heater, kind, role, order, why));
            }
            if let Some(duty) = self.duties.get(number).and_then(Option::as_ref) {
                let certainty = duty.certainty.min(order).min(heater.kind.0);
                fields.push(Proposed::one(Kind::ToolDuty(number), share(leaves, duty), certainty, duty.why.clone()));
            }
        }
        if let Some(bed) = self.beds.first() {
            let rival = if self.beds.len() > 1 { Certainty::Likely } else { Certainty::Sure };
            for (kind, role) in [(Kind::BedActual, Role::Actual), (Kind::BedTarget, Role::Target)] {
                fields.extend(temperature(leaves, bed, kind, role, rival, "the bed"));
            }
        }
    }
}

fn ordered(leaves: &[Leaf], asked: Vec<(usize, Heater)>, tools: &[Heater]) -> Ordered {
    let rest = order(leaves, tools);
    if asked.is_empty() {
        return rest;
    }
    let is_whole = rest.tools.len() < 2;
    let mut all: Vec<Heater> = rest.tools;
    for (number, heater) in asked {
        all.insert(number.min(all.len()), heater);
    }
    let labels = super::order::labels(leaves, &all);
    let numbers = labels.iter().map(|label| label.iter().rev().find_map(|word| word.parse().ok())).collect();
    let certainty = if is_whole { Certainty::Sure } else { rest.certainty };
    Ordered { tools: all, numbers, labels, certainty, why: "as answered".to_owned() }
}

fn temperature(
    leaves: &[Leaf],
    heater: &Heater,
    kind: Kind,
    role: Role,
    order: Certainty,
    why: &str,
) -> Option<Proposed> {
    let idx = if role == Role::Actual { heater.actual } else { heater.target }?;
    let leaf = leaves.get(idx)?;
    let writing = &heater.writing;
    let certainty = heater.pair.0.min(writing.certainty).min(heater.kind.0).min(order);
    let unit = format!("{}: {}", writing.writing.symbol(), writing.why);
    Some(Proposed {
        kind,
        places: vec![temperature_place(leaf, heater, role)],
        certainty,
        why: format!("{}; {}; {why}; {unit}", heater.pair.1, heater.kind.1),
        alternatives: heater.others.iter().filter_map(|idx| leaves.get(*idx)).take(3).map(Place::of).collect(),
    })
}

fn temperature_place(leaf: &Leaf, heater: &Heater, role: Role) -> Place {
    let writing = heater.writing.writing;
    let mut place = Place::of(leaf);
    let Some(series) = &leaf.series else { return place };
    if let Some(suffix) = &series.suffix {
        place = place.with("suffix", suffix.clone());
    }
    if super::series::differ(writing.factor, 1.0) {
        place = place.with("scale", writing.factor);
    }
    if writing.unit != TemperatureUnit::Celsius {
        place = place.with("unit", writing.symbol());
    }
    let mut off: Vec<String> = series.offs.clone();
    // A bare 0 in °F or K would be a set point far below freezing.
    if role == Role::Target && writing.unit != TemperatureUnit::Celsius && series.suffix.is_none() {
        off.push("0".to_owned());
        off.extend(series.has_fraction.then(|| "0.0".to_owned()));
    }
    place.with_words(off.into_iter().map(|word| (word, 0)))
}

fn share(leaves: &[Leaf], duty: &Duty) -> Place {
    let leaf = &leaves[duty.leaf];
    let mut place = Place::of(leaf);
    let series = leaf.series.as_ref();
    if let Some(suffix) = series.and_then(|series| series.suffix.clone()) {
        place = place.with("suffix", suffix);
    }
    if super::series::differ(duty.factor, 1.0) {
        place = place.with("scale", duty.factor);
    }
    let offs = series.map(|series| series.offs.clone()).unwrap_or_default();
    place.with_words(offs.into_iter().map(|word| (word, 0)))
}

/// What the host has of each tool's material.
fn materials(leaves: &[Leaf], ordered: &Ordered) -> Vec<(usize, String, String)> {
    let is_material =
        |leaf: &&Leaf| words::any(leaf.own(), &["material", "filament", "load", "loaded", "polymer", "plastic"]);
    let of = |tool: usize| {
        let label = &ordered.labels[tool];
        let fits = |leaf: &&Leaf| {
            let place = super::pair::place(leaf);
            !label.is_empty() && label.iter().all(|word| place.contains(word))
        };
        let leaf = leaves.iter().filter(is_material).find(fits)?;
        let text = leaf.there().next_back()?.as_str().filter(|text| (2..=24).contains(&text.len()))?;
        Some((tool, text.to_owned(), leaf.path.clone()))
    };
    (0..ordered.tools.len()).filter_map(of).collect()
}

/// A text that tells the tool at work, and of which it is not known what its words mean.
fn wordless(fields: &[Proposed], leaves: &[Leaf]) -> Option<String> {
    let field = fields.iter().find(|field| field.kind == Kind::ActiveTool)?;
    let bare = field.places.first().filter(|place| place.form.is_empty())?;
    let leaf = leaves.iter().find(|leaf| leaf.document == bare.document && leaf.path == bare.path)?;
    let texts = leaf.texts()?.join(", ");
    Some(format!("the tool that each word of {} means, as words = {{ \"…\" = 0 }}; seen: {texts}", bare.path))
}

fn open_lines(fields: &[Proposed], tools: usize) -> Vec<String> {
    let lacks = |kind: Kind| fields.iter().all(|field| field.kind != kind);
    let mut open = Vec::new();
    for (kind, what) in [
        (Kind::State, "the job's state: nothing on this host reads like one"),
        (Kind::Name, "the job's name"),
        (Kind::Fraction, "progress"),
        (Kind::Byte, "bytes of the job file read so far"),
    ] {
        if lacks(kind) {
            open.push(what.to_owned());
        }
    }
    if tools > 1 && lacks(Kind::ActiveTool) {
        open.push("the tool at work".to_owned());
    }
    if lacks(Kind::ToolActual(0)) && lacks(Kind::ToolTarget(0)) {
        open.push("the hot ends' temperatures".to_owned());
    }
    open
}

/// At which snapshots some hot end is at a set point to print at.
fn working(leaves: &[Leaf], tools: &[Heater], snapshots: usize) -> Vec<bool> {
    let both = |tool: &Heater| (tool.celsius(leaves, Role::Actual), tool.celsius(leaves, Role::Target));
    let all: Vec<_> = tools.iter().map(both).collect();
    let is_at_work = |idx: usize, (actual, target): &(Vec<Option<f64>>, Vec<Option<f64>>)| {
        let get = |values: &Vec<Option<f64>>| values.get(idx).copied().flatten();
        matches!((get(actual), get(target)), (Some(actual), Some(target))
            if target >= PRINT_MIN && target - actual <= STILL_HEATING)
    };
    (0..snapshots).map(|idx| all.iter().any(|both| is_at_work(idx, both))).collect()
}

/// At which snapshots no hot end is on, as far as is known of any.
fn resting(leaves: &[Leaf], tools: &[Heater], snapshots: usize) -> Vec<bool> {
    let of = |role: Role| tools.iter().map(move |tool| tool.celsius(leaves, role)).collect::<Vec<_>>();
    let (targets, actuals) = (of(Role::Target), of(Role::Actual));
    let at = |all: &[Vec<Option<f64>>], idx: usize| {
        all.iter().filter_map(|values| values.get(idx).copied().flatten()).reduce(f64::max)
    };
    let rests = |idx: usize| match at(&targets, idx) {
        Some(target) => target <= 0.0,
        None => at(&actuals, idx).is_some_and(|actual| actual < PRINT_MIN),
    };
    (0..snapshots).map(rests).collect()
}

/// At which snapshots some heater is on and still far below its set point.
fn heating<'h>(leaves: &[Leaf], heaters: impl Iterator<Item = &'h Heater>, snapshots: usize) -> Vec<bool> {
    let mut heats = vec![false; snapshots];
    for heater in heaters {
        let (actual, target) = (heater.celsius(leaves, Role::Actual), heater.celsius(leaves, Role::Target));
        for (idx, heats) in heats.iter_mut().enumerate() {
            if let (Some(Some(actual)), Some(Some(target))) = (actual.get(idx), target.get(idx)) {
                *heats |= target - actual > STILL_HEATING;
            }
        }
    }
    heats
}
