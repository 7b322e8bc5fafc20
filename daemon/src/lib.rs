//! The daemon beside the printer: polls its host, follows its tools, stores what happened, alerts and reports.
//!
//! `entry` is what comes in; `tracker` and `alarm` decide and do no I/O; `store` alone holds SQL.

pub mod alarm;
pub mod entry;
pub mod rehearsal;
pub mod tracker;
