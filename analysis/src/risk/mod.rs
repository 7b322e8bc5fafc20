//! The risk of each failure mode.
