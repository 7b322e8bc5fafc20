//! Hosts of many shapes, each invented and unlike the others: what their documents say arrives, and silence is not filled.

use super::super::*;
use super::AT;
use crate::config::Config;
use crate::entry::{CentiCelsius, JobState, Reading};
use dwell_analysis::time::Timestamp;
use serde_json::{Value, json};
use std::path::Path;
use std::sync::Arc;

/// The map of a printer of these documents; `rest` is the sections that say where what stands.
fn map_of(documents: &[&str], rest: &str) -> Arc<PrinterMap> {
    let document =
        |name: &&str| format!("[[printer.document]]\nname = \"{name}\"\nurl = \"http://127.0.0.1:9/{name}\"\n");
    let documents: String = documents.iter().map(document).collect();
    let text = format!("[[printer]]\nname = \"bench\"\n{documents}{rest}");
    Arc::clone(&Config::parse(&text, Path::new("bench.toml")).unwrap().printers()[0].map)
}

/// One document whose job's state is always told, with `rest` of its map.
fn one(rest: &str) -> Arc<PrinterMap> {
    map_of(&["all"], &format!("[printer.job]\nstate = {{ path = \"\", other = \"printing\" }}\n{rest}"))
}

fn read(map: &PrinterMap, document: Value) -> Reading {
    understand(map, &[Some(document)], AT, false).unwrap()
}

fn why(map: &PrinterMap, document: Value, field: &str) -> String {
    let reports = explain(map, &[Some(document)], AT);
    reports.into_iter().find(|report| report.field == field).unwrap().understood.unwrap_err()
}

fn degrees(celsius: f64) -> Option<CentiCelsius> {
    CentiCelsius::nearest(celsius)
}

#[test]
fn temperatures_may_stand_in_rows_under_names_or_behind_a_filter() {
    let rows = one("[[printer.tool]]\nactual = { path = \"$.rows[1][0]\" }\ntarget = { path = \"$.rows[1][1]\" }\n");
    let tool = read(&rows, json!({ "rows": [[60.1, 60], [211.4, 210]] })).tools[0];
    assert_eq!((tool.actual, tool.target), (degrees(211.4), degrees(210.0)));

    let named = one("[[printer.tool]]\nactual = { path = \"$.warm['hot end, west'].felt\", suffix = \"°C\" }\n\
        target = { path = \"/warm/hot end, west/asked\", words = { off = 0, \"-\" = 0 }, unit = \"F\" }\n");
    let west = |felt: Value, asked: Value| {
        let tool =
            read(&named, json!({ "warm": { "bed": {}, "hot end, west": { "felt": felt, "asked": asked } } })).tools[0];
        (tool.actual, tool.target)
    };
    // A word stands for °C, a number is in the host's unit.
    assert_eq!(west(json!("211.4 °C"), json!("off")), (degrees(211.4), degrees(0.0)));
    assert_eq!(west(json!("-3°C"), json!("410")), (degrees(-3.0), degrees(210.0)));

    let listed = one(
        "[[printer.tool]]\nactual = { path = \"$[?@.seat=='w' && @.kind=='nozzle'].mk\", scale = 0.001, unit = \"K\" }\n",
    );
    let list = json!([{ "seat": "w", "kind": "fan", "mk": 1 }, { "seat": "w", "kind": "nozzle", "mk": 484_550 }]);
    assert_eq!(read(&listed, list).tools[0].actual, degrees(211.4));
}

#[test]
fn of_several_paths_the_first_that_is_not_null_counts_and_is_the_one_shown() {
    let map = one("[[printer.tool]]\nactual = { path = [\"/probe/fine\", \"$.probe.coarse\", \"/spare\"] }\n");
    let actual = |document: Value| {
        let report = explain(&map, &[Some(document.clone())], AT).pop().unwrap();
        (read(&map, document).tools[0].actual, report.path)
    };
    let all = json!({ "probe": { "fine": 211.4, "coarse": 211 }, "spare": 1 });
    assert_eq!(actual(all), (degrees(211.4), "/probe/fine".to_owned()));
    assert_eq!(
        actual(json!({ "probe": { "fine": null, "coarse": 211 }, "spare": 1 })),
        (degrees(211.0), "$.probe.coarse".to_owned())
    );
    assert_eq!(actual(json!({ "spare": 25 })), (degrees(25.0), "/spare".to_owned()));
    assert_eq!(actual(json!({})), (None, "/probe/fine or $.probe.coarse or /spare".to_owned()));
    // A value that is there and unfit is not replaced by another's.
    assert_eq!(actual(json!({ "probe": { "fine": "?" }, "spare": 25 })).0, None);
    let several = one("[[printer.tool]]\nactual = { path = [\"$.probes[*]\", \"/spare\"] }\n");
    assert_eq!(read(&several, json!({ "probes": [1, 2], "spare": 25 })).tools[0].actual, None);
}

