//! What is measured of the daemon, for programs that collect it: `OpenMetrics` text. Owns its address and the names of what
//! is measured; what is not known has no sample, and nothing goes through the whole record.

use super::Site;
use super::answer::{Refusal, blocking};
use super::server::Live;
use super::views::ViewError;
use crate::entry::PrinterName;
use crate::store::{Reader, StoreError};
use axum::Router;
use axum::extract::State;
use axum::http::header::{CACHE_CONTROL, CONTENT_TYPE};
use axum::response::{IntoResponse, Response};
use axum::routing::get;
use dwell_analysis::units::Celsius;
use dwell_dashboards::view::{AlarmView, Contact, NowView, PrinterNow, ToolNowView};
use prometheus_client::encoding::text::encode;
use prometheus_client::metrics::counter::Counter;
use prometheus_client::metrics::family::Family;
use prometheus_client::metrics::gauge::Gauge;
use prometheus_client::metrics::info::Info;
use prometheus_client::registry::{Registry, Unit};
use std::sync::Arc;
use std::sync::atomic::AtomicU64;

const TEXT: &str = "application/openmetrics-text; version=1.0.0; charset=utf-8";

/// Alarms of these are counted, none of them as zero.
const PRIORITIES: [&str; 3] = ["high", "medium", "low"];

