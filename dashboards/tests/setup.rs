//! What the page *Setup* says of printers, heaters, data and record, and that it reads well without any of them.
#![expect(clippy::unwrap_used, reason = "a test may stop")]
#![expect(dead_code, reason = "the sample serves several tests")]

mod sample;

use dwell_analysis::estimate::Estimate;
use dwell_analysis::units::Seconds;
use dwell_dashboards::render_setup;
use dwell_dashboards::view::{
    BackupsSetup, ChannelSetup, DocumentSetup, DriftView, FieldSetup, HeaterTold, HeaterView, HostClock,
    MaterialFigure, PrinterSetup, Quality, RecordSetup, Refused, SetupView, StuckWay, Trouble, TunedRule,
};
use sample::{HOSTILE, at, frame};

fn nothing() -> SetupView {
    SetupView {
        frame: frame(),
        at: at(0.0),
        printers: Vec::new(),
        heaters: None,
        record: RecordSetup {
            file: "record.db".to_owned(),
            bytes: None,
            schema: 7,
            oldest: None,
            keep_days: None,
            backups: None,
            unwritten: None,
        },
        channels: Vec::new(),
        materials: Vec::new(),
        tuned: Vec::new(),
    }
}

fn field(name: &str, found: Option<&str>, understood: Result<&str, &str>) -> FieldSetup {
    FieldSetup {
        field: name.to_owned(),
        document: Some("live".to_owned()),
        path: "/t".to_owned(),
        found: found.map(str::to_owned),
        understood: understood.map(str::to_owned).map_err(str::to_owned),
    }
}

fn bench() -> PrinterSetup {
    PrinterSetup {
        name: "bench".to_owned(),
        is_commissioning: false,
        documents: vec![DocumentSetup {
            name: "live".to_owned(),
            address: "http://127.0.0.1:9/live?••••".to_owned(),
            every: Seconds::new(2.0),
            came: Some(true),
        }],
        read: Some(at(-0.1)),
        fields: vec![
            field("job state", Some("\"printing\""), Ok("printing")),
            field("T0 actual", Some("\"211.4 °F\""), Err("is \"211.4 °F\", needs to be a number and then \"°C\"")),
        ],
        unnamed: vec!["job byte".to_owned(), "T0 duty".to_owned()],
        troubles: vec![Trouble { since: at(-30.0), cause: "document sheet: connection refused".to_owned() }],
        clock: Some(HostClock { ahead: Seconds::new(-4.0), within: Seconds::new(0.5) }),
        quality: Quality {
            since: Some(at(-14_400.0)),
            contact: Some(0.999_96),
            days: vec![None, Some(1.0), Some(0.97)],
            n_gaps: 3,
            gap_longest: Some(Seconds::minutes(12.0)),
            refused: vec![Refused { reason: "out_of_order", n: 4 }],
            interval: Some(Seconds::new(4.1)),
            poll: Some(Seconds::new(2.0)),
            missing: vec![("T1 actual".to_owned(), 0.25)],
            n_prints: 41,
            n_unreported: 6,
            sources: vec![("host", 120), ("job_file", 9)],
            n_disagreements: 2,
        },
    }
}

fn heater(told: Result<HeaterTold, String>) -> HeaterView {
    HeaterView { printer: "bench".to_owned(), tool: 1, fan: None, told }
}

fn fitted() -> HeaterTold {
    let of = |value: f64, low, high| Ok(Estimate { value, low, high, n: 8 });
    HeaterTold {
        n_cooldowns: 8,
        n_heatups: 1,
        cooling_constant: of(200.0, 198.7, 201.2),
        heating_constant: of(181.0, 170.0, 192.0),
        gain: Err("the record says too little of it".to_owned()),
        cooling_dead_time: of(0.52, 0.5, 0.54),
        heating_dead_time: of(3.5, 3.1, 3.9),
        drop: Err("no usual one is known".to_owned()),
        drift: DriftView { n_before: 4, n_after: 5, moved: Ok(Vec::new()) },
    }
}

fn full() -> SetupView {
    let stuck =
        StuckWay { name: "mail".to_owned(), n_tries: 5, next: at(3.0), since: at(-60.0), n_in_message: 1, n_behind: 0 };
    let channel = |name: &str, kind, delivered, stuck| ChannelSetup {
        name: name.to_owned(),
        kind,
        from: "medium",
        quiet: Some("22:00 to 07:00".to_owned()),
        delivered,
        stuck,
    };
    SetupView {
        printers: vec![bench()],
        heaters: Some((at(-200.0), vec![heater(Ok(fitted())), heater(Err("no step".to_owned()))])),
        record: RecordSetup {
            bytes: Some(4_300_000),
            oldest: Some(at(-90_000.0)),
            keep_days: Some((90, 730)),
            backups: Some(BackupsSetup {
                folder: "backups".to_owned(),
                keep: 7,
                found: Ok(7),
                newest: Some(("Sat 28 Feb 2026".to_owned(), 2_100_000)),
            }),
            ..nothing().record
        },
        channels: vec![channel("log", "log", None, None), channel("mail", "mail", Some(at(-600.0)), Some(stuck))],
        materials: vec![MaterialFigure {
            material: "PLA".to_owned(),
            figure: "first flow",
            value: "142".to_owned(),
            unit: "°C",
            source: "measured".to_owned(),
        }],
        tuned: vec![TunedRule {
            rule: "idle_hot",
            printer: "bench".to_owned(),
            material: "any".to_owned(),
            figures: ["medium", "90 s (usual: 600 s)", "60 s", ""].map(str::to_owned),
        }],
        ..nothing()
    }
}