#[test]
fn a_suffix_is_exact_and_needed() {
    let map = one("[[printer.tool]]\nactual = { path = \"/t\", suffix = \"°C\", words = { cold = 20 } }\n");
    let actual = |t: Value| read(&map, json!({ "t": t })).tools[0].actual;
    assert_eq!(actual(json!("211.4°C")), degrees(211.4));
    assert_eq!(actual(json!(" 211.4  °C")), degrees(211.4));
    assert_eq!(actual(json!("cold")), degrees(20.0));
    for unfit in
        [json!("211.4 °F"), json!("211.4"), json!(211.4), json!("°C"), json!("211,4 °C"), json!("about 211 °C")]
    {
        assert_eq!(actual(unfit.clone()), None, "{unfit}");
    }
    let said = why(&map, json!({ "t": "warm" }), "T0 actual");
    assert!(said.starts_with("is \"warm\", needs to be a number") && said.contains("\"cold\""), "{said}");
}

#[test]
fn progress_is_told_as_percent_bytes_of_the_size_or_layers_of_the_layers() {
    let tool = "[[printer.tool]]\nactual = { path = \"/t\" }\n";
    let fraction = |key: &str, document: Value| {
        read(&one(&format!("fraction = {{ {key} }}\n{tool}")), document).job.fraction_millionths
    };
    assert_eq!(fraction("path = \"/p\", suffix = \"%\", scale = 0.01", json!({ "p": "43.1 %" })), Some(431_000));
    let bytes = "path = \"$.sheet.at\", of = \"$.sheet.size\"";
    assert_eq!(fraction(bytes, json!({ "sheet": { "at": 120_000, "size": "480000" } })), Some(250_000));
    // The whole may have the number's suffix, and need not.
    let sized = "path = \"/done\", of = \"/size\", suffix = \"MB\"";
    assert_eq!(fraction(sized, json!({ "done": "12.4 MB", "size": "49.6 MB" })), Some(250_000));
    assert_eq!(fraction(sized, json!({ "done": "12.4 MB", "size": 49.6 })), Some(250_000));
    // The host counts layers from 0, and shows "–" while it homes.
    let layers = "path = \"/now\", of = [\"/plan/layers\", \"/layers\"], offset = 1, words = { \"–\" = 0 }";
    assert_eq!(fraction(layers, json!({ "now": 29, "layers": 120 })), Some(250_000));
    assert_eq!(fraction(layers, json!({ "now": "–" })), Some(0));
    // No whole, no share.
    for whole in [json!(0), json!(-120), json!(null), json!("many"), json!([120])] {
        assert_eq!(fraction(layers, json!({ "now": 29, "layers": whole })), None, "{whole}");
    }
    assert_eq!(fraction(layers, json!({ "now": 130, "layers": 120 })), None);
    let map = one(&format!("fraction = {{ {layers} }}\n{tool}"));
    let report = explain(&map, &[Some(json!({ "now": 29, "layers": 0 }))], AT).swap_remove(1);
    assert_eq!((report.path.as_str(), report.raw.as_deref()), ("/now of /plan/layers or /layers", Some("29 of 0")));
    let said = report.understood.unwrap_err();
    assert_eq!(said, "its whole at /plan/layers or /layers: comes to 0, needs to be more than 0");
}

#[test]
fn a_job_that_vanishes_is_none_and_any_other_word_is_what_the_map_says() {
    let map = map_of(
        &["job"],
        "[printer.job]\nstate = { path = \"$.order\", absent = \"none\", other = \"printing\", words = { halt = \"paused\" } }\n\
         [[printer.tool]]\nactual = { path = \"/t\" }\n",
    );
    let state = |document: Value| read(&map, document).job.state;
    assert_eq!(state(json!({ "order": null })), JobState::None);
    assert_eq!(state(json!({})), JobState::None);
    assert_eq!(state(json!({ "order": "halt" })), JobState::Paused);
    assert_eq!(state(json!({ "order": { "sheet": "lantern.gcode" } })), JobState::Printing);
    assert_eq!(state(json!({ "order": [] })), JobState::Printing);
    // A document that did not come says nothing of what is in it.
    let error = understand(&map, &[None], AT, false).unwrap_err();
    assert!(error.is_transient() && error.to_string().contains("$.order"), "{error}");
}

