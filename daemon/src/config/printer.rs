//! One printer's section, checked: its documents, what its host is shown, and its tools' settings. Where the documents
//! say what is `fields`'.

use super::fault::{Key, Wrong, Wrongs, one_of, within};
use super::fields::Fields;
use super::raw::{RawJobFile, RawMotion, RawPrinter, RawSecret, RawSettings};
use super::secret::Surroundings;
use crate::entry::{HotEnd, PrinterName, Settings};
use crate::host::{Address, AddressTemplate, Authority, Credentials, Document, Headers, PrinterMap, Query, Source};
use crate::jobfile::MotionLimits;
use dwell_analysis::polymer::Materials;
use dwell_analysis::units::{Celsius, CubicMm, Millimetres};
use std::collections::BTreeMap;
use std::ops::RangeInclusive;
use std::path::PathBuf;
use std::sync::Arc;
use std::time::Duration;

/// A printer.
#[derive(Clone, Debug)]
pub struct Printer {
    /// Its name.
    pub name: PrinterName,
    /// How often it is polled.
    pub poll: Duration,
    /// What its host is asked for.
    pub source: Arc<Source>,
    /// Where the documents say what.
    pub map: Arc<PrinterMap>,
    /// One entry a tool, T0 first.
    pub settings: Vec<Settings>,
    /// Where the files of its jobs are found, if they are looked for.
    pub job_file: Option<JobFilePlaces>,
    /// The material table in force.
    pub materials: Arc<Materials>,
    /// How fast it can move.
    pub motion: MotionLimits,
    /// What each tool's liner stands for good, T0 first; `None` where nobody said, as `preflight` takes it then.
    pub liner_max: Vec<Option<Celsius>>,
    /// It is being set up: its alarms are recorded, and call nobody.
    pub is_commissioning: bool,
}

/// Where the files of a printer's jobs are found: in one of these places at least.
#[derive(Clone, Debug)]
pub struct JobFilePlaces {
    /// A folder, which is looked into first.
    pub folder: Option<PathBuf>,
    /// Where its host gives them.
    pub address: Option<AddressTemplate>,
}

/// From a fifth of a second, below which a small host does little but answer, to a quarter of the 20 s of silence
/// that count as a gap.
const POLL_S: RangeInclusive<f64> = 0.2..=5.0;
const POLL_S_DEFAULT: f64 = 1.0;

/// Once an hour is enough for what does not change during a print.
const DOCUMENT_POLL_S_MAX: f64 = 3600.0;

/// Checks every printer.
pub(super) fn printers(key: &Key, raw: &[RawPrinter], around: &Surroundings<'_>) -> Result<Vec<Printer>, Wrongs> {
    if raw.is_empty() {
        let right = "at least one [[printer]], as README shows it";
        return Err(Wrong::new(key.clone(), "found none", right).into());
    }
    Wrongs::each(raw.iter().enumerate().map(|(idx, one)| {
        let key = key.nth(idx);
        if raw.iter().take(idx).any(|other| other.name == one.name) {
            let found = format!("found {:?} a second time", one.name);
            return Err(Wrong::new(key.name("name"), found, "another name for each printer").into());
        }
        printer(&key, one, around)
    }))
}

