//! The members of a gzip file, one after the other (RFC 1952, 2.2). Owns what may stand between and after them: zeros, as
//! tapes and some packers leave them (common practice, no source).

use flate2::bufread::GzDecoder;
use std::io::{self, BufRead, Read};

/// The text of all members.
#[derive(Debug)]
pub(super) struct Members<S> {
    member: Option<GzDecoder<S>>,
}

impl<S: BufRead> Members<S> {
    pub(super) fn new(source: S) -> Self {
        Self { member: Some(GzDecoder::new(source)) }
    }
}

impl<S: BufRead> Read for Members<S> {
    fn read(&mut self, chunk: &mut [u8]) -> io::Result<usize> {
        while let Some(member) = &mut self.member {
            let n = member.read(chunk)?;
            if n > 0 || chunk.is_empty() {
                return Ok(n);
            }
            let source = self.member.take().map(GzDecoder::into_inner);
            self.member = source.map(next).transpose()?.flatten();
        }
        Ok(0)
    }
}

/// The next member, if anything but zeros follows.
fn next<S: BufRead>(mut source: S) -> io::Result<Option<GzDecoder<S>>> {
    loop {
        let ahead = source.fill_buf()?;
        if ahead.is_empty() {
            return Ok(None);
        }
        let zeros = ahead.iter().take_while(|byte| **byte == 0).count();
        if zeros == 0 {
            return Ok(Some(GzDecoder::new(source)));
        }
        source.consume(zeros);
    }
}
