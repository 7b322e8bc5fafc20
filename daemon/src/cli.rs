//! The command line: what can be asked for, parsed. Owns names and help; each command's work stands in `commands`.

mod alarms;

pub use alarms::{AlarmAct, AlarmWord, Alarms};

use crate::entry::{Mode, Part, PartEvent, PartReason};
use crate::export::Format;
use clap::builder::{PossibleValuesParser, TypedValueParser};
use clap::{Args, Parser, Subcommand};
use std::ops::RangeInclusive;
use std::path::PathBuf;
use std::str::FromStr;

/// Watches the waiting nozzle of a two-nozzle printer and learns what its waiting costs.
///
/// Not a safety device. A printer left alone can start a fire: keep the firmware's own thermal protection on, a smoke
/// alarm above it, nothing flammable near.
#[derive(Debug, Parser)]
#[command(name = "dwellwatch", version)]
pub struct Cli {
    /// What to do.
    #[command(subcommand)]
    pub command: Command,
    /// Which record and configuration.
    #[command(flatten)]
    pub place: Place,
}

/// Where the configuration and the record are.
#[derive(Clone, Debug, Args)]
pub struct Place {
    /// Configuration file [default: dwellwatch.toml here, else the system's configuration folder].
    #[arg(long, global = true, value_name = "FILE")]
    pub config: Option<PathBuf>,
    /// Database; overrides the configured one.
    #[arg(long, global = true, value_name = "FILE")]
    pub db: Option<PathBuf>,
}

/// The commands.
#[derive(Debug, Subcommand)]
pub enum Command {
    /// Rehearse on this machine: a simulated printer, weeks of invented history, the real daemon and dashboard.
    Demo {
        /// Instead of running on, write the history's weekly report, journal and database into this folder.
        #[arg(long, value_name = "DIR")]
        once: Option<PathBuf>,
    },
    /// Watch the configured printers: the daemon.
    Run,
    /// Feed recorded journals through the same path as live polls, on the journal's own time.
    Replay {
        /// Journals, in order; `-` is stdin.
        #[arg(required = true, value_name = "JOURNAL")]
        journals: Vec<PathBuf>,
    },
    /// Write the record of a printer and period as a journal.
    Journal {
        /// Printer; every printer if left out.
        #[arg(long)]
        printer: Option<String>,
        /// From this RFC 3339 time on.
        #[arg(long, value_name = "TIME")]
        from: Option<String>,
        /// Before this RFC 3339 time.
        #[arg(long, value_name = "TIME")]
        to: Option<String>,
        /// File to write instead of stdout.
        #[arg(long, value_name = "FILE")]
        out: Option<PathBuf>,
    },
    /// Write the record as files for other programs: prints, idle spans, readings.
    Export(Export),
    /// Copy the database as of now, while the daemon runs.
    Backup {
        /// The copy; must not exist yet.
        file: PathBuf,
    },
    /// List prints, oldest first.
    Prints(Listing),
    /// List idle spans, in time order.
    Spans(Listing),
    /// List alarms, in the order they were raised, or do something about one.
    Alarms(Alarms),
    /// List part changes, in time order.
    Parts(Listing),
    /// Record what a print came to: a failure of one tool, or that nothing went wrong.
    Note(Note),
    /// Record that a part was fitted or removed, now.
    Part(PartNote),
    /// Check the configuration, poll every printer once and show what is understood, field by field.
    Check,
    /// Make the configuration's line of a password that opens the dashboard from elsewhere; asks for it, or reads a line.
    Password,
    /// Ask a host what it has, look on for a while, and propose the printer's section of the configuration.
    Discover(Discover),
    /// What the record says about each failure mode.
    Learn {
        /// One JSON document.
        #[arg(long, conflicts_with = "predictions")]
        json: bool,
        /// One JSON line a tool-run and mode, each made only from what was recorded before that print began.
        #[arg(long)]
        predictions: bool,
    },
    /// Changes worth a try, with what each would do, what it costs and how sure that is.
    Advise {
        /// One JSON document.
        #[arg(long)]
        json: bool,
    },
    /// Take up a suggestion: its prints are watched from the next one on.
    Adopt {
        /// The suggestion, as `advise` names it.
        id: String,
    },
    /// Do without a suggestion, or give its trial up.
    Decline {
        /// The suggestion, as `advise` names it.
        id: String,
        /// Why, in your words.
        #[arg(long, value_name = "TEXT")]
        reason: Option<String>,
    },
    /// What became of what was adopted, print by print, and what the next print is to have.
    Review {
        /// One JSON document.
        #[arg(long)]
        json: bool,
    },
    /// Read a job file before it is printed, and say what it will ask of the tool that waits.
    Preflight {
        /// The job file, as text or packed.
        file: PathBuf,
        /// The printer that is to run it; may be left out if only one is known.
        #[arg(long, value_name = "NAME")]
        printer: Option<String>,
        /// One JSON document.
        #[arg(long)]
        json: bool,
    },
    /// Write a copy of a job file whose idle tools cool, and are hot again when their turn comes.
    Heatplan(HeatplanAsked),
    /// The failure report of a week, or of any other days.
    Report(ReportAsked),
}

