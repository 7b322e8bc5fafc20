//! What one idle span amounts to: time, temperature, dose and ooze, measured interval by interval.

mod meter;

pub use meter::{SpanMeasure, SpanMeter};
