//! The report from outside: eight weeks of the rehearsal's history, in each form, for a week and for other days.
#![expect(clippy::unwrap_used, reason = "a test may stop")]

use serde_json::Value;
use std::path::Path;
use std::process::{Command, Output};
use std::sync::LazyLock;
use tempfile::TempDir;

/// The record that all tests here look at; made once, as it takes a while.
static RECORD: LazyLock<TempDir> = LazyLock::new(|| {
    let folder = tempfile::tempdir().unwrap();
    let made = run(folder.path(), &["demo", "--once", "record"]);
    assert!(made.status.success(), "{}", String::from_utf8_lossy(&made.stderr));
    folder
});

fn run(folder: &Path, arguments: &[&str]) -> Output {
    Command::new(env!("CARGO_BIN_EXE_dwellwatch-under-test")).args(arguments).current_dir(folder).output().unwrap()
}

fn asked(arguments: &[&str]) -> Output {
    let database = ["--db", "record/rehearsal.db", "report"];
    run(RECORD.path(), &[&database, arguments].concat())
}

fn says(arguments: &[&str]) -> String {
    let output = asked(arguments);
    assert!(output.status.success(), "{arguments:?}: {}", String::from_utf8_lossy(&output.stderr));
    String::from_utf8(output.stdout).unwrap()
}

/// The words of a document, without its style, its axes' numbers and what stands in attributes.
fn words(html: &str) -> String {
    let mut text = String::new();
    let body = html.split_once("<body").unwrap().1.split_once("<footer").unwrap().0;
    for piece in body.split('<').skip(1) {
        let (tag, words) = piece.split_once('>').unwrap_or((piece, ""));
        if !tag.contains("class=\"tick\"") {
            text.push(' ');
            text.push_str(words);
        }
    }
    text
}

/// Numbers that tell something by themselves: those with a fraction, and whole ones from 13 on that are part of no date
/// and no time of day.
fn numbers(text: &str) -> Vec<String> {
    let of_date =
        ["Jan", "Feb", "Mar", "Apr", "Mon", "Tue", "Wed", "Thu", "Fri", "Sat", "Sun", "January", "February", "March"];
    let tokens: Vec<&str> =
        text.split(|c: char| c.is_whitespace() || "(),;–×".contains(c)).filter(|t| !t.is_empty()).collect();
    let is_date = |token: Option<&&str>| token.is_some_and(|token| of_date.contains(token));
    let mut found = Vec::new();
    for (at, token) in tokens.iter().enumerate() {
        let token = token.trim_end_matches(['.', ':']).trim_start_matches('-');
        let Ok(number) = token.parse::<f64>() else { continue };
        let before = at.checked_sub(1).and_then(|at| tokens.get(at));
        let beside_date = is_date(before) || is_date(tokens.get(at + 1));
        if (token.contains('.') || number >= 13.0) && !beside_date && token != "2026" {
            found.push(token.to_owned());
        }
    }
    found
}

/// Every number of a document: its values, and those within its sentences.
fn values(of: &Value, into: &mut Vec<f64>) {
    match of {
        Value::Number(number) => into.extend(number.as_f64()),
        Value::String(text) => into.extend(
            text.split(|c: char| !c.is_ascii_digit() && c != '.')
                .filter_map(|t| t.trim_matches('.').parse::<f64>().ok()),
        ),
        Value::Array(items) => items.iter().for_each(|item| values(item, into)),
        Value::Object(fields) => fields.values().for_each(|item| values(item, into)),
        Value::Null | Value::Bool(_) => {}
    }
}

/// Whether a shown number is one of these, as it is, as per cent, in minutes or hours, or as a part of a duration.
fn holds(values: &[f64], shown: &str) -> bool {
    let digits = shown.split_once('.').map_or(0, |(_, digits)| digits.len());
    let (number, half) = (shown.parse::<f64>().unwrap(), 0.5001 * 10_f64.powi(-i32::try_from(digits).unwrap()));
    let is_it = |value: f64| (value.abs() - number).abs() <= half;
    values.iter().any(|value| {
        let (minutes, hours) = ((value / 60.0).floor(), (value / 60.0).round());
        [*value, value * 100.0, value / 60.0, value / 3600.0].into_iter().any(is_it)
            || (digits == 0 && [value % 60.0, minutes % 60.0, minutes, hours].into_iter().any(is_it))
    })
}

/// What the page says of itself and of others: the interval, EEMUA 191's figures, and proposals.
const CONSTANTS: [&str; 9] = ["90", "191", "150", "300", "30", "80", "15", "24", "0.1"];