/// What a report is of, and how it is written.
#[derive(Debug, clap::Args)]
pub struct ReportAsked {
    /// ISO 8601 week, like 2026-W09 [default: the week of the newest reading].
    #[arg(long, value_name = "WEEK", conflicts_with_all = ["from", "to"])]
    pub week: Option<String>,
    /// First day, like 2026-03-01, instead of a week.
    #[arg(long, value_name = "DATE", requires = "to")]
    pub from: Option<String>,
    /// Last day; it counts too.
    #[arg(long, value_name = "DATE", requires = "from")]
    pub to: Option<String>,
    /// How to write it.
    #[arg(long, value_enum, default_value_t = ReportFormat::Text)]
    pub format: ReportFormat,
    /// IANA time zone [default: the configured one, else UTC].
    #[arg(long, value_name = "ZONE")]
    pub zone: Option<String>,
    /// File to write instead of stdout.
    #[arg(long, value_name = "FILE")]
    pub out: Option<PathBuf>,
}

/// A job file, and how its idle tools are to cool.
#[derive(Clone, Debug, Args)]
pub struct HeatplanAsked {
    /// The job file, as text. It is only read.
    pub file: PathBuf,
    /// The copy to write; must not exist yet.
    #[arg(short, long, value_name = "FILE")]
    pub out: PathBuf,
    /// The printer that is to run it; may be left out if only one is known.
    #[arg(long, value_name = "NAME")]
    pub printer: Option<String>,
    /// Temperature that every waiting tool cools to, °C [default: the settings in force, else what its material does not
    /// flow at].
    #[arg(long, value_name = "C", value_parser = temperature)]
    pub standby: Option<f64>,
    /// How often a tool is to be hot in time, 0.5 to 0.999.
    #[arg(long, value_name = "SHARE", default_value_t = 0.95, value_parser = certainty)]
    pub certainty: f64,
    /// One JSON document.
    #[arg(long)]
    pub json: bool,
    /// Instead, take a plan's lines out again: FILE is a planned copy, the original is written.
    #[arg(long, conflicts_with_all = ["printer", "standby", "certainty", "json"])]
    pub strip: bool,
}

/// A host, and how to look at it.
#[derive(Clone, Debug, Args)]
pub struct Discover {
    /// Where the host is, or its documents.
    #[arg(required = true, value_name = "URL")]
    pub urls: Vec<String>,
    /// Look on for so many seconds; 0 is one look. More is seen while the printer works.
    #[arg(long, value_name = "SECONDS", default_value_t = 20, value_parser = clap::value_parser!(u64).range(0..=3600))]
    pub watch: u64,
    /// What you know already, as KEY=VALUE: name, `hot_end`, tool.N, bed, `active_tool`, state, `job_name`, fraction,
    /// byte, time, word.TEXT.
    #[arg(long = "answer", value_name = "KEY=VALUE")]
    pub answers: Vec<String>,
    /// The printer's name.
    #[arg(long)]
    pub name: Option<String>,
    /// Sent with each request to every URL, as `Name: env:VARIABLE` or `Name: file:PATH`; `Authorization: bearer env:…`
    /// and `Authorization: basic env:…` (the variable holds `user:password`) put it into that form.
    #[arg(long = "header", value_name = "HEADER")]
    pub headers: Vec<String>,
    /// Added to each address' query, as `name=env:VARIABLE` or `name=file:PATH`.
    #[arg(long = "query", value_name = "PAIR")]
    pub query: Vec<String>,
    /// Certificates to trust besides the machine's own, PEM.
    #[arg(long, value_name = "FILE")]
    pub authority_file: Option<PathBuf>,
    /// File to write instead of stdout; must not exist yet.
    #[arg(long, value_name = "FILE")]
    pub out: Option<PathBuf>,
}

/// What is exported, and where to.
#[derive(Clone, Debug, Args)]
pub struct Export {
    /// The files' form.
    #[arg(long, value_enum)]
    pub format: Format,
    /// The folder to write into; must be new or empty.
    #[arg(long, value_name = "DIR")]
    pub out: PathBuf,
    /// Printer; every printer if left out.
    #[arg(long, value_name = "NAME")]
    pub printer: Option<String>,
    /// From this RFC 3339 time on.
    #[arg(long, value_name = "TIME")]
    pub from: Option<String>,
    /// Before this RFC 3339 time.
    #[arg(long, value_name = "TIME")]
    pub to: Option<String>,
}

