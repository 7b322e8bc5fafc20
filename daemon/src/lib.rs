//! The daemon beside the printer: polls its host, follows its tools, stores what happened, alerts and reports.
//!
//! `entry` is what comes in, `host` asks for it as `config` says; `tracker` and `alarm` decide and do no I/O;
//! `store` alone holds SQL.

pub mod alarm;
pub mod clock;
pub mod config;
pub mod entry;
pub mod host;
pub mod journal;
pub mod pipeline;
pub mod stamp;
pub mod store;
pub mod tracker;
