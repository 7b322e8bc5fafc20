//! The view of *Setup*: from the configuration, the record, and what is in memory of the newest polls. Polls nobody.

mod quality;

use super::alarms::stuck;
use super::now::{host_clock, trouble};
use super::{ViewError, frame};
use crate::config::{BackupPlan, Config, Printer};
use crate::entry::PrinterName;
use crate::host::{HeaterMap, PrinterMap};
use crate::notify::{Channel, Way};
use crate::schedule::{BackupsKept, backups_kept};
use crate::setup::{material_figures, tuned_rules};
use crate::store::{Reader, StoreError};
use crate::web::Site;
use dwell_analysis::units::Seconds;
use dwell_dashboards::view::{
    BackupsSetup, ChannelSetup, DocumentSetup, FieldSetup, PrinterSetup, RecordSetup, SetupView,
};
use std::fs;
use std::path::Path;

/// All of it.
pub(in crate::web) fn setup(site: &Site) -> Result<SetupView, ViewError> {
    let (frame, at) = (frame(site)?, site.clock.now().at);
    let reader = site.store.reader()?;
    let config = site.config.as_deref();
    let names = site.printer_names(&reader)?;
    let printers = names.iter().map(|name| printer(site, &reader, name)).collect::<Result<_, StoreError>>()?;
    let heaters = site.heaters.borrow().clone().map(|shown| (shown.at, shown.heaters.clone()));
    Ok(SetupView {
        frame,
        at,
        printers,
        heaters,
        record: record(site, &reader, config)?,
        channels: config.map_or_else(|| Ok(Vec::new()), |config| channels(&reader, config))?,
        materials: config.map(material_figures).unwrap_or_default(),
        tuned: config.map(|config| tuned_rules(config.rules())).unwrap_or_default(),
    })
}

fn printer(site: &Site, reader: &Reader, name: &PrinterName) -> Result<PrinterSetup, StoreError> {
    let polls = site.store.polls(name);
    let understood = site.store.understood(name);
    let configured = site.config.as_ref().and_then(|config| config.printers().iter().find(|one| one.name == *name));
    let document = |idx: usize| configured.and_then(|printer| printer.source.documents.get(idx));
    let fields = understood.iter().flat_map(|understood| &understood.fields);
    Ok(PrinterSetup {
        name: name.to_string(),
        is_commissioning: site.commissioning.contains(name),
        documents: configured
            .map(|printer| documents(printer, understood.as_ref().map(|told| told.came.as_slice())))
            .unwrap_or_default(),
        read: understood.as_ref().map(|understood| understood.at),
        fields: fields
            .map(|report| FieldSetup {
                field: report.field.clone(),
                document: document(report.document).map(|document| document.name.clone()),
                path: report.path.clone(),
                found: report.raw.clone(),
                understood: report.understood.clone(),
            })
            .collect(),
        unnamed: configured.map(|printer| unnamed(&printer.map)).unwrap_or_default(),
        troubles: polls.troubles.into_iter().map(trouble).collect(),
        clock: polls.skew.map(host_clock),
        quality: quality::quality(site, reader, name, configured)?,
    })
}

fn documents(printer: &Printer, came: Option<&[bool]>) -> Vec<DocumentSetup> {
    let each = printer.source.documents.iter().enumerate();
    each.map(|(idx, document)| DocumentSetup {
        name: document.name.clone(),
        address: document.address.to_string(),
        every: Seconds::new(document.every.unwrap_or(printer.poll).as_secs_f64()),
        came: came.and_then(|came| came.get(idx).copied()),
    })
    .collect()
}

/// What a host may tell and this printer's section does not name.
fn unnamed(map: &PrinterMap) -> Vec<String> {
    let of_job = [
        ("time", map.time.is_some()),
        ("job name", map.name.is_some()),
        ("job fraction", map.fraction.is_some()),
        ("job byte", map.byte.is_some()),
        ("job size", map.size.is_some()),
        ("active tool", map.active_tool.is_some()),
        ("bed", map.bed.is_some()),
    ];
    let of_job = of_job.into_iter().filter(|(_, is_named)| !is_named).map(|(name, _)| name.to_owned());
    let of_heater = |(who, heater): (String, &HeaterMap)| {
        let named = [
            ("actual", heater.actual.is_some()),
            ("target", heater.target.is_some()),
            ("duty", heater.duty.is_some()),
            ("fan", heater.fan.is_some()),
        ];
        named.into_iter().filter(|(_, is_named)| !is_named).map(move |(name, _)| format!("{who} {name}"))
    };
    let tools = map.heaters().enumerate().map(|(number, heater)| (format!("T{number}"), heater));
    of_job.chain(tools.flat_map(of_heater)).collect()
}

fn record(site: &Site, reader: &Reader, config: Option<&Config>) -> Result<RecordSetup, StoreError> {
    let path = site.store.path();
    Ok(RecordSetup {
        file: path.display().to_string(),
        bytes: size(path),
        schema: reader.schema()?,
        oldest: reader.oldest()?,
        keep_days: config.map(|config| (config.keep().readings_days, config.keep().minutes_days)),
        backups: config.map(|config| backups(path, config.backup())),
        unwritten: site.store.unwritten().map(|unwritten| unwritten.cause),
    })
}

/// The database with what is not folded into it yet; `None` if it can't be looked at.
pub(in crate::web) fn size(path: &Path) -> Option<u64> {
    let mut aside = path.as_os_str().to_owned();
    aside.push("-wal");
    let whole = fs::metadata(path).ok()?.len();
    Some(whole + fs::metadata(aside).map_or(0, |found| found.len()))
}

fn backups(database: &Path, plan: &BackupPlan) -> BackupsSetup {
    let kept = backups_kept(database, plan);
    let newest = kept.as_ref().ok().and_then(|BackupsKept { newest, .. }| *newest);
    BackupsSetup {
        folder: plan.folder(database).display().to_string(),
        keep: plan.keep,
        newest: newest.map(|(day, bytes)| (day.strftime("%a %-d %b %Y").to_string(), bytes)),
        found: kept.map(|kept| kept.n),
    }
}

fn channels(reader: &Reader, config: &Config) -> Result<Vec<ChannelSetup>, StoreError> {
    let mut ways = reader.stuck()?;
    let mut channel = |Channel { name, route, way }: &Channel| {
        let held = ways.iter().position(|row| row.channel == *name).map(|idx| ways.swap_remove(idx));
        Ok(ChannelSetup {
            name: name.clone(),
            kind: kind(way),
            from: route.from.word(),
            quiet: route
                .quiet
                .as_ref()
                .map(|quiet| format!("{} to {}", quiet.from.strftime("%H:%M"), quiet.to.strftime("%H:%M"))),
            delivered: reader.delivered_last(name)?,
            stuck: held.map(stuck),
        })
    };
    config.channels().channels.iter().map(&mut channel).collect()
}

const fn kind(way: &Way) -> &'static str {
    match way {
        Way::Webhook(_) => "webhook",
        Way::Mail(_) => "mail",
        Way::Mqtt(_) => "mqtt",
        Way::Command(_) => "command",
        Way::Log => "log",
    }
}
