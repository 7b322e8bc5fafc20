//! What the person at the bench does with the settings over the eight weeks. Owns the fixed table; small changes of
//! a day are drawn from the story's seed. Invented.

use crate::entry::Settings;
use dwell_analysis::units::{Celsius, CubicMm, Millimetres};

/// One planned change: day from the first Monday, tool, what changes.
#[derive(Clone, Debug)]
pub struct Change {
    /// Day, from 0.
    pub day: u32,
    /// Which tool.
    pub tool: usize,
    /// What changes.
    pub settings: Settings,
}

const fn none() -> Settings {
    Settings {
        material: None,
        print: None,
        standby: None,
        retract: None,
        retract_mm_s: None,
        prime: None,
        ooze_shield: None,
        dried: None,
    }
}

fn spool(material: &str, print: f64, standby: f64, retract: f64) -> Settings {
    Settings {
        material: Some(material.into()),
        print: Some(Celsius::new(print)),
        standby: Some(Celsius::new(standby)),
        retract: Some(Millimetres::new(retract)),
        retract_mm_s: Some(35.0),
        prime: Some(CubicMm::new(20.0)),
        ooze_shield: Some(false),
        dried: Some(true),
    }
}

/// A new standby temperature.
#[must_use]
pub fn standby(celsius: f64) -> Settings {
    Settings { standby: Some(Celsius::new(celsius)), ..none() }
}

fn retract(millimetres: f64) -> Settings {
    Settings { retract: Some(Millimetres::new(millimetres)), ..none() }
}

fn dried(dried: bool) -> Settings {
    Settings { dried: Some(dried), ..none() }
}

/// The days of the weeks in which standby was kept close to print heat: 2026-W04 to W06.
pub const HOT_STANDBY_DAYS: std::ops::Range<u32> = 14..35;

/// Every planned change, in order of days.
#[must_use]
pub fn planned() -> Vec<Change> {
    let table = [
        (0, 0, spool("PLA", 210.0, 175.0, 0.9)),
        (0, 1, spool("PETG", 235.0, 185.0, 1.2)),
        (5, 1, standby(195.0)),
        (8, 0, retract(0.7)),
        (10, 0, standby(180.0)),
        // Reheating at every change took long, so both tools stay close to print heat.
        (14, 0, standby(200.0)),
        (14, 1, standby(220.0)),
        (18, 1, standby(228.0)),
        (21, 0, retract(0.4)),
        (24, 0, standby(206.0)),
        (27, 1, retract(2.8)),
        (30, 1, dried(false)),
        (32, 0, retract(0.8)),
        // Back to cool standby.
        (35, 0, standby(175.0)),
        (35, 1, standby(190.0)),
        (38, 1, retract(1.4)),
        (40, 1, dried(true)),
        (42, 1, spool("PVA", 205.0, 165.0, 1.0)),
        (45, 1, standby(180.0)),
        (47, 0, retract(2.2)),
        (49, 1, spool("PETG", 235.0, 190.0, 1.2)),
        (51, 0, retract(0.9)),
        (53, 0, standby(188.0)),
    ];
    table.into_iter().map(|(day, tool, settings)| Change { day, tool, settings }).collect()
}
