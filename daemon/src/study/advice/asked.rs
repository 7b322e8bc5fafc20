//! One tool with a material that it holds or held of late, gathered from the record. Owns which of its runs are asked of, and who its
//! neighbour is.

use super::held::held;
use super::loss::{Taught, loss};
use crate::entry::{HotEnd, PrinterName, Settings, ToolNumber};
use crate::store::{EndedPrint, PrinterRow, Reader, StoreError};
use crate::study::heaters::{heater_fits, placed_heater};
use crate::study::parts::liner_outlooks;
use crate::study::runs::{Run, Standing, courses};
use dwell_analysis::advice::{Ages, Course, Held, Lesson, LinerKnown, Neighbour, Situation, Times};
use dwell_analysis::polymer::{Material, MaterialFacts, Materials};
use dwell_analysis::risk::Features;
use dwell_analysis::survival::Outlook;
use dwell_analysis::thermal::{AMBIENT, Heater, HeaterFit};
use dwell_analysis::time::Timestamp;
use dwell_analysis::units::{Celsius, Probability, Seconds};
use std::collections::HashMap;
use std::sync::Arc;

/// What liners stand for good, where somebody told.
pub type Liners = HashMap<(PrinterName, ToolNumber), Celsius>;

/// Older runs were of other jobs, and of parts of another age (a proposal, no source).
const RECENT: Seconds = Seconds::minutes(8.0 * 7.0 * 24.0 * 60.0);
/// With fewer runs of late a material that is not loaded is not asked of.
const COURSES_LEAST: usize = 5;
/// Newest runs that are asked of: enough that the mix of jobs shows, few enough that each change can be reckoned for
/// each wait of each of them.
const COURSES_MAX: usize = 60;

/// What tools are gathered from.
pub(super) struct Record<'a> {
    pub(super) reader: &'a Reader,
    pub(super) materials: &'a Materials,
    pub(super) liners: &'a Liners,
    pub(super) runs: &'a [Run],
    pub(super) accepted: Probability,
}

/// A tool that is asked of.
pub(super) struct Asked<'a> {
    pub(super) printer: PrinterName,
    pub(super) tool: ToolNumber,
    /// As somebody wrote it.
    pub(super) material: Option<Arc<str>>,
    pub(super) facts: &'a MaterialFacts,
    /// Whether that is in now.
    pub(super) is_loaded: bool,
    pub(super) courses: Vec<Course>,
    held: Held,
    liner: LinerKnown,
    is_shared: bool,
    fit: Option<HeaterFit>,
    tried: Vec<Features>,
    standing: Standing,
    liner_outlook: Option<Outlook>,
    accepted: Probability,
    beside: Option<Beside<'a>>,
}

/// The tool beside it.
struct Beside<'a> {
    tool: ToolNumber,
    material: Arc<str>,
    facts: &'a MaterialFacts,
    print: Option<Celsius>,
    liner: LinerKnown,
    /// How much of the prints each of them waits: this tool, then the one beside it.
    waits: [f64; 2],
}

/// A tool as it stands, with its runs of late, whatever it held in them.
struct Stand<'a> {
    tool: ToolNumber,
    loaded: Loaded<'a>,
    liner: LinerKnown,
    courses: Vec<Course>,
    standing: Standing,
    /// Other materials that it held of late, with the settings in force then.
    others: Vec<Loaded<'a>>,
}

/// What a tool holds, or held, and how it is set for that.
struct Loaded<'a> {
    settings: Settings,
    facts: &'a MaterialFacts,
}

