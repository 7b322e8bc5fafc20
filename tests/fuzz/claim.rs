//! What must hold of a printer's document, whatever its bytes are: nothing panics, it is refused just when it is no
//! JSON, and what the reading tells stands in the document, in its place. Its parent brings the names it uses, as the
//! daemon's own tests and the fuzz target reach them differently.

use super::{Arc, BodyReadingError, Path};
use super::{CentiCelsius, Config, Heater, PrinterMap, Reading, Timestamp, Value, body_to_reading};

/// A printer of one document, without a scale or a table between its numbers and the reading's.
const BENCH: &str = r#"
[[printer]]
name = "bench"
[[printer.document]]
name = "state"
url = "http://127.0.0.1:9/state"
[printer.job]
state = { document = "state", path = "/job/phase", words = { busy = "printing", "7" = "paused", true = "heating" } }
name = { document = "state", path = "/job/file" }
fraction = { document = "state", path = "/job/done" }
byte = { document = "state", path = "/job/byte" }
[printer.active_tool]
document = "state"
path = "/side"
[[printer.tool]]
actual = { document = "state", path = "/t/0/now" }
target = { document = "state", path = "/t/0/want" }
duty = { document = "state", path = "/t/0/duty" }
[[printer.tool]]
actual = { document = "state", path = "/t/1/now" }
target = { document = "state", path = "/t/1/want" }
duty = { document = "state", path = "/t/1/duty" }
[printer.bed]
actual = { document = "state", path = "/bed" }
"#;

/// Where that printer's document says what.
pub(super) fn map() -> Arc<PrinterMap> {
    Arc::clone(&Config::parse(BENCH, Path::new("bench.toml")).unwrap().printers()[0].map)
}

/// Checks one body by another parser; gives the reading, if it made one.
pub(super) fn holds(map: &PrinterMap, body: &[u8]) -> Option<Reading> {
    let bare = body.strip_prefix(b"\xef\xbb\xbf").unwrap_or(body);
    let plain = serde_json::from_slice::<Value>(bare);
    let found = body_to_reading(map, body, Timestamp::from_ms(1));
    let is_refused = matches!(found, Err(BodyReadingError::Body(_)));
    assert_eq!(is_refused, plain.is_err(), "{found:?}, and by the plain parser {plain:?}");
    let (reading, plain) = (found.ok()?, plain.unwrap());
    for (idx, tool) in reading.tools.iter().enumerate() {
        heater_stands(&plain, tool, &["now", "want", "duty"].map(|key| format!("/t/{idx}/{key}")));
    }
    heater_stands(&plain, &reading.bed.unwrap(), &["/bed", "/-", "/-"].map(str::to_owned));
    let job = &reading.job;
    stands("fraction", job.fraction_millionths.map(f64::from), share(&plain, "/job/done", 1e6));
    stands(
        "byte",
        job.byte.map(|byte| byte.to_string()),
        number(&plain, "/job/byte").map(|byte| byte.abs().to_string()),
    );
    stands(
        "tool",
        reading.active_tool.map(|tool| tool.to_string()),
        number(&plain, "/side").map(|tool| tool.abs().to_string()),
    );
    stands("name", job.name.as_deref().map(str::to_owned), word(&plain, "/job/file"));
    assert!(["busy", "7", "true"].map(Some).contains(&word(&plain, "/job/phase").as_deref()), "{job:?}");
    Some(reading)
}

fn heater_stands(plain: &Value, heater: &Heater, [actual, target, duty]: &[String; 3]) {
    stands(actual, heater.actual, number(plain, actual).and_then(CentiCelsius::nearest));
    stands(target, heater.target, number(plain, target).and_then(CentiCelsius::nearest));
    stands(duty, heater.duty_thousandths.map(f64::from), share(plain, duty, 1e3));
}

/// What the reading tells is what stands there; it may tell nothing.
fn stands<T: PartialEq>(what: &str, told: Option<T>, there: Option<T>) {
    let agree = told.is_none_or(|told| there.is_some_and(|there| told == there));
    assert!(agree, "the reading's {what} does not stand in the document");
}

fn share(plain: &Value, pointer: &str, steps: f64) -> Option<f64> {
    number(plain, pointer).map(|share| (share.clamp(0.0, 1.0) * steps).round())
}

/// A number, or a text that is one.
fn number(plain: &Value, pointer: &str) -> Option<f64> {
    match plain.pointer(pointer)? {
        Value::String(text) => serde_json::from_str(text.trim()).ok(),
        value => value.as_f64(),
    }
}

fn word(plain: &Value, pointer: &str) -> Option<String> {
    let value = plain.pointer(pointer)?;
    Some(value.as_str().map_or_else(|| value.to_string(), str::to_owned))
}