fn missing(html: &str, json: &Value) -> Vec<String> {
    let mut known = Vec::new();
    values(json, &mut known);
    let shown = numbers(&words(html)).into_iter();
    shown.filter(|number| !CONSTANTS.contains(&number.as_str()) && !holds(&known, number)).collect()
}

#[test]
fn json_has_every_number_that_the_page_shows() {
    for days in [&["--week", "2026-W05"][..], &["--week", "2026-W09"], &["--from", "2026-01-20", "--to", "2026-02-28"]]
    {
        let html = says(&[days, &["--format", "html"]].concat());
        let mut json: Value = serde_json::from_str(&says(&[days, &["--format", "json"]].concat())).unwrap();
        assert!(numbers(&words(&html)).len() > 100, "the page is full of numbers");
        assert_eq!(missing(&html, &json), Vec::<String>::new(), "{days:?}");
        // That this can fail: without a part of it, some are missing.
        for part in ["worst_spans", "parts"] {
            let taken = json.as_object_mut().unwrap().remove(part).unwrap();
            assert!(!missing(&html, &json).is_empty(), "{part}");
            json.as_object_mut().unwrap().insert(part.to_owned(), taken);
        }
    }
}

#[test]
fn days_that_make_a_week_are_that_week_and_weeks_add_up_to_the_days() {
    let json = |arguments: &[&str]| -> Value {
        serde_json::from_str(&says(&[arguments, &["--format", "json"]].concat())).unwrap()
    };
    let (week, days) = (json(&["--week", "2026-W05"]), json(&["--from", "2026-01-26", "--to", "2026-02-01"]));
    assert_eq!((&week["period"], &week["days"]), (&days["period"], &days["days"]));
    let both = json(&["--from", "2026-01-26", "--to", "2026-02-08"]);
    let next = json(&["--week", "2026-W06"]);
    for field in ["prints", "with_failure", "unreported"] {
        let of = |report: &Value| report["total"][field].as_u64().unwrap();
        assert_eq!(of(&week) + of(&next), of(&both), "{field}");
    }
    let events = |report: &Value| report["prints"]["events"].as_u64().unwrap();
    assert_eq!(events(&week) + events(&next), events(&both));
    assert_eq!(both["days"].as_array().unwrap().len(), 14);
}

#[test]
fn every_failure_that_was_reported_is_counted_with_its_tool_or_as_told_without_one() {
    let json: Value =
        serde_json::from_str(&says(&["--from", "2026-01-20", "--to", "2026-02-28", "--format", "json"])).unwrap();
    let sum = |field: &str| -> u64 {
        json["modes"].as_array().unwrap().iter().map(|mode| mode[field].as_u64().unwrap()).sum()
    };
    let failed = json["prints"]["events"].as_u64().unwrap();
    assert!(sum("tool_not_told") > 0, "some failure is told without its tool: {}", json["modes"]);
    assert!(sum("events") + sum("tool_not_told") >= failed, "{failed} prints failed: {}", json["modes"]);
}

#[test]
fn what_is_no_period_is_refused_with_what_would_be_right() {
    for (arguments, says) in [
        (&["--week", "2026-W54"][..], "W01 to W53"),
        (&["--from", "2026-02-30", "--to", "2026-03-01"], "2026-02-30"),
        (&["--from", "2026-03-01", "--to", "2026-02-01"], "earlier"),
        (&["--from", "2020-03-01", "--to", "2026-02-01"], "400"),
        (&["--from", "2026-03-01"], "--to"),
        (&["--week", "2026-W05", "--from", "2026-03-01", "--to", "2026-03-01"], "--week"),
    ] {
        let output = asked(arguments);
        assert_eq!(output.status.code(), Some(2), "{arguments:?}");
        let told = String::from_utf8_lossy(&output.stderr);
        assert!(told.contains(says) && output.stdout.is_empty(), "{arguments:?}: {told}");
    }
}

#[test]
fn the_form_for_mail_programs_fetches_nothing_and_has_no_drawing() {
    let mail = says(&["--format", "mail"]);
    for banned in ["<svg", "<script", "<link", "<style", "http", "href", "src="] {
        assert!(!mail.contains(banned), "{banned}");
    }
    let text = says(&["--format", "text"]);
    for heading in ["What failed", "Why, most likely", "What to change", "What is due", "Data gaps"] {
        assert!(mail.contains(heading) && text.contains(&heading.to_uppercase()), "{heading}");
    }
    assert!(text.lines().all(|line| line.chars().count() <= 78), "{text}");
}
