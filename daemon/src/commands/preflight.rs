//! `preflight`: a job file read and judged before it is printed. Works without a configuration and without a record.

use super::progress::{Bar, Progress};
use super::{Failure, output};
use crate::cli::Place;
use crate::config::{self, Config, ConfigError, Secrets};
use crate::entry::PrinterName;
use crate::gather::{configured, file_name, look, recorded};
use crate::preflight::{Known, document};
use crate::store::Reader;
use dwell_dashboards::render_preflight_text;
use std::fs::File;
use std::path::Path;

pub(super) fn run(place: &Place, file: &Path, printer: Option<&str>, json: bool) -> Result<(), Failure> {
    let (known, reader) = known(place, printer)?;
    let source = File::open(file).map_err(|error| Failure::file(file, &error))?;
    let about = source.metadata().map_err(|error| Failure::file(file, &error))?;
    let bar = Bar::new(about.len());
    let shown = look(&file_name(file), &mut Progress::new(source, &bar), &known, reader.as_ref());
    bar.wipe();
    let view = shown.map_err(|error| Failure::Work(format!("{}: {error}", file.display())))?;
    if json {
        return output::json(&document(&view));
    }
    output::text(&render_preflight_text(&view))
}

/// What configuration and record know of the printer that is meant, and the record, if there is one.
pub(super) fn known(place: &Place, printer: Option<&str>) -> Result<(Known, Option<Reader>), Failure> {
    let config = config(place)?;
    let reader = reader(place, config.as_ref())?;
    let names = names(config.as_ref(), reader.as_ref())?;
    let Some(name) = meant(&names, printer)? else { return Ok((Known::default(), reader)) };
    let section = config.iter().flat_map(Config::printers).find(|section| section.name == name);
    let known = section.map(configured).unwrap_or_default();
    let known = match &reader {
        Some(reader) => recorded(known, reader, &name)?,
        None => known,
    };
    Ok((known, reader))
}

/// The configuration, if there is one; one that is named must be there.
pub(super) fn config(place: &Place) -> Result<Option<Config>, Failure> {
    match (&place.config, &place.db) {
        (Some(file), _) => Ok(Some(Config::load(file, Secrets::NotNeeded)?)),
        (None, Some(_)) => Ok(None),
        (None, None) => match config::default_file() {
            Ok(file) => Ok(Some(Config::load(&file, Secrets::NotNeeded)?)),
            Err(ConfigError::NotFound { .. }) => Ok(None),
            Err(error) => Err(error.into()),
        },
    }
}

/// The record, if there is one; one that is named must be there.
fn reader(place: &Place, config: Option<&Config>) -> Result<Option<Reader>, Failure> {
    let configured = config.map(Config::store).filter(|file| file.exists());
    let file = place.db.as_deref().or(configured);
    Ok(file.map(Reader::open).transpose()?)
}

/// The printers that are known: the configured ones, else those of the record.
fn names(config: Option<&Config>, reader: Option<&Reader>) -> Result<Vec<PrinterName>, Failure> {
    Ok(match (config, reader) {
        (Some(config), _) => config.printers().iter().map(|section| section.name.clone()).collect(),
        (None, Some(reader)) => reader.printers()?.into_iter().map(|row| row.name).collect(),
        (None, None) => Vec::new(),
    })
}

/// The printer that is meant; `None` if none is known and none is named.
fn meant(names: &[PrinterName], asked: Option<&str>) -> Result<Option<PrinterName>, Failure> {
    let all = || names.iter().map(|name| format!("`{name}`")).collect::<Vec<_>>().join(", ");
    match (names, asked) {
        ([], None) => Ok(None),
        ([only], None) => Ok(Some(only.clone())),
        (_, None) => Err(Failure::Asked(format!("several printers are known; --printer would say which: {}", all()))),
        ([], Some(asked)) => {
            Err(Failure::Asked(format!("--printer {asked}: no printer is known; --config or --db would tell of one")))
        }
        (_, Some(asked)) => {
            let found = names.iter().find(|name| name.as_str() == asked).cloned();
            let wrong = || Failure::Asked(format!("--printer {asked}: no such printer; there is {}", all()));
            found.map(Some).ok_or_else(wrong)
        }
    }
}

