//! Follows one printer: readings and silence in, effects out. Pure: no clock, no file, no network, no SQL.

mod effect;

pub use effect::{Context, Doing, Effect, RefusalReason, ToolNow, ToolSource};
