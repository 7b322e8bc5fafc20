//! All charts on one page, written to `target/charts.html` to be looked at.

use super::drawn::{assert_inside, assert_no_nonsense, values};
use crate::chart::{
    BarRow, Bars, Bin, Curve, CurvePoint, IntervalRow, Intervals, PrintMark, Range, Reliability, Scale, Sparkline,
    Vertical, bars, curve, intervals, patterns, reliability, sparkline,
};
use crate::format;
use maud::{DOCTYPE, Markup, html};
use std::collections::BTreeSet;

fn scale(from: f64, to: f64, name: &str, show: fn(f64) -> String) -> Scale {
    Scale { from, to, name: name.to_owned(), show, is_log: false }
}

fn whole(value: f64) -> String {
    format!("{value:.0}")
}

fn times(value: f64) -> String {
    format!("× {value}")
}

fn response() -> Markup {
    let risk = |x: f64| 0.02 + 0.5 / (1.0 + (-(x - 40.0) / 9.0).exp());
    let points: Vec<_> = (0..=40)
        .map(|idx| f64::from(idx) * 2.0)
        .map(|x| CurvePoint { x, low: risk(x) * 0.55, value: risk(x), high: (risk(x) * 1.6).min(1.0) })
        .collect();
    let marks: Vec<_> = (0..42)
        .map(|idx| f64::from(idx * 37 % 71) + 1.5)
        .map(|x| PrintMark { x, happened: risk(x) > 0.3 && x % 3.0 < 2.0, words: format!("gull {x}") })
        .collect();
    curve(&Curve {
        id: "response",
        name: "How a jam answers the dose of one wait (bench, PLA)",
        told: "The risk rises from 2 % without waiting to 52 % at 80 equivalent minutes.",
        x: scale(0.0, 80.0, "Largest dose of the run (equivalent min)", whole),
        y: scale(0.0, 0.8, "Risk of a jam in a tool-run", format::percent),
        points: &points,
        is_stepped: false,
        marks: &marks,
        verticals: &[
            Vertical { x: 45.0, words: "limit".to_owned() },
            Vertical { x: 22.0, words: "as bench is set today, with 200 °C standby".to_owned() },
        ],
    })
}

fn survival() -> Markup {
    let alive = |x: f64| (-(x / 429.0).powf(2.0)).exp();
    let points: Vec<_> = (0..=24)
        .map(|idx| f64::from(idx) * 40.0)
        .map(|x| CurvePoint { x, low: alive(x * 1.5), value: alive(x), high: alive(x / 1.5) })
        .collect();
    let marks: Vec<_> = (0..300)
        .map(|idx| PrintMark { x: f64::from(idx * 7 % 960), happened: idx % 17 == 0, words: String::new() })
        .collect();
    curve(&Curve {
        id: "survival",
        name: "Liners still whole",
        told: "Half of them last 357 hours.",
        x: scale(0.0, 960.0, "Wear (hours at 220 °C)", whole),
        y: scale(0.0, 1.0, "Share still whole", format::percent),
        points: &points,
        is_stepped: true,
        marks: &marks,
        verticals: &[Vertical { x: 310.0, words: "T1's liner now".to_owned() }],
    })
}

fn known() -> Markup {
    let row = |name: &str, prior: [f64; 3], posterior: Option<[f64; 3]>, words: &str| IntervalRow {
        name: name.to_owned(),
        prior: Some(Range { low: prior[0], value: prior[1], high: prior[2] }),
        posterior: posterior.map(|[low, value, high]| Range { low, value, high }),
        words: words.to_owned(),
    };
    let rows = [
        row("Dose while waiting", [0.7, 1.3, 2.6], Some([1.4, 2.1, 3.3]), "makes a jam twice as likely"),
        row("Retraction length", [0.6, 1.1, 2.0], Some([0.8, 1.05, 1.4]), "no effect that the record can tell"),
        row("Print temperature", [0.5, 1.0, 2.0], None, "never varied"),
        row("Age of the liner", [0.3, 1.2, 9.0], Some([0.2, 0.9, 7.0]), "too little is known"),
    ];
    intervals(&Intervals {
        id: "known",
        name: "What raises the hazard of a jam",
        told: "The dose while waiting doubles it; the others are not told apart from nothing.",
        scale: Scale { from: 0.4, to: 5.0, name: "Factor on the hazard".to_owned(), show: times, is_log: true },
        zero: Some(1.0),
        rows: &rows,
    })
}

