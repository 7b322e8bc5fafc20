//! *Preflight*: takes a job file as it comes, and shows what came of it. Owns the upload: it is read while it arrives,
//! chunk by chunk, and never held as a whole or kept.

use super::Site;
use super::answer::{Refusal, blocking, page};
use super::attempts::Attempt;
use super::views;
use super::views::ViewError;
use crate::arriving::{Arriving, PIECES_WAITING};
use crate::gather::{Unreadable, look};
use crate::preflight::Known;
use axum::extract::multipart::{Field, MultipartError, MultipartRejection};
use axum::extract::{Multipart, State};
use axum::http::StatusCode;
use axum::response::{IntoResponse, Response};
use dwell_dashboards::format;
use dwell_dashboards::render_preflight;
use dwell_dashboards::view::{PreflightCame, PreflightView};
use std::io;
use std::sync::Arc;
use std::time::Duration;
use tokio::sync::mpsc;

/// The largest upload, bytes.
pub(super) const UPLOAD_MAX: usize = 512 << 20;

/// Files that are read at a time: each holds a thread for as long as it comes.
pub(super) const UPLOADS_MAX: usize = 2;
/// How long another one waits for its turn.
const TURN_WITHIN: Duration = Duration::from_secs(10);

/// The longest name or token that is taken, bytes.
const WORD_MAX: usize = 256;

/// The form.
pub(super) async fn form(State(site): State<Arc<Site>>) -> Result<Response, Refusal> {
    answer(site, None, PreflightCame::Nothing).await
}

/// Takes an upload and shows what came of it.
pub(super) async fn upload(
    State(site): State<Arc<Site>>,
    upload: Result<Multipart, MultipartRejection>,
) -> Result<Response, Refusal> {
    let mut upload = upload.map_err(|error| Refusal::Bad(format!("The form can't be read: {error}.")))?;
    let mut printer = None;
    match taken(&site, &mut upload, &mut printer).await {
        Ok(view) => answer(site, printer, PreflightCame::Read(Box::new(view))).await,
        Err(Trouble::Refused(refusal)) => Err(refusal),
        Err(Trouble::Told(status, why)) => {
            let mut response = answer(site, printer, PreflightCame::Refused(why)).await?;
            *response.status_mut() = status;
            Ok(response)
        }
    }
}

async fn answer(site: Arc<Site>, chosen: Option<String>, came: PreflightCame) -> Result<Response, Refusal> {
    let shown = move |site: &Site| Ok(page(render_preflight(&views::preflight(site, chosen, came)?)).into_response());
    blocking(site, shown).await
}

/// Why there is nothing to show.
enum Trouble {
    /// The request is not taken at all.
    Refused(Refusal),
    /// A person is told on the page.
    Told(StatusCode, String),
}

impl From<Refusal> for Trouble {
    fn from(refusal: Refusal) -> Self {
        Self::Refused(refusal)
    }
}

impl From<MultipartError> for Trouble {
    fn from(error: MultipartError) -> Self {
        let status = error.status();
        if status == StatusCode::PAYLOAD_TOO_LARGE {
            let most = format::bytes(u64::try_from(UPLOAD_MAX).unwrap_or(u64::MAX));
            let why = format!(
                "The file is larger than {most}, the most that this page takes. `dwellwatch preflight FILE` reads \
                 files of any size."
            );
            return Self::Told(status, why);
        }
        Self::Told(status, format!("The upload broke off: {}.", error.body_text().trim_end_matches('.')))
    }
}

/// The fields in the form's order: the token, the printer if there is a choice, the file.
async fn taken(
    site: &Arc<Site>,
    upload: &mut Multipart,
    printer: &mut Option<String>,
) -> Result<PreflightView, Trouble> {
    let mut is_ours = false;
    while let Some(field) = upload.next_field().await? {
        match field.name() {
            Some("token") => is_ours = site.gate.is_same(&word(field).await?, &site.token),
            // Nobody else's bytes are read.
            _ if !is_ours => break,
            Some("printer") => *printer = Some(word(field).await?),
            Some("file") => {
                let name = field.file_name().unwrap_or_default().to_owned();
                return read(site, field, name, printer.as_deref()).await;
            }
            _ => {}
        }
    }
    if !is_ours {
        site.turned_away(Attempt::WrongToken);
        return Err(Refusal::Foreign.into());
    }
    Err(no_file())
}

fn no_file() -> Trouble {
    Trouble::Told(StatusCode::BAD_REQUEST, "No file was chosen.".to_owned())
}

async fn word(mut field: Field<'_>) -> Result<String, Trouble> {
    let mut bytes = Vec::new();
    while let Some(chunk) = field.chunk().await? {
        if bytes.len() + chunk.len() > WORD_MAX {
            return Err(Refusal::Bad(format!("A field of the form is longer than {WORD_MAX} bytes.")).into());
        }
        bytes.extend_from_slice(&chunk);
    }
    Ok(String::from_utf8_lossy(&bytes).into_owned())
}

/// Reads the file while it comes.
async fn read(
    site: &Arc<Site>,
    mut field: Field<'_>,
    name: String,
    printer: Option<&str>,
) -> Result<PreflightView, Trouble> {
    // Its bytes wait at the sender's end meanwhile.
    let Ok(Ok(_turn)) = tokio::time::timeout(TURN_WITHIN, site.uploads.acquire()).await else {
        let why = format!("{UPLOADS_MAX} files are being read just now. Send yours again in a moment.");
        return Err(Trouble::Told(StatusCode::SERVICE_UNAVAILABLE, why));
    };
    let asked = printer.map(str::to_owned);
    let known = blocking(Arc::clone(site), move |site| known(site, asked.as_deref())).await?;
    let (chunks, arrived) = mpsc::channel(PIECES_WAITING);
    let (on_site, shown_as) = (Arc::clone(site), name.clone());
    let reading = tokio::task::spawn_blocking(move || {
        let reader = on_site.store.reader()?;
        look(&shown_as, Arriving::new(arrived), &known, Some(&reader))
    });
    let mut is_empty = true;
    let broken = loop {
        match field.chunk().await {
            Ok(Some(chunk)) => {
                is_empty &= chunk.is_empty();
                // Whoever reads may have had enough; the rest still has to come before the browser listens.
                drop(chunks.send(Ok(chunk)).await);
            }
            Ok(None) => break None,
            Err(error) => {
                drop(chunks.send(Err(io::ErrorKind::UnexpectedEof.into())).await);
                break Some(error);
            }
        }
    };
    drop(chunks);
    let read = reading.await.map_err(|error| Refusal::Failed(error.to_string()))?;
    match (broken, read) {
        (Some(error), _) => Err(error.into()),
        (None, _) if is_empty && name.is_empty() => Err(no_file()),
        (None, Ok(view)) => Ok(view),
        (None, Err(Unreadable::Record(error))) => Err(Refusal::Failed(error.to_string()).into()),
        (None, Err(why)) => Err(unreadable(&name, &why)),
    }
}

fn unreadable(name: &str, why: &Unreadable) -> Trouble {
    Trouble::Told(StatusCode::UNPROCESSABLE_ENTITY, format!("{name}: {why}."))
}

fn known(site: &Site, asked: Option<&str>) -> Result<Known, Refusal> {
    let wrong = |name: &str| Refusal::Bad(format!("The printer is {name:?}, not one that is watched."));
    views::known(site, asked).map_err(Refusal::from)?.ok_or_else(|| wrong(asked.unwrap_or_default()))
}

impl From<ViewError> for Trouble {
    fn from(error: ViewError) -> Self {
        Self::Refused(error.into())
    }
}
