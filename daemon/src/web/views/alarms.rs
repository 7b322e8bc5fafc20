//! The *Alarms* view: what is open, what is held, the figures and the history of 30 days.

use super::{ViewError, frame};
use crate::alarm::State;
use crate::entry::ToolNumber;
use crate::store::{AlarmChangeRow, AlarmRow, HoldRow, Reader, StoreError, StuckRow};
use crate::study::{alarm_figures, alarm_view, called_alarms, told_in_memory};
use crate::web::Site;
use dwell_analysis::units::Seconds;
use dwell_dashboards::view::{AlarmChangeView, AlarmsView, HoldView, PastAlarm, StuckWay};

/// How far back history and figures look: the least that the figures' benchmarks speak of.
const LOOK_BACK: Seconds = Seconds::minutes(30.0 * 24.0 * 60.0);

/// The most alarms of the history that the page shows: a phone draws no more of them quickly.
const PAST_MAX: usize = 200;

/// Fills the view.
pub(in crate::web) fn alarms(site: &Site) -> Result<AlarmsView, ViewError> {
    // Read before the record: what is written meanwhile stands in both.
    let (is_unwritten, waiting) = (site.store.unwritten().is_some(), site.store.unwritten_alarms());
    let reader = site.store.reader()?;
    let at = site.clock.now().at;
    let open = reader.open_alarms()?;
    let holds = holds(&reader, &open)?;
    let mut open = open.into_iter().map(alarm_view).collect();
    told_in_memory(&reader, &mut open, waiting)?;
    open.retain(|alarm| alarm.state != State::Normal.word());
    let rows = reader.alarms(Some(at - LOOK_BACK), None)?;
    let (mut rows, n_quiet) = called_alarms(&reader, rows, at - LOOK_BACK, None)?;
    rows.reverse();
    let n_more = rows.len().saturating_sub(PAST_MAX);
    rows.truncate(PAST_MAX);
    Ok(AlarmsView {
        frame: frame(site)?,
        at,
        token: site.token.clone(),
        is_unwritten,
        stuck: reader.stuck()?.into_iter().map(stuck).collect(),
        holds,
        open,
        figures: alarm_figures(&reader, at - LOOK_BACK, at)?,
        past: rows.into_iter().map(|row| past(&reader, row)).collect::<Result<_, _>>()?,
        n_more,
        n_quiet,
    })
}

pub(super) fn stuck(row: StuckRow) -> StuckWay {
    let StuckRow { channel: name, n_tries, next, since, n_in_message, n_behind } = row;
    StuckWay { name, n_tries, next, since, n_in_message, n_behind }
}

/// Holds in force, each with an alarm through which it can be ended.
pub(super) fn holds(reader: &Reader, open: &[AlarmRow]) -> Result<Vec<HoldView>, StoreError> {
    let held_by = |hold: &HoldRow| {
        let mine = |row: &&AlarmRow| {
            row.printer == hold.printer && row.subject == hold.subject && row.state.word() == hold.kind.word()
        };
        open.iter().rev().find(mine).map(|row| row.id)
    };
    let view = |hold: HoldRow| HoldView {
        alarm: held_by(&hold),
        printer: hold.printer.as_ref().map(ToString::to_string),
        tool: hold.subject.tool.map(ToolNumber::idx),
        rule: hold.subject.rule.word(),
        kind: hold.kind.word(),
        began: hold.began,
        until: hold.until,
        by: hold.by,
        why: hold.why,
    };
    Ok(reader.holds()?.into_iter().map(view).collect())
}

fn past(reader: &Reader, row: AlarmRow) -> Result<PastAlarm, StoreError> {
    let change = |row: AlarmChangeRow| AlarmChangeView { at: row.at, to: row.to.word(), by: row.by, why: row.why };
    let changes = reader.alarm_changes(row.id)?.into_iter().map(change).collect();
    Ok(PastAlarm { alarm: alarm_view(row), changes })
}
