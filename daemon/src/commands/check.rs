//! `check`: the configuration checked, every printer polled once, and what was understood, field by field; then the
//! materials in use, the alarm rules that were tuned, and who may use the dashboard.

use super::table::{Table, or_unknown};
use super::{Failure, materials, output, tuned, web};
use crate::cli::Place;
use crate::clock::wall_now;
use crate::config::Printer;
use crate::host::{Clients, Credentials, DEADLINE, Host, PollError, Polled, Query, explain};
use dwell_analysis::time::Timestamp;
use serde_json::Value;
use std::sync::Arc;

pub(super) fn run(place: &Place) -> Result<(), Failure> {
    let config = place.needed_config()?;
    let mut clients = Clients::new(DEADLINE);
    let runtime = tokio::runtime::Builder::new_current_thread().enable_all().build();
    let runtime = runtime.map_err(|error| Failure::Work(format!("no runtime to poll with: {error}")))?;
    let mut wanting = Vec::new();
    for printer in config.printers() {
        let client = clients.of(&printer.source).map_err(|error| Failure::Work(error.to_string()))?;
        let mut host = Host::new(client, Arc::clone(&printer.source), Arc::clone(&printer.map));
        let polled = runtime.block_on(host.poll(wall_now, false));
        let (shown, missing) = examine(printer, &polled, host.documents(), wall_now());
        output::text(&shown)?;
        wanting.extend(missing.into_iter().map(|what| format!("{}: {what}", printer.name)));
    }
    output::text(&materials::shown(&config))?;
    output::text(&tuned::shown(config.rules()))?;
    output::text(&web::shown(config.web(), config.channels().address.as_deref()))?;
    if wanting.is_empty() { Ok(()) } else { Err(Failure::Work(wanting.join("; "))) }
}

/// What a poll whose last document came at `at` showed, and what was wanting.
fn examine(printer: &Printer, polled: &Polled, documents: &[Option<Value>], at: Timestamp) -> (String, Vec<String>) {
    let mut wanting = polled.troubles.clone();
    let mut shown = heading(printer);
    for (document, value) in printer.source.documents.iter().zip(documents) {
        let (name, address) = (&document.name, &document.address);
        let came = if value.is_some() { "came" } else { "did not come" };
        let every_s = document.every.unwrap_or(printer.poll).as_secs_f64();
        shown = format!("{shown}document {name}, {address}, every {every_s} s: {came}\n");
    }
    for trouble in &polled.troubles {
        shown = format!("{shown}trouble: {trouble}\n");
    }
    if let Some(skew) = polled.skew {
        let (ahead, within) = (skew.ahead.get(), skew.within.get());
        shown = format!(
            "{shown}the host's clock, by its Date header, is {ahead:+.1} s from this machine's, true to {within:.1} s\n"
        );
    }
    let mut table = Table::new(&["field", "document", "path", "found", "understood"]);
    for report in explain(&printer.map, documents, at) {
        let document = printer.source.documents.get(report.document).map(|document| &document.name);
        let understood = report.understood.unwrap_or_else(|why| format!("not understood: {why}"));
        table.row([report.field, or_unknown(document), report.path, or_unknown(report.raw), understood]);
    }
    shown.push_str(&table.text("no field"));
    match &polled.reading {
        Ok(Some(reading)) if reading.tools.iter().all(|tool| tool.actual.is_none() && tool.target.is_none()) => {
            wanting.push("no temperature of any tool is understood".to_owned());
        }
        Err(why @ PollError::Map(_)) if !why.is_transient() => wanting.push(why.to_string()),
        // A document's absence has been said.
        Ok(_) | Err(_) => {}
    }
    (shown, wanting)
}

/// The printer's name and what its host is shown, secrets as dots.
fn heading(printer: &Printer) -> String {
    let Credentials { headers, query } = &printer.source.credentials;
    let mut shown = format!("{}\n", printer.name);
    let headers = headers.to_string();
    if !headers.is_empty() {
        shown = format!("{shown}headers {headers}\n");
    }
    if *query != Query::default() {
        shown = format!("{shown}query {query:?}\n");
    }
    if let Some(authority) = &printer.source.authority {
        shown = format!("{shown}authority {authority:?}\n");
    }
    shown
}

