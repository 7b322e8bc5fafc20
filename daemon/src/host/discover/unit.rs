//! Units as descriptions tell them: UCUM's codes, the two common vocabularies of units, plain words.
//! Must not guess: a unit it does not know is another unit, and a text that names none, or two, names none.

use super::found::HintForm;
use crate::host::TemperatureUnit;

/// What a unit makes of a number; `None` when it is a bare number (UCUM's `1`).
pub(super) fn form(unit: &str) -> Option<HintForm> {
    // An address or a prefixed name ends in the unit's name; a code like m/s is a whole.
    let is_name = unit.contains(':');
    let name = if is_name { unit.rsplit(['/', '#', ':']).next().unwrap_or(unit) } else { unit };
    let bare: String = name.chars().filter(|c| !c.is_whitespace() && !"_-[]".contains(*c)).collect();
    let celsius = HintForm::Temperature(TemperatureUnit::Celsius);
    let fahrenheit = HintForm::Temperature(TemperatureUnit::Fahrenheit);
    let kelvin = HintForm::Temperature(TemperatureUnit::Kelvin);
    Some(match bare.to_lowercase().as_str() {
        "" | "1" | "one" | "unitless" | "dimensionless" => return None,
        "cel" | "celsius" | "°c" | "℃" | "c" | "degc" | "degreec" | "degreecelsius" | "degreescelsius" => celsius,
        "fahrenheit" | "°f" | "℉" | "f" | "degf" | "degreef" | "degreefahrenheit" | "degreesfahrenheit" => {
            fahrenheit
        }
        "k" | "kelvin" | "kelvins" => kelvin,
        "%" | "percent" | "percentage" => HintForm::Percent,
        "by" | "byte" | "bytes" => HintForm::Bytes,
        _ => HintForm::Other,
    })
}

/// The unit that a description names in passing, as in `Measured, in °C`.
pub(super) fn named_in(text: &str) -> Option<HintForm> {
    let text = text.to_lowercase();
    let names = [
        (HintForm::Temperature(TemperatureUnit::Celsius), ["°c", "℃", "celsius"].as_slice()),
        (HintForm::Temperature(TemperatureUnit::Fahrenheit), ["°f", "℉", "fahrenheit"].as_slice()),
        (HintForm::Temperature(TemperatureUnit::Kelvin), ["kelvin"].as_slice()),
        (HintForm::Percent, ["in percent", "percentage", "in %"].as_slice()),
        (HintForm::Bytes, ["in bytes"].as_slice()),
    ];
    let mut found = names.iter().filter(|(_, names)| names.iter().any(|name| text.contains(name)));
    let (first, _) = found.next()?;
    found.next().is_none().then_some(*first)
}

#[cfg(test)]
mod tests {
    use super::*;
    use TemperatureUnit::{Celsius, Fahrenheit, Kelvin};

    #[test]
    fn a_unit_is_read_in_every_common_way_of_telling_it() {
        let told = [
            (Celsius, ["Cel", "°C", "degree celsius", "degC", "http://qudt.org/vocab/unit/DEG_C", "om:degreeCelsius"]),
            (Fahrenheit, ["[degF]", "°F", "degrees Fahrenheit", "unit:DEG_F", "fahrenheit", "℉"]),
            (Kelvin, ["K", "kelvin", "unit:K", "http://qudt.org/vocab/unit/K", "om:kelvin", "Kelvin"]),
        ];
        for (unit, texts) in told {
            for text in texts {
                assert_eq!(form(text), Some(HintForm::Temperature(unit)), "{text}");
            }
        }
        let iri = "http://www.ontology-of-units-of-measure.org/resource/om-2/degreeCelsius";
        assert_eq!(form(iri), Some(HintForm::Temperature(Celsius)));
        for (text, is) in [("%", HintForm::Percent), ("unit:PERCENT", HintForm::Percent), ("By", HintForm::Bytes)] {
            assert_eq!(form(text), Some(is), "{text}");
        }
        for text in ["s", "mm", "Cel/min", "1/K", "W/K", "kBy", "mK"] {
            assert_eq!(form(text), Some(HintForm::Other), "{text}");
        }
        assert_eq!(form("1"), None);
    }

    #[test]
    fn a_description_that_names_two_units_names_none() {
        assert_eq!(named_in("Measured, in °C"), Some(HintForm::Temperature(Celsius)));
        assert_eq!(named_in("How far the job is, in percent"), Some(HintForm::Percent));
        assert_eq!(named_in("in Celsius or Fahrenheit, as the user chose"), None);
        assert_eq!(named_in("the wanted temperature"), None);
    }
}
