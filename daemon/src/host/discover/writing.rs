//! What a host's temperatures are written in: unit and power of ten. Owns what is plausible in a house and in a printer.

use super::certainty::Certainty;
use super::found::HintForm;
use super::leaf::Leaf;
use super::series::Series;
use crate::host::TemperatureUnit;

/// How a temperature is written.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct Writing {
    /// The unit, after the factor.
    pub(super) unit: TemperatureUnit,
    /// What the host's number is multiplied by.
    pub(super) factor: f64,
}

/// A writing, how sure, and why.
#[derive(Clone, Debug)]
pub(super) struct JudgedWriting {
    pub(super) writing: Writing,
    pub(super) certainty: Certainty,
    pub(super) why: String,
}

/// The measured and the asked-for numbers of one heater.
#[derive(Clone, Copy, Debug)]
pub(super) struct Pair<'s> {
    pub(super) actual: Option<&'s Series>,
    pub(super) target: Option<&'s Series>,
    /// Whether its words are a hot end's.
    pub(super) is_tool: bool,
}

/// Common first: where nothing speaks against several, the first is proposed.
const WRITINGS: [Writing; 9] = [
    Writing { unit: TemperatureUnit::Celsius, factor: 1.0 },
    Writing { unit: TemperatureUnit::Fahrenheit, factor: 1.0 },
    Writing { unit: TemperatureUnit::Kelvin, factor: 1.0 },
    Writing { unit: TemperatureUnit::Celsius, factor: 0.1 },
    Writing { unit: TemperatureUnit::Kelvin, factor: 0.1 },
    Writing { unit: TemperatureUnit::Fahrenheit, factor: 0.1 },
    Writing { unit: TemperatureUnit::Celsius, factor: 0.01 },
    Writing { unit: TemperatureUnit::Kelvin, factor: 0.01 },
    Writing { unit: TemperatureUnit::Celsius, factor: 0.001 },
];

/// No heated printer stands in a place colder than this, °C.
const COLDEST: f64 = 4.0;
/// No desktop hot end is hotter, °C.
const HOTTEST: f64 = 450.0;
/// People ask for warmth above a warm room, °C.
const ASKED_MIN: f64 = 28.0;
/// No filament melts below this, °C (polycaprolactone, the lowest in use, melts at 60 °C; from memory).
const MELT_MIN: f64 = 60.0;
/// A heater that is off and stands still is at its surroundings' temperature, which is under this, °C.
const SURROUNDINGS_MAX: f64 = 45.0;
/// People ask for round numbers, K.
const ROUND_TO: f64 = 5.0;

impl Writing {
    /// The number in °C.
    pub(super) fn celsius(self, raw: f64) -> f64 {
        let degrees = raw * self.factor;
        match self.unit {
            TemperatureUnit::Celsius => degrees,
            TemperatureUnit::Fahrenheit => (degrees - 32.0) / 1.8,
            TemperatureUnit::Kelvin => degrees - 273.15,
        }
    }

    /// The symbol of the configuration.
    pub(super) fn symbol(self) -> &'static str {
        TemperatureUnit::SYMBOLS.iter().find(|(_, unit)| *unit == self.unit).map_or("C", |(symbol, _)| symbol)
    }

    /// Whether that number is what a host has for a heater that is off: its own 0, or 0 °C in its unit.
    pub(super) fn is_off(self, raw: f64) -> bool {
        raw == 0.0 || (self.celsius(raw)).abs() < 0.5
    }
}

/// The unit that a leaf's own words, its texts' endings, its description or a text beside it tell.
pub(super) fn told(leaf: &Leaf) -> Option<(TemperatureUnit, String)> {
    if let Some(HintForm::Temperature(unit)) = leaf.form {
        return Some((unit, "its description says so".to_owned()));
    }
    if let Some((suffix, unit)) = leaf.series.as_ref().and_then(|series| {
        let suffix = series.suffix.as_deref()?;
        Some((suffix.to_owned(), named(suffix)?))
    }) {
        return Some((unit, format!("the text ends in {suffix:?}")));
    }
    let from_words =
        leaf.words().into_iter().rev().find_map(|word| Some((named_in_full(&word)?, format!("key word {word:?}"))));
    let last = leaf.own().last().filter(|last| leaf.own().len() > 1 && last.len() == 1);
    let from_letter = last.and_then(|letter| Some((named(letter)?, format!("key ends in {letter:?}"))));
    let beside = leaf.units.iter().find_map(|text| Some((named(text)?, format!("{text:?} beside it"))));
    from_words.or(from_letter).or(beside)
}

fn named_in_full(word: &str) -> Option<TemperatureUnit> {
    match word {
        "celsius" | "degc" | "centigrade" => Some(TemperatureUnit::Celsius),
        "fahrenheit" | "degf" => Some(TemperatureUnit::Fahrenheit),
        "kelvin" | "kelvins" | "degk" => Some(TemperatureUnit::Kelvin),
        _ => None,
    }
}

/// A unit's name or symbol; `Cel` and `[degF]` are UCUM's, as RFC 8428 uses it.
fn named(text: &str) -> Option<TemperatureUnit> {
    let letters: String = text.chars().filter(|char| char.is_alphabetic()).collect::<String>().to_lowercase();
    named_in_full(&letters).or(match letters.as_str() {
        "c" | "cel" | "degreescelsius" | "degreecelsius" => Some(TemperatureUnit::Celsius),
        "f" | "degreesfahrenheit" | "degreefahrenheit" => Some(TemperatureUnit::Fahrenheit),
        "k" => Some(TemperatureUnit::Kelvin),
        _ => None,
    })
}

