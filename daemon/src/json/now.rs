//! Each printer as of its newest reading.

use super::Instant;
use dwell_analysis::units::{Celsius, Seconds};
use dwell_dashboards::view::{AlarmView, Contact, DoingNow, JobNow, NowView, PrinterNow, ToolNowView};
use schemars::JsonSchema;
use serde::Serialize;

/// What is known now: every printer, the alarms that are open, and what is wrong with the polls.
#[derive(Serialize, JsonSchema)]
#[schemars(rename = "Now")]
pub(crate) struct NowJson {
    /// Absent before anything was recorded.
    #[serde(skip_serializing_if = "Option::is_none")]
    at: Option<Instant>,
    /// Moves after every change of the record.
    revision: u64,
    printers: Vec<PrinterNowJson>,
    /// Alarms that stand, and those of the last 2 h that nobody has acknowledged yet.
    alarms: Vec<OpenAlarmJson>,
    /// How many more returned longer ago and nobody has acknowledged yet; `/api/alarms` has them.
    unseen: u32,
    troubles: Vec<TroubleJson>,
    /// Since when the disk takes nothing and readings wait in memory; absent while they are written.
    #[serde(skip_serializing_if = "Option::is_none")]
    unwritten_since: Option<Instant>,
}

/// A printer as of its newest reading.
#[derive(Serialize, JsonSchema)]
#[schemars(rename = "PrinterNow")]
pub(crate) struct PrinterNowJson {
    printer: String,
    hot_end: &'static str,
    /// `in_contact`, `silent` (no reading for more than 20 s) or `never` (none yet).
    contact: &'static str,
    /// Since when it is in contact.
    #[serde(skip_serializing_if = "Option::is_none")]
    contact_since: Option<Instant>,
    #[serde(skip_serializing_if = "Option::is_none")]
    newest_reading: Option<Instant>,
    /// How far the host's clock is ahead of ours; negative is behind.
    #[serde(skip_serializing_if = "Option::is_none")]
    host_clock_ahead_s: Option<f64>,
    #[serde(skip_serializing_if = "Option::is_none")]
    job: Option<JobNowJson>,
    tools: Vec<ToolNowJson>,
    alarms_standing: StandingJson,
}

/// What the host said of its job.
#[derive(Serialize, JsonSchema)]
#[schemars(rename = "JobNow")]
struct JobNowJson {
    state: &'static str,
    #[serde(skip_serializing_if = "Option::is_none")]
    name: Option<String>,
    /// 0 to 1.
    #[serde(skip_serializing_if = "Option::is_none")]
    fraction: Option<f64>,
    /// When the print that runs began.
    #[serde(skip_serializing_if = "Option::is_none")]
    started: Option<Instant>,
}

/// A tool as of the newest reading.
#[derive(Serialize, JsonSchema)]
#[schemars(rename = "ToolNow")]
struct ToolNowJson {
    tool: usize,
    #[serde(skip_serializing_if = "Option::is_none")]
    material: Option<String>,
    /// `working`, `waiting`, `cold` or `unknown`.
    doing: &'static str,
    /// Why it waits: `in_print`, `paused` or `no_print`.
    #[serde(skip_serializing_if = "Option::is_none")]
    context: Option<&'static str>,
    #[serde(skip_serializing_if = "Option::is_none")]
    since: Option<Instant>,
    /// How long it has waited in contact.
    #[serde(skip_serializing_if = "Option::is_none")]
    idle_s: Option<f64>,
    #[serde(skip_serializing_if = "Option::is_none")]
    actual_c: Option<f64>,
    #[serde(skip_serializing_if = "Option::is_none")]
    target_c: Option<f64>,
    /// Dose of the melt in the nozzle, equivalent minutes.
    dose_min: f64,
    /// The material's residence limit, equivalent minutes.
    limit_min: f64,
    /// Time until the dose reaches the limit at the present temperature.
    #[serde(skip_serializing_if = "Option::is_none")]
    time_left_s: Option<f64>,
}

/// How many alarms of a printer stand, by priority.
#[derive(Serialize, JsonSchema)]
#[schemars(rename = "Standing")]
struct StandingJson {
    high: usize,
    medium: usize,
    low: usize,
}

/// An alarm that is open.
#[derive(Serialize, JsonSchema)]
#[schemars(rename = "OpenAlarm")]
struct OpenAlarmJson {
    /// Absent while it waits in memory to be written.
    #[serde(skip_serializing_if = "Option::is_none")]
    id: Option<i64>,
    #[serde(skip_serializing_if = "Option::is_none")]
    printer: Option<String>,
    #[serde(skip_serializing_if = "Option::is_none")]
    tool: Option<usize>,
    rule: &'static str,
    priority: &'static str,
    state: &'static str,
    raised: Instant,
    /// Null while its condition stands.
    returned: Option<Instant>,
    cause: String,
    action: String,
}