/// The tools of a printer that ran of late, each with what it holds now and with what else it held, T0 first.
pub(super) fn asked_of<'a>(record: &Record<'a>, printer: &PrinterRow) -> Result<Vec<Asked<'a>>, StoreError> {
    let stands = stands(record, printer)?;
    if stands.is_empty() {
        return Ok(Vec::new());
    }
    let mut fits = heater_fits(record.reader, &printer.name)?;
    let mut outlooks = liner_outlooks(record.reader)?;
    outlooks.retain(|(of, _, _)| *of == printer.name);
    let mut asked = Vec::new();
    for stand in &stands {
        let fit = fits.get_mut(stand.tool.idx()).and_then(|fit| fit.as_ref().ok().cloned());
        let outlook = outlooks.iter().find(|(_, tool, _)| *tool == stand.tool).map(|(_, _, outlook)| outlook);
        for (nth, loaded) in std::iter::once(&stand.loaded).chain(&stand.others).enumerate() {
            let courses = with_material(&stand.courses, loaded.facts.kind);
            if courses.is_empty() {
                continue;
            }
            let tried = own(record.runs, &printer.name, stand.tool, loaded.facts.kind);
            asked.push(Asked {
                printer: printer.name.clone(),
                tool: stand.tool,
                material: loaded.settings.material.clone(),
                facts: loaded.facts,
                is_loaded: nth == 0,
                courses,
                held: loaded.held(),
                liner: stand.liner,
                is_shared: printer.hot_end == HotEnd::Shared,
                fit: fit.clone(),
                tried: tried.map(|run| run.run.features).collect(),
                standing: stand.standing,
                liner_outlook: outlook.cloned(),
                accepted: record.accepted,
                beside: beside(stand, &stands),
            });
        }
    }
    Ok(asked)
}

/// The tools that were hot in a print of late.
fn stands<'a>(record: &Record<'a>, printer: &PrinterRow) -> Result<Vec<Stand<'a>>, StoreError> {
    let Some(as_of) = record.reader.newest_of(&printer.name)? else { return Ok(Vec::new()) };
    let mut prints: Vec<EndedPrint> = record.reader.ended_prints(&printer.name)?;
    prints.retain(|print| print.started + RECENT >= as_of);
    let mut stands = Vec::new();
    for tool in (0..printer.n_tools).filter_map(ToolNumber::new) {
        let (courses, standing) = courses(record.reader, printer, tool, &prints, record.materials)?;
        if courses.is_empty() {
            continue;
        }
        let settings = held(record.reader, &printer.name, tool, &prints, Timestamp::from_ms(i64::MAX))?;
        let loaded = Loaded { facts: settings.facts(record.materials), settings };
        let others = others(record, &printer.name, (tool, loaded.facts.kind), &prints, &courses)?;
        let rating = record.liners.get(&(printer.name.clone(), tool));
        stands.push(Stand {
            tool,
            loaded,
            others,
            liner: rating.map_or(LinerKnown::Assumed, |rating| LinerKnown::Rated(*rating)),
            courses,
            standing,
        });
    }
    Ok(stands)
}

/// The materials that a tool held of late beside the one that it holds, each as it was set for in its newest print.
fn others<'a>(
    record: &Record<'a>,
    printer: &PrinterName,
    (tool, loaded): (ToolNumber, Material),
    prints: &[EndedPrint],
    courses: &[Course],
) -> Result<Vec<Loaded<'a>>, StoreError> {
    let mut others = Vec::new();
    for kind in Material::ALL.into_iter().filter(|kind| *kind != loaded) {
        let n = courses.iter().filter(|course| course.features.material == kind).count();
        let Some(newest) = own(record.runs, printer, tool, kind).last().filter(|_| n >= COURSES_LEAST) else {
            continue;
        };
        let until = prints.partition_point(|print| print.started <= newest.started);
        let settings = held(record.reader, printer, tool, prints.get(..until).unwrap_or(prints), newest.started)?;
        others.push(Loaded { facts: settings.facts(record.materials), settings });
    }
    Ok(others)
}

/// The newest of these runs with a material, oldest first.
fn with_material(courses: &[Course], kind: Material) -> Vec<Course> {
    let mut own: Vec<Course> = courses.iter().filter(|course| course.features.material == kind).cloned().collect();
    own.drain(..own.len().saturating_sub(COURSES_MAX));
    own
}

/// A tool's runs with a material: the learner counts families, so these do.
fn own<'r>(runs: &'r [Run], printer: &PrinterName, tool: ToolNumber, kind: Material) -> impl Iterator<Item = &'r Run> {
    runs.iter().filter(move |run| run.printer == *printer && run.tool == tool && run.run.features.material == kind)
}

/// Of the other tools whose material is told the one that ran most.
fn beside<'a>(stand: &Stand<'a>, stands: &[Stand<'a>]) -> Option<Beside<'a>> {
    let others = stands.iter().filter(|other| other.tool != stand.tool && other.loaded.settings.material.is_some());
    // Of equals the first.
    let other = others.rev().max_by_key(|other| other.courses.len())?;
    Some(Beside {
        tool: other.tool,
        material: other.loaded.settings.material.clone()?,
        facts: other.loaded.facts,
        print: other.loaded.settings.print,
        liner: other.liner,
        waits: [stand.waits()?, other.waits()?],
    })
}

impl Loaded<'_> {
    const fn held(&self) -> Held {
        let Settings { print, standby, retract, retract_mm_s, prime, ooze_shield, dried, .. } = self.settings;
        Held { print, standby, retract, retract_mm_s, prime, ooze_shield, dried }
    }
}

