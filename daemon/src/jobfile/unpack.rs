//! Takes a job file out of what it is packed in: gzip (RFC 1952), the first job in a zip archive, or nothing at all. Owns
//! telling them apart by their first bytes and what is said of a damaged one. Streams: memory is bounded for any size.

mod archive;
mod gzip;

#[cfg(test)]
mod tests;

use archive::Entry;
use gzip::Members;
use std::io::{self, BufRead, BufReader, Chain, Cursor, ErrorKind, Read};

/// The longest text that is read, bytes: some hundred hours of printing. A few packed bytes can stand for any number.
pub(super) const TEXT_BYTES_MAX: u64 = 4 << 30;

/// Looked at before anything is decided.
const HEAD_MAX: u64 = 4096;
const GZIP: &[u8] = &[0x1f, 0x8b];
const ZIP: &[u8] = b"PK";

/// What a job file came in.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Packing {
    /// Nothing: its bytes are the text's.
    Plain,
    /// Gzip.
    Gzip,
    /// A zip archive, under that name.
    Zip(String),
}

/// A job file's text, read as it is asked for.
#[derive(Debug)]
pub struct Unpacked<R> {
    packing: Packing,
    text: Text<R>,
}

/// The source with what was looked at put back before it.
type Source<R> = BufReader<Chain<Cursor<Vec<u8>>, R>>;

#[derive(Debug)]
enum Text<R> {
    Plain(Source<R>),
    Gzip(Box<Members<Source<R>>>),
    Zip(Box<Entry<Source<R>>>),
    /// A small file of an archive that names none as a job.
    Held(Cursor<Vec<u8>>),
}

/// Why a file is no job file, however it is read. It comes within an [`io::Error`] of the kind `InvalidData`.
#[derive(Debug, thiserror::Error)]
pub enum UnpackFault {
    /// A zero byte, which no text has.
    #[error("is no text: byte {0} is zero; a job file is plain text, gzip or zip")]
    NotText(usize),
    /// The archive's or stream's bytes are not what they should be.
    #[error("the {format} data is damaged: {what}")]
    Damaged {
        /// Gzip or zip.
        format: &'static str,
        /// What is wrong.
        what: String,
    },
    /// Packed in a way that is not read.
    #[error("the zip entry {name} is {how}; stored or deflated ones are read")]
    Unknown {
        /// The entry.
        name: String,
        /// Its way.
        how: String,
    },
    /// It goes on after [`TEXT_BYTES_MAX`].
    #[error("unpacks to more than {} GiB; no job file is as long", TEXT_BYTES_MAX >> 30)]
    TooLong,
    /// No entry is a job.
    #[error("the zip archive holds no job file: no entry's name ends in .gcode, .gco, .g, .nc or .ngc")]
    NoJob,
}

impl From<UnpackFault> for io::Error {
    fn from(fault: UnpackFault) -> Self {
        Self::new(ErrorKind::InvalidData, fault)
    }
}

/// Finds the job file's text in what a source gives.
///
/// # Errors
/// When the source cannot be read, or what it gives is no text, or an archive without a job or damaged before it. Damage
/// further on is told when that part is read.
pub fn text_of<R: Read>(mut source: R) -> io::Result<Unpacked<R>> {
    let mut head = Vec::new();
    source.by_ref().take(HEAD_MAX).read_to_end(&mut head)?;
    let (is_gzip, has_entries) = (head.starts_with(GZIP), is_archive(&head));
    if !is_gzip && !has_entries {
        // Later zero bytes are met by the reader, and counted as no words.
        if let Some(idx) = head.iter().position(|byte| *byte == 0) {
            return Err(UnpackFault::NotText(idx).into());
        }
    }
    let source = BufReader::with_capacity(1 << 16, Cursor::new(head).chain(source));
    if is_gzip {
        let text = Text::Gzip(Box::new(Members::new(source)));
        return Ok(Unpacked { packing: Packing::Gzip, text });
    }
    if has_entries {
        let (name, text) = archive::job(source).map_err(|error| told("zip", error))?;
        return Ok(Unpacked { packing: Packing::Zip(name), text });
    }
    Ok(Unpacked { packing: Packing::Plain, text: Text::Plain(source) })
}

impl<R> Unpacked<R> {
    /// What it came in.
    pub const fn packing(&self) -> &Packing {
        &self.packing
    }

    /// Whether its bytes are others than the text's.
    pub fn is_packed(&self) -> bool {
        self.packing != Packing::Plain
    }
}

impl<R: Read> Read for Unpacked<R> {
    fn read(&mut self, chunk: &mut [u8]) -> io::Result<usize> {
        match &mut self.text {
            Text::Plain(source) => source.read(chunk),
            Text::Gzip(source) => source.read(chunk).map_err(|error| told("gzip", error)),
            Text::Zip(entry) => entry.read(chunk).map_err(|error| told("zip", error)),
            Text::Held(text) => text.read(chunk),
        }
    }
}

/// A local header, or the end of an archive without entries.
fn is_archive(head: &[u8]) -> bool {
    head.strip_prefix(ZIP).is_some_and(|rest| rest.starts_with(&[3, 4]) || rest.starts_with(&[5, 6]))
}

/// What the unpacking says, in words that name the format; a fault of the source itself stays as it is.
fn told(format: &'static str, error: io::Error) -> io::Error {
    if error.get_ref().is_some_and(<dyn std::error::Error + Send + Sync>::is::<UnpackFault>) {
        return error;
    }
    match error.kind() {
        ErrorKind::UnexpectedEof => UnpackFault::Damaged { format, what: "it ends too soon".to_owned() }.into(),
        ErrorKind::InvalidData | ErrorKind::InvalidInput => {
            UnpackFault::Damaged { format, what: error.to_string() }.into()
        }
        _ => error,
    }
}
