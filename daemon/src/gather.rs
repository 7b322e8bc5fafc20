//! Brings together what a preflight is made of: a file's outline, and what configuration and record know of the
//! printer. Owns which of them counts, and what is no job file; judges nothing.

use crate::config::Printer;
use crate::entry::{PrinterName, Settings};
use crate::jobfile::{JobOutline, Machine, MachineTool, ToolOutline, outline_of};
use crate::preflight::{Habit, HeaterKnown, Known, Liner, ToolKnown, features, judge, view};
use crate::store::{Reader, StoreError};
use crate::study::{self, Ahead, Spread};
use dwell_analysis::polymer::FILAMENT_MM2;
use dwell_analysis::thermal::HeaterFit;
use dwell_analysis::units::{Celsius, CubicMm};
use dwell_dashboards::view::PreflightView;
use std::io::{self, Read};
use std::iter;
use std::path::Path;
use std::sync::Arc;

/// Why a file is not judged.
#[derive(Debug, thiserror::Error)]
pub enum Unreadable {
    /// Its bytes don't come.
    #[error("{0}")]
    Io(#[from] io::Error),
    /// Nothing is in it.
    #[error("it is empty")]
    Empty,
    /// Nothing in it is understood.
    #[error(
        "no job file: of {lines} lines none asks a printer for anything; G-code as text, or packed, would be right"
    )]
    NoCommand {
        /// How many lines it has.
        lines: u64,
    },
    /// Hardly anything in it is understood.
    #[error(
        "no job file: {faults} of {lines} lines can't be read, the first is line {first}, and no filament is laid; \
         G-code as text, or packed, would be right"
    )]
    Garbled {
        /// Lines that can't be read.
        faults: u64,
        /// Lines.
        lines: u64,
        /// The number of the first that can't.
        first: u64,
    },
    /// What the record says of its risks can't be read.
    #[error("{0}")]
    Record(#[from] StoreError),
}

/// The printer as far as a job's outline depends on it; at its own pace, where the record tells it.
#[must_use]
pub fn machine(known: &Known) -> Machine {
    let tool = |tool: &ToolKnown| {
        let HeaterKnown { heater, surroundings, .. } = tool.heater;
        MachineTool { facts: *known.materials.of(tool.material.as_deref()), heater, surroundings }
    };
    Machine {
        hot_end: known.hot_end.unwrap_or_default(),
        limits: known.limits,
        tools: known.tools.iter().map(tool).collect(),
        pace: known.pace_used(),
        ..Machine::default()
    }
}

/// Reads a job file of that name, packed or not, to its end and judges it; with the record, its risks too.
///
/// # Errors
/// If it can't be read or is no job file, or the record can't be read.
pub fn look(
    name: &str,
    source: impl Read,
    known: &Known,
    reader: Option<&Reader>,
) -> Result<PreflightView, Unreadable> {
    let outline = outline_of(source, machine(known))?;
    must_be_a_job(&outline)?;
    let mut known = known.clone();
    if let Some((reader, printer)) = reader.zip(known.printer.as_ref()) {
        let run = |tool: &ToolOutline| Ahead {
            tool: tool.tool,
            features: features(&outline, tool, &known),
            extruded: CubicMm::new(tool.filament.get() * FILAMENT_MM2),
        };
        let ahead: Vec<_> = outline.tools.iter().map(run).collect();
        known.risks = study::risks(reader, &known.materials, printer, &ahead)?;
    }
    Ok(view(name, &outline, &known, &judge(&outline, &known)))
}

/// A text of another kind has no command that is known; a picture has hardly a line that can be read.
fn must_be_a_job(outline: &JobOutline) -> Result<(), Unreadable> {
    let lines = outline.lines;
    if outline.bytes == 0 {
        return Err(Unreadable::Empty);
    }
    let asks = !outline.tools.is_empty() || outline.ends.get() > 0.0 || outline.homings > 0 || outline.pauses > 0;
    if outline.begins.is_none() && !asks {
        return Err(Unreadable::NoCommand { lines });
    }
    let faults = || outline.unread.faults.iter().filter(|(fault, _, _)| !fault.is_harmless());
    let n_faults: u64 = faults().map(|(_, n, _)| n).sum();
    let first = faults().map(|(_, _, first)| *first).min();
    match first.filter(|_| outline.begins.is_none() && n_faults.saturating_mul(2) > lines) {
        Some(first) => Err(Unreadable::Garbled { faults: n_faults, lines, first }),
        None => Ok(()),
    }
}

