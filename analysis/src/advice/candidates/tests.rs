//! What is asked for in situations that are worked out by hand, and what holds in any.

mod laws;
mod limits;
mod rules;
mod sample;
mod values;
