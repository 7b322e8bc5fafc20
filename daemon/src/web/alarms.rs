//! The *Alarms* page and what its buttons do. Owns what of a form is taken; what an alarm's state allows is the store's.

use super::answer::{Refusal, blocking, page};
use super::{Site, posted, views};
use crate::store::{Act, AlarmError};
use axum::Form;
use axum::extract::rejection::FormRejection;
use axum::extract::{Path, State};
use axum::response::{Redirect, Response};
use dwell_analysis::time::Timestamp;
use dwell_analysis::units::Seconds;
use dwell_dashboards::{SAID_MAX, SHELVE_FOR, render_alarms};
use std::sync::Arc;

/// Who has done it when nobody gives a name.
const NOBODY_NAMED: &str = "dashboard";

/// Who does what no person does; people can't be called that.
const PROGRAM: &str = "dwellwatch";

/// The fields as they come in.
#[derive(Debug, serde::Deserialize)]
pub(super) struct Fields {
    by: Option<String>,
    why: Option<String>,
    minutes: Option<String>,
    back: Option<String>,
    before: Option<String>,
}

/// The page.
pub(super) async fn alarms(State(site): State<Arc<Site>>) -> Result<Response, Refusal> {
    blocking(site, |site| Ok(page(render_alarms(&views::alarms(site)?)))).await
}

/// Does what a button says, and leads back to where it stood.
pub(super) async fn act(
    State(site): State<Arc<Site>>,
    Path((id, word)): Path<(String, String)>,
    fields: Result<Form<Fields>, FormRejection>,
) -> Result<Redirect, Refusal> {
    let fields = posted::fields(fields)?;
    let id = id.parse().map_err(|_| Refusal::Absent("An alarm's address has its number.".to_owned()))?;
    let back = if fields.back.as_deref() == Some("now") { "/" } else { "/alarms" };
    let (act, by, why) = understood(&word, fields.by, fields.why, fields.minutes.as_deref())?;
    let done = move |site: &Site| site.store.act(id, act, &by, why.as_deref(), site.clock.now().at).map_err(refusal);
    blocking(site, done).await?;
    Ok(Redirect::to(back))
}

/// Acknowledges all that had come and gone when the page was drawn, and nothing that nobody can have seen on it.
pub(super) async fn acknowledge_returned(
    State(site): State<Arc<Site>>,
    fields: Result<Form<Fields>, FormRejection>,
) -> Result<Redirect, Refusal> {
    let fields = posted::fields(fields)?;
    let before = fields.before.as_deref().and_then(|ms| ms.parse().ok()).map(Timestamp::from_ms);
    let before = before.ok_or_else(|| Refusal::Bad("The form does not say when its page was drawn.".to_owned()))?;
    let (_, by, why) = understood("acknowledge", fields.by, fields.why, None)?;
    let done = move |site: &Site| {
        site.store.acknowledge_returned(before, &by, why.as_deref(), site.clock.now().at).map_err(refusal)
    };
    blocking(site, done).await?;
    Ok(Redirect::to("/alarms"))
}

/// What a page says of a word that was not taken.
pub(super) fn refusal(error: AlarmError) -> Refusal {
    match error {
        AlarmError::NoSuchAlarm(id) => Refusal::Absent(format!("The record has no alarm {id}.")),
        AlarmError::NotNow { .. } => Refusal::NotNow(format!("{error}.")),
        AlarmError::Length(_) | AlarmError::Nobody => Refusal::Bad(format!("{error}.")),
        AlarmError::Store(error) if error.is_transient() => Refusal::NotRecorded(error.to_string()),
        AlarmError::Store(error) => Refusal::Failed(error.to_string()),
    }
}

/// What is done, who does it and why, by its words.
pub(super) fn understood(
    word: &str,
    by: Option<String>,
    why: Option<String>,
    minutes: Option<&str>,
) -> Result<(Act, String, Option<String>), Refusal> {
    let by = said("name", by)?.unwrap_or_else(|| NOBODY_NAMED.to_owned());
    if by.eq_ignore_ascii_case(PROGRAM) {
        return Err(Refusal::Bad(format!("The name is {by:?}, which stands for what no person did.")));
    }
    let why = said("reason", why)?;
    let act = match word {
        "acknowledge" => Act::Acknowledge,
        "shelve" => Act::Shelve(shelve_for(minutes)?),
        "unshelve" => Act::Unshelve,
        "out-of-service" if why.is_none() => {
            let text = "To take an alarm out of service, say why: it stays silent until somebody brings it back.";
            return Err(Refusal::Bad(text.to_owned()));
        }
        "out-of-service" => Act::OutOfService,
        "return-to-service" => Act::ReturnToService,
        "right" => Act::Mark(true),
        "false" => Act::Mark(false),
        other => return Err(Refusal::Absent(format!("Nothing called {other:?} can be done with an alarm."))),
    };
    Ok((act, by, why))
}

/// A text that a person typed; `None` if they typed none.
fn said(what: &str, text: Option<String>) -> Result<Option<String>, Refusal> {
    let text = text.map(|text| text.replace(char::is_control, " ").trim().to_owned()).filter(|text| !text.is_empty());
    match text {
        Some(text) if text.chars().count() > SAID_MAX => {
            Err(Refusal::Bad(format!("The {what} is longer than {SAID_MAX} characters.")))
        }
        text => Ok(text),
    }
}

fn shelve_for(minutes: Option<&str>) -> Result<Seconds, Refusal> {
    let found = SHELVE_FOR.iter().find(|(offered, _)| Some(offered.to_string().as_str()) == minutes);
    found.map(|(minutes, _)| Seconds::minutes(f64::from(*minutes))).ok_or_else(|| {
        let offered: Vec<String> = SHELVE_FOR.iter().map(|(minutes, _)| minutes.to_string()).collect();
        let found = minutes.map_or_else(|| "missing".to_owned(), |minutes| format!("{minutes:?}"));
        Refusal::Bad(format!("The time to shelve for is {found}, not one of {} minutes.", offered.join(", ")))
    })
}
