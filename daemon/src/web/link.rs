//! The pages that links in messages open. A GET shows the alarm and one button, so that a mail program which looks a
//! link up changes nothing; the button's POST does it. Owns what is said of a link that does not work.

use super::Site;
use super::alarms::refusal;
use super::answer::{Refusal, blocking, page};
use super::attempts::Attempt;
use crate::alarm::State as AlarmState;
use crate::links::{Link, LinkAct, LinkFault};
use crate::store::{AlarmError, AlarmRow, HoldKind, Reader, StoreError};
use crate::study::alarm_view;
use axum::extract::{Path, State};
use axum::http::StatusCode;
use axum::response::{IntoResponse, Response};
use dwell_analysis::time::Timestamp;
use dwell_analysis::units::Seconds;
use dwell_dashboards::format::clock_near;
use dwell_dashboards::view::{LinkActView, LinkStage, LinkView};
use dwell_dashboards::{render_link, render_link_message};
use std::sync::Arc;

/// Who acknowledges or shelves by a link: whoever has the message.
const BY: &str = "link in a message";

/// Shows what a link would do.
pub(super) async fn show(State(site): State<Arc<Site>>, Path(token): Path<String>) -> Response {
    answered(site, move |site| {
        let at = site.clock.now().at;
        let link = read(site, &token, at)?;
        let (reader, alarm) = find(site, &link)?;
        let stage = needless(&reader, &alarm, link.act, at, site)?.map_or(LinkStage::Asks, LinkStage::Needless);
        Ok(shown(site, &link, alarm, stage, None, at))
    })
    .await
}

/// Does it.
pub(super) async fn act(State(site): State<Arc<Site>>, Path(token): Path<String>) -> Response {
    answered(site, move |site| {
        let at = site.clock.now().at;
        let link = read(site, &token, at)?;
        let (reader, alarm) = find(site, &link)?;
        // Whoever presses a second time does not move the end of what was shelved the first time.
        if let (LinkAct::Shelve { .. }, Some(why)) = (link.act, needless(&reader, &alarm, link.act, at, site)?) {
            return Ok(shown(site, &link, alarm, LinkStage::Needless(why), None, at));
        }
        let acted = match link.act {
            LinkAct::Acknowledge => site.store.acknowledge(alarm.id, BY, None, at),
            LinkAct::Shelve { minutes } => {
                site.store.shelve(alarm.id, Seconds::minutes(f64::from(minutes)), BY, None, at)
            }
        };
        let stage = match acted {
            Ok(_) => LinkStage::Done,
            Err(AlarmError::NotNow { refused, .. }) => LinkStage::Needless(format!("Nothing was done: {refused}.")),
            Err(error) => return Err(Trouble::Refused(refusal(error))),
        };
        // As it is now.
        let (reader, alarm) = find(site, &link)?;
        let until = shelved_until(&reader, &alarm)?;
        Ok(shown(site, &link, alarm, stage, until, at))
    })
    .await
}

/// Why a link shows no alarm.
enum Trouble {
    /// It does not work.
    Fault(LinkFault),
    /// The record does not have its alarm.
    Unknown,
    /// Links are not in use.
    Off,
    /// The record can't be read or written, or takes no such word.
    Refused(Refusal),
}

impl From<StoreError> for Trouble {
    fn from(error: StoreError) -> Self {
        Self::Refused(Refusal::Failed(error.to_string()))
    }
}

async fn answered(site: Arc<Site>, work: impl FnOnce(&Site) -> Result<String, Trouble> + Send + 'static) -> Response {
    let made = blocking(site, move |site| match work(site) {
        Ok(html) => Ok((StatusCode::OK, html)),
        Err(Trouble::Refused(refusal)) => Err(refusal),
        Err(Trouble::Fault(fault)) => Ok(said(fault)),
        Err(Trouble::Unknown) => {
            let text = "The record does not have the alarm of this link. It may be written in a moment, or was let go.";
            Ok((StatusCode::NOT_FOUND, render_link_message("No such alarm", text)))
        }
        Err(Trouble::Off) => {
            let text = "Links in messages are not in use here: the configuration has no address under notify.";
            Ok((StatusCode::NOT_FOUND, render_link_message("No links here", text)))
        }
    });
    match made.await {
        Ok((status, html)) => (status, page(html)).into_response(),
        Err(refusal) => refusal.into_response(),
    }
}