/// The page's text without its marks, blanks drawn together.
fn text(view: &SetupView) -> String {
    let page = render_setup(view);
    let bare: String = page
        .split('<')
        .map(|piece| piece.split_once('>').map_or(piece, |(_, text)| text))
        .fold(String::new(), |all, piece| if piece.is_empty() { all } else { format!("{all} {piece}") });
    bare.split_whitespace().collect::<Vec<_>>().join(" ")
}

#[test]
fn each_field_is_told_with_what_was_found_and_why_it_is_not_understood() {
    let said = text(&full());
    for says in [
        "1 of 2 fields are understood, and one thing is wrong with its polls.",
        "document sheet: connection refused, since",
        "Document live, http://127.0.0.1:9/live?••••, every 2.0 s: came.",
        "Host's clock 4.0 s behind (±0.5 s), by its Date header.",
        "T0 actual not understood: is &quot;211.4 °F&quot;, needs to be a number and then &quot;°C&quot;",
        "2 fields that a host may tell and this configuration does not name",
    ] {
        assert!(said.contains(says), "{says}: {said}");
    }
    // What is wrong is seen without a click.
    assert!(render_setup(&full()).contains("<details open><summary>Field by field"));
}

#[test]
fn data_quality_is_told_with_its_numbers_and_what_is_nearly_whole_is_not_called_whole() {
    let said = text(&full());
    for says in [
        "99.99 % of the time, on the worst day 97 %",
        "3 times, the longest 12 min",
        "4.1 s, though 2.0 s is wanted: the host answers late, or tells its values seldom",
        "Readings left out 4 out of order",
        "T1 actual in 25 %",
        "the host's word (120 tool changes), the job file (9 tool changes); host and job file did not agree 2 times",
        "35 of 41: say how they went",
    ] {
        assert!(said.contains(says), "{says}: {said}");
    }
}

#[test]
fn a_heater_is_told_with_intervals_or_with_the_reason_that_there_are_none() {
    let said = text(&full());
    for says in [
        "bench T1, cooling : 200.0 s (198.7 to 201.2)",
        "8 coolings and 1 heating",
        "not known: the record says too little of it",
        "Drift: no parameter has moved, the newest 5 of its prints against the 4 before.",
        "Nothing is known of its heater: no step.",
    ] {
        assert!(said.contains(says), "{says}: {said}");
    }
}

#[test]
fn record_ways_materials_and_rules_are_told_as_they_are() {
    let said = text(&full());
    for says in [
        "Size 4.3 MB",
        "every reading of 90 days that have some, by the minute 730 days more, by the hour for ever",
        "7 backups in backups, the newest of Sat 28 Feb 2026, 2.1 MB",
        "mail mail medium priority on 22:00 to 07:00",
        "not delivered since 22:00, 5 tries; the next at 23:03",
        "first flow 142 °C measured",
        "idle hot bench any medium 90 s (usual: 600 s) 60 s none",
    ] {
        assert!(said.contains(says), "{says}: {said}");
    }
    assert!(!said.contains("Alarms go to the log alone"));
}

#[test]
fn without_a_printer_a_reading_or_a_configuration_the_page_says_so_and_shows_no_number() {
    let said = text(&nothing());
    for says in [
        "No printer is known yet.",
        "nothing is known yet",
        "Size not measured",
        "First reading none yet",
        "The configuration is not known here",
        "Every rule is as usual.",
    ] {
        assert!(said.contains(says), "{says}: {said}");
    }
    let quiet = PrinterSetup {
        read: None,
        fields: Vec::new(),
        troubles: Vec::new(),
        clock: None,
        quality: Quality::default(),
        ..bench()
    };
    let said = text(&SetupView { printers: vec![quiet], heaters: Some((at(0.0), Vec::new())), ..nothing() });
    for says in ["It has not been polled since dwellwatch was started", "No reading yet", "No tool is on record yet."] {
        assert!(said.contains(says), "{says}: {said}");
    }
    assert!(!said.contains('%') && !said.contains("Field by field"), "{said}");
}

#[test]
fn what_a_host_tells_stays_text_and_headings_follow_each_other() {
    let mut view = full();
    let printer = &mut view.printers[0];
    printer.fields.push(field(HOSTILE, Some(HOSTILE), Err(HOSTILE)));
    printer.troubles.push(Trouble { since: at(0.0), cause: HOSTILE.to_owned() });
    let page = render_setup(&view);
    assert!(!page.contains("<script>alert"), "{page}");
    assert!(!page.contains("style=") && page.len() < 100_000);
    let levels: Vec<u32> = page.split("<h").skip(1).filter_map(|piece| piece.chars().next()?.to_digit(10)).collect();
    assert_eq!(levels.iter().filter(|level| **level == 1).count(), 1);
    assert!(levels.windows(2).all(|pair| pair[1] <= pair[0] + 1), "{levels:?}");
}
