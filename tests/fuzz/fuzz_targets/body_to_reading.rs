//! Any bytes as the document of a printer's host.

#![no_main]

#[path = "../claim.rs"]
mod claim;

use dwell_analysis::time::Timestamp;
use dwellwatch::config::Config;
use dwellwatch::entry::{CentiCelsius, Heater, Reading};
use dwellwatch::host::{BodyReadingError, PrinterMap, body_to_reading};
use libfuzzer_sys::fuzz_target;
use serde_json::Value;
use std::path::Path;
use std::sync::{Arc, LazyLock};

static MAP: LazyLock<Arc<PrinterMap>> = LazyLock::new(claim::map);

fuzz_target!(|body: &[u8]| {
    claim::holds(&MAP, body);
});