/// Something that is wrong with a printer's polls; readings may come all the same.
#[derive(Serialize, JsonSchema)]
#[schemars(rename = "Trouble")]
struct TroubleJson {
    printer: String,
    since: Instant,
    cause: String,
}

impl From<&NowView> for NowJson {
    fn from(view: &NowView) -> Self {
        let troubles = view.printers.iter().flat_map(|printer| {
            let told = |cause: String, since| TroubleJson { printer: printer.name.clone(), since, cause };
            printer.troubles.iter().map(move |trouble| told(trouble.cause.clone(), trouble.since.into()))
        });
        Self {
            at: view.at.map(Instant::from),
            revision: view.revision,
            printers: printers(view),
            alarms: view.alarms.iter().filter(|alarm| alarm.state != "normal").map(OpenAlarmJson::from).collect(),
            unseen: view.n_unseen,
            troubles: troubles.collect(),
            unwritten_since: view.unwritten.as_ref().and_then(|unwritten| unwritten.since).map(Instant::from),
        }
    }
}

/// Every printer, in the order of the configuration.
pub(crate) fn printers(view: &NowView) -> Vec<PrinterNowJson> {
    view.printers.iter().map(|printer| of_printer(printer, &view.alarms)).collect()
}

impl PrinterNowJson {
    /// The same without the job's name, which may be of any length.
    pub(crate) fn without_name(mut self) -> Self {
        if let Some(job) = &mut self.job {
            job.name = None;
        }
        self
    }
}

fn of_printer(printer: &PrinterNow, alarms: &[AlarmView]) -> PrinterNowJson {
    let (contact, since, newest) = match printer.contact {
        Contact::In { since, newest } => ("in_contact", Some(since), Some(newest)),
        Contact::Silent { since } => ("silent", None, Some(since)),
        Contact::Never => ("never", None, None),
    };
    let mine =
        alarms.iter().filter(|alarm| alarm.returned.is_none() && alarm.printer.as_deref() == Some(&printer.name));
    let standing = |priority: &str| mine.clone().filter(|alarm| alarm.priority == priority).count();
    PrinterNowJson {
        printer: printer.name.clone(),
        hot_end: printer.hot_end,
        contact,
        contact_since: since.map(Instant::from),
        newest_reading: newest.map(Instant::from),
        host_clock_ahead_s: printer.host_clock.map(|clock| clock.ahead.get()),
        job: printer.job.as_ref().map(JobNowJson::from),
        tools: printer.tools.iter().map(ToolNowJson::from).collect(),
        alarms_standing: StandingJson { high: standing("high"), medium: standing("medium"), low: standing("low") },
    }
}

impl From<&JobNow> for JobNowJson {
    fn from(job: &JobNow) -> Self {
        Self {
            state: job.state,
            name: job.name.clone(),
            fraction: job.fraction,
            started: job.started.map(Instant::from),
        }
    }
}

impl From<&ToolNowView> for ToolNowJson {
    fn from(tool: &ToolNowView) -> Self {
        let (doing, context, since, idle) = match tool.doing {
            DoingNow::Working { since } => ("working", None, Some(since), None),
            DoingNow::Waiting { context, since, idle } => ("waiting", Some(context), Some(since), Some(idle)),
            DoingNow::Cold => ("cold", None, None, None),
            DoingNow::Unknown => ("unknown", None, None, None),
        };
        Self {
            tool: tool.number,
            material: tool.material.clone(),
            doing,
            context,
            since: since.map(Instant::from),
            idle_s: idle.map(Seconds::get),
            actual_c: tool.actual.map(Celsius::get),
            target_c: tool.target.map(Celsius::get),
            dose_min: tool.dose.get(),
            limit_min: tool.limit.get(),
            time_left_s: tool.time_left.map(Seconds::get),
        }
    }
}

impl From<&AlarmView> for OpenAlarmJson {
    fn from(alarm: &AlarmView) -> Self {
        Self {
            id: alarm.id,
            printer: alarm.printer.clone(),
            tool: alarm.tool,
            rule: alarm.rule,
            priority: alarm.priority,
            state: alarm.state,
            raised: alarm.raised.into(),
            returned: alarm.returned.map(Instant::from),
            cause: alarm.cause.clone(),
            action: alarm.action.clone(),
        }
    }
}