const FLAGS: &str = r#"[printer.job]
state = [
  { document = "alarm", path = "/lamp", words = { red = "failed" } },
  { document = "flags", path = "/is_held", words = { true = "paused" } },
  { document = "flags", path = "/is_busy", words = { true = "printing" }, other = "none" },
]
[[printer.tool]]
actual = { document = "heat", path = "/t" }
"#;

#[test]
fn the_first_place_that_tells_the_state_counts() {
    let map = map_of(&["alarm", "flags", "heat"], FLAGS);
    let state = |lamp: Option<Value>, flags: Option<Value>| understand(&map, &[lamp, flags, None], AT, false);
    let lamp = |color: &str| Some(json!({ "lamp": color }));
    let flags = |is_held: bool, is_busy: bool| Some(json!({ "is_held": is_held, "is_busy": is_busy }));
    let is = |reading: Result<Reading, MapError>| reading.unwrap().job.state;
    assert_eq!(is(state(lamp("red"), flags(false, true))), JobState::Failed);
    assert_eq!(is(state(lamp("green"), flags(true, true))), JobState::Paused);
    assert_eq!(is(state(lamp("green"), flags(false, true))), JobState::Printing);
    assert_eq!(is(state(lamp("green"), flags(false, false))), JobState::None);
    assert_eq!(is(state(lamp("red"), None)), JobState::Failed);
    // With the lamp unseen a flag still tells what it says, but silence no longer means that there is no job.
    assert_eq!(is(state(None, flags(false, true))), JobState::Printing);
    let error = state(None, flags(false, false)).unwrap_err();
    assert!(error.is_transient() && error.to_string().contains("/lamp: its document did not come"), "{error}");
    // Seen, and in no known word: a person is to say which of them means what.
    let map = map_of(&["alarm", "flags", "heat"], &FLAGS.replace(", other = \"none\"", ""));
    let error = understand(&map, &[lamp("green"), Some(json!({ "is_busy": false })), None], AT, false).unwrap_err();
    assert_eq!(
        error.to_string(),
        "the job's state is told in no place; /lamp: is \"green\", needs to be one of \"red\"; /is_held: nothing is there; \
         /is_busy: is \"false\", needs to be one of \"true\"; add a word under printer.job.state"
    );
    assert!(!error.is_transient());
    assert_eq!([0, 1, 2].map(|idx| map.needs(idx)), [false; 3]);
}

#[test]
fn the_report_shows_the_place_that_told_the_state_or_every_place_that_did_not() {
    let map = map_of(&["alarm", "flags", "heat"], FLAGS);
    let states = |documents: &[Option<Value>]| {
        let reports = explain(&map, documents, AT).into_iter().filter(|report| report.field == "job state");
        reports.map(|report| (report.document, report.path, report.understood.ok())).collect::<Vec<_>>()
    };
    let told = states(&[Some(json!({ "lamp": "off" })), Some(json!({ "is_held": true })), None]);
    assert_eq!(told, [(1, "/is_held".to_owned(), Some("paused".to_owned()))]);
    let untold = states(&[Some(json!({ "lamp": "off" })), None, None]);
    assert_eq!(untold.iter().map(|(document, ..)| *document).collect::<Vec<_>>(), [0, 1, 1]);
    assert!(untold.iter().all(|(.., understood)| understood.is_none()), "{untold:?}");
}

#[test]
fn the_tool_at_work_may_be_told_by_a_truth_value_a_tool() {
    let tools = "[[printer.tool]]\nactual = { path = \"/t\" }\n".repeat(2);
    let map = one(&format!(
        "[[printer.active_tool]]\npath = \"/west/on\"\nwords = {{ true = 0 }}\n\
         [[printer.active_tool]]\npath = \"/east/on\"\nwords = {{ true = 1 }}\n{tools}"
    ));
    let tool =
        |west: Value, east: Value| read(&map, json!({ "west": { "on": west }, "east": { "on": east } })).active_tool;
    assert_eq!((tool(json!(true), json!(false)), tool(json!(false), json!(true))), (Some(0), Some(1)));
    assert_eq!((tool(json!(false), json!(false)), tool(json!(null), json!("true"))), (None, Some(1)));
}

#[test]
fn a_name_that_stands_for_none_is_none_and_one_that_stands_for_another_is_that() {
    let map = one(
        "name = { path = [\"/sheet/title\", \"/sheet/file\"], words = { \"(nothing)\" = \"\", \"1\" = \"lantern.gcode\" } }\n\
        [[printer.tool]]\nactual = { path = \"/t\" }\n",
    );
    let name = |sheet: Value| read(&map, json!({ "sheet": sheet })).job.name;
    assert_eq!(name(json!({ "title": "(nothing)", "file": "a.gcode" })), None);
    assert_eq!(name(json!({ "title": null, "file": "a.gcode" })).as_deref(), Some("a.gcode"));
    assert_eq!(name(json!({ "title": 1 })).as_deref(), Some("lantern.gcode"));
    let report = explain(&map, &[Some(json!({ "sheet": { "title": "(nothing)" } }))], AT).swap_remove(1);
    assert_eq!(report.understood.as_deref(), Ok("none"));
    assert_eq!(why(&map, json!({ "sheet": { "file": " " } }), "job name"), "is empty");
}

