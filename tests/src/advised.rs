//! Suggestions and trials in a record, and what an export has to hold of them. Owns no claim.

use crate::tables::{Cell, Row, number, row, text, time, whole};
use dwell_analysis::advice::{Arm, Change, Design, PartKind, Plan, Step};
use dwell_analysis::estimate::Estimate;
use dwell_analysis::time::Timestamp;
use dwell_analysis::units::Celsius;
use dwellwatch::change;
use dwellwatch::entry::{Mode, PrinterName, ToolNumber};
use dwellwatch::store::{Ended, Ending, Figures, NewTrial, Reader, SaidSuggestion, Store, TrialVerdict};
use serde_json::{Value, json};

const DRAWS: [Arm; 2] = [Arm::Changed, Arm::AsBefore];

/// Two suggestions for each printer, one said a month before the other; a trial of each, one of which has ended with
/// figures and these words. A further suggestion is withdrawn.
pub fn advise(store: &Store, printers: &[&str], months: [Timestamp; 2], words: &str) {
    let standby = Change::Standby(Step { from: Some(Celsius::new(175.0)), to: Celsius::new(155.5) });
    let changes =
        [(0, Some("PLA"), standby), (1, None, Change::Replace(PartKind::Liner)), (1, Some("PETG"), Change::Clean)];
    let said: Vec<SaidSuggestion> = printers
        .iter()
        .flat_map(|printer| {
            changes.iter().map(move |(tool, material, change)| SaidSuggestion {
                id: format!("{printer}-t{tool}-{}", change::setting(change)),
                printer: PrinterName::new(printer).unwrap(),
                tool: ToolNumber::new(*tool).unwrap(),
                material: material.map(str::to_owned),
                change: *change,
                body: json!({"why": words, "modes": ["jam"]}).to_string(),
            })
        })
        .collect();
    let of = |kept: fn(usize) -> bool| {
        said.iter().enumerate().filter(|(idx, _)| kept(idx % 3)).map(|(_, said)| said.clone()).collect::<Vec<_>>()
    };
    store.keep_suggestions(of(|nth| nth != 1), months[0]).unwrap();
    store.keep_suggestions(of(|nth| nth != 2), months[1]).unwrap();
    for (nth, suggestion) in of(|nth| nth != 2).iter().enumerate() {
        try_out(store, &suggestion.id, months[nth % 2], nth.is_multiple_of(2).then_some(words));
    }
}

fn try_out(store: &Store, suggestion: &str, at: Timestamp, ended: Option<&str>) {
    let of = |value: f64| Estimate { value, low: value / 2.0, high: value * 1.25, n: 8 };
    let detects = ended.map(|_| 0.25);
    let plan = Plan { design: Design::Alternation, prints: 8, ratio: 0.125, power: 0.81, detects };
    let (modes, baseline, draws) = (vec![Mode::Jam, Mode::Stringing], "as it was".to_owned(), DRAWS.to_vec());
    let trial = NewTrial { suggestion: suggestion.to_owned(), at, plan, modes, risk: of(0.4), baseline, draws };
    assert!(store.adopt(trial).unwrap());
    let Some(words) = ended else { return };
    let mut trials = store.reader().unwrap().trials().unwrap();
    trials.retain(|trial| trial.suggestion == suggestion);
    let figures = Figures {
        n_changed: 4,
        seen: 1,
        n_as_before: 5,
        seen_as_before: 3,
        expected: of(2.5),
        ratio: of(0.4),
        sure: 0.93,
    };
    let (ending, verdict, why) = (Ending::Settled, TrialVerdict::Helped, words.to_owned());
    assert!(store.end_trial(trials[0].id, Ended { at, ending, verdict, figures: Some(figures), why }).unwrap());
}

/// What of a change is text: its setting, from and to.
fn change_cells(change: &Change) -> Row {
    let shown = |value: Option<change::Value>| match serde_json::to_value(value).unwrap() {
        Value::Null => Cell::Nothing,
        Value::String(word) => Cell::Text(word),
        Value::Number(number) => text(number.as_f64()),
        other => Cell::Text(other.to_string()),
    };
    row([
        ("setting", text(Some(change::setting(change)))),
        ("from_value", shown(change::from(change))),
        ("to_value", shown(Some(change::to(change)))),
    ])
}

