//! What a job file comes to: the whole job, each tool, each visit and each wait. Owns these shapes; every figure is an
//! expectation from the file and the machine's limits, and `None` is what the file does not tell.

use super::fault::LineFault;
use crate::entry::{FileTool, FileTurn, JobFile, JobFileFrom, Settings, ToolNumber};
use dwell_analysis::idle::SpanMeasure;
use dwell_analysis::risk::Restarts;
use dwell_analysis::time::Timestamp;
use dwell_analysis::units::{Celsius, CubicMm, DoseMinutes, Millimetres, Seconds};
use std::sync::Arc;

/// A job file, read to its end. Times count from the file's beginning.
#[derive(Clone, Debug, PartialEq)]
pub struct JobOutline {
    /// Length of the unpacked text.
    pub bytes: u64,
    /// Lines of it.
    pub lines: u64,
    /// Lines of which something was understood; none means that it is no job file.
    pub commands: u64,
    /// When the first filament is laid; `None` if none is.
    pub begins: Option<Seconds>,
    /// When it ends.
    pub ends: Seconds,
    /// Time of that spent on waiting for heat, standing still for it.
    pub heating: Seconds,
    /// Heights at which filament is laid, on level ways; at most so many are told apart.
    pub layers: u32,
    /// Time of its moves from the first filament on, at the printer's pace.
    pub moving: Seconds,
    /// The same by the file and the machine's limits alone.
    pub moving_by_file: Seconds,
    /// Turns of the tools, in order; the first so many of them.
    pub visits: Vec<Visit>,
    /// Turns that came after those.
    pub visits_left_out: u64,
    /// Waits of heated tools after the first filament was laid, by their beginning; the first so many of them.
    pub waits: Vec<Wait>,
    /// One a tool that the file names, T0 first.
    pub tools: Vec<ToolOutline>,
    /// How often the axes seek their origin: its time is not known and not counted.
    pub homings: u32,
    /// How often it waits for a person: its time is not counted.
    pub pauses: u32,
    /// How often it waits for the chamber: its time is not known and not counted.
    pub chamber_waits: u32,
    /// What was not read.
    pub unread: Unread,
}

/// A turn of a tool.
#[derive(Clone, Debug, PartialEq)]
pub struct Visit {
    /// Which tool.
    pub tool: ToolNumber,
    /// First byte of the line that calls it to work.
    pub byte: u64,
    /// When it is called.
    pub began: Seconds,
    /// When the next one is called, or the job ends.
    pub ended: Seconds,
    /// Filament laid.
    pub extruded: CubicMm,
    /// What is extruded first and thrown away.
    pub purge: Purge,
    /// Where the melt stands when it is first pushed; `None` if nothing is.
    pub restart: Option<Restart>,
    /// Lowest set point given to it from its last extrusion on, until it is called again or the job ends; `None` is no
    /// command.
    pub standby: Option<Celsius>,
    /// Whether it was left for another tool without a lower set point by then or soon after; `None` if it was not left.
    pub left_hot: Option<bool>,
    /// How often filament is drawn back within it.
    pub n_retractions: u32,
    /// The length most often drawn back within it.
    pub retract: Option<Millimetres>,
}

/// What a tool extrudes after a change before it goes to the part.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Purge {
    /// How much, beyond what had been drawn back.
    pub volume: CubicMm,
    /// Where; `None` if nothing is.
    pub place: Option<PurgePlace>,
}

/// Where a tool purges.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum PurgePlace {
    /// Standing still at X, Y, mm.
    Spot([f64; 2]),
    /// Within a box of least X, Y and greatest X, Y, mm, that every tool purges into.
    Tower([[f64; 2]; 2]),
}

/// A tool's first push of filament in a visit.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Restart {
    /// When.
    pub at: Seconds,
    /// The set point then; `None` if the file has given none.
    pub target: Option<Celsius>,
    /// The temperature to be expected then.
    pub expected: Celsius,
    /// How long the job stood still for this tool's heat since it was called, or for it just before.
    pub waited: Seconds,
    /// How long before this push its heat was last raised; `None` if it was not since the visit before.
    pub raised_ahead: Option<Seconds>,
}

/// A heated tool's time away from work.
#[derive(Clone, Debug, PartialEq)]
pub struct Wait {
    /// Which tool.
    pub tool: ToolNumber,
    /// When it begins.
    pub began: Seconds,
    /// When it ends.
    pub ended: Seconds,
    /// What it is expected to come to.
    pub measure: SpanMeasure,
    /// Dose of the melt at its end, with what it had before.
    pub dose: DoseMinutes,
    /// The set point in force longest within it.
    pub target: Option<Celsius>,
    /// Whether the tool works again afterwards.
    pub is_followed: bool,
}

