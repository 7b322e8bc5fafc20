//! From documents to readings: what is told arrives, what is not told stays missing, what can't be true is refused.

mod shapes;

use super::loopback::{http, serve};
use super::*;
use crate::config::Config;
use crate::entry::{CentiCelsius, Heater, JobState, Reading};
use dwell_analysis::time::Timestamp;
use serde_json::{Value, json};
use std::collections::BTreeMap;
use std::path::Path;
use std::time::Duration;

const AT: Timestamp = Timestamp::from_ms(1_772_438_401_000);

/// A printer of two documents, all of it mapped; `PORT` and `HOT_END` are filled in.
const BENCH: &str = r#"
[[printer]]
name = "bench"
hot_end = "HOT_END"
[[printer.document]]
name = "state"
url = "http://127.0.0.1:PORT/state"
[[printer.document]]
name = "heat"
url = "http://127.0.0.1:PORT/heat"
[printer.job]
state = { document = "state", path = "$.phase", words = { busy = "printing", "7" = "paused" } }
name = { document = "state", path = "/file" }
fraction = { document = "state", path = "/percent", scale = 0.01 }
byte = { document = "state", path = "/byte" }
[printer.active_tool]
document = "state"
path = "/side"
[[printer.tool]]
actual = { document = "heat", path = "$.t[0].now" }
target = { document = "heat", path = "$.t[0].want", unit = "F" }
duty = { document = "heat", path = "$.t[0].duty" }
fan = { document = "heat", path = "$.t[0].blows", scale = 0.01 }
[[printer.tool]]
T1
[printer.bed]
actual = { document = "heat", path = "/bed", unit = "K", scale = 0.1, offset = 3.15 }
"#;

const T1: &str = "actual = { document = \"heat\", path = \"$.t[1].now\" }";

fn bench(port: u16, hot_end: &str, t1: &str) -> crate::config::Printer {
    let text = BENCH.replace("PORT", &port.to_string()).replace("HOT_END", hot_end).replace("T1\n", &format!("{t1}\n"));
    Config::parse(&text, Path::new("bench.toml")).unwrap().printers()[0].clone()
}

fn state() -> Value {
    json!({ "phase": "busy", "file": "lantern.gcode", "percent": 43.12, "byte": 120_000, "side": 1 })
}

fn heat() -> Value {
    json!({ "t": [{ "now": 174.8, "want": 347, "duty": 0.42, "blows": 60 }, { "now": "206.1" }], "bed": 3300 })
}

fn read(state: Value, heat: Value) -> Result<Reading, MapError> {
    understand(&bench(9, "separate", T1).map, &[Some(state), Some(heat)], AT, false)
}

fn with(mut document: Value, pointer: &str, value: Value) -> Value {
    *document.pointer_mut(pointer).unwrap() = value;
    document
}

#[test]
fn a_whole_poll_is_understood_to_the_last_digit() {
    let reading = read(state(), heat()).unwrap();
    assert_eq!((reading.at, reading.after_gap), (AT, false));
    assert_eq!((reading.job.state, reading.job.name.as_deref()), (JobState::Printing, Some("lantern.gcode")));
    assert_eq!((reading.job.fraction_millionths, reading.job.byte), (Some(431_200), Some(120_000)));
    assert_eq!(reading.active_tool, Some(1));
    // 347 °F is 175 °C; 3300 tenths of a kelvin and 3.15 K are 333.15 K, 60 °C.
    let t0 = Heater {
        actual: CentiCelsius::nearest(174.8),
        target: CentiCelsius::nearest(175.0),
        duty_thousandths: Some(420),
        fan_thousandths: Some(600),
    };
    let t1 = Heater { actual: CentiCelsius::nearest(206.1), ..Heater::default() };
    assert_eq!(reading.tools, [t0, t1]);
    assert_eq!(reading.bed, Some(Heater { actual: CentiCelsius::nearest(60.0), ..Heater::default() }));
}

#[test]
fn what_is_not_told_stays_missing() {
    let reading = read(json!({ "phase": 7 }), json!({ "t": [] })).unwrap();
    assert_eq!(reading.job.state, JobState::Paused);
    assert_eq!((reading.job.name, reading.job.fraction_millionths, reading.job.byte), (None, None, None));
    assert_eq!((reading.active_tool, reading.tools), (None, vec![Heater::default(); 2]));
    assert_eq!(reading.bed, Some(Heater::default()));
}

