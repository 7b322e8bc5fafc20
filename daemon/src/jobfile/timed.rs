//! A job file as acts with the time that each takes by the machine's limits. Owns nothing but the way through reader and
//! planner: waits for heat take none here, for nothing is known of heaters.

use super::act::Act;
use super::limits::MotionLimits;
use super::planner::Planner;
use super::reader::{ReadEnd, Reader};
use dwell_analysis::units::Seconds;

/// Every act of a text in order, with its time; and what the whole file came to.
#[must_use]
pub fn timed(text: &[u8], limits: MotionLimits, act: &mut impl FnMut(Act, Seconds)) -> ReadEnd {
    let (mut reader, mut planner) = (Reader::new(), Planner::new(limits));
    reader.feed(text, &mut |told| planner.take(told, act));
    let end = reader.finish(&mut |told| planner.take(told, act));
    planner.flush(act);
    end
}