/// One tool over the whole job.
#[derive(Clone, Debug, PartialEq)]
pub struct ToolOutline {
    /// Which.
    pub tool: ToolNumber,
    /// Turns at work.
    pub visits: u32,
    /// Filament used, what was only drawn back and forth not counted.
    pub filament: Millimetres,
    /// Heights at which it lays filament.
    pub layers: u32,
    /// The set point under which it laid most filament.
    pub print: Option<Celsius>,
    /// The highest set point given to it.
    pub target_max: Option<Celsius>,
    /// Set points given to it for the time away from work.
    pub standby: Spread,
    /// How often it was left for another tool, and how often of these without a lower set point until it was called
    /// again.
    pub left: u32,
    /// See `left`.
    pub left_hot: u32,
    /// Retractions.
    pub retractions: Retractions,
    /// Volumes purged after a change to it, mm3.
    pub purge: Spread,
    /// Of these, pushed out standing still, mm3: what is laid is taken for a purge by its place alone.
    pub pushed: Spread,
    /// Temperatures expected at the first push of a visit, °C.
    pub restart: Spread,
    /// Number of waits, their whole length, and the longest.
    pub waits: u32,
    /// All of them together.
    pub waited: Seconds,
    /// The longest one's length.
    pub waited_max: Seconds,
    /// When the longest one begins.
    pub waited_max_at: Option<Seconds>,
    /// The highest dose that its melt reaches.
    pub dose_max: DoseMinutes,
    /// The highest dose that one wait takes.
    pub wait_dose_max: DoseMinutes,
    /// Dose of all waits.
    pub dose_sum: DoseMinutes,
    /// What the waits come to that a turn ends.
    pub restarts: Restarts,
    /// The coldest that it is expected to be when a turn ends one of its waits; `None` if none does.
    pub called_min: Option<Celsius>,
    /// Dose of its stagnant melt at the end, of what it takes in this job alone.
    pub stagnant: DoseMinutes,
    /// Time-weighted mean temperature and highest temperature of its waits.
    pub wait_mean: Option<Celsius>,
    /// See `wait_mean`.
    pub wait_max: Option<Celsius>,
    /// Melt expected to leave it while it waits.
    pub ooze: CubicMm,
}

/// How a tool's filament is drawn back over the whole job.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Retractions {
    /// How often.
    pub n: u64,
    /// Length, mm.
    pub length: Spread,
    /// Speed, mm/s.
    pub speed: Spread,
    /// Pushed beyond what had been drawn back, mm.
    pub extra: Spread,
    /// How often by the machine itself, by a length that the file does not tell.
    pub untold: u64,
    /// A metre of filament used; `None` where less than a metre is.
    pub per_metre: Option<f64>,
    /// The most that any one spot of the filament is drawn back past the drive.
    pub on_one_spot: u32,
}

/// How a figure is spread over a job.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Spread {
    /// How many.
    pub n: u64,
    /// The least, most common and greatest; `None` without any. The most common is to a hundredth.
    pub min: Option<f64>,
    /// See `min`.
    pub mode: Option<f64>,
    /// See `min`.
    pub max: Option<f64>,
    /// Share of the most common, 0 to 1.
    pub mode_share: Option<f64>,
    /// Mean.
    pub mean: Option<f64>,
}

/// What of a file was not understood. Every kind is bounded; what comes after its bound is counted as other.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Unread {
    /// Codes that are not known, as written (`M900`), and how often.
    pub codes: Vec<(String, u64)>,
    /// Names of macros, and how often. What they do stands elsewhere.
    pub macros: Vec<(String, u64)>,
    /// Faults of lines: what, how often, and the number of the first such line.
    pub faults: Vec<(LineFault, u64, u64)>,
    /// Codes, macros and faults beyond the bounds.
    pub other: u64,
    /// Commands to a tool numbered beyond the most that a printer may have.
    pub tool_out_of_range: u64,
}

impl JobOutline {
    /// What of it is kept with the print that runs it. `None` if it lays no filament.
    #[must_use]
    pub fn job_file(&self, at: Timestamp, name: Arc<str>, started: Timestamp, from: JobFileFrom) -> Option<JobFile> {
        let begins = self.begins?;
        // Where a tool was called that no printer has, nobody knows whose turn it is.
        let is_sound = self.unread.tool_out_of_range == 0;
        let turn = |visit: &Visit| FileTurn { tool: visit.tool, byte: visit.byte, at: visit.began - begins };
        Some(JobFile {
            at,
            name,
            started,
            from,
            bytes: self.bytes,
            expected: self.ends - begins,
            turns: self.visits.iter().filter(|_| is_sound).map(turn).collect(),
            tools: self.tools.iter().map(ToolOutline::file_tool).collect(),
        })
    }
}

impl ToolOutline {
    /// The settings that the file is known to ask for; most common values, for a setting is one number.
    #[must_use]
    pub fn settings(&self) -> Settings {
        Settings {
            print: self.print,
            standby: self.standby.mode.map(Celsius::new),
            retract: self.retractions.length.mode.map(Millimetres::new),
            retract_mm_s: self.retractions.speed.mode,
            prime: self.pushed.mode.filter(|volume| *volume > 0.0).map(CubicMm::new),
            ..Settings::default()
        }
    }

    fn file_tool(&self) -> FileTool {
        FileTool { tool: self.tool, settings: self.settings(), left: self.left, left_hot: self.left_hot }
    }
}
