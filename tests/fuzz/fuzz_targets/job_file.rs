//! Any bytes as a job file, and any bytes as a packed one. The first byte says how it is cut.

#![no_main]

#[path = "../job_claim.rs"]
mod job_claim;

use dwellwatch::jobfile::{Act, JobOutline, Machine, Outliner, ReadEnd, Reader, What, text_of};
use libfuzzer_sys::fuzz_target;
use std::io::Read;

/// A packed text may be any number of times longer.
const UNPACKED_MAX: u64 = 1 << 20;

fuzz_target!(|bytes: &[u8]| {
    let Some((size, text)) = bytes.split_first() else { return };
    job_claim::holds(text, || usize::from(*size));
    if let Ok(unpacked) = text_of(text) {
        let mut found = Vec::new();
        if unpacked.take(UNPACKED_MAX).read_to_end(&mut found).is_ok() {
            job_claim::holds(&found, || usize::from(*size));
        }
    }
});