fn printer(key: &Key, raw: &RawPrinter, around: &Surroundings<'_>) -> Result<Printer, Wrongs> {
    let mut wrongs = Wrongs::default();
    let name = wrongs.keep(PrinterName::new(&raw.name).ok_or_else(|| {
        Wrong::new(key.name("name"), format!("found {:?}", raw.name), "1 to 64 characters, no control characters")
    }));
    let poll_s = wrongs.keep(within(&key.name("poll_s"), raw.poll_s.unwrap_or(POLL_S_DEFAULT), POLL_S, "s"));
    let credentials = wrongs.keep(credentials(key, raw, around));
    let authority = raw.authority_file.as_deref();
    let authority = authority.map(|name| self::authority(&key.name("authority_file"), name, around));
    let authority = wrongs.keep(authority.transpose());
    let mapped = wrongs.keep(mapped(key, raw));
    let tools = key.name("tool");
    let settings = wrongs.keep(Wrongs::each(
        raw.tool.iter().enumerate().map(|(idx, tool)| settings(&tools.nth(idx).name("settings"), &tool.settings)),
    ));
    let job_file = raw.job_file.as_ref().map(|raw| job_file(&key.name("job_file"), raw, around));
    let job_file = wrongs.keep(job_file.transpose());
    let motion = wrongs.keep(motion(&key.name("motion"), &raw.motion));
    let liner_max = wrongs.keep(Wrongs::each(raw.tool.iter().enumerate().map(|(idx, tool)| {
        let limit = |value| within(&tools.nth(idx).name("liner_max_c"), value, 100.0..=500.0, "°C");
        tool.liner_max_c.map(limit).transpose().map(|value| value.map(Celsius::new))
    })));
    let of_files = job_file.zip(motion).zip(liner_max);
    match (name, poll_s, credentials, authority, mapped, settings.zip(of_files)) {
        (
            Some(name),
            Some(poll_s),
            Some(credentials),
            Some(authority),
            Some((documents, map)),
            Some((settings, ((job_file, motion), liner_max))),
        ) => Ok(Printer {
            name,
            poll: Duration::from_secs_f64(poll_s),
            settings,
            job_file,
            // The file's own ones are put in once they are checked.
            materials: Arc::default(),
            motion,
            liner_max,
            is_commissioning: raw.commissioning.unwrap_or(false),
            source: Arc::new(Source { documents, credentials, authority }),
            map: Arc::new(map),
        }),
        _ => Err(wrongs),
    }
}

fn job_file(key: &Key, raw: &RawJobFile, around: &Surroundings<'_>) -> Result<JobFilePlaces, Wrong> {
    let address = raw.url.as_deref().map(|url| {
        AddressTemplate::parse(url).map_err(|fault| {
            let right = "an http or https address such as \"http://127.0.0.1:8121/sheets/{name}\"";
            Wrong::new(key.name("url"), fault.to_string(), right)
        })
    });
    let folder = raw.folder.as_deref().map(|folder| match folder.trim() {
        "" => Err(Wrong::new(key.name("folder"), "found an empty text", "a path")),
        _ => Ok(around.folder.join(folder)),
    });
    let (address, folder) = (address.transpose()?, folder.transpose()?);
    if address.is_none() && folder.is_none() {
        return Err(Wrong::new(key.clone(), "found neither url nor folder", "one of them, or both"));
    }
    Ok(JobFilePlaces { folder, address })
}

fn motion(key: &Key, raw: &RawMotion) -> Result<MotionLimits, Wrong> {
    let default = MotionLimits::default();
    let acceleration = raw.acceleration_mm_s2.unwrap_or(default.acceleration);
    let speed_max = raw.speed_mm_s.map(|speed| within(&key.name("speed_mm_s"), speed, 1.0..=5000.0, "mm/s"));
    Ok(MotionLimits {
        acceleration: within(&key.name("acceleration_mm_s2"), acceleration, 50.0..=50_000.0, "mm/s2")?,
        corner: within(&key.name("corner_mm_s"), raw.corner_mm_s.unwrap_or(default.corner), 0.0..=100.0, "mm/s")?,
        speed_max: speed_max.transpose()?,
    })
}

/// The documents and where in them what stands; a fault in the documents hides those in the fields.
fn mapped(key: &Key, raw: &RawPrinter) -> Result<(Vec<Document>, PrinterMap), Wrongs> {
    let documents_key = key.name("document");
    let documents = documents(&documents_key, raw)?;
    let hot_ends: Vec<(&str, HotEnd)> = HotEnd::ALL.iter().map(|hot_end| (hot_end.word(), *hot_end)).collect();
    let hot_end = raw.hot_end.as_deref().unwrap_or(HotEnd::default().word());
    let hot_end = one_of(&key.name("hot_end"), hot_end, &hot_ends)?;
    let map = Fields { documents: &documents }.printer(key, raw, hot_end)?;
    let slow_max = Duration::from_secs_f64(*POLL_S.end());
    Wrongs::each(documents.iter().enumerate().map(|(idx, document)| match document.every {
        Some(every) if every > slow_max && map.is_quick(idx) => {
            let found =
                format!("found {} for the job's state, active tool, time or a temperature", every.as_secs_f64());
            let right = format!("up to {} s, or these in another document", POLL_S.end());
            Err(Wrong::new(documents_key.nth(idx).name("poll_s"), found, right))
        }
        _ => Ok(()),
    }))?;
    Ok((documents, map))
}

