//! One suggestion, as the person reads it from `advise --json`.

use crate::worlds::person::Material;
use serde_json::Value;

/// What is to be set or done.
#[derive(Clone, Debug, PartialEq)]
pub enum Setting {
    /// °C.
    Standby(f64),
    /// mm.
    Retract(f64),
    /// mm/s.
    RetractSpeed(f64),
    /// mm3.
    Prime(f64),
    /// On or off.
    OozeShield(bool),
    /// °C.
    Print(f64),
    /// Whether the spool is dried.
    Dried(bool),
    /// The tools' spools change places.
    Swap,
    /// The nozzle is cleaned: no law of these worlds knows dirt.
    ColdPull,
    /// This part is replaced.
    Part(&'static str),
    /// The person does not know what to do: its name.
    Unknown(String),
}

/// One suggestion.
#[derive(Clone, Debug, PartialEq)]
pub struct Suggested {
    /// What the answer calls it.
    pub id: String,
    /// Whose.
    pub tool: usize,
    /// While it holds this; whatever it holds if none is said.
    pub material: Option<Material>,
    /// What to set.
    pub setting: Setting,
    /// What it rests on.
    pub basis: String,
    /// Whether something else gets worse by it.
    pub is_trade_off: bool,
}

impl Setting {
    /// Its key in a journal.
    #[must_use]
    pub fn key(&self) -> &str {
        match self {
            Self::Standby(_) => "standby_c",
            Self::Retract(_) => "retract_mm",
            Self::RetractSpeed(_) => "retract_mm_s",
            Self::Prime(_) => "prime_mm3",
            Self::OozeShield(_) => "ooze_shield",
            Self::Print(_) => "print_c",
            Self::Dried(_) => "dried",
            Self::Swap => "material",
            Self::ColdPull => "cold pull",
            Self::Part(part) => part,
            Self::Unknown(name) => name,
        }
    }

    fn read(key: &str, to: &Value) -> Self {
        match (key, to.as_f64(), to.as_bool()) {
            ("standby_c", Some(c), _) => Self::Standby(c),
            ("retract_mm", Some(mm), _) => Self::Retract(mm),
            ("retract_mm_s", Some(mm_s), _) => Self::RetractSpeed(mm_s),
            ("prime_mm3", Some(mm3), _) => Self::Prime(mm3),
            ("print_c", Some(c), _) => Self::Print(c),
            ("ooze_shield", _, Some(is_on)) => Self::OozeShield(is_on),
            ("dried", _, Some(is_dry)) => Self::Dried(is_dry),
            ("material", ..) => Self::Swap,
            ("part:liner", ..) => Self::Part("liner"),
            ("part:nozzle", ..) if to == "cold pull" => Self::ColdPull,
            ("part:nozzle", ..) => Self::Part("nozzle"),
            ("part:heat_break", ..) => Self::Part("heat_break"),
            _ => Self::Unknown(format!("{key} to {to}")),
        }
    }
}

impl Suggested {
    /// All of an answer, best first.
    ///
    /// # Panics
    /// If the answer is not what the contract says.
    #[must_use]
    pub fn all_of(answer: &str) -> Vec<Self> {
        let answer: Value = serde_json::from_str(answer).unwrap();
        answer.as_array().unwrap().iter().map(Self::read).collect()
    }

    fn read(one: &Value) -> Self {
        let text = |key: &str| {
            assert!(one[key].is_string(), "no {key} in {one}");
            one[key].as_str().unwrap()
        };
        assert!(["learned", "common_practice", "mixed"].contains(&text("basis")), "{one}");
        assert!(one["sure"].as_f64().is_some_and(|sure| (0.0..=1.0).contains(&sure)), "{one}");
        assert!(!text("why").is_empty(), "{one}");
        for key in ["risk_now", "risk_after", "minutes_per_print"] {
            let at = ["low", "mean", "high"].map(|at| one[key][at].as_f64());
            assert!(at.iter().all(Option::is_some) && at.is_sorted(), "{key} in {one}");
        }
        let named = |material: &Material| one["material"].as_str().unwrap().eq_ignore_ascii_case(material.name());
        let material = one["material"].is_string().then(|| Material::ALL.into_iter().find(named).unwrap());
        Self {
            id: text("id").to_owned(),
            tool: usize::try_from(one["tool"].as_u64().unwrap()).unwrap(),
            material,
            setting: Setting::read(text("setting"), &one["to"]),
            basis: text("basis").to_owned(),
            is_trade_off: one["trade_off"].as_bool().unwrap_or(false),
        }
    }
}
