//! When what becomes an alarm, checked. Owns the ranges of delays, deadbands and bounds, and which rule has a use for which
//! key; what rules must be beside each other is `beside`'s.

mod beside;

use super::fault::{Key, Wrong, Wrongs, within};
use super::printer::Printer;
use super::raw::{RawAlarm, RawConfig, RawPrinter, RawRule};
use crate::alarm::{Bound, Change, Concern, Override, Priority, Rule, Rules, Tuning};
use crate::entry::PrinterName;
use dwell_analysis::polymer::Material;
use dwell_analysis::units::{Celsius, Seconds};
use std::collections::BTreeSet;
use std::ops::RangeInclusive;

/// Below 40 °C a warm room would be an alarm; no desktop hot end goes over 500 °C.
const OVER_C: RangeInclusive<f64> = 40.0..=500.0;
/// A sensor's last digit, to more than any heater strays without being at fault.
const OFF_BY_K: RangeInclusive<f64> = 0.5..=100.0;
/// A wider one would keep an alarm standing through a whole cooling.
const DEADBAND_K: RangeInclusive<f64> = 0.0..=50.0;
/// A hundredth of the limit is no dose; ten times it is no limit.
const SHARE: RangeInclusive<f64> = 0.01..=10.0;
/// At 1 an alarm would never return.
const DEADBAND_SHARE: RangeInclusive<f64> = 0.0..=0.9;
/// What is worth a person's coming is worth it within a day.
const DELAY_S: RangeInclusive<f64> = 0.0..=86_400.0;
/// Three seconds to a day.
const IDLE_FOR_MIN: RangeInclusive<f64> = 0.05..=1440.0;

/// Checks the section's rules. The first of them is what its short way says.
pub(super) fn overrides(key: &Key, raw: &RawConfig) -> Result<Vec<Override>, Wrongs> {
    let mut wrongs = Wrongs::default();
    let short = wrongs.keep(short(key, &raw.alarm));
    let key = key.name("rule");
    let rules = raw.alarm.rule.iter().enumerate().map(|(idx, own)| rule(&key.nth(idx), own, raw));
    let rules = Wrongs::each(rules).and_then(|rules| beside::check(&key, &rules).map(|()| rules));
    match (short, wrongs.keep(rules)) {
        (Some(short), Some(rules)) => Ok(short.into_iter().chain(rules).collect()),
        _ => Err(wrongs),
    }
}

/// The rules with what the printers' own sections say of alarms.
pub(super) fn rules(overrides: Vec<Override>, printers: &[Printer]) -> Rules {
    let liners = printers.iter().flat_map(|printer| {
        let tools = printer.liner_max.iter().enumerate();
        tools.filter_map(|(idx, rating)| rating.map(|rating: Celsius| (printer.name.clone(), idx, rating)))
    });
    let commissioned = printers.iter().filter(|printer| printer.is_commissioning);
    Rules {
        overrides,
        commissioning: commissioned.map(|printer| printer.name.clone()).collect(),
        liners: liners.collect(),
    }
}

fn short(key: &Key, raw: &RawAlarm) -> Result<Option<Override>, Wrong> {
    let over = raw.idle_over_c.map(|over| within(&key.name("idle_over_c"), over, OVER_C, "°C")).transpose()?;
    let lasting =
        raw.idle_for_min.map(|min| within(&key.name("idle_for_min"), min, IDLE_FOR_MIN, "min")).transpose()?;
    let change = Change { on_delay: lasting.map(Seconds::minutes), bound: over, ..Change::default() };
    let is_said = over.is_some() || lasting.is_some();
    Ok(is_said.then_some(Override { rule: Rule::IdleHot, printer: None, material: None, change }))
}

fn rule(key: &Key, raw: &RawRule, all: &RawConfig) -> Result<Override, Wrongs> {
    let rule = Rule::of_word(&raw.rule).ok_or_else(|| {
        let words = Rule::ALL.map(Rule::word).join(", ");
        Wrong::new(key.name("rule"), format!("found {:?}", raw.rule), format!("one of {words}"))
    })?;
    let mut wrongs = Wrongs::default();
    let printer = wrongs.keep(printer(key, rule, raw.printer.as_deref(), &all.printer));
    let material = wrongs.keep(material(key, rule, raw.material.as_deref(), all));
    let priority = wrongs.keep(raw.priority.as_deref().map(|word| priority(&key.name("priority"), word)).transpose());
    let delays = wrongs.keep(delays(key, rule, raw));
    let bound = wrongs.keep(bound(key, rule, raw));
    match (printer, material, priority, delays, bound) {
        (Some(printer), Some(material), Some(priority), Some((on_delay, off_delay)), Some((bound, deadband))) => {
            let change = Change { priority, on_delay, off_delay, bound, deadband };
            if change == Change::default() {
                let right = format!("one of {}", usable(rule).join(", "));
                return Err(Wrong::new(key.clone(), format!("nothing is said of {}", rule.word()), right).into());
            }
            Ok(Override { rule, printer, material, change })
        }
        _ => Err(wrongs),
    }
}