/// A printer as its section of the configuration has it.
#[must_use]
pub fn configured(printer: &Printer) -> Known {
    let liners = printer.liner_max.iter().copied().chain(iter::repeat(None));
    let tool = |(settings, liner): (&Settings, Option<Celsius>)| ToolKnown {
        material: settings.material.clone(),
        liner: liner.map_or(Liner::Assumed, Liner::Rated),
        ..ToolKnown::default()
    };
    Known {
        printer: Some(printer.name.clone()),
        hot_end: Some(printer.map.hot_end),
        n_tools: Some(printer.settings.len()),
        limits: printer.motion,
        materials: Arc::clone(&printer.materials),
        tools: printer.settings.iter().zip(liners).map(tool).collect(),
        ..Known::default()
    }
}

/// The same with what the record knows of that printer; where both speak, the record is newer.
///
/// # Errors
/// If the record can't be read.
pub fn recorded(mut known: Known, reader: &Reader, printer: &PrinterName) -> Result<Known, StoreError> {
    known.printer = Some(printer.clone());
    if let Some(row) = reader.printers()?.into_iter().find(|row| row.name == *printer) {
        known.hot_end.get_or_insert(row.hot_end);
        let n_tools = *known.n_tools.get_or_insert(row.n_tools);
        known.tools.resize_with(n_tools.max(known.tools.len()), ToolKnown::default);
    }
    for change in reader.settings_changes(printer)?.into_iter().map(|row| row.change) {
        if let Some((tool, material)) = known.tools.get_mut(change.tool.idx()).zip(change.settings.material) {
            tool.material = Some(material);
        }
    }
    for (tool, fit) in known.tools.iter_mut().zip(study::heater_fits(reader, printer)?) {
        // Without enough steps in the record a typical heater stays.
        tool.heater = fit.map_or(tool.heater, |fit| heater(&fit));
    }
    for habit in study::habits(reader, &known.materials, printer)? {
        if let Some(tool) = known.tools.get_mut(habit.tool.idx()) {
            tool.retraction = habit.retract.map(|Spread { low, median, high, n }| Habit { low, median, high, n });
        }
    }
    known.pace = Some(study::pace(reader, printer, |print| print.expected)?);
    Ok(known)
}

fn heater(fit: &HeaterFit) -> HeaterKnown {
    let n = fit.n_cooldowns + fit.n_heatups;
    let heater = study::placed_heater(fit);
    HeaterKnown { heater, surroundings: fit.surroundings(fit.usual), fitted: Some(n) }
}

/// The last part of a path, as people call the file.
#[must_use]
pub fn file_name(path: &Path) -> String {
    path.file_name().map_or_else(|| path.display().to_string(), |name| name.to_string_lossy().into_owned())
}

#[cfg(test)]
#[expect(clippy::unwrap_used, reason = "a test may stop")]
mod tests {
    use super::*;
    use crate::config::Config;
    use crate::jobfile::{LineFault, Unread};
    use crate::preflight::document;
    use crate::preflight::sample::lantern;
    use dwell_analysis::estimate::Estimate;
    use dwell_analysis::units::Seconds;

    fn refused(change: impl FnOnce(&mut JobOutline)) -> Option<String> {
        let mut outline = lantern();
        (outline.begins, outline.unread) = (None, Unread::default());
        change(&mut outline);
        must_be_a_job(&outline).err().map(|refusal| refusal.to_string())
    }

    /// A printer of one tool with these lines in its section and in its tool's.
    fn section(of_printer: &str, of_tool: &str) -> Printer {
        let text = format!(
            "[[printer]]\nname = \"bench\"\n[[printer.document]]\nname = \"all\"\nurl = \"http://127.0.0.1:9/\"\n\
             [printer.job.state]\npath = \"/state\"\n{of_printer}\n[[printer.tool]]\n\
             actual = {{ path = \"/t0\" }}\n{of_tool}\n"
        );
        Config::parse(&text, Path::new("dwellwatch.toml")).unwrap().printers()[0].clone()
    }

    const JOB: &str = "M83\nM109 S245 T0\nT0\nG1 X100 E5 F6000\nG1 X200 E5\n";

    fn expected(known: &Known) -> (f64, Vec<&'static str>) {
        let view = look("lantern.gcode", JOB.as_bytes(), known, None).unwrap();
        (view.expected().unwrap().get(), view.findings.iter().map(|finding| finding.id).collect())
    }

    /// 200 mm at 100 mm/s: 2 s and what starting and stopping take, v/a.
    #[test]
    fn a_configured_printer_s_motion_material_and_liner_count() {
        let plain = configured(&section("", ""));
        let (brisk, found) = expected(&plain);
        assert!((brisk - (2.0 + 100.0 / 1500.0)).abs() < 0.01, "{brisk}");
        assert_eq!((found, &plain.tools[0].material), (vec!["near_liner"], &None));
        let told = configured(&section(
            "[printer.motion]\nacceleration_mm_s2 = 100",
            "liner_max_c = 240\nsettings = { material = \"PETG\" }",
        ));
        let (slow, found) = expected(&told);
        assert!((slow - (2.0 + 100.0 / 100.0)).abs() < 0.01, "{slow}");
        assert_eq!((found, told.tools[0].material.as_deref()), (vec!["over_liner"], Some("PETG")));
    }

