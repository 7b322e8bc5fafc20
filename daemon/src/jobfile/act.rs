//! What one line of a job file asks for, freed of every mode: millimetres, absolute places, seconds, degrees Celsius.

use crate::entry::ToolNumber;
use dwell_analysis::units::{Celsius, Seconds};

/// One thing that is asked for.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Act {
    /// The first byte of its line in the unpacked text.
    pub byte: u64,
    /// What.
    pub what: What,
}

/// What is asked for.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum What {
    /// A move of the tool at work, of its filament, or both.
    Move(Move),
    /// The machine draws the filament back by the length it has been told, mm, at that speed, mm/s; `None` is a length
    /// or speed that the file does not tell.
    Retract {
        /// Length, mm.
        length: Option<f64>,
        /// Speed, mm/s.
        speed: Option<f64>,
    },
    /// The machine brings it forward again, and so much more, mm.
    Recover {
        /// Length that it had been told to draw back, mm; `None` is not told.
        length: Option<f64>,
        /// Beyond that, mm; `None` is not told.
        extra: Option<f64>,
        /// Speed, mm/s; `None` is not told.
        speed: Option<f64>,
    },
    /// Stands still.
    Dwell(Seconds),
    /// Seeks the axes' origin; how long that takes, the file does not tell.
    Home,
    /// A heater's set point.
    Heat {
        /// Which heater.
        heated: Heated,
        /// The set point; 0 °C is off.
        target: Celsius,
        /// Whether the job waits for it.
        patience: Patience,
    },
    /// The part fan, 0 to 1.
    Fan(f64),
    /// The tool that is at work from now on.
    Tool(ToolNumber),
    /// A tool is called that no printer has: what follows is nobody's, until another is called.
    NoTool,
    /// Waits for a person.
    Pause,
    /// The program ends; what follows is not run.
    End,
}

/// What is heated.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Heated {
    /// A tool's hot end.
    Tool(ToolNumber),
    /// The bed.
    Bed,
    /// The chamber.
    Chamber,
}

/// How long a heater's set point is waited for.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Patience {
    /// Not at all.
    None,
    /// Until it is as hot; cooling down is not waited for.
    UntilHot,
    /// Until it is as hot or as cold.
    UntilThere,
}

/// One move, in millimetres.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Move {
    /// X, Y, Z before it.
    pub from: [f64; 3],
    /// X, Y, Z after it.
    pub to: [f64; 3],
    /// Length of the path of the nozzle, along the arc if it is one; 0 for filament alone.
    pub length: f64,
    /// Direction at its beginning, of length 1; zeros for filament alone.
    pub enters: [f64; 3],
    /// Direction at its end, of length 1; zeros for filament alone.
    pub leaves: [f64; 3],
    /// Filament pushed, mm; negative is drawn back.
    pub filament: f64,
    /// Speed asked for, mm/s, along the path, or of the filament where that alone moves.
    pub speed: f64,
}

impl Move {
    /// Whether the nozzle travels in the plane; raising it alone is no travel.
    #[must_use]
    pub fn is_travel(&self) -> bool {
        let rise = self.to[2] - self.from[2];
        self.length - rise.abs() > 1e-9
    }
}
