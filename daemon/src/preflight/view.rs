//! A judged job file as the view that page, text and JSON are made from. Owns how an outline's visits and waits become
//! a lane; what is beyond the held visits is told as not known.

use super::judge::{Preflight, ToolBudget, switched_off};
use super::known::{Known, RiskKnown};
use super::words::say;
use crate::entry::ToolNumber;
use crate::jobfile::{JobOutline, PurgePlace, Retractions, Spread, ToolOutline, Visit};
use dwell_analysis::estimate::Estimate;
use dwell_analysis::risk::State;
use dwell_analysis::units::{Probability, Seconds};
use dwell_dashboards::view::{
    FindingView, JOB_BEGINS, LaneKind, LanePiece, Pace, PreflightView, PurgeSpot, RateInterval, RestartAhead,
    RetractionsAhead, RiskAhead, SpreadView, ToolAhead, UnreadView, VisitAhead, Waits,
};

/// Fills the view of a file of that name.
#[must_use]
pub fn view(file: &str, outline: &JobOutline, known: &Known, preflight: &Preflight) -> PreflightView {
    let budgets = outline.tools.iter().zip(&preflight.tools);
    PreflightView {
        file: file.to_owned(),
        printer: known.printer.as_ref().map(ToString::to_string),
        bytes: outline.bytes,
        lines: outline.lines,
        layers: outline.layers,
        begins: outline.begins,
        ends: outline.ends,
        heating: outline.heating,
        moving: outline.moving,
        moving_by_file: outline.moving_by_file,
        pace: pace(known),
        tools: budgets.map(|(tool, budget)| tool_ahead(outline, tool, *budget, known)).collect(),
        risks: known.risks.iter().map(risk).collect(),
        findings: preflight.findings.iter().map(finding).collect(),
        visits: outline.visits.iter().map(visit).collect(),
        visits_left_out: outline.visits_left_out,
        unread: unread(outline),
    }
}

fn pace(known: &Known) -> Result<Pace, String> {
    match known.pace {
        Some(Ok(Estimate { value, low, high, n })) => Ok(Pace { low, value, high, n }),
        Some(Err(refusal)) => Err(refusal.to_string()),
        None => Err("no record at hand".to_owned()),
    }
}

fn tool_ahead(outline: &JobOutline, tool: &ToolOutline, budget: ToolBudget, known: &Known) -> ToolAhead {
    let is = known.tool(tool.tool);
    ToolAhead {
        number: tool.tool.idx(),
        material: is.material.as_deref().map(str::to_owned),
        heater_fitted: is.heater.fitted,
        visits: tool.visits,
        layers: tool.layers,
        filament: tool.filament,
        print: tool.print,
        target_max: tool.target_max,
        standby: spread(&tool.standby),
        switched_off: switched_off(outline, tool.tool),
        left: tool.left,
        left_hot: tool.left_hot,
        waits: Waits {
            n: tool.waits,
            total: tool.waited,
            longest: tool.waited_max,
            longest_at: tool.waited_max_at,
            mean: tool.wait_mean,
            max: tool.wait_max,
        },
        dose_max: tool.dose_max,
        limit: budget.limit,
        ooze: tool.ooze,
        retractions: retractions(&tool.retractions),
        purge: spread(&tool.purge),
        purge_place: place_of(outline, tool.tool),
        restart: spread(&tool.restart),
        lane: lane(outline, tool.tool),
    }
}

/// Where the first of its purges is.
fn place_of(outline: &JobOutline, tool: ToolNumber) -> Option<PurgeSpot> {
    let places = outline.visits.iter().filter(|visit| visit.tool == tool).filter_map(|visit| visit.purge.place);
    // All tools have one box; a spot may be some visits' only.
    let boxed = places.clone().find(|place| matches!(place, PurgePlace::Tower(_)));
    boxed.or_else(|| places.clone().next()).map(purge_place)
}

const fn purge_place(place: PurgePlace) -> PurgeSpot {
    match place {
        PurgePlace::Spot(at) => PurgeSpot::Spot(at),
        PurgePlace::Tower(within) => PurgeSpot::Box(within),
    }
}

fn retractions(of: &Retractions) -> RetractionsAhead {
    RetractionsAhead {
        n: of.n,
        length: spread(&of.length),
        speed: spread(&of.speed),
        extra: spread(&of.extra),
        untold: of.untold,
        per_metre: of.per_metre,
        on_one_spot: of.on_one_spot,
    }
}

fn spread(of: &Spread) -> SpreadView {
    SpreadView { n: of.n, min: of.min, mode: of.mode, max: of.max, mode_share: of.mode_share, mean: of.mean }
}

