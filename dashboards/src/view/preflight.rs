//! The view of *Preflight*: what a job file will ask of each tool, and what stands out. Times count from the file's
//! beginning; on a lane that is [`JOB_BEGINS`].

use super::report::RateInterval;
use super::{Frame, LanePiece};
use dwell_analysis::time::Timestamp;
use dwell_analysis::units::{Celsius, CubicMm, DoseMinutes, Millimetres, Seconds};

/// Where a job that has not begun stands on a lane's time.
pub const JOB_BEGINS: Timestamp = Timestamp::from_ms(0);

/// The page: its form, and what came of it.
#[derive(Clone, Debug)]
pub struct PreflightPage {
    /// Zone, week and rehearsal.
    pub frame: Frame,
    /// The form to send a job file.
    pub form: PreflightForm,
    /// What came of it.
    pub came: PreflightCame,
}

/// What the form needs.
#[derive(Clone, Debug)]
pub struct PreflightForm {
    /// Proves that the form came from a page of this daemon.
    pub token: String,
    /// Printers to choose from.
    pub printers: Vec<String>,
    /// The one chosen before.
    pub chosen: Option<String>,
    /// The largest file that is taken, bytes.
    pub bytes_max: u64,
}

/// What came of a job file.
#[derive(Clone, Debug)]
pub enum PreflightCame {
    /// None was sent.
    Nothing,
    /// It could not be read, for that reason.
    Refused(String),
    /// It was read.
    Read(Box<PreflightView>),
}

/// A job file, read and judged.
#[derive(Clone, Debug)]
pub struct PreflightView {
    /// Its name.
    pub file: String,
    /// The printer that it is judged for; `None` is any.
    pub printer: Option<String>,
    /// Length of the unpacked text.
    pub bytes: u64,
    /// Lines of it.
    pub lines: u64,
    /// Heights at which filament is laid.
    pub layers: u32,
    /// When the first filament is laid; `None` if none is.
    pub begins: Option<Seconds>,
    /// When it ends.
    pub ends: Seconds,
    /// Of that, standing still for heat.
    pub heating: Seconds,
    /// Time of its moves from the first filament on, at the pace that all times are expected at.
    pub moving: Seconds,
    /// The same by the file and the printer's limits alone.
    pub moving_by_file: Seconds,
    /// Real time of motion as a factor of the file's, which all times are expected at; or why it is not known, and 1.
    pub pace: Result<Pace, String>,
    /// One a tool that the file names, T0 first.
    pub tools: Vec<ToolAhead>,
    /// By failure mode, then by tool.
    pub risks: Vec<RiskAhead>,
    /// The gravest first.
    pub findings: Vec<FindingView>,
    /// Turns of the tools, in order; the first so many of them.
    pub visits: Vec<VisitAhead>,
    /// Turns that came after those.
    pub visits_left_out: u64,
    /// What was not read.
    pub unread: UnreadView,
}

/// Real time of motion as a factor of what files lead to expect, a 90 % interval.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Pace {
    /// Lower end.
    pub low: f64,
    /// The factor.
    pub value: f64,
    /// Upper end.
    pub high: f64,
    /// From so many prints.
    pub n: usize,
}

/// How a figure is spread over the job.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct SpreadView {
    /// How many.
    pub n: u64,
    /// Least; `None` without any.
    pub min: Option<f64>,
    /// Most common.
    pub mode: Option<f64>,
    /// Share of the most common, 0 to 1.
    pub mode_share: Option<f64>,
    /// Mean.
    pub mean: Option<f64>,
    /// Greatest.
    pub max: Option<f64>,
}

/// One tool over the job.
#[derive(Clone, Debug)]
pub struct ToolAhead {
    /// Its number, from 0.
    pub number: usize,
    /// What it holds, as people wrote it; `None` is not told, and the figures of PLA count.
    pub material: Option<String>,
    /// Of how many coolings and heatings its heater was fitted; `None` is a typical heater.
    pub heater_fitted: Option<usize>,
    /// Turns at work.
    pub visits: u32,
    /// Heights at which it lays filament.
    pub layers: u32,
    /// Filament used.
    pub filament: Millimetres,
    /// The set point under which it lays most filament.
    pub print: Option<Celsius>,
    /// The highest set point given to it.
    pub target_max: Option<Celsius>,
    /// Set points given for the time away from work, °C.
    pub standby: SpreadView,
    /// How often it is switched off for that time.
    pub switched_off: u32,
    /// Times it is left for another tool, and those without a lower set point.
    pub left: u32,
    /// See `left`.
    pub left_hot: u32,
    /// Waits hot, after the first filament.
    pub waits: Waits,
    /// The highest dose that its melt reaches.
    pub dose_max: DoseMinutes,
    /// The material's residence limit.
    pub limit: DoseMinutes,
    /// Melt expected to leave it while it waits.
    pub ooze: CubicMm,
    /// How its filament is drawn back.
    pub retractions: RetractionsAhead,
    /// Volumes purged after a change to it, mm³.
    pub purge: SpreadView,
    /// Where it purges first; `None` if it does not.
    pub purge_place: Option<PurgeSpot>,
    /// Temperatures expected at the first push of a visit, °C.
    pub restart: SpreadView,
    /// From the first filament to the job's end.
    pub lane: Vec<LanePiece>,
}