type Labels = Vec<(&'static str, String)>;
type Number = Gauge<f64, AtomicU64>;

pub(super) fn routes() -> Router<Live> {
    Router::new().route("/metrics", get(metrics))
}

async fn metrics(State(site): State<Arc<Site>>) -> Result<Response, Refusal> {
    let text = blocking(site, |site| {
        let measured = measured(site)?;
        let mut text = String::new();
        encode(&mut text, &measured).map_err(|error| Refusal::Failed(error.to_string()))?;
        Ok(text)
    });
    Ok(([(CONTENT_TYPE, TEXT), (CACHE_CONTROL, "no-cache")], text.await?).into_response())
}

/// Everything, as it is now.
fn measured(site: &Site) -> Result<Registry, ViewError> {
    let shown = site.feed.fresh(site)?;
    let view = &shown.view;
    let reader = site.store.reader()?;
    let mut registry = Registry::with_prefix("dwellwatch");
    registry.register("build", "The program", Info::new(vec![("version", env!("CARGO_PKG_VERSION").to_owned())]));
    tools(&mut registry, view);
    contact(&mut registry, view);
    alarms(&mut registry, view);
    readings(&mut registry, site, view);
    counts(&mut registry, &reader)?;
    notices(&mut registry, site, &reader)?;
    record(&mut registry, site, view);
    Ok(registry)
}

fn tools(registry: &mut Registry, view: &NowView) {
    let mut each = |name: &str, help: &str, unit: Unit, of: fn(&ToolNowView) -> Option<f64>| {
        let family = Family::<Labels, Number>::default();
        for printer in view.printers.iter().filter(|printer| in_contact(printer)) {
            for tool in &printer.tools {
                if let Some(value) = of(tool) {
                    family.get_or_create(&of_tool(printer, tool)).set(value);
                }
            }
        }
        registry.register_with_unit(name, help, unit, family);
    };
    let minutes = || Unit::Other("minutes".to_owned());
    each("nozzle", "Temperature of a nozzle", Unit::Celsius, |tool| tool.actual.map(Celsius::get));
    each("nozzle_target", "Set point of a nozzle, 0 if it is off", Unit::Celsius, |tool| tool.target.map(Celsius::get));
    each("idle_dose", "Dose of the melt in a nozzle, equivalent minutes", minutes(), |tool| Some(tool.dose.get()));
    each("residence_limit", "Dose at which the melt is spent", minutes(), |tool| Some(tool.limit.get()));
}

/// What a silent printer last said is not what is.
fn in_contact(printer: &PrinterNow) -> bool {
    matches!(printer.contact, Contact::In { .. })
}

fn contact(registry: &mut Registry, view: &NowView) {
    let (contact, newest) = (Family::<Labels, Number>::default(), Family::<Labels, Number>::default());
    for printer in &view.printers {
        contact.get_or_create(&of(printer)).set(f64::from(in_contact(printer)));
        let at = match printer.contact {
            Contact::In { newest, .. } => newest,
            Contact::Silent { since } => since,
            Contact::Never => continue,
        };
        newest.get_or_create(&of(printer)).set(seconds(at.as_ms()));
    }
    registry.register("contact", "1 while a printer is heard, 0 while it is silent", contact);
    registry.register_with_unit("last_reading_timestamp", "When a printer was last read", Unit::Seconds, newest);
}

fn alarms(registry: &mut Registry, view: &NowView) {
    let standing = Family::<Labels, Gauge>::default();
    let count = |labels: Labels, is_mine: &dyn Fn(&AlarmView) -> bool| {
        for priority in PRIORITIES {
            let mine = view.alarms.iter().filter(|alarm| alarm.returned.is_none() && alarm.priority == priority);
            let n = mine.filter(|alarm| is_mine(alarm)).count();
            let labels = labels.iter().cloned().chain([("priority", priority.to_owned())]).collect();
            standing.get_or_create(&labels).set(i64::try_from(n).unwrap_or(i64::MAX));
        }
    };
    // Of the record itself.
    count(Vec::new(), &|alarm| alarm.printer.is_none());
    for printer in &view.printers {
        count(of(printer), &|alarm| alarm.printer.as_ref() == Some(&printer.name));
    }
    registry.register(
        "alarms_standing",
        "Alarms whose condition stands; without a printer, the record's own",
        standing,
    );
}

fn readings(registry: &mut Registry, site: &Site, view: &NowView) {
    let (taken, refused) = (Family::<Labels, Counter>::default(), Family::<Labels, Counter>::default());
    for printer in &view.printers {
        if let Some(name) = PrinterName::new(&printer.name) {
            taken.get_or_create(&of(printer)).inc_by(site.store.n_readings(&name));
        }
        for row in &printer.refused {
            let labels = [of(printer), vec![("reason", row.reason.to_owned())]].concat();
            refused.get_or_create(&labels).inc_by(u64::from(row.n));
        }
    }
    registry.register("readings", "Readings taken in since the start", taken);
    registry.register("readings_refused", "Readings left out, in all the record", refused);
}

fn counts(registry: &mut Registry, reader: &Reader) -> Result<(), StoreError> {
    let (prints, outcomes) = (Family::<Labels, Counter>::default(), Family::<Labels, Counter>::default());
    for count in reader.print_counts()? {
        let Some(end) = count.end else { continue };
        let labels = vec![("printer", count.printer.to_string()), ("end", end.word().to_owned())];
        prints.get_or_create(&labels).inc_by(count.n);
    }
    for count in reader.outcome_counts()? {
        let labels = vec![("printer", count.printer.to_string()), ("mode", count.mode.word().to_owned())];
        outcomes.get_or_create(&labels).inc_by(count.n);
    }
    registry.register("prints", "Prints that ended", prints);
    registry.register("outcomes", "What people said of prints", outcomes);
    Ok(())
}

fn notices(registry: &mut Registry, site: &Site, reader: &Reader) -> Result<(), StoreError> {
    let waiting = Family::<Labels, Number>::default();
    for (channel, n) in site.channels.iter().zip(reader.notices_waiting(&site.channels)?) {
        let n = u32::try_from(n).unwrap_or(u32::MAX);
        waiting.get_or_create(&vec![("channel", channel.to_string())]).set(f64::from(n));
    }
    registry.register("notices_waiting", "Notices that have not arrived", waiting);
    Ok(())
}

fn record(registry: &mut Registry, site: &Site, view: &NowView) {
    let gauge = |value: u64| {
        let gauge = Gauge::<i64>::default();
        gauge.set(i64::try_from(value).unwrap_or(i64::MAX));
        gauge
    };
    if let Some(bytes) = super::views::size(site.store.path()) {
        registry.register_with_unit("record", "The record's file with its log", Unit::Bytes, gauge(bytes));
    }
    registry.register("revision", "Moves after every change of the record", gauge(view.revision));
}

fn of(printer: &PrinterNow) -> Labels {
    vec![("printer", printer.name.clone())]
}

fn of_tool(printer: &PrinterNow, tool: &ToolNowView) -> Labels {
    vec![("printer", printer.name.clone()), ("tool", tool.number.to_string())]
}

#[expect(clippy::as_conversions, clippy::cast_precision_loss, reason = "2^53 ms are 285,000 years")]
fn seconds(ms: i64) -> f64 {
    ms as f64 / 1000.0
}