    /// At 245 °C for a minute: with 119.4 kJ/mol 12.9 equivalent minutes, with 170 kJ/mol 37.2.
    #[test]
    fn a_configured_material_s_energy_limit_and_first_flow_count() {
        let job = "M83\nM109 S245 T0\nT0\nG4 S60\nG1 X100 E5 F6000\n";
        let budget = |sections: &str| {
            let known = configured(&section("", &format!("settings = {{ material = \"FELT\" }}\n{sections}")));
            let view = look("lantern.gcode", job.as_bytes(), &known, None).unwrap();
            let ids: Vec<_> = view.findings.iter().map(|finding| finding.id).collect();
            (view.tools[0].dose_max.get(), view.tools[0].limit.get(), ids.contains(&"cold_restart"))
        };
        let (dose, limit, is_cold) = budget("");
        let set = "[material.FELT]\nlike = \"PLA\"\ndegradation_kj_mol = 170\nresidence_limit_min = 30\n\
                   first_flow_c = 230\nprint_low_c = 240\nprint_high_c = 260";
        let (felt_dose, felt_limit, is_felt_cold) = budget(set);
        assert!(felt_dose > 2.5 * dose && felt_dose < 3.2 * dose, "{felt_dose} against {dose}");
        assert_eq!((limit, felt_limit), (60.0, 30.0));
        assert!(!is_cold && is_felt_cold, "less than 20 K over its first flow");
    }

    /// Two moves, of 1 s and of 2 s and what starting and stopping take, round a wait of a minute.
    #[test]
    fn the_learned_pace_stretches_motion_and_no_wait_and_the_record_s_expectation_stays_without_it() {
        let plain = configured(&section("", ""));
        assert!((machine(&plain).pace - 1.0).abs() < f64::EPSILON, "what a print is compared with has no pace in it");
        let mut known = plain.clone();
        known.pace = Some(Ok(Estimate { value: 1.5, low: 1.25, high: 2.0, n: 12 }));
        let job = "M83\nM109 S245 T0\nT0\nG1 X100 E5 F6000\nG4 S60\nG1 X300 E5\n";
        let look = |known: &Known| look("lantern.gcode", job.as_bytes(), known, None).unwrap();
        let (by_file, paced) = (look(&plain), look(&known));
        let motion = 3.0 + 2.0 * 100.0 / 1500.0;
        let near = |found: Option<Seconds>, right: f64| {
            let found = found.unwrap().get();
            assert!((found - right).abs() < 0.02, "{found} where {right} is right");
        };
        near(by_file.expected(), 60.0 + motion);
        near(by_file.expected_by_file(), 60.0 + motion);
        near(paced.expected(), 60.0 + 1.5 * motion);
        near(paced.expected_by_file(), 60.0 + motion);
        near(paced.expected_at(1.25), 60.0 + 1.25 * motion);
        near(paced.expected_at(2.0), 60.0 + 2.0 * motion);
        let json = document(&paced);
        let told = |field: &str| json[field].as_f64().map(Seconds::new);
        near(told("expected_s"), 60.0 + 1.5 * motion);
        near(told("expected_by_file_s"), 60.0 + motion);
        assert_eq!(json["pace"]["mean"], 1.5);
    }

    #[test]
    fn a_text_without_a_command_and_a_picture_are_no_job_files() {
        let empty = |outline: &mut JobOutline| {
            outline.tools.clear();
            outline.ends = Seconds::ZERO;
        };
        assert_eq!(refused(|_| ()), None, "a job that only heats is one");
        let prose = refused(|outline| {
            empty(outline);
            outline.unread.macros = vec![("DEAR".to_owned(), 1)];
        });
        assert!(prose.is_some_and(|why| why.contains("of 4567 lines none")));
        assert_eq!(refused(|outline| outline.bytes = 0).as_deref(), Some("it is empty"));
        let picture = refused(|outline| outline.unread.faults = vec![(LineFault::NotAWord, 4000, 3)]);
        assert!(picture.is_some_and(|why| why.contains("4000 of 4567 lines can't be read, the first is line 3")));
        let long_lines = refused(|outline| outline.unread.faults = vec![(LineFault::TooLong, 4000, 3)]);
        assert_eq!(long_lines, None);
    }
}
