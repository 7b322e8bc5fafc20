//! A change as scripts and the record say it: a setting's word, what it is set from and to. Owns these words, and a
//! suggestion's name; whether a change is worth it is `analysis`'s.

use crate::entry::ToolNumber;
use dwell_analysis::advice::{Change, PartKind, Step};
use dwell_analysis::polymer::Material;
use dwell_analysis::units::{Celsius, CubicMm, Millimetres};
use schemars::JsonSchema;
use serde::{Deserialize, Serialize};
use std::fmt;

/// A part as it is, which no word was told of.
const IN_USE: &str = "in_use";
const NEW: &str = "new";
const CLEANED: &str = "cold pull";
const LINED: &str = "lined";
const ALL_METAL: &str = "all metal";

/// What a setting is set to, as JSON has it.
#[derive(Clone, Debug, PartialEq, JsonSchema, Serialize, Deserialize)]
#[schemars(rename = "SettingValue")]
#[serde(untagged)]
pub enum Value {
    /// Yes or no.
    Flag(bool),
    /// In the unit that the setting's word ends in.
    Number(f64),
    /// A word.
    Word(String),
}

impl fmt::Display for Value {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Flag(flag) => flag.fmt(f),
            Self::Number(number) => number.fmt(f),
            Self::Word(word) => f.write_str(word),
        }
    }
}

/// The setting that a change is of: a journal's key, or a part.
#[must_use]
pub const fn setting(change: &Change) -> &'static str {
    match change {
        Change::Standby(_) => "standby_c",
        Change::Retract(_) => "retract_mm",
        Change::RetractSpeed(_) => "retract_mm_s",
        Change::Prime(_) => "prime_mm3",
        Change::OozeShield(_) => "ooze_shield",
        Change::PrintTemperature(_) => "print_c",
        Change::Dried(_) => "dried",
        Change::Material(_) => "material",
        Change::Replace(PartKind::Liner) => "part:liner",
        Change::Replace(PartKind::Nozzle) | Change::Clean => "part:nozzle",
        Change::AllMetal => "part:heat_break",
    }
}

/// What is in force, as far as it is known.
#[must_use]
pub fn from(change: &Change) -> Option<Value> {
    match change {
        Change::Standby(step) | Change::PrintTemperature(step) => step.from.map(Celsius::get).map(Value::Number),
        Change::Retract(step) => step.from.map(Millimetres::get).map(Value::Number),
        Change::RetractSpeed(step) => step.from.map(Value::Number),
        Change::Prime(step) => step.from.map(CubicMm::get).map(Value::Number),
        Change::OozeShield(step) | Change::Dried(step) => step.from.map(Value::Flag),
        Change::Material(step) => step.from.map(|material| word(material.name())),
        Change::Replace(_) | Change::Clean => Some(word(IN_USE)),
        Change::AllMetal => Some(word(LINED)),
    }
}

/// What would be.
#[must_use]
pub fn to(change: &Change) -> Value {
    match change {
        Change::Standby(step) | Change::PrintTemperature(step) => Value::Number(step.to.get()),
        Change::Retract(step) => Value::Number(step.to.get()),
        Change::RetractSpeed(step) => Value::Number(step.to),
        Change::Prime(step) => Value::Number(step.to.get()),
        Change::OozeShield(step) | Change::Dried(step) => Value::Flag(step.to),
        Change::Material(step) => word(step.to.name()),
        Change::Replace(_) => word(NEW),
        Change::Clean => word(CLEANED),
        Change::AllMetal => word(ALL_METAL),
    }
}

/// The change that these words are of; `None` if they are of none.
#[must_use]
pub fn of_words(setting: &str, from: Option<&Value>, to: &Value) -> Option<Change> {
    match setting {
        "standby_c" => Some(Change::Standby(step(from, to, |value| number(value).map(Celsius::new))?)),
        "retract_mm" => Some(Change::Retract(step(from, to, |value| number(value).map(Millimetres::new))?)),
        "retract_mm_s" => Some(Change::RetractSpeed(step(from, to, number)?)),
        "prime_mm3" => Some(Change::Prime(step(from, to, |value| number(value).map(CubicMm::new))?)),
        "ooze_shield" => Some(Change::OozeShield(step(from, to, flag)?)),
        "print_c" => Some(Change::PrintTemperature(step(from, to, |value| number(value).map(Celsius::new))?)),
        "dried" => Some(Change::Dried(step(from, to, flag)?)),
        "material" => Some(Change::Material(step(from, to, material)?)),
        "part:liner" => Some(Change::Replace(PartKind::Liner)),
        "part:nozzle" if *to == word(CLEANED) => Some(Change::Clean),
        "part:nozzle" => Some(Change::Replace(PartKind::Nozzle)),
        "part:heat_break" => Some(Change::AllMetal),
        _ => None,
    }
}

/// The change back to what was in force; `None` if that is not known, or can't be put back.
#[must_use]
pub fn taken_back(change: &Change) -> Option<Change> {
    fn back<T: Copy>(step: Step<T>) -> Option<Step<T>> {
        step.from.map(|from| Step { from: Some(step.to), to: from })
    }
    match *change {
        Change::Standby(step) => back(step).map(Change::Standby),
        Change::Retract(step) => back(step).map(Change::Retract),
        Change::RetractSpeed(step) => back(step).map(Change::RetractSpeed),
        Change::Prime(step) => back(step).map(Change::Prime),
        Change::OozeShield(step) => back(step).map(Change::OozeShield),
        Change::PrintTemperature(step) => back(step).map(Change::PrintTemperature),
        Change::Dried(step) => back(step).map(Change::Dried),
        Change::Material(step) => back(step).map(Change::Material),
        Change::Replace(_) | Change::Clean | Change::AllMetal => None,
    }
}

