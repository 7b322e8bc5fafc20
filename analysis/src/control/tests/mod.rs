//! Charts against published series and run lengths; detectors against simulated and real records.

mod charts;
mod drift;
mod frozen;
mod jump;
mod noise;
mod series;