fn interval(name: &str, of: Option<&Estimate>) -> Row {
    row([
        (name, number(of.map(|of| of.value))),
        (&format!("{name}_low"), number(of.map(|of| of.low))),
        (&format!("{name}_high"), number(of.map(|of| of.high))),
    ])
}

fn is_in(at: Timestamp, from: Option<Timestamp>, to: Option<Timestamp>) -> bool {
    from.is_none_or(|from| at >= from) && to.is_none_or(|to| at < to)
}

pub(crate) fn suggestion_rows(
    reader: &Reader,
    printers: &[PrinterName],
    from: Option<Timestamp>,
    to: Option<Timestamp>,
) -> Vec<Row> {
    let suggestions = reader.suggestions().unwrap().into_iter();
    let suggestions = suggestions.filter(|of| printers.contains(&of.printer) && is_in(of.first, from, to));
    let told = suggestions.map(|of| {
        let mut told = row([
            ("printer", text(Some(&of.printer))),
            ("id", text(Some(&of.id))),
            ("tool", whole(Some(of.tool.idx()))),
            ("material", text(of.material.as_ref())),
            ("first_said", time(Some(of.first))),
            ("last_said", time(Some(of.last))),
            ("state", text(Some(of.standing.word()))),
            ("since", time(Some(of.since))),
            ("why", text(of.why.as_ref())),
            ("body", text(Some(&of.body))),
        ]);
        told.extend(change_cells(&of.change));
        told
    });
    told.collect()
}

pub(crate) fn trial_rows(
    reader: &Reader,
    printers: &[PrinterName],
    from: Option<Timestamp>,
    to: Option<Timestamp>,
) -> Vec<Row> {
    let trials = reader.trials().unwrap().into_iter();
    let trials = trials.filter(|of| printers.contains(&of.printer) && is_in(of.adopted, from, to));
    let told = trials.map(|of| {
        let ended = of.ended.as_ref();
        let figures = ended.and_then(|ended| ended.figures.as_ref());
        let draws: Vec<&str> =
            of.draws.iter().map(|drawn| if drawn.arm == Arm::Changed { "changed" } else { "as_before" }).collect();
        let modes: Vec<&str> = of.modes.iter().map(|mode| mode.word()).collect();
        let design = if of.plan.design == Design::Alternation { "alternation" } else { "before_after" };
        let mut told = row([
            ("printer", text(Some(&of.printer))),
            ("id", Cell::Whole(of.id)),
            ("suggestion", text(Some(&of.suggestion))),
            ("tool", whole(Some(of.tool.idx()))),
            ("material", text(of.material.as_ref())),
            ("adopted", time(Some(of.adopted))),
            ("design", text(Some(design))),
            ("draws", text(Some(draws.join(" ")))),
            ("prints", whole(Some(of.plan.prints))),
            ("ratio_expected", number(Some(of.plan.ratio))),
            ("power", number(Some(of.plan.power))),
            ("detects", number(of.plan.detects)),
            ("modes", text(Some(modes.join(" ")))),
            ("ended", time(ended.map(|ended| ended.at))),
            ("ending", text(ended.map(|ended| ended.ending.word()))),
            ("verdict", text(ended.map(|ended| ended.verdict.word()))),
            ("why", text(ended.map(|ended| &ended.why))),
            ("n_changed", whole(figures.map(|of| of.n_changed))),
            ("failures", whole(figures.map(|of| of.seen))),
            ("n_as_before", whole(figures.map(|of| of.n_as_before))),
            ("failures_as_before", whole(figures.map(|of| of.seen_as_before))),
            ("sure", number(figures.map(|of| of.sure))),
        ]);
        told.extend(change_cells(&of.change));
        told.extend(interval("risk", Some(&of.risk)));
        told.extend(interval("expected", figures.map(|of| &of.expected)));
        told.extend(interval("ratio", figures.map(|of| &of.ratio)));
        told
    });
    told.collect()
}
