//! `heatplan`: a copy of a job file whose idle tools cool. Owns what is read, what is known of the printer and how the copy
//! is written; never writes over anything, and leaves nothing behind where a check fails.

use super::heatplan_json::document;
use super::{Failure, output, preflight};
use crate::cli::{HeatplanAsked, Place};
use crate::config::Config;
use crate::entry::{HotEnd, Settings};
use crate::gather::{file_name, machine};
use crate::heatplan::{self, Alone, Counted, Knows, NoPlan, StandbyFrom, ToolKnows, ToolSum};
use crate::jobfile::{Packing, text_of};
use crate::preflight::Known;
use crate::store::{Reader, Standing};
use crate::study;
use dwell_analysis::advice::Change;
use dwell_analysis::estimate::{Estimate, deviations};
use dwell_analysis::thermal::HeaterFit;
use dwell_analysis::units::Celsius;
use dwell_dashboards::render_heatplan_text;
use dwell_dashboards::view::{HeatPlanTool, HeatPlanView};
use std::fs::{self, File};
use std::io::{Read, Write};
use std::path::Path;

/// Ends of a 90 % interval lie so many standard deviations from its middle.
const NINETY: f64 = 1.644_853_626_951_472;

pub(super) fn run(place: &Place, asked: &HeatplanAsked) -> Result<(), Failure> {
    let (file, out) = (&asked.file, &asked.out);
    let original = read(file)?;
    must_be_new(file, out)?;
    if asked.strip {
        return strip(file, &original, out);
    }
    let (known, reader) = preflight::known(place, asked.printer.as_deref())?;
    must_be_separate(&known)?;
    let fits = fits(&known, reader.as_ref())?;
    let typed = typed(place, &known, reader.as_ref())?;
    let advised = advised(&known, reader.as_ref())?;
    let rests = rests(asked, &known, &fits, &typed, &advised);
    let planned = heatplan::plan(&original, &machine(&known), &rests).map_err(|why| failed(file, &why))?;
    write(file, out, &planned.text, &|copy| {
        heatplan::verify(&original, copy).map_err(|why| failed(file, &why.into()))
    })?;
    let view = view(asked, &known, &fits, &planned.counted);
    if asked.json {
        return output::json(&document(&view));
    }
    output::text(&render_heatplan_text(&view))
}

fn failed(file: &Path, why: &NoPlan) -> Failure {
    let words = match why {
        NoPlan::Refused(why) => format!("not planned: {why}"),
        NoPlan::Unsound(_) => why.to_string(),
    };
    Failure::Work(format!("{}: {words}", file.display()))
}

/// The whole text, which must not be packed: a copy is written line by line beside it.
fn read(file: &Path) -> Result<Vec<u8>, Failure> {
    let told = |error: std::io::Error| Failure::file(file, &error);
    let mut text = text_of(File::open(file).map_err(told)?).map_err(told)?;
    let packed = match text.packing() {
        Packing::Plain => None,
        Packing::Gzip => Some("gzip"),
        Packing::Zip(_) => Some("zip"),
    };
    if let Some(packed) = packed {
        let why = format!("{}: not planned: it is packed ({packed}); the text it holds would be right", file.display());
        return Err(Failure::Work(why));
    }
    let mut held = Vec::new();
    text.read_to_end(&mut held).map_err(told)?;
    Ok(held)
}

fn must_be_new(file: &Path, out: &Path) -> Result<(), Failure> {
    if fs::symlink_metadata(out).is_err() {
        return Ok(());
    }
    let is_same = fs::canonicalize(file).ok().zip(fs::canonicalize(out).ok()).is_some_and(|(file, out)| file == out);
    let what = if is_same { "it is the job file itself" } else { "it exists already" };
    Err(Failure::Asked(format!("-o {}: {what}; a name that is not in use would be right", out.display())))
}

/// A second tool of a shared hot end has no heat of its own, and cooling it would cool the first.
fn must_be_separate(known: &Known) -> Result<(), Failure> {
    match known.hot_end {
        Some(HotEnd::Separate) => Ok(()),
        Some(HotEnd::Shared) => Err(Failure::Work(
            "not planned: this printer's tools share one hot end, so none of them can cool while another works".to_owned(),
        )),
        None => Err(Failure::Asked(
            "no printer is known, and tools that share one hot end can't cool; --printer with --config or --db would tell"
                .to_owned(),
        )),
    }
}

