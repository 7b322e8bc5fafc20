//! A job file's bytes in, its outline out. Owns the way through unpacking, reader and follower, and nothing of what they
//! know.

use super::follow::Follower;
use super::machine::Machine;
use super::outline::JobOutline;
use super::reader::Reader;
use super::unpack::{TEXT_BYTES_MAX, UnpackFault, text_of};
use std::io::{self, Read};

/// So much is read at once: enough that reading costs nothing beside what is done with it.
const CHUNK_BYTES: usize = 1 << 16;

/// Reads one job file for one printer.
#[derive(Debug)]
pub struct Outliner {
    reader: Reader,
    follower: Follower,
}

impl Outliner {
    /// An outliner for a job that `machine` is to run.
    #[must_use]
    pub fn new(machine: Machine) -> Self {
        Self { reader: Reader::new(), follower: Follower::new(machine) }
    }

    /// Takes the next bytes of the text, cut anywhere.
    pub fn feed(&mut self, chunk: &[u8]) {
        let Self { reader, follower } = self;
        reader.feed(chunk, &mut |act| follower.take(act));
    }

    /// The text is at its end.
    #[must_use]
    pub fn finish(self) -> JobOutline {
        let Self { reader, mut follower } = self;
        let end = reader.finish(&mut |act| follower.take(act));
        follower.finish(end)
    }
}

/// Reads a job file, packed or not, to its end.
///
/// # Errors
/// When its bytes do not come, or come from what is no text or a damaged archive, or unpack to more than
/// [`TEXT_BYTES_MAX`].
pub fn outline_of(source: impl Read, machine: Machine) -> io::Result<JobOutline> {
    let mut text = text_of(source)?;
    let mut outliner = Outliner::new(machine);
    let (mut chunk, mut left) = (vec![0; CHUNK_BYTES], TEXT_BYTES_MAX);
    loop {
        match text.read(&mut chunk) {
            Ok(0) => return Ok(outliner.finish()),
            Ok(n) => {
                let read = u64::try_from(n).unwrap_or(u64::MAX);
                left = left.checked_sub(read).ok_or(UnpackFault::TooLong)?;
                outliner.feed(chunk.get(..n).unwrap_or_default());
            }
            Err(error) if error.kind() == io::ErrorKind::Interrupted => {}
            Err(error) => return Err(error),
        }
    }
}
