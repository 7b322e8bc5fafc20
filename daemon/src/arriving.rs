//! Bytes that arrive in pieces, for a reader on a thread of its own. Owns nothing of where they come from or what they say.

use bytes::Bytes;
use std::io::{self, Read};
use tokio::sync::mpsc;

/// Pieces that may wait for the reader; more would only fill the memory.
pub const PIECES_WAITING: usize = 8;

/// What arrives. Read where waiting holds up nobody.
#[derive(Debug)]
pub struct Arriving {
    rest: mpsc::Receiver<io::Result<Bytes>>,
    held: Bytes,
}

impl Arriving {
    /// What comes of these pieces; it ends with their sender.
    #[must_use]
    pub const fn new(rest: mpsc::Receiver<io::Result<Bytes>>) -> Self {
        Self { rest, held: Bytes::new() }
    }
}

impl Read for Arriving {
    fn read(&mut self, into: &mut [u8]) -> io::Result<usize> {
        while self.held.is_empty() {
            match self.rest.blocking_recv() {
                Some(piece) => self.held = piece?,
                None => return Ok(0),
            }
        }
        let n = into.len().min(self.held.len());
        into[..n].copy_from_slice(&self.held.split_to(n));
        Ok(n)
    }
}

#[cfg(test)]
#[expect(clippy::unwrap_used, reason = "a test may stop")]
mod tests {
    use super::*;

    #[test]
    fn pieces_come_whole_and_in_order_and_a_broken_one_is_no_end() {
        let (pieces, rest) = mpsc::channel(PIECES_WAITING);
        for piece in [&b"lan"[..], b"", b"tern"] {
            pieces.try_send(Ok(Bytes::from_static(piece))).unwrap();
        }
        pieces.try_send(Err(io::ErrorKind::UnexpectedEof.into())).unwrap();
        let mut arriving = Arriving::new(rest);
        let mut into = [0; 7];
        arriving.read_exact(&mut into).unwrap();
        assert_eq!(&into, b"lantern");
        assert_eq!(arriving.read(&mut into).unwrap_err().kind(), io::ErrorKind::UnexpectedEof);
        drop(pieces);
        assert_eq!(arriving.read(&mut into).unwrap(), 0);
    }
}
