//! An invented week at the printer "bench", as views: what the tests of pages and reports look at.

pub(crate) mod ahead;
pub(crate) mod alarms;
pub(crate) mod report;

use dwell_analysis::time::Timestamp;
use dwell_analysis::units::{Celsius, CubicMm, DoseMinutes, Millimetres, Seconds};
use dwell_dashboards::view::*;
use dwell_dashboards::week::IsoWeek;
use jiff::tz::TimeZone;

/// Closes each place where a job's name may stand, and opens a script.
pub(crate) const HOSTILE: &str = "\"'></title></style><script>alert(1)</script>&.gcode";

pub(crate) fn zone() -> TimeZone {
    TimeZone::get("Europe/Berlin").unwrap()
}

pub(crate) fn week() -> IsoWeek {
    IsoWeek::parse("2026-W09").unwrap()
}

/// So many minutes after Saturday 2026-02-28T22:00:00Z, an hour before midnight in Berlin.
pub(crate) fn at(minutes: f64) -> Timestamp {
    Timestamp::from_ms(1_772_316_000_000) + Seconds::minutes(minutes)
}

pub(crate) fn frame() -> Frame {
    Frame { zone: zone(), week: week(), rehearsal: true, signs_in: false }
}

fn piece(from: f64, to: f64, kind: LaneKind, mean: Option<f64>) -> LanePiece {
    LanePiece { from: at(from), to: at(to), kind, mean: mean.map(Celsius::new) }
}

pub(crate) fn lane(other: bool) -> Vec<LanePiece> {
    let (first, second) =
        if other { (LaneKind::Working, LaneKind::Waiting) } else { (LaneKind::Waiting, LaneKind::Working) };
    let heat = |kind| Some(if kind == LaneKind::Working { 211.0 } else { 178.0 });
    vec![
        piece(-120.0, -95.0, LaneKind::Cold, Some(31.0)),
        piece(-95.0, -70.0, first, heat(first)),
        piece(-70.0, -52.0, second, heat(second)),
        piece(-52.0, -40.0, LaneKind::Gap, None),
        piece(-40.0, -31.0, LaneKind::Unknown, None),
        piece(-31.0, -14.0, first, heat(first)),
        piece(-14.0, 0.0, second, Some(if other { 216.0 } else { 211.0 })),
    ]
}

pub(crate) fn tool(number: usize, doing: DoingNow, dose: f64) -> ToolNowView {
    let waits = matches!(doing, DoingNow::Waiting { .. });
    ToolNowView {
        number,
        material: Some("PLA".to_owned()),
        doing,
        actual: Some(Celsius::new(if waits { 216.04 } else { 211.4 })),
        target: Some(Celsius::new(if waits { 216.0 } else { 211.0 })),
        dose: DoseMinutes::new(dose),
        limit: DoseMinutes::new(60.0),
        time_left: (waits && dose < 60.0).then(|| Seconds::minutes(14.3)),
        history: lane(number == 1),
        next: Vec::new(),
        works: None,
        standby: None,
        reheat: None,
    }
}

pub(crate) fn waiting() -> DoingNow {
    DoingNow::Waiting { context: "in_print", since: at(-14.0), idle: Seconds::minutes(14.0) }
}

pub(crate) fn printer(contact: Contact, tools: Vec<ToolNowView>) -> PrinterNow {
    PrinterNow {
        name: "bench".to_owned(),
        hot_end: "separate",
        is_commissioning: false,
        contact,
        troubles: Vec::new(),
        host_clock: Some(HostClock { ahead: Seconds::new(-184.2), within: Seconds::new(0.3) }),
        job: Some(JobNow {
            state: "printing",
            name: Some("lantern.gcode".to_owned()),
            fraction: Some(0.4312),
            started: Some(at(-95.0)),
        }),
        ahead: Ahead::NoFile,
        heard: Some(Heard {
            over: Seconds::minutes(120.0),
            contact: Seconds::minutes(108.0),
            gaps: 1,
            longest: Seconds::minutes(12.0),
            age: Seconds::new(2.0),
        }),
        tools,
        refused: vec![Refused { reason: "out_of_order", n: 2 }],
    }
}

pub(crate) fn now(printers: Vec<PrinterNow>, alarms: Vec<AlarmView>) -> NowView {
    NowView {
        frame: frame(),
        at: Some(at(0.0)),
        unwritten: None,
        printers,
        alarms,
        n_unseen: 0,
        n_silent: 0,
        holds: Vec::new(),
        token: "c0ffee".to_owned(),
        revision: 812,
        made: "17-4".to_owned(),
    }
}

pub(crate) fn in_contact() -> Contact {
    Contact::In { since: at(-40.0), newest: at(0.0) }
}

pub(crate) fn calm() -> NowView {
    let tools = vec![tool(0, DoingNow::Working { since: at(-14.0) }, 0.4), tool(1, waiting(), 22.8)];
    now(vec![printer(in_contact(), tools)], vec![alarm(Some(at(-30.0)))])
}

pub(crate) fn alarm(returned: Option<Timestamp>) -> AlarmView {
    AlarmView {
        id: Some(4),
        printer: Some("bench".to_owned()),
        tool: Some(1),
        rule: "residence_budget",
        priority: "medium",
        state: if returned.is_some() { "returned unacknowledged" } else { "unacknowledged" },
        raised: at(-45.0),
        returned,
        acknowledged: None,
        is_right: None,
        cause: "The waiting PLA has taken 64.1 of 60.0 equivalent min.".to_owned(),
        consequence: "It may char, swell and jam the nozzle.".to_owned(),
        action: "Purge T1 before it prints again, or lower its standby temperature.".to_owned(),
    }
}