/// What the record tells of each tool's heater; nothing without one.
fn fits(known: &Known, reader: Option<&Reader>) -> Result<Vec<Option<HeaterFit>>, Failure> {
    let Some((reader, printer)) = reader.zip(known.printer.as_ref()) else { return Ok(Vec::new()) };
    Ok(study::heater_fits(reader, printer)?.into_iter().map(Result::ok).collect())
}

/// The settings in force as they were typed: the configuration's, and over them the record's.
fn typed(place: &Place, known: &Known, reader: Option<&Reader>) -> Result<Vec<Settings>, Failure> {
    let config = preflight::config(place)?;
    let is_it = |name| known.printer.as_ref() == Some(name);
    let section = config.iter().flat_map(Config::printers).find(|section| is_it(&section.name));
    let mut typed = section.map(|section| section.settings.clone()).unwrap_or_default();
    if let Some((reader, printer)) = reader.zip(known.printer.as_ref()) {
        for change in reader.settings_changes(printer)?.into_iter().map(|row| row.change) {
            typed.resize_with(typed.len().max(change.tool.idx() + 1), Settings::default);
            if let Some(settings) = typed.get_mut(change.tool.idx()) {
                *settings = change.settings;
            }
        }
    }
    Ok(typed)
}

/// The standby that each tool is advised, or that was adopted: for what it holds.
fn advised(known: &Known, reader: Option<&Reader>) -> Result<Vec<Option<Celsius>>, Failure> {
    let mut advised = vec![None; known.tools.len()];
    let Some((reader, printer)) = reader.zip(known.printer.as_ref()) else { return Ok(advised) };
    let mut rows = reader.suggestions()?;
    // What was adopted comes last, so that it counts.
    rows.sort_by_key(|row| row.standing == Standing::Adopted);
    for row in rows.into_iter().filter(|row| row.printer == *printer) {
        let holds = known.tools.get(row.tool.idx()).and_then(|tool| tool.material.as_deref());
        let is_meant = row.material.as_deref().is_none_or(|meant| holds == Some(meant));
        let stands = matches!(row.standing, Standing::Open | Standing::Adopted);
        if let (Change::Standby(step), Some(place)) = (row.change, advised.get_mut(row.tool.idx()))
            && is_meant
            && stands
        {
            *place = Some(step.to);
        }
    }
    Ok(advised)
}

fn rests(
    asked: &HeatplanAsked,
    known: &Known,
    fits: &[Option<HeaterFit>],
    typed: &[Settings],
    advised: &[Option<Celsius>],
) -> Knows {
    let tool = |idx: usize| {
        let material = known.tools.get(idx).and_then(|tool| tool.material.as_deref());
        let facts = *known.materials.of(material);
        let mut tool = ToolKnows {
            facts,
            asked: asked.standby.map(Celsius::new),
            advised: advised.get(idx).copied().flatten(),
            typed: typed.get(idx).and_then(|settings| settings.standby),
            heating_spread: None,
        };
        let fit = fits.get(idx).and_then(Option::as_ref);
        let low = tool.asked.or(tool.advised).or(tool.typed).unwrap_or(facts.first_flow.value);
        tool.heating_spread = fit.and_then(|fit| spread(fit, low, facts.print_low.value.max(low)));
        tool
    };
    let n = known.tools.len().max(fits.len()).max(typed.len());
    let pace = known.pace.and_then(Result::ok);
    Knows {
        certainty: asked.certainty,
        z: deviations(asked.certainty),
        pace_spread: pace.map(|pace| (pace.high - pace.low) / (2.0 * NINETY * pace.value)),
        tools: (0..n).map(tool).collect(),
    }
}

/// Relative spread of a fitted reheat time.
fn spread(fit: &HeaterFit, from: Celsius, to: Celsius) -> Option<f64> {
    let Estimate { value, low, high, .. } = fit.heating(from, to, fit.usual).ok()?;
    (value > 0.0).then(|| (high - low) / (2.0 * NINETY * value))
}