#[cfg(test)]
#[expect(clippy::unwrap_used, reason = "a test may stop")]
mod tests {
    use super::*;
    use crate::entry::HotEnd;
    use crate::preflight::sample::{bench, lantern};
    use crate::preflight::{judge, view};
    use dwell_dashboards::view::PreflightView;
    use serde_json::Value;

    fn names(names: &[&str]) -> Vec<PrinterName> {
        names.iter().map(|name| PrinterName::new(name).unwrap()).collect()
    }

    #[test]
    fn of_several_printers_one_must_be_named_and_the_message_names_them() {
        assert_eq!(meant(&names(&[]), None).unwrap(), None);
        assert_eq!(meant(&names(&["bench"]), None).unwrap().unwrap().as_str(), "bench");
        assert_eq!(meant(&names(&["bench", "attic"]), Some("attic")).unwrap().unwrap().as_str(), "attic");
        for (known, asked) in [(names(&["bench", "attic"]), None), (names(&["bench", "attic"]), Some("cellar"))] {
            let Err(Failure::Asked(why)) = meant(&known, asked) else { unreachable!("{known:?} {asked:?}") };
            assert!(why.contains("`bench`, `attic`"), "{why}");
        }
    }

    #[test]
    fn without_configuration_and_record_nothing_is_known_and_a_named_one_must_be_there() {
        let folder = tempfile::tempdir().unwrap();
        let absent = folder.path().join("absent");
        let place = |config: Option<&Path>, db: Option<&Path>| Place {
            config: config.map(Path::to_owned),
            db: db.map(Path::to_owned),
        };
        assert!(matches!(known(&place(Some(&absent), None), None), Err(Failure::Asked(_))));
        assert!(matches!(known(&place(None, Some(&absent)), None), Err(Failure::Work(_))));
    }

    fn sample() -> PreflightView {
        let mut outline = lantern();
        outline.visits[1].restart.as_mut().unwrap().expected = dwell_analysis::units::Celsius::new(150.0);
        outline.tools[0].wait_mean = None;
        let known = bench(HotEnd::Separate);
        view("lantern.gcode", &outline, &known, &judge(&outline, &known))
    }

    fn no_null(value: &Value) -> bool {
        match value {
            Value::Null => false,
            Value::Array(items) => items.iter().all(no_null),
            Value::Object(fields) => fields.values().all(no_null),
            _ => true,
        }
    }

    #[test]
    fn json_tells_every_figure_and_leaves_out_what_is_not_known() {
        let json = document(&sample());
        assert_eq!(json["expected_s"], 5400.0);
        assert_eq!(json["heating_s"], 240.0);
        assert_eq!(json.get("pace"), None);
        let tool = &json["tools"][1];
        assert_eq!((&tool["tool"], &tool["visits"], &tool["heater"]), (&1.into(), &2.into(), &"fitted".into()));
        assert_eq!(tool["waits"]["longest_s"], 1800.0);
        assert_eq!(tool["dose_share"], 3.0 / 200.0, "PETG's limit is 200 equivalent minutes");
        assert_eq!(json["tools"][0]["waits"].get("mean_c"), None);
        let finding = &json["findings"][0];
        assert_eq!((&finding["id"], &finding["gravity"]), (&"cold_restart".into(), &"grave".into()));
        assert_eq!((&finding["n"], &finding["of"], &finding["at_s"]), (&1.into(), &2.into(), &1500.0.into()));
        assert_eq!(json["visits"].as_array().map(Vec::len), Some(4));
        assert!(no_null(&json), "{json}");
    }

    #[test]
    fn text_tells_what_stands_out() {
        let text = render_preflight_text(&sample());
        let words = text.split_whitespace().collect::<Vec<_>>().join(" ");
        assert!(words.contains("Grave, T1: Its filament is pushed too cold at 1 of 2 first pushes"), "{text}");
        assert!(words.contains("at worst 150 °C is expected where 210 °C is set, 0:25:00 into the job (byte 1000)"));
    }
}
