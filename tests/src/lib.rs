//! What the tests share: the program under test as a process, a simulated host to point it at, and patience.
//! Owns no claim: what has to be true stands in the tests.
#![expect(clippy::unwrap_used, clippy::missing_panics_doc, reason = "a test may stop")]

pub mod advised;
pub mod alarmed;
pub mod crowd;
pub mod daemon;
pub mod device;
pub mod engine;
pub mod heaters;
pub mod judges;
pub mod keyed;
pub mod memory;
pub mod page;
pub mod peers;
pub mod receiver;
pub mod shapes;
pub mod simulated;
pub mod small_disk;
pub mod steady;
pub mod steps;
pub mod tables;
pub mod worlds;

use std::thread::sleep;
use std::time::{Duration, Instant};

/// Waits until `condition` holds; false if it does not within `patience`.
#[must_use]
pub fn eventually(patience: Duration, condition: impl Fn() -> bool) -> bool {
    let deadline = Instant::now() + patience;
    while !condition() {
        if Instant::now() >= deadline {
            return false;
        }
        sleep(Duration::from_millis(30));
    }
    true
}