fn printer(key: &Key, rule: Rule, named: Option<&str>, printers: &[RawPrinter]) -> Result<Option<PrinterName>, Wrong> {
    let Some(named) = named else { return Ok(None) };
    let key = key.name("printer");
    if rule.concern() == Concern::Record {
        let found = format!("{} is about dwellwatch itself, not about a printer", rule.word());
        return Err(Wrong::new(key, found, "no printer here"));
    }
    let known = printers.iter().find(|printer| printer.name == named);
    known.and_then(|printer| PrinterName::new(&printer.name)).map(Some).ok_or_else(|| {
        let all: Vec<String> = printers.iter().map(|printer| format!("{:?}", printer.name)).collect();
        Wrong::new(key, format!("found {named:?}"), format!("the name of a printer: {}", all.join(", ")))
    })
}

/// A material that some tool may hold: one of the table, of a section of its own, or of a tool's settings.
fn material(key: &Key, rule: Rule, named: Option<&str>, all: &RawConfig) -> Result<Option<String>, Wrong> {
    let Some(named) = named else { return Ok(None) };
    let key = key.name("material");
    if !rule.knows_material() {
        let found = format!("{} does not ask what a tool holds", rule.word());
        return Err(Wrong::new(key, found, "no material here"));
    }
    if named.trim().is_empty() {
        return Err(Wrong::new(key, "found an empty text", "a material such as \"PETG\""));
    }
    let set = all.printer.iter().flat_map(|printer| &printer.tool).filter_map(|tool| tool.settings.material.as_ref());
    let own: Vec<&str> = all.material.keys().chain(set).map(|name| name.trim()).collect();
    if Material::with_name(named).is_none() && !own.iter().any(|own| own.eq_ignore_ascii_case(named.trim())) {
        let known: BTreeSet<&str> = Material::ALL.map(Material::name).into_iter().chain(own).collect();
        let right = known.into_iter().map(|name| format!("{name:?}")).collect::<Vec<_>>().join(", ");
        return Err(Wrong::new(key, format!("found {named:?}"), format!("a material that is known: {right}")));
    }
    Ok(Some(named.trim().to_owned()))
}

fn priority(key: &Key, word: &str) -> Result<Priority, Wrong> {
    Priority::of_word(word).ok_or_else(|| {
        let words = Priority::ALL.map(|priority| format!("{:?}", priority.word())).join(", ");
        Wrong::new(key.clone(), format!("found {word:?}"), format!("one of {words}"))
    })
}

fn delays(key: &Key, rule: Rule, raw: &RawRule) -> Result<(Option<Seconds>, Option<Seconds>), Wrong> {
    let delay = |name, told: Option<f64>| {
        let Some(told) = told else { return Ok(None) };
        if !rule.has_delays() {
            let found = format!("{} waits for nothing", rule.word());
            return Err(Wrong::new(key.name(name), found, format!("one of {}", usable(rule).join(", "))));
        }
        within(&key.name(name), told, DELAY_S, "s").map(|told| Some(Seconds::new(told)))
    };
    Ok((delay("on_delay_s", raw.on_delay_s)?, delay("off_delay_s", raw.off_delay_s)?))
}

/// The rule's bound and deadband, in its own unit.
fn bound(key: &Key, rule: Rule, raw: &RawRule) -> Result<(Option<f64>, Option<f64>), Wrong> {
    let told = [
        ("over_c", raw.over_c, OVER_C, "°C"),
        ("off_by_k", raw.off_by_k, OFF_BY_K, "K"),
        ("deadband_k", raw.deadband_k, DEADBAND_K, "K"),
        ("share", raw.share, SHARE, ""),
        ("deadband_share", raw.deadband_share, DEADBAND_SHARE, ""),
    ];
    let ([limit, _], may) = (bound_keys(rule), usable(rule));
    let (mut bound, mut deadband) = (None, None);
    for (name, value, range, unit) in told {
        let Some(value) = value else { continue };
        if !may.contains(&name) {
            let found = format!("{} has no use for {name}", rule.word());
            return Err(Wrong::new(key.name(name), found, format!("one of {}", may.join(", "))));
        }
        let place = if Some(name) == limit { &mut bound } else { &mut deadband };
        *place = Some(within(&key.name(name), value, range, unit)?);
    }
    Ok((bound, deadband))
}

/// The keys of a rule's bound and of its deadband.
fn bound_keys(rule: Rule) -> [Option<&'static str>; 2] {
    match Tuning::usual(rule).bound {
        Bound::Over { .. } => [Some("over_c"), Some("deadband_k")],
        Bound::OffBy { .. } => [Some("off_by_k"), Some("deadband_k")],
        Bound::Share { .. } => [Some("share"), Some("deadband_share")],
        Bound::None => [None, None],
    }
}

/// The keys that say something of a rule.
fn usable(rule: Rule) -> Vec<&'static str> {
    let delays = if rule.has_delays() { ["on_delay_s", "off_delay_s"].as_slice() } else { &[] };
    let bounds = bound_keys(rule).into_iter().flatten();
    ["priority"].into_iter().chain(delays.iter().copied()).chain(bounds).collect()
}