fn credentials(key: &Key, raw: &RawPrinter, around: &Surroundings<'_>) -> Result<Credentials, Wrongs> {
    let secrets = |key: Key, raw: &BTreeMap<String, RawSecret>| {
        Wrongs::each(
            raw.iter().map(|(name, raw)| around.secret(&key.name(name), raw).map(|secret| (name.clone(), secret))),
        )
    };
    let mut wrongs = Wrongs::default();
    let key_headers = key.name("headers");
    let headers = wrongs.keep(secrets(key_headers.clone(), &raw.headers).and_then(|pairs| {
        Headers::new(&pairs.into_iter().collect())
            .map_err(|fault| Wrong::new(key_headers, fault.to_string(), "a header as HTTP allows it").into())
    }));
    let query = wrongs.keep(secrets(key.name("query"), &raw.query));
    match (headers, query) {
        (Some(headers), Some(pairs)) => Ok(Credentials { headers, query: Query::new(pairs) }),
        _ => Err(wrongs),
    }
}

/// RFC 7468, section 5: how a certificate begins in PEM.
const CERTIFICATE: &str = "-----BEGIN CERTIFICATE-----";

pub(super) fn authority(key: &Key, name: &str, around: &Surroundings<'_>) -> Result<Authority, Wrong> {
    let pem = around.file(key, name)?;
    if !pem.windows(CERTIFICATE.len()).any(|piece| piece == CERTIFICATE.as_bytes()) {
        let found = format!("the file {} has no certificate", around.folder.join(name).display());
        return Err(Wrong::new(key.clone(), found, format!("PEM, which has a line {CERTIFICATE}")));
    }
    Ok(Authority::new(pem))
}

fn documents(key: &Key, raw: &RawPrinter) -> Result<Vec<Document>, Wrongs> {
    if raw.document.is_empty() {
        let right = "at least one [[printer.document]] with name and url";
        return Err(Wrong::new(key.clone(), "found none", right).into());
    }
    let poll_s = raw.poll_s.unwrap_or(POLL_S_DEFAULT);
    Wrongs::each(raw.document.iter().enumerate().map(|(idx, one)| {
        let key = key.nth(idx);
        if one.name.trim().is_empty() || raw.document.iter().take(idx).any(|other| other.name == one.name) {
            let found = format!("found {:?}", one.name);
            return Err(Wrong::new(key.name("name"), found, "another name for each document"));
        }
        let address = Address::parse(&one.url).map_err(|fault| {
            let right = "an http or https address, its keys under printer.headers or printer.query";
            Wrong::new(key.name("url"), fault.to_string(), right)
        })?;
        let every = one.poll_s.map(|every| within(&key.name("poll_s"), every, poll_s..=DOCUMENT_POLL_S_MAX, "s"));
        Ok(Document { name: one.name.clone(), address, every: every.transpose()?.map(Duration::from_secs_f64) })
    }))
}

/// The ranges are wider than any printer in use; they catch a unit mixed up or a digit too many.
fn settings(key: &Key, raw: &RawSettings) -> Result<Settings, Wrong> {
    let number = |name: &str, value: Option<f64>, range: RangeInclusive<f64>, unit: &str| {
        value.map(|value| within(&key.name(name), value, range, unit)).transpose()
    };
    if raw.material.as_deref().is_some_and(|material| material.trim().is_empty()) {
        return Err(Wrong::new(key.name("material"), "found an empty text", "a material's name such as \"PLA\""));
    }
    Ok(Settings {
        material: raw.material.as_deref().map(Arc::from),
        print: number("print_c", raw.print_c, 100.0..=500.0, "°C")?.map(Celsius::new),
        standby: number("standby_c", raw.standby_c, 0.0..=500.0, "°C")?.map(Celsius::new),
        retract: number("retract_mm", raw.retract_mm, 0.0..=200.0, "mm")?.map(Millimetres::new),
        retract_mm_s: number("retract_mm_s", raw.retract_mm_s, 0.1..=300.0, "mm/s")?,
        prime: number("prime_mm3", raw.prime_mm3, 0.0..=5000.0, "mm3")?.map(CubicMm::new),
        ooze_shield: raw.ooze_shield,
        dried: raw.dried,
    })
}