/// A tool's waits.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Waits {
    /// How many.
    pub n: u32,
    /// All together.
    pub total: Seconds,
    /// The longest.
    pub longest: Seconds,
    /// When that begins.
    pub longest_at: Option<Seconds>,
    /// Time-weighted mean temperature; `None` without a wait.
    pub mean: Option<Celsius>,
    /// Highest temperature.
    pub max: Option<Celsius>,
}

/// How a tool's filament is drawn back.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct RetractionsAhead {
    /// How often.
    pub n: u64,
    /// Length, mm.
    pub length: SpreadView,
    /// Speed, mm/s.
    pub speed: SpreadView,
    /// Pushed beyond what had been drawn back, mm.
    pub extra: SpreadView,
    /// How often by a length that the file does not tell.
    pub untold: u64,
    /// A metre of filament used; `None` where less than a metre is.
    pub per_metre: Option<f64>,
    /// The most that one spot of the filament is drawn back past the drive.
    pub on_one_spot: u32,
}

/// The risk of one failure mode on one tool.
#[derive(Clone, Debug)]
pub struct RiskAhead {
    /// The tool's number, from 0.
    pub tool: usize,
    /// The mode's word.
    pub mode: &'static str,
    /// `learned`, `leaning` or `too_little`.
    pub state: &'static str,
    /// Tool-runs with a known outcome.
    pub n: usize,
    /// Those in which it happened.
    pub events: usize,
    /// The probability, or why there is none.
    pub probability: Result<RateInterval, String>,
}

/// Something that stands out.
#[derive(Clone, Debug, PartialEq)]
pub struct FindingView {
    /// Its word.
    pub id: &'static str,
    /// `grave`, `look` or `note`.
    pub gravity: &'static str,
    /// The tool's number, from 0; `None` is the job as a whole.
    pub tool: Option<usize>,
    /// What was found.
    pub cause: String,
    /// What it leads to.
    pub consequence: String,
    /// What to do.
    pub action: String,
    /// So many.
    pub n: Option<u64>,
    /// Of so many.
    pub of: Option<u64>,
    /// When it is at worst.
    pub at: Option<Seconds>,
    /// First byte of that line.
    pub byte: Option<u64>,
}

/// A turn of a tool.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct VisitAhead {
    /// The tool's number, from 0.
    pub tool: usize,
    /// First byte of the line that calls it.
    pub byte: u64,
    /// When it is called.
    pub began: Seconds,
    /// When the next one is, or the job ends.
    pub ended: Seconds,
    /// Filament laid.
    pub extruded: CubicMm,
    /// Purged first.
    pub purge: CubicMm,
    /// Where; `None` if nothing is.
    pub purge_place: Option<PurgeSpot>,
    /// How often filament is drawn back within it.
    pub n_retractions: u32,
    /// The length most often drawn back within it.
    pub retract: Option<Millimetres>,
    /// Where its melt stands when it is first pushed; `None` if nothing is.
    pub restart: Option<RestartAhead>,
    /// Lowest set point given until it is called again; `None` is no command.
    pub standby: Option<Celsius>,
}

/// Where a tool purges.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum PurgeSpot {
    /// Standing still at X, Y, mm.
    Spot([f64; 2]),
    /// Within a box of least X, Y and greatest X, Y, mm: taken for a purge by its place.
    Box([[f64; 2]; 2]),
}

/// A tool's first push of filament in a visit.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct RestartAhead {
    /// When.
    pub at: Seconds,
    /// The set point then.
    pub target: Option<Celsius>,
    /// The temperature to be expected then.
    pub expected: Celsius,
    /// How long the job stood still for its heat.
    pub waited: Seconds,
}

/// What of a file was not read.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct UnreadView {
    /// Codes that are not known, and how often.
    pub codes: Vec<(String, u64)>,
    /// Names of macros, and how often.
    pub macros: Vec<(String, u64)>,
    /// What is wrong with lines, how often, and the first such line.
    pub faults: Vec<(String, u64, u64)>,
    /// Too many kinds to be listed.
    pub other: u64,
    /// Commands to tools that no printer may have.
    pub tool_out_of_range: u64,
}

impl PreflightView {
    /// Expected time from the first filament to the end; `None` if none is laid.
    #[must_use]
    pub fn expected(&self) -> Option<Seconds> {
        self.begins.map(|begins| self.ends - begins)
    }

    /// The same by the file and the printer's limits alone.
    #[must_use]
    pub fn expected_by_file(&self) -> Option<Seconds> {
        self.expected_at(1.0)
    }

    /// The same if motion takes that many times what the file leads to expect; waits and dwells take what they take.
    #[must_use]
    pub fn expected_at(&self, factor: f64) -> Option<Seconds> {
        self.expected().map(|expected| expected - self.moving + Seconds::new(self.moving_by_file.get() * factor))
    }
}
