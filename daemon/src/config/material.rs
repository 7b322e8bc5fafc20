//! What a person sets of materials, checked. Owns which figures may be set and their ranges; the table is `analysis`'s.

use super::fault::{Key, Wrong, Wrongs, one_of, within};
use super::raw::RawMaterial;
use dwell_analysis::polymer::{Band, Landmark, Material, MaterialFacts, Materials, OutOfOrder, Source, Sourced};
use dwell_analysis::units::{Celsius, DoseMinutes};
use std::collections::BTreeMap;
use std::ops::RangeInclusive;

/// The built-in table with everything set over it.
pub(super) fn materials(key: &Key, raw: &BTreeMap<String, RawMaterial>) -> Result<Materials, Wrongs> {
    let mut materials = Materials::default();
    // First those of the table, so that what is like them has what is set of them.
    let (table, own): (Vec<_>, Vec<_>) =
        raw.iter().enumerate().partition(|(_, (name, _))| Material::with_name(name).is_some());
    Wrongs::each(table.into_iter().chain(own).map(|(idx, (name, own))| {
        let key = key.name(name);
        let is_same = |other: &&String| other.trim().eq_ignore_ascii_case(name.trim());
        if let Some(other) = raw.keys().take(idx).find(is_same) {
            let right = format!("one section, since {other:?} is the same name");
            return Err(Wrong::new(key, format!("found {name:?} too"), right));
        }
        let base = materials.family(base(&key, name, own)?);
        let facts = facts(&key, base, own)?;
        materials.set(name, facts).map_err(|fault| out_of_order(&key, &facts, fault))
    }))?;
    Ok(materials)
}

/// The ranges are wider than any filament in use; they catch a unit mixed up or a digit too many.
fn facts(key: &Key, base: &MaterialFacts, own: &RawMaterial) -> Result<MaterialFacts, Wrong> {
    let number = |name: &str, value: Option<f64>, range: RangeInclusive<f64>, unit: &str| {
        let checked = value.map(|value| within(&key.name(name), value, range, unit)).transpose();
        checked.map(|value| value.map(|value| Sourced::new(value, Source::Configuration)))
    };
    let celsius = |landmark, value, range| {
        let set = number(word(landmark), value, range, "°C")?;
        let set = set.map(|set| Sourced::new(Celsius::new(set.value), set.source));
        Ok(set.unwrap_or(base.at(landmark)))
    };
    let energy = |name, value, base: Sourced<Band>| {
        let set = number(name, value, 10.0..=500.0, "kJ/mol")?;
        Ok(set.map_or(base, |set| Sourced::new(Band::exact(set.value * 1000.0), set.source)))
    };
    let limit = number("residence_limit_min", own.residence_limit_min, 0.1..=100_000.0, "min")?;
    Ok(MaterialFacts {
        glass_transition: celsius(Landmark::GlassTransition, own.glass_transition_c, -150.0..=300.0)?,
        first_flow: celsius(Landmark::FirstFlow, own.first_flow_c, 30.0..=450.0)?,
        print_low: celsius(Landmark::PrintLow, own.print_low_c, 50.0..=500.0)?,
        print_high: celsius(Landmark::PrintHigh, own.print_high_c, 50.0..=500.0)?,
        residence_limit: limit
            .map_or(base.residence_limit, |set| Sourced::new(DoseMinutes::new(set.value), set.source)),
        degradation: energy("degradation_kj_mol", own.degradation_kj_mol, base.degradation)?,
        flow: energy("flow_kj_mol", own.flow_kj_mol, base.flow)?,
        ..*base
    })
}

/// The built-in material whose figures stand where none is set.
fn base(key: &Key, name: &str, own: &RawMaterial) -> Result<Material, Wrong> {
    if name.trim().is_empty() {
        return Err(Wrong::new(key.clone(), "found an empty name", "a material's name such as [material.PETG]"));
    }
    let like = key.name("like");
    match (Material::with_name(name), own.like.as_deref()) {
        (Some(kind), None) => Ok(kind),
        (Some(_), Some(other)) => {
            let right = format!("none, since {name} is in the table itself");
            Err(Wrong::new(like, format!("found {other:?}"), right))
        }
        (None, Some(other)) => Material::with_name(other)
            .map_or_else(|| one_of(&like, other, &Material::ALL.map(|kind| (kind.name(), kind))), Ok),
        (None, None) => {
            let right = "like = \"PLA\" or another of the table, whose figures stand where none is set";
            Err(Wrong::new(like, format!("found none, and {name:?} is not in the table"), right))
        }
    }
}

/// Blames the key that was set; if both were, the lower one.
fn out_of_order(key: &Key, facts: &MaterialFacts, fault: OutOfOrder) -> Wrong {
    let OutOfOrder { lower, upper } = fault;
    let is_set = |landmark| facts.at(landmark).source == Source::Configuration;
    let (low, high) = (facts.at(lower).value.get(), facts.at(upper).value.get());
    if is_set(lower) || !is_set(upper) {
        return Wrong::new(key.name(word(lower)), format!("found {low}"), format!("under {}, {high} °C", word(upper)));
    }
    Wrong::new(key.name(word(upper)), format!("found {high}"), format!("over {}, {low} °C", word(lower)))
}

const fn word(landmark: Landmark) -> &'static str {
    match landmark {
        Landmark::GlassTransition => "glass_transition_c",
        Landmark::FirstFlow => "first_flow_c",
        Landmark::PrintLow => "print_low_c",
        Landmark::PrintHigh => "print_high_c",
    }
}
