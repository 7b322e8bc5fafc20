//! The file of a print's job: looked for once a print, in a folder or at the printer's host, and read beside the polls.
//! Owns the search, its bounds and what can go wrong with it; what the file means is `jobfile`'s.

use crate::arriving::{Arriving, PIECES_WAITING};
use crate::config::{JobFilePlaces, Printer};
use crate::entry::{JobFile, JobFileFrom};
use crate::gather::{configured, machine};
use crate::host::{AddressTemplate, Client, FetchError, NameFault};
use crate::jobfile::{JobOutline, outline_of};
use dwell_analysis::time::Timestamp;
use std::fs::File;
use std::io::{self, Read};
use std::path::{Component, Path};
use std::sync::Arc;
use std::sync::atomic::{AtomicBool, Ordering};
use std::time::Duration;
use tokio::sync::mpsc;
use tokio::task::{JoinHandle, spawn_blocking};

/// The longest file that is read. The trade's longest are a tenth of it; a wrong address may go on for ever.
const BYTES_MAX: u64 = 512 * 1024 * 1024;

/// After a fault that may pass the host is asked once more, so much later.
pub(super) const AGAIN_AFTER: Duration = Duration::from_secs(30);

/// Why a job file is not known.
#[derive(Debug, thiserror::Error)]
pub(super) enum JobFileError {
    #[error("the job's file is not in the folder")]
    NotFound,
    #[error("the job's file has {found} bytes, the host tells {told}")]
    Size { found: u64, told: u64 },
    #[error("the job's file has more than {} MiB", BYTES_MAX / 1024 / 1024)]
    TooLong,
    #[error("the job's file: {0}")]
    Name(#[from] NameFault),
    #[error("the job's file: {0}")]
    Fetch(#[from] FetchError),
    #[error("the job's file is not to be read: {0}")]
    Unreadable(String),
    #[error("the job's file lays no filament")]
    Empty,
    #[error("the search for the job's file was stopped")]
    Stopped,
    #[error("in the folder: {0}; at the host: {1}")]
    Neither(Box<Self>, Box<Self>),
}

impl JobFileError {
    /// The length by which a file was refused.
    pub(super) fn refused_by(&self) -> Option<u64> {
        match self {
            Self::Size { told, .. } => Some(*told),
            Self::Neither(folder, host) => folder.refused_by().or_else(|| host.refused_by()),
            _ => None,
        }
    }
}

/// What is looked for.
#[derive(Clone, Debug)]
pub(super) struct Wanted {
    /// The print.
    pub(super) started: Timestamp,
    /// The job's name.
    pub(super) name: Arc<str>,
    /// Length of its file, bytes, if the host tells it.
    pub(super) bytes: Option<u64>,
}

/// Where one printer's job files are looked for, and how they are read.
#[derive(Clone, Debug)]
pub(super) struct Search {
    pub(super) printer: Arc<Printer>,
    pub(super) places: JobFilePlaces,
    pub(super) client: Client,
    pub(super) again_after: Duration,
}

/// A search under way. It ends with this.
#[derive(Debug)]
pub(super) struct Looking {
    task: JoinHandle<Result<JobFile, JobFileError>>,
    stop: Arc<AtomicBool>,
}

impl Looking {
    pub(super) fn is_over(&self) -> bool {
        self.task.is_finished()
    }

    /// What was found.
    pub(super) async fn found(mut self) -> Result<JobFile, JobFileError> {
        (&mut self.task).await.unwrap_or(Err(JobFileError::Stopped))
    }

    /// Stops it. A reader at work ends with its next read.
    pub(super) async fn end(mut self) {
        self.stop.store(true, Ordering::Relaxed);
        self.task.abort();
        if (&mut self.task).await.is_err() {
            tracing::debug!("a search for a job's file was stopped");
        }
    }
}

impl Drop for Looking {
    fn drop(&mut self) {
        self.stop.store(true, Ordering::Relaxed);
        self.task.abort();
    }
}

impl Search {
    /// Begins to look.
    pub(super) fn begin(&self, wanted: Wanted) -> Looking {
        let stop = Arc::new(AtomicBool::new(false));
        let search = self.clone();
        let task = tokio::spawn({
            let stop = Arc::clone(&stop);
            async move { search.look(wanted, stop).await }
        });
        Looking { task, stop }
    }

    async fn look(&self, wanted: Wanted, stop: Arc<AtomicBool>) -> Result<JobFile, JobFileError> {
        let mut why = JobFileError::NotFound;
        if let Some(folder) = &self.places.folder {
            let (folder, name, bytes) = (folder.clone(), Arc::clone(&wanted.name), wanted.bytes);
            let found = spawn_blocking(move || in_folder(&folder, &name, bytes)).await;
            match found.unwrap_or(Err(JobFileError::Stopped)) {
                Ok(file) => {
                    let outline = self.outline(file, Arc::clone(&stop)).await;
                    match outline.and_then(|outline| kept(&outline, &wanted, JobFileFrom::Folder)) {
                        Ok(found) => return Ok(found),
                        Err(error) => why = error,
                    }
                }
                Err(error) => why = error,
            }
        }
        let Some(template) = &self.places.address else { return Err(why) };
        self.at_host(template, &wanted, &stop).await.map_err(|error| match why {
            JobFileError::NotFound => error,
            why => JobFileError::Neither(Box::new(why), Box::new(error)),
        })
    }

    async fn at_host(
        &self,
        template: &AddressTemplate,
        wanted: &Wanted,
        stop: &Arc<AtomicBool>,
    ) -> Result<JobFile, JobFileError> {
        let address = template.address(&wanted.name)?;
        let fetched = match self.fetch(&address, wanted.bytes, stop).await {
            Err(JobFileError::Fetch(fault)) if fault.is_transient() => {
                tokio::time::sleep(self.again_after).await;
                self.fetch(&address, wanted.bytes, stop).await
            }
            fetched => fetched,
        };
        kept(&fetched?, wanted, JobFileFrom::Host)
    }

    /// Reads a file on a thread of its own.
    async fn outline(
        &self,
        text: impl Read + Send + 'static,
        stop: Arc<AtomicBool>,
    ) -> Result<JobOutline, JobFileError> {
        let printer = Arc::clone(&self.printer);
        let work = move || {
            let mut text = Stoppable { text, stop };
            let outline = outline_of(&mut text, machine(&configured(&printer)));
            let outline = outline.map_err(|error| JobFileError::Unreadable(error.to_string()))?;
            // The host must be rid of what comes after the end of a packed text, too.
            io::copy(&mut text, &mut io::sink()).map_err(|error| JobFileError::Unreadable(error.to_string()))?;
            Ok(outline)
        };
        spawn_blocking(work).await.unwrap_or(Err(JobFileError::Stopped))
    }

    async fn fetch(
        &self,
        address: &crate::host::Address,
        told: Option<u64>,
        stop: &Arc<AtomicBool>,
    ) -> Result<JobOutline, JobFileError> {
        let mut download = self.client.file(address, &self.printer.source.credentials).await?;
        if let Some(bytes) = download.bytes_told() {
            fits(bytes, told)?;
        }
        let (pieces, rest) = mpsc::channel(PIECES_WAITING);
        let reading = self.outline(Arriving::new(rest), Arc::clone(stop));
        let sending = async move {
            let mut n_bytes = 0_u64;
            while let Some(piece) = download.piece().await? {
                n_bytes += u64::try_from(piece.len()).unwrap_or(u64::MAX);
                if n_bytes > BYTES_MAX {
                    // A reader that is left waiting for the rest learns that there is none.
                    drop(pieces.send(Err(io::Error::other("too long"))).await);
                    return Err(JobFileError::TooLong);
                }
                if pieces.send(Ok(piece)).await.is_err() {
                    // The reader has given up, and says why.
                    return Ok(n_bytes);
                }
            }
            Ok::<u64, JobFileError>(n_bytes)
        };
        let (sent, read) = tokio::join!(sending, reading);
        let n_bytes = sent?;
        let outline = read?;
        fits(n_bytes, told)?;
        Ok(outline)
    }
}

/// What is kept of an outline with its print; when it had been read is for the caller to say.
fn kept(outline: &JobOutline, wanted: &Wanted, from: JobFileFrom) -> Result<JobFile, JobFileError> {
    let file = outline.job_file(wanted.started, Arc::clone(&wanted.name), wanted.started, from);
    let mut file = file.ok_or(JobFileError::Empty)?.rounded();
    if outline.visits_left_out > 0 {
        // Beyond the last turn that is held nothing is known, and by those before it that can't be seen.
        file.turns.clear();
    }
    Ok(file)
}

fn fits(found: u64, told: Option<u64>) -> Result<(), JobFileError> {
    match told {
        Some(told) if told != found => Err(JobFileError::Size { found, told }),
        Some(_) | None if found > BYTES_MAX => Err(JobFileError::TooLong),
        Some(_) | None => Ok(()),
    }
}

/// The job's file in a folder: under its whole name, or under the last part of it; never one outside. A name from the root
/// on is the host's own, so only its last part counts.
fn in_folder(folder: &Path, name: &str, told: Option<u64>) -> Result<File, JobFileError> {
    let unreadable = |error: io::Error| JobFileError::Unreadable(error.to_string());
    let folder = folder.canonicalize().map_err(unreadable)?;
    let whole = Path::new(name);
    let below_root = whole.strip_prefix("/").unwrap_or(whole);
    if name.contains('\0') || !below_root.components().all(|part| matches!(part, Component::Normal(_))) {
        return Err(JobFileError::NotFound);
    }
    let last = whole.file_name().map(Path::new);
    let mut why = JobFileError::NotFound;
    for candidate in [Some(whole).filter(|whole| whole.is_relative()), last].into_iter().flatten() {
        // Links are followed here, so that what is inside is inside.
        let Ok(path) = folder.join(candidate).canonicalize() else { continue };
        if !path.starts_with(&folder) || !path.is_file() {
            continue;
        }
        let file = File::open(&path).map_err(unreadable)?;
        match fits(file.metadata().map_err(unreadable)?.len(), told) {
            Ok(()) => return Ok(file),
            Err(error) => why = error,
        }
    }
    Err(why)
}

/// Stops when it is told to.
struct Stoppable<R> {
    text: R,
    stop: Arc<AtomicBool>,
}

impl<R: Read> Read for Stoppable<R> {
    fn read(&mut self, into: &mut [u8]) -> io::Result<usize> {
        if self.stop.load(Ordering::Relaxed) {
            return Err(io::Error::other("stopped"));
        }
        self.text.read(into)
    }
}

#[cfg(test)]
#[expect(clippy::unwrap_used, reason = "a test may stop")]
mod tests;