#[test]
fn a_temperature_that_cannot_be_is_missing_and_says_why() {
    let map = &bench(9, "separate", T1).map;
    let cases = [
        (json!(1000.01), Some("1000.01"), "comes to 1000.01, needs to be -273.15 to 1000 °C"),
        (json!(-274), Some("-274"), "comes to -274, needs"),
        (json!(1e300), Some("1e+300"), "comes to 1e300, needs"),
        (json!(null), Some("null"), "is null"),
        (json!("NaN"), Some("\"NaN\""), "is a text, needs to be a number"),
        (json!("inf"), Some("\"inf\""), "is a text, needs to be a number"),
        (json!("206.1 C"), Some("\"206.1 C\""), "is a text, needs to be a number"),
        (json!(true), Some("true"), "is a truth value, needs to be a number"),
        (json!([206.1]), Some("[206.1]"), "is a list, needs to be a number"),
    ];
    for (value, raw, why) in cases {
        let documents = [Some(state()), Some(with(heat(), "/t/1/now", value))];
        assert_eq!(understand(map, &documents, AT, false).unwrap().tools[1].actual, None, "{why}");
        let report = explain(map, &documents, AT).into_iter().find(|report| report.field == "T1 actual").unwrap();
        assert_eq!(report.raw.as_deref(), raw);
        let found = report.understood.unwrap_err();
        assert!(found.starts_with(why), "{found}");
    }
}

#[test]
fn a_path_that_selects_several_values_gives_none_of_them() {
    let several = "actual = { document = \"heat\", path = \"$.t[*].now\" }";
    let map = &bench(9, "separate", several).map;
    let documents = [Some(state()), Some(heat())];
    assert_eq!(understand(map, &documents, AT, false).unwrap().tools[1].actual, None);
    let report = explain(map, &documents, AT).into_iter().find(|report| report.field == "T1 actual").unwrap();
    assert_eq!((report.raw, report.understood), (None, Err("selects 2 values, needs to select one".to_owned())));
    // Of a list of one it selects one.
    let one = [Some(state()), Some(json!({ "t": [{ "now": 30 }] }))];
    assert_eq!(understand(map, &one, AT, false).unwrap().tools[1].actual, CentiCelsius::nearest(30.0));
}

#[test]
fn progress_is_clamped_within_rounding_alone() {
    let fraction = |percent: Value| read(with(state(), "/percent", percent), heat()).unwrap().job.fraction_millionths;
    assert_eq!(fraction(json!(100.05)), Some(1_000_000));
    assert_eq!(fraction(json!(-0.05)), Some(0));
    assert_eq!(fraction(json!(100.2)), None);
    assert_eq!(fraction(json!(-0.2)), None);
    assert_eq!(fraction(json!("12.5")), Some(125_000));
}

#[test]
fn a_number_of_bytes_or_of_a_tool_is_whole_or_missing() {
    let job = |byte: Value| read(with(state(), "/byte", byte), heat()).unwrap().job.byte;
    assert_eq!((job(json!(7.0)), job(json!("7"))), (Some(7), Some(7)));
    assert_eq!((job(json!(7.5)), job(json!(-1)), job(json!(1e30))), (None, None, None));
    let tool = |side: Value| read(with(state(), "/side", side), heat()).unwrap().active_tool;
    // A tool that the printer does not have is passed on: it is the tracker that refuses such a reading.
    assert_eq!((tool(json!(5)), tool(json!(-1)), tool(json!("left"))), (Some(5), None, None));
}

#[test]
fn a_name_of_nothing_is_no_name() {
    let reading = read(with(state(), "/file", json!("")), heat()).unwrap();
    assert_eq!(reading.job.name, None);
}

#[test]
fn a_state_that_is_missing_or_in_an_unknown_word_makes_no_reading() {
    let error = read(with(state(), "/phase", json!("dozing")), heat()).unwrap_err();
    assert!(matches!(&error, MapError::StateUnknown { word, .. } if word == "dozing"), "{error}");
    assert!(error.to_string().contains("$.phase") && error.to_string().contains("\"busy\""), "{error}");
    // The words are the host's own; one of the program's is not understood in their place.
    assert!(read(with(state(), "/phase", json!("printing")), heat()).is_err());
    let error = read(json!({}), heat()).unwrap_err();
    assert!(matches!(error, MapError::StateMissing { why: Missing::NothingThere, .. }), "{error}");
}