fn risk(known: &RiskKnown) -> RiskAhead {
    let inside = |value| Probability::new(value).ok_or_else(|| "no probability".to_owned());
    let interval = |estimate: Estimate| {
        Ok(RateInterval { low: inside(estimate.low)?, value: inside(estimate.value)?, high: inside(estimate.high)? })
    };
    let probability = match (known.state, known.probability) {
        (State::TooLittle, Ok(_)) => Err("the record carries no forecast yet".to_owned()),
        (_, Ok(estimate)) => interval(estimate),
        (_, Err(refusal)) => Err(refusal.to_string()),
    };
    let (mode, state) = (known.mode.word(), known.state.name());
    RiskAhead { tool: known.tool.idx(), mode, state, n: known.n, events: known.events, probability }
}

fn finding(found: &super::Finding) -> FindingView {
    let words = say(found);
    let ((n, of), (at, byte)) = (found.matter.counted(), found.matter.place());
    FindingView {
        id: found.matter.id(),
        gravity: found.matter.gravity().word(),
        tool: found.tool.map(ToolNumber::idx),
        cause: words.cause,
        consequence: words.consequence,
        action: words.action,
        n,
        of,
        at,
        byte,
    }
}

fn visit(of: &Visit) -> VisitAhead {
    let restart = of.restart.map(|restart| RestartAhead {
        at: restart.at,
        target: restart.target,
        expected: restart.expected,
        waited: restart.waited,
    });
    VisitAhead {
        tool: of.tool.idx(),
        byte: of.byte,
        began: of.began,
        ended: of.ended,
        extruded: of.extruded,
        purge: of.purge.volume,
        purge_place: of.purge.place.map(purge_place),
        n_retractions: of.n_retractions,
        retract: of.retract,
        restart,
        standby: of.standby,
    }
}

fn unread(outline: &JobOutline) -> UnreadView {
    let of = &outline.unread;
    UnreadView {
        codes: of.codes.clone(),
        macros: of.macros.clone(),
        faults: of.faults.iter().map(|(fault, n, line)| (fault.to_string(), *n, *line)).collect(),
        other: of.other,
        tool_out_of_range: of.tool_out_of_range,
    }
}

/// From the first filament to the end. What is neither a visit nor a wait is not heated, as far as visits and waits
/// are held; past the last that is, nothing is known one by one.
fn lane(outline: &JobOutline, tool: ToolNumber) -> Vec<LanePiece> {
    let Some(begins) = outline.begins else { return Vec::new() };
    let tools_visits = outline.visits.iter().filter(|visit| visit.tool == tool);
    let working = tools_visits.map(|visit| {
        let target = visit.restart.and_then(|restart| restart.target);
        (visit.began, visit.ended, LaneKind::Working, target)
    });
    let tools_waits = outline.waits.iter().filter(|wait| wait.tool == tool);
    let waiting = tools_waits.map(|wait| (wait.began, wait.ended, LaneKind::Waiting, wait.measure.mean));
    let mut claimed: Vec<_> = working.chain(waiting).filter(|(_, ended, ..)| *ended > begins).collect();
    claimed.sort_by(|(a, ..), (b, ..)| a.get().total_cmp(&b.get()));
    let told_until = told_until(outline);
    let mut lane = Vec::with_capacity(claimed.len() * 2 + 2);
    let mut reached = begins;
    let piece = |from, to, kind, mean| LanePiece { from: JOB_BEGINS + from, to: JOB_BEGINS + to, kind, mean };
    let fill = |lane: &mut Vec<LanePiece>, from: Seconds, to: Seconds| {
        let (cold_to, unknown_from) = (least(to, told_until), most(from, told_until));
        if from < cold_to {
            lane.push(piece(from, cold_to, LaneKind::Cold, None));
        }
        if unknown_from < to {
            lane.push(piece(unknown_from, to, LaneKind::Unknown, None));
        }
    };
    for (began, ended, kind, mean) in claimed {
        fill(&mut lane, reached, began);
        let from = most(began, reached);
        if from < ended {
            lane.push(piece(from, ended, kind, mean));
            reached = ended;
        }
    }
    fill(&mut lane, reached, outline.ends);
    lane
}

/// Until when visits and waits are held one by one.
fn told_until(outline: &JobOutline) -> Seconds {
    let held = u64::try_from(outline.waits.len()).unwrap_or(u64::MAX);
    let all = outline.tools.iter().map(|tool| u64::from(tool.waits)).sum::<u64>();
    let last_visit = outline.visits.last().filter(|_| outline.visits_left_out > 0).map(|visit| visit.ended);
    let last_wait = outline.waits.last().filter(|_| all > held).map(|wait| wait.began);
    last_visit.into_iter().chain(last_wait).fold(outline.ends, least)
}

fn least(a: Seconds, b: Seconds) -> Seconds {
    if a < b { a } else { b }
}

fn most(a: Seconds, b: Seconds) -> Seconds {
    if a > b { a } else { b }
}