/// What a list shows, and how.
#[derive(Clone, Debug, Args)]
pub struct Listing {
    /// Printer; every printer if left out.
    #[arg(long, value_name = "NAME")]
    pub printer: Option<String>,
    /// From this RFC 3339 time on.
    #[arg(long, value_name = "TIME")]
    pub from: Option<String>,
    /// Before this RFC 3339 time.
    #[arg(long, value_name = "TIME")]
    pub to: Option<String>,
    /// At most so many, the newest.
    #[arg(long, value_name = "N", value_parser = clap::value_parser!(u32).range(1..))]
    pub limit: Option<u32>,
    /// One JSON document instead of a table.
    #[arg(long)]
    pub json: bool,
}

/// An outcome, as a person says it.
#[derive(Clone, Debug, Args)]
pub struct Note {
    /// The print: its number, or `latest` for the newest that has ended.
    #[arg(long, value_name = "latest|ID")]
    pub print: WhichPrint,
    /// The printer whose newest print is meant.
    #[arg(long, value_name = "NAME")]
    pub printer: Option<String>,
    /// The tool that failed, from 0.
    #[arg(long, value_name = "N", value_parser = clap::value_parser!(u8).range(0..16))]
    pub tool: Option<u8>,
    /// What happened.
    #[arg(long, value_parser = words(Mode::ALL, Mode::word), required_unless_present_any = ["clean", "undo"])]
    pub mode: Option<Mode>,
    /// How bad: 1 a blemish, 2 the part is spoilt, 3 the printer is down.
    #[arg(long, value_name = "1..3", value_parser = clap::value_parser!(i64).range(1..=3))]
    pub severity: Option<i64>,
    /// Nothing went wrong.
    #[arg(long, conflicts_with_all = ["mode", "severity"])]
    pub clean: bool,
    /// Takes back the newest word that stands, of the tool if one is named; what stood before it stands again.
    #[arg(long, conflicts_with_all = ["mode", "severity", "clean", "note"])]
    pub undo: bool,
    /// In your words.
    #[arg(long, value_name = "TEXT")]
    pub note: Option<String>,
}

/// A part change, as a person says it.
#[derive(Clone, Debug, Args)]
pub struct PartNote {
    /// What happened to it.
    #[arg(value_parser = words(PartEvent::ALL, PartEvent::word))]
    pub event: PartEvent,
    /// Printer; may be left out if only one is known.
    #[arg(long, value_name = "NAME")]
    pub printer: Option<String>,
    /// The tool, from 0.
    #[arg(long, value_name = "N", value_parser = clap::value_parser!(u8).range(0..16))]
    pub tool: u8,
    /// The part.
    #[arg(long, value_parser = words(Part::ALL, Part::word))]
    pub part: Part,
    /// Why.
    #[arg(long, value_parser = words(PartReason::ALL, PartReason::word))]
    pub reason: Option<PartReason>,
    /// In your words.
    #[arg(long, value_name = "TEXT")]
    pub note: Option<String>,
}

/// The forms of the report.
#[derive(Clone, Copy, Debug, PartialEq, Eq, clap::ValueEnum)]
pub enum ReportFormat {
    /// One page, with its charts inside.
    Html,
    /// The same for mail programs: tables instead of drawings.
    Mail,
    /// Plain text.
    Text,
    /// Every number of the page.
    Json,
}

/// Which print is meant.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum WhichPrint {
    /// The newest that has ended.
    Latest,
    /// The one of this number.
    Id(i64),
}

impl FromStr for WhichPrint {
    type Err = &'static str;

    fn from_str(text: &str) -> Result<Self, Self::Err> {
        if text == "latest" {
            return Ok(Self::Latest);
        }
        text.parse().map(Self::Id).map_err(|_| "`latest` or a print's number, as `prints` lists it, would be right")
    }
}

fn temperature(text: &str) -> Result<f64, &'static str> {
    within(text, 0.0..=500.0).ok_or("a temperature from 0 to 500 °C would be right")
}

fn certainty(text: &str) -> Result<f64, &'static str> {
    within(text, 0.5..=0.999).ok_or("a share from 0.5 to 0.999 would be right, such as 0.95")
}

fn within(text: &str, range: RangeInclusive<f64>) -> Option<f64> {
    text.parse().ok().filter(|value| range.contains(value))
}

/// Reads a value of a list by its word, and shows the words in the help and in the message for another one.
fn words<T>(all: &'static [T], word: fn(T) -> &'static str) -> impl TypedValueParser<Value = T>
where
    T: Copy + Send + Sync + 'static,
{
    PossibleValuesParser::new(all.iter().map(|value| word(*value))).try_map(move |found| {
        all.iter().copied().find(|value| word(*value) == found).ok_or("one of the words listed would be right")
    })
}
