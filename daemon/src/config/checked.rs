//! The checked configuration. Owns the defaults and ranges of everything that is not a printer's.

use super::alarm::{overrides, rules};
use super::fault::{ConfigError, Key, Wrong, Wrongs, one_of, unparsed, within};
use super::material::materials;
use super::notify::channels;
use super::printer::{Printer, printers};
use super::raw::{RawBackup, RawConfig, RawKeep, RawLearning, RawReport};
use super::secret::{Secrets, Surroundings};
use super::web::{WebPlan, web};
use crate::alarm::Rules;
use crate::entry::ToolNumber;
use crate::notify::Channels;
use crate::store::Keep;
use crate::study::{Learning, Liners};
use dwell_analysis::polymer::Materials;
use jiff::civil::{Time, Weekday};
use jiff::tz::TimeZone;
use std::env;
use std::ffi::OsString;
use std::fs;
use std::path::{Path, PathBuf};
use std::sync::Arc;

/// Everything a person has set, checked.
#[derive(Clone, Debug)]
pub struct Config {
    store: PathBuf,
    backup: BackupPlan,
    keep: Keep,
    web: WebPlan,
    report: ReportPlan,
    channels: Channels,
    rules: Rules,
    learning: Learning,
    materials: Arc<Materials>,
    printers: Vec<Printer>,
}

/// Where the daily backups go, and how many stay.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct BackupPlan {
    folder: Option<PathBuf>,
    /// How many are kept; with none, none is taken.
    pub keep: usize,
}

impl BackupPlan {
    /// The folder of a database's backups: the one that was named, else `backups` beside the database.
    #[must_use]
    pub fn folder(&self, database: &Path) -> PathBuf {
        self.folder.clone().unwrap_or_else(|| database.with_file_name("backups"))
    }
}

/// When and where the weekly report is written.
#[derive(Clone, Debug, PartialEq)]
pub struct ReportPlan {
    /// The calendar that weeks and days are counted in.
    pub zone: TimeZone,
    /// Where reports are written.
    pub folder: PathBuf,
    /// On which day.
    pub weekday: Weekday,
    /// At which time of that day.
    pub at: Time,
}

const WEEKDAYS: [(&str, Weekday); 7] = [
    ("monday", Weekday::Monday),
    ("tuesday", Weekday::Tuesday),
    ("wednesday", Weekday::Wednesday),
    ("thursday", Weekday::Thursday),
    ("friday", Weekday::Friday),
    ("saturday", Weekday::Saturday),
    ("sunday", Weekday::Sunday),
];

impl Config {
    /// Reads and checks a file. Without its secrets it is for those who speak to no host and send no message.
    ///
    /// # Errors
    /// When it can't be read or is wrong; the error names the place.
    pub fn load(file: &Path, secrets: Secrets) -> Result<Self, ConfigError> {
        let text =
            fs::read_to_string(file).map_err(|source| ConfigError::Unreadable { file: file.to_owned(), source })?;
        Self::parse_in(&text, file, &|name| env::var_os(name), secrets)
    }

    /// Checks a file's text. Relative paths in it are relative to the file's folder; keys may be in files there or in
    /// this process' environment.
    ///
    /// # Errors
    /// When it is wrong; the error names each place.
    pub fn parse(text: &str, file: &Path) -> Result<Self, ConfigError> {
        Self::parse_in(text, file, &|name| env::var_os(name), Secrets::LookedUp)
    }

    /// Checks a file's text in another environment than this process'.
    pub(super) fn parse_in(
        text: &str,
        file: &Path,
        environment: &dyn Fn(&str) -> Option<OsString>,
        secrets: Secrets,
    ) -> Result<Self, ConfigError> {
        let raw: RawConfig = toml::from_str(text).map_err(|error| unparsed(file.to_owned(), text, &error))?;
        let folder = file.parent().unwrap_or(Path::new(""));
        Self::check(&raw, &Surroundings { folder, environment, secrets }).map_err(|wrongs| wrongs.at(file, text))
    }

    fn check(raw: &RawConfig, around: &Surroundings<'_>) -> Result<Self, Wrongs> {
        let root = Key::default();
        let mut wrongs = Wrongs::default();
        let store = raw.store.path.as_deref().unwrap_or("dwellwatch.db");
        let store = wrongs.keep(path(&root.name("store").name("path"), store, around.folder));
        let backup = wrongs.keep(backup(&root.name("backup"), &raw.backup, around.folder));
        let web = wrongs.keep(web(&root.name("web"), &raw.web, around));
        let report = wrongs.keep(report(&root.name("report"), &raw.report, around.folder));
        let overrides = wrongs.keep(overrides(&root.name("alarm"), raw));
        let zone = report.as_ref().map_or(TimeZone::UTC, |report| report.zone.clone());
        let channels = wrongs.keep(channels(&root.name("notify"), &raw.notify, around, &zone));
        let printers = wrongs.keep(printers(&root.name("printer"), &raw.printer, around));
        let materials = wrongs.keep(materials(&root.name("material"), &raw.material)).map(Arc::new);
        let keep = wrongs.keep(keep(&root.name("keep"), &raw.keep));
        let learning = wrongs.keep(learning(&root.name("learning"), &raw.learning));
        let files = store.zip(backup).zip(keep);
        let told = overrides.zip(learning);
        match (files, web, report, channels, told, materials.zip(printers)) {
            (
                Some(((store, backup), keep)),
                Some(web),
                Some(report),
                Some(channels),
                Some((overrides, learning)),
                Some((materials, mut printers)),
            ) => {
                for printer in &mut printers {
                    printer.materials = Arc::clone(&materials);
                }
                let rules = rules(overrides, &printers);
                Ok(Self { store, backup, keep, web, report, channels, rules, learning, materials, printers })
            }
            _ => Err(wrongs),
        }
    }

