//! `check`: the configuration checked, every printer polled once, and what was understood, field by field.

use super::table::{Table, or_unknown};
use super::{Failure, output};
use crate::cli::Place;
use crate::clock::wall_now;
use crate::config::Printer;
use crate::host::{Client, Credentials, DEADLINE, FetchError, Host, Query, explain, understand};
use dwell_analysis::time::Timestamp;
use serde_json::Value;
use std::sync::Arc;

pub(super) fn run(place: &Place) -> Result<(), Failure> {
    let config = place.needed_config()?;
    let client = Client::new(DEADLINE).map_err(|error| Failure::Work(error.to_string()))?;
    let runtime = tokio::runtime::Builder::new_current_thread().enable_all().build();
    let runtime = runtime.map_err(|error| Failure::Work(format!("no runtime to poll with: {error}")))?;
    let mut wanting = Vec::new();
    for printer in config.printers() {
        let mut host = Host::new(client.clone(), Arc::clone(&printer.source), Arc::clone(&printer.map));
        let fetched = runtime.block_on(host.fetch());
        let (shown, missing) = examine(printer, fetched, wall_now());
        output::text(&shown)?;
        wanting.extend(missing.into_iter().map(|what| format!("{}: {what}", printer.name)));
    }
    if wanting.is_empty() { Ok(()) } else { Err(Failure::Work(wanting.join("; "))) }
}

/// What a poll whose last document came at `at` showed, and what was wanting.
fn examine(printer: &Printer, fetched: Vec<Result<Value, FetchError>>, at: Timestamp) -> (String, Vec<String>) {
    let mut wanting = Vec::new();
    let mut shown = heading(printer);
    let mut documents = Vec::with_capacity(fetched.len());
    for (document, result) in printer.source.documents.iter().zip(fetched) {
        let (name, address) = (&document.name, &document.address);
        let came = match &result {
            Ok(_) => "came".to_owned(),
            Err(why) => {
                wanting.push(format!("document {name} from {address}: {why}"));
                format!("did not come: {why}")
            }
        };
        let every_s = document.every.unwrap_or(printer.poll).as_secs_f64();
        shown = format!("{shown}document {name}, {address}, every {every_s} s: {came}\n");
        documents.push(result.ok());
    }
    let mut table = Table::new(&["field", "document", "path", "found", "understood"]);
    for report in explain(&printer.map, &documents, at) {
        let document = printer.source.documents.get(report.document).map(|document| &document.name);
        let understood = report.understood.unwrap_or_else(|why| format!("not understood: {why}"));
        table.row([report.field, or_unknown(document), report.path, or_unknown(report.raw), understood]);
    }
    shown.push_str(&table.text("no field"));
    match understand(&printer.map, &documents, at, false) {
        Ok(reading) if reading.tools.iter().all(|tool| tool.actual.is_none() && tool.target.is_none()) => {
            wanting.push("no temperature of any tool is understood".to_owned());
        }
        Ok(_) => {}
        // Its document's absence has been said.
        Err(why) if why.is_transient() => {}
        Err(why) => wanting.push(why.to_string()),
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

    fn shown(live: Value, sheet: Result<Value, FetchError>) -> (String, Vec<String>) {
        let printer = Config::parse(BENCH, Path::new("bench.toml")).unwrap().printers()[0].clone();
        examine(&printer, vec![Ok(live), sheet], Timestamp::from_ms(1_772_438_401_000))
    }

    #[test]
    fn each_field_is_shown_with_the_place_that_counted_and_the_time_with_its_distance() {
        let bench = json!({ "now": 1_772_438_399, "halt": false, "mood": "printing", "t": "211.4 °C" });
        let (shown, wanting) = shown(bench, Ok(json!({ "file": "lantern.gcode" })));
        assert_eq!(wanting, Vec::<String>::new());
        let line = |name: &str| shown.lines().find(|line| line.starts_with(name)).unwrap().to_owned();
        for (name, pieces) in [
            ("time", ["/now", "1772438399", "2.0 s behind this machine's clock"]),
            ("job state", ["/mood", "\"printing\"", "printing"]),
            ("job name", ["/file", "\"lantern.gcode\"", "lantern.gcode"]),
            ("T0 actual", ["/t", "\"211.4 °C\"", "211.40 °C"]),
            ("document live", ["http://127.0.0.1:9/live", "every 0.5 s", "came"]),
            ("document sheet", ["http://127.0.0.1:9/sheet", "every 30 s", "came"]),
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
        let (text, wanting) = shown(live, Err(FetchError::Refused));
        assert!(text.contains("not understood: is \"211.4 °F\", needs to be a number and then \"°C\""), "{text}");
        assert!(text.contains("not understood: its document did not come"), "{text}");
        let [away, state] = wanting.as_slice() else { unreachable!("{wanting:?}") };
        assert!(away.contains("document sheet") && away.contains("refused"), "{away}");
        assert!(state.contains("\"dozing\""), "{state}");
    }
}