/// A printer of whose documents one does not come.
pub(crate) fn troubled(contact: Contact, tools: Vec<ToolNowView>) -> PrinterNow {
    let cause = "document heat from http://127.0.0.1:8121/heat: connection refused".to_owned();
    PrinterNow { troubles: vec![Trouble { since: at(-3.0), cause }], ..printer(contact, tools) }
}

/// The alarm of a host that fell silent while hot.
pub(crate) fn silent_alarm() -> AlarmView {
    AlarmView {
        tool: None,
        rule: "host_silent",
        cause: "No new reading of the host for 20 s and more; at the last, T1 was at 216 °C, set to 215 °C.".to_owned(),
        consequence: "Nobody sees whether the heaters are held.".to_owned(),
        action: "Look at the printer itself, then at its host and the network.".to_owned(),
        ..alarm(None)
    }
}

pub(crate) fn print_row(id: i64, name: &str) -> PrintRow {
    PrintRow {
        id,
        printer: "bench".to_owned(),
        name: Some(name.to_owned()),
        started: at(-95.0),
        ended: Some(at(0.0)),
        end: Some("completed"),
        tool_changes: 3,
        dose_worst: Some(DoseMinutes::new(64.1)),
        outcomes: Vec::new(),
    }
}

pub(crate) fn span(began: f64, dose: Option<f64>) -> SpanRow {
    SpanRow {
        printer: "bench".to_owned(),
        print: Some(7),
        tool: 1,
        context: "in_print",
        began: at(began),
        ended: Some(at(began + 17.0)),
        idle: Seconds::minutes(17.0),
        gap: Seconds::minutes(2.0),
        mean: dose.map(|_| Celsius::new(214.2)),
        max: dose.map(|_| Celsius::new(216.9)),
        target: Some(Celsius::new(216.0)),
        dose: dose.map(DoseMinutes::new),
        limit: DoseMinutes::new(60.0),
        ooze: dose.map(|_| CubicMm::new(4.2)),
    }
}

/// The first page of a list of these.
pub(crate) fn prints(rows: Vec<PrintRow>) -> PrintsView {
    let n = u32::try_from(rows.len()).unwrap();
    PrintsView {
        frame: frame(),
        rows,
        n_found: n,
        n_all: n,
        page: 1,
        n_pages: 1,
        filter: PrintsFilter::default(),
        printers: vec!["bench".to_owned()],
        form: form(),
        silent: SilentPrints::default(),
        done: None,
    }
}

pub(crate) fn form() -> OutcomeForm {
    OutcomeForm { token: "c0ffee".to_owned(), modes: vec!["jam", "stringing", "under_extrusion", "other"] }
}

pub(crate) fn foreseen(tool: usize, mode: &'static str, chance: f64, happened: Option<bool>) -> ForeseenRow {
    ForeseenRow { tool, mode, chance, base: 0.12, n: 41, events: 5, happened }
}

pub(crate) fn said(minutes: f64, tool: Option<usize>, mode: &'static str) -> OutcomeRow {
    OutcomeRow { at: at(minutes), tool, mode, severity: None, note: None }
}

pub(crate) fn print(name: &str) -> PrintView {
    let mut row = print_row(7, name);
    row.outcomes.push(OutcomeRow {
        at: at(30.0),
        tool: Some(1),
        mode: "stringing",
        severity: Some(1),
        note: Some("fine hairs on the <top> ring".to_owned()),
    });
    let tool = |number| PrintTool {
        number,
        settings: SettingsView {
            material: Some("PLA".to_owned()),
            print: Some(Setting::Typed(Celsius::new(211.0))),
            standby: Some(Setting::JobFile { value: Celsius::new(176.0), typed: Some(Celsius::new(171.0)) }),
            retract: Some(Setting::JobFile { value: Millimetres::new(1.5), typed: None }),
            ..SettingsView::default()
        },
        typed: [Some(at(-30_000.0)), Some(at(-9_000.0)), None, None, None, None, None, None],
        before: SettingsView { print: Some(Setting::Typed(Celsius::new(214.0))), ..SettingsView::default() },
        lane: lane(number == 1),
        idle: Some(Seconds::minutes(42.0)),
        idle_max: Some(Seconds::minutes(17.0)),
        dose_max: Some(DoseMinutes::new(64.1)),
        ooze: None,
    };
    let words = vec![
        WordRow { said: said(10.0, None, "clean"), fate: WordFate::Replaced(at(30.0)) },
        WordRow { said: said(20.0, Some(0), "jam"), fate: WordFate::TakenBack(at(25.0)) },
        WordRow { said: row.outcomes[0].clone(), fate: WordFate::Stands },
    ];
    PrintView {
        frame: frame(),
        print: row,
        until: at(0.0),
        shown: (at(-95.0), at(0.0)),
        words,
        foreseen: Foreseen::Known(vec![foreseen(1, "stringing", 0.34, Some(true)), foreseen(0, "jam", 0.04, None)]),
        done: None,
        gap: Seconds::minutes(12.0),
        tools: vec![tool(0), tool(1)],
        job_file: Some(JobFileView { from: "host", expected: Seconds::minutes(93.0), is_foreign: false }),
        disagreements: vec![DisagreementRow { at: at(-65.0), host: 0, file: 1 }],
        changes: vec![ChangeRow { at: at(-70.0), from: 1, to: 0, source: "set_points" }],
        spans: vec![span(-31.0, Some(64.1)), span(-90.0, None)],
        form: form(),
    }
}