/// Writes beside the copy's name, reads that back and checks it, and only then gives it the name.
fn write(file: &Path, out: &Path, text: &[u8], check: &dyn Fn(&[u8]) -> Result<(), Failure>) -> Result<(), Failure> {
    let told = |error: std::io::Error| Failure::file(out, &error);
    let folder = out.parent().filter(|folder| !folder.as_os_str().is_empty()).unwrap_or(Path::new("."));
    // The error itself names the unfinished file, for which nobody asked.
    let unmade = |error: std::io::Error| {
        let (out, folder) = (out.display(), folder.display());
        Failure::Work(format!("-o {out}: no file can be made in the folder {folder}: {}", error.kind()))
    };
    let mut unfinished = tempfile::Builder::new().prefix(".heatplan").tempfile_in(folder).map_err(unmade)?;
    unfinished.write_all(text).map_err(told)?;
    let rights = fs::metadata(file).map_err(|error| Failure::file(file, &error))?.permissions();
    unfinished.as_file().set_permissions(rights).map_err(told)?;
    unfinished.as_file().sync_all().map_err(told)?;
    check(&fs::read(unfinished.path()).map_err(told)?)?;
    unfinished.persist_noclobber(out).map_err(|error| told(error.error))?;
    File::open(folder).and_then(|folder| folder.sync_all()).map_err(told)
}

fn strip(file: &Path, planned: &[u8], out: &Path) -> Result<(), Failure> {
    let (original, n) = heatplan::strip(planned);
    let is_same = |copy: &[u8]| {
        let differs = || Failure::Work(format!("{}: it does not hold what was written", out.display()));
        (copy == original).then_some(()).ok_or_else(differs)
    };
    write(file, out, &original, &is_same)?;
    let (file, out) = (file_name(file), out.display());
    // A plan that found no wait worth a command is such a file too.
    output::text(&match n {
        0 => format!("{file}: no line of it is a plan's; {out} is the same, byte for byte\n"),
        n => format!("{file}: {n} lines of the plan are out; {out} is the original\n"),
    })
}

fn view(asked: &HeatplanAsked, known: &Known, fits: &[Option<HeaterFit>], counted: &Counted) -> HeatPlanView {
    let tool = |sum: &ToolSum| {
        let idx = sum.tool.idx();
        let fit = fits.get(idx).and_then(Option::as_ref);
        HeatPlanTool {
            number: idx,
            material: known.tools.get(idx).and_then(|tool| tool.material.as_deref()).map(str::to_owned),
            standby: sum.standby,
            standby_from: from_word(sum.from),
            waits: sum.waits,
            drops: sum.drops,
            alone: sum.alone.iter().map(|(why, n)| (alone_word(*why), *n)).collect(),
            is_heated_later: sum.is_heated_later,
            is_off_after: sum.is_off_after,
            hot: sum.hot,
            dose: sum.dose,
            lines: sum.lines,
            fitted: fit.map(|fit| [fit.n_cooldowns, fit.n_heatups]),
        }
    };
    HeatPlanView {
        file: file_name(&asked.file),
        out: asked.out.display().to_string(),
        printer: known.printer.as_ref().map(ToString::to_string).unwrap_or_default(),
        certainty: asked.certainty,
        tools: counted.tools.iter().map(tool).collect(),
        lasts: counted.lasts,
        longer: counted.longer,
        longer_at_worst: counted.longer_at_worst,
        turns: counted.turns,
        pace_prints: known.pace.and_then(Result::ok).map(|pace| pace.n),
    }
}

const fn from_word(from: StandbyFrom) -> &'static str {
    match from {
        StandbyFrom::Asked => "asked",
        StandbyFrom::Advised => "advised",
        StandbyFrom::Settings => "settings",
        StandbyFrom::FirstFlow => "first_flow",
    }
}

const fn alone_word(why: Alone) -> &'static str {
    match why {
        Alone::Cool => "cool",
        Alone::TooShort => "too_short",
        Alone::LittleSaved => "little_saved",
        Alone::Unfitted => "unfitted",
        Alone::NoPlace => "no_place",
    }
}
