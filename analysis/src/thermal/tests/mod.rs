//! The model and its fit: on certified values, on real records, on simulated heaters.

mod nist;
mod plants;
mod records;
mod refusals;