#[test]
fn bytes_in_another_measure_are_rounded_and_bare_ones_are_not() {
    let bytes = |key: &str, at: Value| {
        let map = one(&format!("byte = {{ path = \"/at\"{key} }}\n[[printer.tool]]\nactual = {{ path = \"/t\" }}\n"));
        read(&map, json!({ "at": at })).job.byte
    };
    assert_eq!(bytes(", suffix = \"KiB\", scale = 1024", json!("117.3 KiB")), Some(120_115));
    assert_eq!(bytes("", json!(117.3)), None);
    assert_eq!(bytes(", scale = 1024", json!(-1)), None);
}

#[test]
fn the_host_s_time_is_read_in_each_form_and_refused_outside_two_centuries() {
    let told = |form: &str, value: Value| {
        let time = format!(
            "[printer.time]\npath = \"/now\"\nform = \"{form}\"\n[[printer.tool]]\nactual = {{ path = \"/t\" }}\n"
        );
        one(&time).time.as_ref().unwrap().read(&[Some(json!({ "now": value }))])
    };
    assert_eq!(told("rfc3339", json!("2026-03-02T09:00:01.5+01:00")), Ok(Timestamp::from_ms(AT.as_ms() + 500)));
    assert_eq!(told("unix_s", json!(1_772_438_401)), Ok(AT));
    assert_eq!(told("unix_s", json!("1772438401.25")), Ok(Timestamp::from_ms(AT.as_ms() + 250)));
    assert_eq!(told("unix_ms", json!(1_772_438_401_000_i64)), Ok(AT));
    for (form, value) in [
        ("rfc3339", json!("2026-03-02T09:00:01")),
        ("rfc3339", json!("1969-12-31T23:59:59Z")),
        ("rfc3339", json!("2200-01-01T00:00:00Z")),
        ("rfc3339", json!(1_772_438_401)),
        ("unix_s", json!(1_772_438_401_000_i64)),
        ("unix_s", json!(-1)),
        ("unix_s", json!("NaN")),
        ("unix_s", json!("2026-03-02T09:00:01Z")),
        ("unix_ms", json!(7_258_118_400_000_i64)),
        ("unix_ms", json!(true)),
    ] {
        assert!(told(form, value.clone()).is_err(), "{form} {value}");
    }
    let map = one("[printer.time]\npath = \"/now\"\nform = \"unix_s\"\n[[printer.tool]]\nactual = { path = \"/t\" }\n");
    let report = explain(&map, &[Some(json!({ "now": 1_772_438_397.5 }))], AT).swap_remove(0);
    assert_eq!(report.field, "time");
    assert_eq!(report.understood.as_deref(), Ok("2026-03-02T07:59:57.5Z, 3.5 s behind this machine's clock"));
}

#[test]
fn what_passes_quickly_is_the_state_the_tool_the_time_and_every_temperature() {
    let sections = [
        ("[printer.job]\nstate = { document = \"x\", path = \"/s\" }\n", true),
        ("[printer.active_tool]\ndocument = \"x\"\npath = \"/a\"\n", true),
        ("[printer.time]\ndocument = \"x\"\npath = \"/n\"\nform = \"unix_s\"\n", true),
        ("[printer.bed]\nactual = { document = \"x\", path = \"/b\" }\n", true),
        ("[[printer.tool]]\ntarget = { document = \"x\", path = \"/g\" }\n", true),
        ("[printer.job.name]\ndocument = \"x\"\npath = \"/f\"\n", false),
        ("[printer.job.fraction]\ndocument = \"x\"\npath = \"/p\"\nof = \"/q\"\n", false),
    ];
    let rest = "[[printer.tool]]\nactual = { document = \"y\", path = \"/t\" }\n";
    for (section, is_quick) in sections {
        let job = if section.contains("[printer.job]\n") {
            ""
        } else {
            "[printer.job]\nstate = { document = \"y\", path = \"/s\" }\n"
        };
        let map = map_of(&["x", "y"], &format!("{job}{section}{rest}"));
        assert_eq!(map.is_quick(0), is_quick, "{section}");
        assert_eq!(map.needs(0), job.is_empty(), "{section}");
    }
}