fn pareto() -> Markup {
    let row = |name: &str, n: u32, low: f64, high: f64, class: &'static str| BarRow {
        name: name.to_owned(),
        value: f64::from(n),
        low: Some(low),
        high: Some(high),
        words: format!("{n} of 61 tool-runs"),
        class,
    };
    bars(&Bars {
        id: "pareto",
        name: "What failed, most often first",
        told: "Jams are half of all failures.",
        scale: scale(0.0, 14.0, "Tool-runs with it", whole),
        rows: &[
            row("Jam", 7, 3.7, 12.2, "d-failed"),
            row("Stringing", 4, 1.6, 8.5, "k-waiting"),
            row("Under-extrusion", 2, 0.6, 6.0, "d-outcome"),
            row("Blob", 0, 0.0, 2.9, "d-running"),
        ],
    })
}

fn forecasts(id: &str, bins: &[Bin]) -> Markup {
    reliability(&Reliability { id, name: "Forecast against seen: jam", told: "Forecasts hold within chance.", bins })
}

fn sparks() -> Markup {
    let values = [Some(71.0), Some(72.0), None, Some(71.5), Some(74.0), Some(78.0), None, Some(81.0)];
    let one = [None, Some(3.0), None];
    html! {
        p { (sparkline(&Sparkline { name: "Time constant of T1's heater", values: &values, words: "71 s to 81 s in 8 weeks".to_owned() })) }
        p { (sparkline(&Sparkline { name: "One value", values: &one, words: "3 s, once".to_owned() })) }
        p { (sparkline(&Sparkline { name: "Nothing", values: &[], words: "nothing measured yet".to_owned() })) }
    }
}

fn nothing() -> Markup {
    html! {
        (curve(&Curve {
            id: "empty", name: "A curve of nothing", told: "Nothing is known.",
            x: scale(0.0, 0.0, "Dose (equivalent min)", whole), y: scale(0.0, 1.0, "Risk", format::percent),
            points: &[], is_stepped: false, marks: &[], verticals: &[],
        }))
        (forecasts("empty-forecasts", &[]))
    }
}

#[test]
fn the_sheet_of_all_charts_has_unique_ids_and_marks_inside() {
    let bin = |forecast, low, seen, high, n| Bin { forecast, low, seen, high, n };
    let bins = [bin(0.03, 0.01, 0.025, 0.05, 120), bin(0.11, 0.05, 0.14, 0.28, 31), bin(0.34, 0.12, 0.29, 0.51, 9)];
    let body = html! {
        (response()) (survival()) (known()) (pareto()) (forecasts("forecasts", &bins)) (sparks()) (nothing())
    };
    let style = concat!(include_str!("../../style/tokens.css"), include_str!("../../style/chart.css"));
    let page = html! {
        (DOCTYPE)
        html lang="en" {
            head {
                meta charset="utf-8"; meta name="viewport" content="width=device-width, initial-scale=1";
                title { "Charts" } style { (maud::PreEscaped(style)) }
            }
            body { main { h1 { "All charts" } (body) } (patterns()) }
        }
    }
    .into_string();
    let folder = concat!(env!("CARGO_MANIFEST_DIR"), "/../target");
    std::fs::create_dir_all(folder).unwrap();
    std::fs::write(format!("{folder}/charts.html"), &page).unwrap();

    let body = body.into_string();
    for figure in body.split("<figure").skip(1) {
        assert_inside(figure);
    }
    assert_no_nonsense(&body);
    let ids = values(&body, "id");
    assert_eq!(ids.len(), ids.iter().collect::<BTreeSet<_>>().len(), "{ids:?}");
    for named in values(&body, "aria-labelledby").iter().flat_map(|names| names.split(' ')) {
        assert!(ids.contains(&named), "nothing has the id {named}");
    }
}