fn said(fault: LinkFault) -> (StatusCode, String) {
    match fault {
        LinkFault::Forged => {
            let text = "This link was not made here, or is not whole: nothing was done. Copy all of it, up to its end.";
            (StatusCode::FORBIDDEN, render_link_message("This link does not work", text))
        }
        LinkFault::Expired => {
            let text = "The time of this link is over: nothing was done. The dashboard's Alarms page can do the same.";
            (StatusCode::GONE, render_link_message("This link is over", text))
        }
    }
}

fn read(site: &Site, token: &str, at: Timestamp) -> Result<Link, Trouble> {
    let links = site.links.as_ref().ok_or(Trouble::Off)?;
    links.read(token, at).map_err(|fault| {
        // Whoever comes too late was let in once; whoever makes a link up was not.
        if fault == LinkFault::Forged {
            site.turned_away(Attempt::ForgedLink);
        }
        Trouble::Fault(fault)
    })
}

fn find(site: &Site, link: &Link) -> Result<(Reader, AlarmRow), Trouble> {
    let reader = site.store.reader()?;
    let alarm = reader.alarm_of(link.alarm.printer.as_ref(), link.alarm.subject, link.alarm.raised)?;
    Ok((reader, alarm.ok_or(Trouble::Unknown)?))
}

/// Until when an alarm's rule is shelved, if it is.
fn shelved_until(reader: &Reader, alarm: &AlarmRow) -> Result<Option<Timestamp>, StoreError> {
    let mut holds = reader.holds()?.into_iter();
    Ok(holds
        .find(|hold| hold.printer == alarm.printer && hold.subject == alarm.subject)
        .filter(|hold| hold.kind == HoldKind::Shelved)
        .and_then(|hold| hold.until))
}

fn shown(
    site: &Site,
    link: &Link,
    alarm: AlarmRow,
    stage: LinkStage,
    shelved_until: Option<Timestamp>,
    at: Timestamp,
) -> String {
    let act = match link.act {
        LinkAct::Acknowledge => LinkActView::Acknowledge,
        LinkAct::Shelve { minutes } => LinkActView::Shelve(minutes),
    };
    render_link(&LinkView { zone: site.zone.clone(), at, alarm: alarm_view(alarm), act, stage, shelved_until })
}

/// Why there is nothing to do, in words; `None` where there is.
fn needless(
    reader: &Reader,
    alarm: &AlarmRow,
    act: LinkAct,
    at: Timestamp,
    site: &Site,
) -> Result<Option<String>, StoreError> {
    let words = match (act, alarm.state) {
        (LinkAct::Acknowledge, AlarmState::Acknowledged) => "Somebody has acknowledged it already.",
        (LinkAct::Acknowledge, AlarmState::Normal) => "It is over, and nothing is left to acknowledge.",
        (_, AlarmState::OutOfService) => "It is out of service and calls nobody.",
        (_, AlarmState::SuppressedByDesign) => {
            "It calls nobody: its printer is being set up, or the same was said lately."
        }
        (_, AlarmState::Shelved) => {
            let until = shelved_until(reader, alarm)?;
            let until =
                until.map_or_else(String::new, |until| format!(", until {}", clock_near(until, at, &site.zone)));
            return Ok(Some(format!("It is shelved and calls nobody{until}.")));
        }
        (LinkAct::Acknowledge, AlarmState::Unacknowledged | AlarmState::ReturnedUnacknowledged)
        | (
            LinkAct::Shelve { .. },
            AlarmState::Normal
            | AlarmState::Unacknowledged
            | AlarmState::Acknowledged
            | AlarmState::ReturnedUnacknowledged,
        ) => return Ok(None),
    };
    Ok(Some(words.to_owned()))
}