/// A power of ten that the words tell.
fn told_factor(leaf: &Leaf) -> Option<f64> {
    leaf.words().iter().chain(&leaf.told).find_map(|word| match word.as_str() {
        "tenths" | "tenth" | "deci" | "decidegrees" | "decidegree" | "decicelsius" | "decikelvin" => Some(0.1),
        "hundredths" | "hundredth" | "centi" | "centidegrees" | "centicelsius" | "centikelvin" => Some(0.01),
        "milli" | "millidegrees" | "millicelsius" | "thousandth" | "thousandths" => Some(0.001),
        _ => None,
    })
}

/// Judges the numbers of heaters that are written alike.
pub(super) fn judge(leaves: &[&Leaf], pairs: &[Pair<'_>]) -> JudgedWriting {
    let mut said = leaves.iter().filter_map(|leaf| told(leaf));
    let unit = said.next();
    let is_one_voice = said.all(|(other, _)| unit.as_ref().is_some_and(|(unit, _)| *unit == other));
    let factor = leaves.iter().find_map(|leaf| told_factor(leaf));
    let fits = |writing: &&Writing| {
        unit.as_ref().is_none_or(|(unit, _)| *unit == writing.unit)
            && factor.is_none_or(|factor| !super::series::differ(factor, writing.factor))
    };
    let mut open: Vec<Writing> = WRITINGS.iter().filter(fits).copied().collect();
    let before = open.clone();
    open.retain(|writing| is_plausible(*writing, pairs));
    if let (Some((_, why)), true) = (&unit, is_one_voice) {
        let certainty = if open.len() == 1 { Certainty::Sure } else { Certainty::Likely };
        let writing = open.first().or(before.first()).copied().unwrap_or(WRITINGS[0]);
        return JudgedWriting { writing, certainty, why: why.clone() };
    }
    by_range(&open, pairs)
}

fn by_range(open: &[Writing], pairs: &[Pair<'_>]) -> JudgedWriting {
    let share = |writing: &Writing| round_share(*writing, pairs);
    let best = open.iter().copied().reduce(|best, other| if share(&other) > share(&best) { other } else { best });
    let Some(writing) = best else {
        let why = "the numbers fit no unit of temperature".to_owned();
        return JudgedWriting { writing: WRITINGS[0], certainty: Certainty::Guess, why };
    };
    let rivals = open.iter().filter(|other| **other != writing).map(share).fold(0.0, f64::max);
    let (certainty, why) = match (open.len(), share(&writing)) {
        (1, asked) if asked > 0.0 => (Certainty::Sure, "the only unit that the numbers make sense in"),
        (1, _) => (Certainty::Likely, "the only unit that the numbers make sense in, with no heater on"),
        (_, asked) if asked > rivals => (Certainty::Likely, "the set points are round in it"),
        _ => (Certainty::Guess, "several units fit"),
    };
    JudgedWriting { writing, certainty, why: why.to_owned() }
}

fn asked(writing: Writing, pairs: &[Pair<'_>]) -> Vec<f64> {
    let targets = pairs.iter().filter_map(|pair| pair.target).flat_map(Series::there);
    targets.filter(|raw| !writing.is_off(*raw)).map(|raw| writing.celsius(raw)).collect()
}

/// Share of the set points that are round, 0 to 1; 0 with none.
fn round_share(writing: Writing, pairs: &[Pair<'_>]) -> f64 {
    let asked = asked(writing, pairs);
    // A whole number of another unit is off by up to half of it.
    let within = (0.5 * writing.factor).clamp(0.06, 0.3);
    let round = asked.iter().filter(|degrees| (*degrees - (*degrees / ROUND_TO).round() * ROUND_TO).abs() <= within);
    count(round.count()) / count(asked.len()).max(1.0)
}

pub(super) fn is_plausible(writing: Writing, pairs: &[Pair<'_>]) -> bool {
    let actuals = pairs.iter().filter_map(|pair| pair.actual).flat_map(Series::there);
    let in_range = actuals.map(|raw| writing.celsius(raw)).all(|degrees| (COLDEST..=HOTTEST).contains(&degrees));
    let tools: Vec<Pair<'_>> = pairs.iter().copied().filter(|pair| pair.is_tool).collect();
    let melts = asked(writing, &tools).iter().all(|degrees| *degrees >= MELT_MIN);
    let asked = asked(writing, pairs);
    let asked_well = asked.iter().all(|degrees| (ASKED_MIN..=HOTTEST).contains(degrees));
    let is_set = pairs.iter().any(|pair| pair.target.is_some());
    let is_resting = is_set && asked.is_empty() && pairs.iter().all(|pair| pair.actual.is_none_or(is_steady));
    let warmest = pairs.iter().filter_map(|pair| pair.actual).map(Series::max).fold(f64::NEG_INFINITY, f64::max);
    let rests_well = !is_resting || warmest == f64::NEG_INFINITY || writing.celsius(warmest) < SURROUNDINGS_MAX;
    in_range && asked_well && melts && rests_well
}

fn is_steady(series: &Series) -> bool {
    // A sensor's noise, as a share of what it reads.
    const NOISE: f64 = 0.01;
    series.max() - series.min() <= NOISE * series.max().abs().max(1.0)
}

/// A count as a number.
pub(super) fn count(n: usize) -> f64 {
    u32::try_from(n).map_or(f64::from(u32::MAX), f64::from)
}