#[test]
fn behind_a_shared_hot_end_a_tool_without_a_heater_has_t0s() {
    let documents = [Some(state()), Some(heat())];
    let tools = |t1| understand(&bench(9, "shared", t1).map, &documents, AT, false).unwrap().tools;
    let same = tools("");
    assert_eq!(same[0].actual, CentiCelsius::nearest(174.8));
    assert_eq!(same[1], same[0]);
    let own = tools(T1);
    assert_eq!((own[1].actual, own[1].target), (CentiCelsius::nearest(206.1), None));
}

#[test]
fn the_report_of_a_poll_has_each_mapped_field_once() {
    let reports = explain(&bench(9, "separate", T1).map, &[Some(state()), None], AT);
    let fields: Vec<&str> = reports.iter().map(|report| report.field.as_str()).collect();
    let job = ["job state", "job name", "job fraction", "job byte", "active tool"];
    let heaters = ["T0 actual", "T0 target", "T0 duty", "T0 fan", "T1 actual", "bed actual"];
    assert_eq!(fields, [&job[..], &heaters].concat());
    let understood = |idx: usize| reports[idx].understood.as_deref();
    assert_eq!((understood(0), understood(2), understood(4)), (Ok("printing"), Ok("0.4312"), Ok("T1")));
    assert_eq!(understood(5).unwrap_err(), "its document did not come");
    assert_eq!((reports[5].document, reports[5].path.as_str()), (1, "$.t[0].now"));
}

/// A host whose documents are given by path; any other answers 500. Answers come after a wait.
async fn host(documents: BTreeMap<&'static str, Value>, wait: Duration) -> u16 {
    let answer = move |head: &str| {
        let found = head.split(' ').nth(1).and_then(|path| documents.get(path));
        found.map_or_else(|| http("500 Oh", "", ""), |body| http("200 OK", "", &body.to_string()))
    };
    serve(answer, wait, Duration::ZERO).await
}

async fn poll(documents: BTreeMap<&'static str, Value>) -> Result<Reading, PollError> {
    let printer = bench(host(documents, Duration::ZERO).await, "separate", T1);
    let client = Client::new(DEADLINE).unwrap();
    Host::new(client, printer.source, printer.map).poll(|| AT, true).await.reading.map(Option::unwrap)
}

#[tokio::test]
async fn a_poll_is_the_reading_that_its_documents_make() {
    let reading = poll(BTreeMap::from([("/state", state()), ("/heat", heat())])).await.unwrap();
    assert_eq!(reading, Reading { after_gap: true, ..read(state(), heat()).unwrap() });
}

#[tokio::test]
async fn a_document_that_does_not_come_takes_its_fields_alone_with_it() {
    let reading = poll(BTreeMap::from([("/state", state())])).await.unwrap();
    assert_eq!((reading.job.byte, reading.tools), (Some(120_000), vec![Heater::default(); 2]));
    let error = poll(BTreeMap::from([("/heat", heat())])).await.unwrap_err();
    assert!(error.is_transient(), "{error}");
    assert!(error.to_string().starts_with("document state from http://127.0.0.1:"), "{error}");
    assert!(error.to_string().ends_with("/state: host answers 500, needs to be 200"), "{error}");
    let error = poll(BTreeMap::from([("/state", json!({ "phase": "dozing" }))])).await.unwrap_err();
    assert!(matches!(error, PollError::Map(_)) && !error.is_transient(), "{error}");
}

#[tokio::test]
async fn documents_are_asked_for_side_by_side() {
    let wait = Duration::from_millis(800);
    let printer = bench(host(BTreeMap::from([("/state", state()), ("/heat", heat())]), wait).await, "separate", T1);
    let began = std::time::Instant::now();
    let mut polled = Host::new(Client::new(DEADLINE).unwrap(), printer.source, printer.map);
    polled.poll(|| AT, false).await.reading.unwrap();
    assert_eq!(polled.documents(), [Some(state()), Some(heat())]);
    assert!(began.elapsed() < 2 * wait, "{:?}", began.elapsed());
}