#[cfg(test)]
#[expect(clippy::unwrap_used, reason = "a test may stop")]
mod tests {
    use super::*;
    use crate::config::Config;
    use crate::host::{Skew, understand};
    use dwell_analysis::units::Seconds;
    use serde_json::json;
    use std::path::Path;

    const BENCH: &str = r#"
[[printer]]
name = "bench"
poll_s = 0.5
[printer.headers]
X-Entry = "hush-header"
[printer.query]
pass = "hush-pair"
[[printer.document]]
name = "live"
url = "http://127.0.0.1:9/live"
[[printer.document]]
name = "sheet"
url = "http://127.0.0.1:9/sheet"
poll_s = 30
[printer.time]
document = "live"
path = "/now"
form = "unix_s"
[printer.job]
state = [{ document = "live", path = "/halt", words = { true = "paused" } }, { document = "live", path = "/mood" }]
name = { document = "sheet", path = ["/title", "/file"] }
[[printer.tool]]
actual = { document = "live", path = "/t", suffix = "°C" }
"#;

    const AT: Timestamp = Timestamp::from_ms(1_772_438_401_000);

    fn shown(live: Value, sheet: Option<Value>) -> (String, Vec<String>) {
        let printer = Config::parse(BENCH, Path::new("bench.toml")).unwrap().printers()[0].clone();
        let away =
            sheet.is_none().then(|| "document sheet from http://127.0.0.1:9/sheet: connection refused".to_owned());
        let documents = [Some(live), sheet];
        let polled = Polled {
            reading: understand(&printer.map, &documents, AT, false).map(Some).map_err(PollError::from),
            troubles: away.into_iter().collect(),
            refused: None,
            skew: Some(Skew { ahead: Seconds::new(-2.0), within: Seconds::new(0.5) }),
            job_bytes: None,
            hold: None,
        };
        examine(&printer, &polled, &documents, AT)
    }

    #[test]
    fn each_field_is_shown_with_the_place_that_counted_and_the_time_with_its_distance() {
        let bench = json!({ "now": 1_772_438_399, "halt": false, "mood": "printing", "t": "211.4 °C" });
        let (shown, wanting) = shown(bench, Some(json!({ "file": "lantern.gcode" })));
        assert_eq!(wanting, Vec::<String>::new());
        let line = |name: &str| shown.lines().find(|line| line.starts_with(name)).unwrap().to_owned();
        for (name, pieces) in [
            ("time", ["/now", "1772438399", "2.0 s behind this machine's clock"]),
            ("job state", ["/mood", "\"printing\"", "printing"]),
            ("job name", ["/file", "\"lantern.gcode\"", "lantern.gcode"]),
            ("T0 actual", ["/t", "\"211.4 °C\"", "211.40 °C"]),
            ("document live", ["http://127.0.0.1:9/live", "every 0.5 s", "came"]),
            ("document sheet", ["http://127.0.0.1:9/sheet", "every 30 s", "came"]),
            ("the host's clock", ["-2.0 s", "0.5 s", ""]),
            ("headers", ["x-entry", "••••", ""]),
            ("query", ["pass", "••••", ""]),
        ] {
            assert!(pieces.iter().all(|piece| line(name).contains(piece)), "{shown}");
        }
        assert!(!shown.contains("hush") && !line("job name").contains("/title"), "{shown}");
    }

    #[test]
    fn what_is_not_understood_says_why_and_a_document_that_is_away_is_said_once() {
        let live = json!({ "halt": false, "mood": "dozing", "t": "211.4 °F" });
        let (text, wanting) = shown(live, None);
        assert!(text.contains("not understood: is \"211.4 °F\", needs to be a number and then \"°C\""), "{text}");
        assert!(text.contains("not understood: its document did not come"), "{text}");
        let [away, state] = wanting.as_slice() else { unreachable!("{wanting:?}") };
        assert!(away.contains("document sheet") && away.contains("refused"), "{away}");
        assert!(state.contains("\"dozing\""), "{state}");
    }
}