impl Stand<'_> {
    /// How much of its prints it waits hot; `None` where none tells.
    fn waits(&self) -> Option<f64> {
        let told = |course: &Course| Some((course.features.idle_hot?.get(), course.features.print_length?.get()));
        let (idle, whole) =
            self.courses.iter().filter_map(told).fold((0.0, 0.0), |sum, of| (sum.0 + of.0, sum.1 + of.1));
        (whole > 0.0).then(|| (idle / whole).min(1.0))
    }
}

impl Asked<'_> {
    /// What the tool beside it holds, as somebody wrote it.
    pub(super) fn beside_name(&self) -> Option<&str> {
        self.beside.as_ref().map(|beside| &*beside.material)
    }

    /// Whether this is the tool beside it, with what that holds now.
    pub(super) fn is_beside(&self, other: &Self) -> bool {
        other.is_loaded && self.beside.as_ref().is_some_and(|beside| beside.tool == other.tool)
    }

    /// Its runs whose outcome is known, and those that failed in any way.
    pub(super) fn outcomes(&self, runs: &[Run]) -> (usize, usize) {
        let failures = |run: &Run| {
            let modes = crate::entry::Mode::ALL.iter().filter(|mode| crate::study::is_failure(**mode));
            modes.filter_map(|mode| run.happened(*mode)).collect::<Vec<_>>()
        };
        let told: Vec<Vec<bool>> = own(runs, &self.printer, self.tool, self.facts.kind).map(failures).collect();
        (told.iter().filter(|told| !told.is_empty()).count(), told.iter().filter(|told| told.contains(&true)).count())
    }

    /// What is known of each mode, and what it costs on this tool.
    pub(super) fn lessons<'t>(&self, taught: &'t [Taught<'_>], runs: &[Run]) -> Vec<Lesson<'t>> {
        let own: Vec<&Run> = own(runs, &self.printer, self.tool, self.facts.kind).collect();
        let length = self.print_length();
        let lesson = |taught: &'t Taught<'_>| {
            let told: Vec<bool> = own.iter().filter_map(|run| run.happened(taught.mode)).collect();
            Lesson {
                mode: taught.failure,
                learner: taught.learner,
                state: taught.state,
                loss: loss(taught, length),
                n: taught.n,
                events: taught.events,
                own_n: told.len(),
                own_events: told.iter().filter(|happened| **happened).count(),
            }
        };
        taught.iter().map(lesson).collect()
    }

    /// The middle of its prints by length.
    fn print_length(&self) -> Seconds {
        let mut lengths: Vec<f64> =
            self.courses.iter().filter_map(|course| course.features.print_length).map(Seconds::get).collect();
        lengths.sort_by(f64::total_cmp);
        let middle = lengths.get(lengths.len().saturating_sub(1) / 2);
        middle.map_or(Seconds::ZERO, |length| Seconds::new(*length))
    }

    pub(super) fn situation<'s>(&'s self, lessons: &'s [Lesson<'s>]) -> Situation<'s> {
        let fit = self.fit.as_ref();
        Situation {
            facts: self.facts,
            held: self.held,
            liner: self.liner,
            is_shared: self.is_shared,
            drive: None,
            times: Times {
                heater: fit.map_or(Heater::HOT_END, placed_heater),
                surroundings: fit.map_or(AMBIENT, |fit| fit.surroundings(fit.usual)),
                fit,
            },
            courses: &self.courses,
            tried: &self.tried,
            ages: Ages {
                liner_hours: self.standing.liner_hours,
                liner_wear: self.standing.liner_wear,
                liner_cycles: self.standing.liner_cycles,
                nozzle_hours: self.standing.nozzle_hours,
            },
            liner_outlook: self.liner_outlook.as_ref(),
            accepted: self.accepted,
            neighbour: self.beside.as_ref().map(|beside| Neighbour {
                facts: beside.facts,
                print: beside.print,
                liner: beside.liner,
                waits: beside.waits,
                situation: None,
            }),
            lessons,
        }
    }
}
