//! Delivers notices from the store's outbox to the webhook: at least once, in order, with growing pauses. Owns the
//! rhythm of delivery; a notice is written nowhere but in the store.

mod webhook;

pub use webhook::Notifier;
