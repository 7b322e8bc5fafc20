//! A job file's bytes in, its outline out. Owns the way through reader and follower, and nothing of what they know.

use super::follow::Follower;
use super::machine::Machine;
use super::outline::JobOutline;
use super::reader::Reader;

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