    /// The database file.
    #[must_use]
    pub fn store(&self) -> &Path {
        &self.store
    }

    /// How long readings are kept.
    #[must_use]
    pub fn keep(&self) -> Keep {
        self.keep
    }

    /// The daily backups.
    #[must_use]
    pub fn backup(&self) -> &BackupPlan {
        &self.backup
    }

    /// Where the dashboard listens, and what it asks of those who come from elsewhere.
    #[must_use]
    pub fn web(&self) -> &WebPlan {
        &self.web
    }

    /// The weekly report.
    #[must_use]
    pub fn report(&self) -> &ReportPlan {
        &self.report
    }

    /// The ways to reach a person; the log is always one.
    #[must_use]
    pub fn channels(&self) -> &Channels {
        &self.channels
    }

    /// When what becomes an alarm.
    #[must_use]
    pub fn rules(&self) -> &Rules {
        &self.rules
    }

    /// How the record is learned from.
    #[must_use]
    pub fn learning(&self) -> Learning {
        self.learning
    }

    /// The material table in force.
    #[must_use]
    pub fn materials(&self) -> Arc<Materials> {
        Arc::clone(&self.materials)
    }

    /// What liners stand for good, where it says so.
    #[must_use]
    pub fn liners(&self) -> Liners {
        let of_printer = |printer: &Printer| {
            let tools = printer.liner_max.iter().enumerate();
            let told = tools.filter_map(|(idx, rating)| ToolNumber::new(idx).zip(*rating));
            told.map(|(tool, rating)| ((printer.name.clone(), tool), rating)).collect::<Vec<_>>()
        };
        self.printers.iter().flat_map(of_printer).collect()
    }

    /// At least one, no two of one name.
    #[must_use]
    pub fn printers(&self) -> &[Printer] {
        &self.printers
    }
}

fn path(key: &Key, text: &str, folder: &Path) -> Result<PathBuf, Wrong> {
    if text.trim().is_empty() {
        return Err(Wrong::new(key.clone(), "found an empty text", "a path"));
    }
    Ok(folder.join(text))
}

/// A century: more is for ever.
const DAYS_MAX: u32 = 36_500;

fn keep(key: &Key, raw: &RawKeep) -> Result<Keep, Wrong> {
    let days = |name, told: Option<i64>, otherwise: u32| {
        let found = told.unwrap_or(i64::from(otherwise));
        let days = u32::try_from(found).ok().filter(|days| (1..=DAYS_MAX).contains(days));
        days.ok_or_else(|| Wrong::new(key.name(name), format!("found {found}"), format!("1 to {DAYS_MAX} days")))
    };
    let default = Keep::default();
    Ok(Keep {
        readings_days: days("readings_days", raw.readings_days, default.readings_days)?,
        minutes_days: days("minutes_days", raw.minutes_days, default.minutes_days)?,
    })
}

/// A week of them covers what is noticed on the next working day, and a weekly check.
const BACKUPS: i64 = 7;
/// A year of them; more is an archive, and that is not kept by rotation.
const BACKUPS_MAX: usize = 366;

fn backup(key: &Key, raw: &RawBackup, folder: &Path) -> Result<BackupPlan, Wrong> {
    let keep = raw.keep.unwrap_or(BACKUPS);
    let kept = usize::try_from(keep).ok().filter(|keep| *keep <= BACKUPS_MAX);
    let wrong = || Wrong::new(key.name("keep"), format!("found {keep}"), format!("0 (no backups) to {BACKUPS_MAX}"));
    let folder = raw.folder.as_deref().map(|text| path(&key.name("folder"), text, folder)).transpose()?;
    Ok(BackupPlan { folder, keep: kept.ok_or_else(wrong)? })
}

fn report(key: &Key, raw: &RawReport, folder: &Path) -> Result<ReportPlan, Wrong> {
    let zone = raw.zone.as_deref().unwrap_or("UTC");
    let weekday = raw.weekday.as_deref().unwrap_or("monday");
    let at = raw.at.as_deref().unwrap_or("06:00");
    let wrong = |name: &str, found: &str, right: &str| Wrong::new(key.name(name), format!("found {found:?}"), right);
    Ok(ReportPlan {
        zone: TimeZone::get(zone)
            .map_err(|_| wrong("zone", zone, "a zone of the IANA time zone database such as \"Europe/Berlin\""))?,
        folder: path(&key.name("folder"), raw.folder.as_deref().unwrap_or("reports"), folder)?,
        weekday: one_of(&key.name("weekday"), weekday, &WEEKDAYS)?,
        at: time_of_day(at).ok_or_else(|| wrong("at", at, "a time of day such as \"06:00\""))?,
    })
}

/// `HH:MM`, 24 hours.
pub(super) fn time_of_day(text: &str) -> Option<Time> {
    let two_digits = |part: &str| (part.len() == 2).then(|| part.parse::<i8>().ok()).flatten();
    let (hour, minute) = text.split_once(':')?;
    Time::new(two_digits(hour)?, two_digits(minute)?, 0, 0).ok()
}

fn learning(key: &Key, raw: &RawLearning) -> Result<Learning, Wrong> {
    let default = Learning::default();
    let risk = raw.accepted_risk.unwrap_or(default.accepted_risk);
    Ok(Learning {
        silence_means_clean: raw.silence_means_clean.unwrap_or(default.silence_means_clean),
        // Under a percent no record of one person carries a date, and at one in two it is no precaution.
        accepted_risk: within(&key.name("accepted_risk"), risk, 0.01..=0.5, "")?,
    })
}
