//! A job that has not begun yet.

use super::{HOSTILE, frame};
use dwell_analysis::units::{Celsius, CubicMm, DoseMinutes, Millimetres, Probability, Seconds};
use dwell_dashboards::view::*;

fn spread(n: u64, value: f64) -> SpreadView {
    SpreadView { n, min: Some(value), mode: Some(value), max: Some(value), mode_share: Some(1.0), mean: Some(value) }
}

fn piece(from: f64, to: f64, kind: LaneKind, mean: Option<f64>) -> LanePiece {
    let at = |minutes| JOB_BEGINS + Seconds::minutes(minutes);
    LanePiece { from: at(from), to: at(to), kind, mean: mean.map(Celsius::new) }
}

/// An hour of work and waiting by turns of ten minutes, from the fifth minute on.
fn ahead(number: usize) -> ToolAhead {
    let kinds = [(LaneKind::Working, 210.0), (LaneKind::Waiting, 176.0)];
    let turns = (0..6_u8).map(|turn| {
        let (kind, mean) = kinds[(usize::from(turn) + number) % 2];
        let from = f64::from(turn) * 10.0 + 5.0;
        piece(from, from + 10.0, kind, Some(mean))
    });
    ToolAhead {
        number,
        material: Some(HOSTILE.to_owned()),
        heater_fitted: None,
        visits: 3,
        layers: 60,
        filament: Millimetres::new(3200.0),
        print: Some(Celsius::new(210.0)),
        target_max: Some(Celsius::new(215.0)),
        standby: spread(3, 170.0),
        switched_off: 0,
        left: 3,
        left_hot: 0,
        waits: Waits {
            n: 3,
            total: Seconds::minutes(30.0),
            longest: Seconds::minutes(10.0),
            longest_at: Some(Seconds::minutes(15.0)),
            mean: Some(Celsius::new(176.0)),
            max: Some(Celsius::new(210.0)),
        },
        dose_max: DoseMinutes::new(3.0),
        limit: DoseMinutes::new(60.0),
        ooze: CubicMm::new(0.8),
        retractions: RetractionsAhead { n: 40, length: spread(40, 0.8), ..RetractionsAhead::default() },
        purge: spread(3, 30.0),
        purge_place: None,
        restart: spread(3, 209.0),
        lane: turns.collect(),
    }
}

pub(crate) fn preflight(file: &str) -> PreflightView {
    let p = |value| Probability::new(value).unwrap();
    let learned = Ok(RateInterval { low: p(0.02), value: p(0.073), high: p(0.178) });
    let risk = |tool, state, probability| RiskAhead { tool, mode: "jam", state, n: 41, events: 3, probability };
    PreflightView {
        file: file.to_owned(),
        printer: Some("bench".to_owned()),
        bytes: 123_456,
        lines: 4567,
        layers: 60,
        begins: Some(Seconds::minutes(5.0)),
        ends: Seconds::minutes(65.0),
        heating: Seconds::minutes(4.0),
        moving: Seconds::minutes(55.0),
        moving_by_file: Seconds::minutes(50.0),
        pace: Ok(Pace { low: 1.0, value: 1.1, high: 1.2, n: 12 }),
        tools: vec![ahead(0), ahead(1)],
        risks: vec![risk(0, "learned", learned), risk(1, "too_little", Err("no event yet".to_owned()))],
        findings: vec![FindingView {
            id: "macros",
            gravity: "look",
            tool: None,
            cause: format!("It calls {HOSTILE}."),
            consequence: "Something may hide there.".to_owned(),
            action: "Look it up.".to_owned(),
            n: Some(1),
            of: None,
            at: None,
            byte: None,
        }],
        visits: Vec::new(),
        visits_left_out: 0,
        unread: UnreadView::default(),
    }
}

pub(crate) fn preflight_page(came: PreflightCame) -> PreflightPage {
    let printers = vec!["bench".to_owned(), HOSTILE.to_owned()];
    let form =
        PreflightForm { token: "0123".to_owned(), printers, chosen: Some(HOSTILE.to_owned()), bytes_max: 1 << 29 };
    PreflightPage { frame: frame(), form, came }
}