/// Whether two changes of one setting come to the same: to values that nobody would tell apart.
#[must_use]
pub fn is_alike(one: &Change, other: &Change) -> bool {
    match (to(one), to(other)) {
        (Value::Number(a), Value::Number(b)) => setting(one) == setting(other) && (a - b).abs() <= tolerance(one),
        (a, b) => setting(one) == setting(other) && a == b,
    }
}

/// How far what is really set may lie off a setting and still be it, in the setting's unit: what hosts and job files
/// round to, and no more than a third of what is worth a change (common practice, no source).
#[must_use]
pub const fn tolerance(change: &Change) -> f64 {
    match change {
        Change::Standby(_) | Change::PrintTemperature(_) => 2.5,
        Change::Retract(_) => 0.05,
        Change::RetractSpeed(_) | Change::Prime(_) => 1.0,
        Change::OozeShield(_)
        | Change::Dried(_)
        | Change::Material(_)
        | Change::Replace(_)
        | Change::Clean
        | Change::AllMetal => 0.0,
    }
}

/// What the name of a suggestion of this change is made of, on a printer that is called so in names.
pub(crate) fn suggestion_id(printer: &str, tool: ToolNumber, material: Option<&str>, change: &Change) -> String {
    let (material, setting) = (slug(material.unwrap_or("any")), setting(change).replace(':', "-"));
    format!("{printer}-t{}-{material}-{setting}", tool.idx())
}

/// A name as a word for the command line: its letters and digits, of any script and small, the rest between them a
/// dash. One without any is `x`.
pub(crate) fn slug(name: &str) -> String {
    let mut slug = String::with_capacity(name.len());
    for letter in name.to_lowercase().chars() {
        match letter {
            '_' => slug.push(letter),
            _ if letter.is_alphanumeric() => slug.push(letter),
            _ if slug.is_empty() || slug.ends_with('-') => {}
            _ => slug.push('-'),
        }
    }
    let slug = slug.trim_end_matches('-');
    if slug.is_empty() { "x" } else { slug }.to_owned()
}

fn word(word: &str) -> Value {
    Value::Word(word.to_owned())
}

fn number(value: &Value) -> Option<f64> {
    match value {
        Value::Number(number) => Some(*number),
        Value::Flag(_) | Value::Word(_) => None,
    }
}

fn flag(value: &Value) -> Option<bool> {
    match value {
        Value::Flag(flag) => Some(*flag),
        Value::Number(_) | Value::Word(_) => None,
    }
}

fn material(value: &Value) -> Option<Material> {
    match value {
        Value::Word(name) => Material::with_name(name),
        Value::Flag(_) | Value::Number(_) => None,
    }
}

/// `None` if either is of another kind.
fn step<T>(from: Option<&Value>, to: &Value, read: impl Fn(&Value) -> Option<T>) -> Option<Step<T>> {
    let from = match from {
        None => None,
        Some(value) => Some(read(value)?),
    };
    Some(Step { from, to: read(to)? })
}

#[cfg(test)]
#[expect(clippy::unwrap_used, reason = "a test may stop")]
pub(crate) mod tests {
    use super::*;

    /// One of each kind.
    pub(crate) fn each() -> [Change; 12] {
        [
            Change::Standby(Step { from: Some(Celsius::new(175.0)), to: Celsius::new(155.5) }),
            Change::Retract(Step { from: None, to: Millimetres::new(0.6) }),
            Change::RetractSpeed(Step { from: Some(35.0), to: 25.0 }),
            Change::Prime(Step { from: Some(CubicMm::new(0.0)), to: CubicMm::new(12.5) }),
            Change::OozeShield(Step { from: Some(false), to: true }),
            Change::PrintTemperature(Step { from: Some(Celsius::new(215.0)), to: Celsius::new(210.0) }),
            Change::Dried(Step { from: None, to: true }),
            Change::Material(Step { from: Some(Material::Pla), to: Material::Petg }),
            Change::Replace(PartKind::Liner),
            Change::Replace(PartKind::Nozzle),
            Change::Clean,
            Change::AllMetal,
        ]
    }

    #[test]
    fn a_change_is_the_same_after_a_way_through_its_words() {
        for change in each() {
            assert_eq!(of_words(setting(&change), from(&change).as_ref(), &to(&change)), Some(change), "{change:?}");
            let json = serde_json::to_string(&to(&change)).unwrap();
            assert_eq!(serde_json::from_str::<Value>(&json).unwrap(), to(&change), "{json}");
        }
        assert_eq!(of_words("standby_c", None, &Value::Flag(true)), None);
        assert_eq!(of_words("standby_c", Some(&word("hot")), &Value::Number(155.0)), None);
        assert_eq!(of_words("fan", None, &Value::Number(155.0)), None);
    }

    #[test]
    fn a_suggestion_s_name_does_not_move_with_its_value() {
        let tool = ToolNumber::new(1).unwrap();
        let id = |material, change: &Change| suggestion_id(&slug(" The  bench!"), tool, material, change);
        let [standby, .., liner, _, _, _] = each();
        assert_eq!(id(Some("PLA"), &standby), "the-bench-t1-pla-standby_c");
        assert_eq!(id(None, &liner), "the-bench-t1-any-part-liner");
        let other = Change::Standby(Step { from: None, to: Celsius::new(150.0) });
        assert_eq!(id(Some("PLA"), &other), id(Some("PLA"), &standby));
    }
}
