//! A simulated printer host: real job text run over simulated time on simulated heaters, weeks of it as a history
//! and one printer live over HTTP. The demo and the tests run the real daemon on it. Owns its own physics and its
//! own hidden truth of what fails; must not be read by anything that learns.

mod broken;
pub mod calendar;
pub mod gcode;
pub mod hazard;
pub mod host;
pub mod live;
pub mod machine;
pub mod plant;
pub mod rig;
pub mod sensor;
mod session;
pub mod shape;
pub mod story;

pub use broken::HeaterFault;
pub use host::{Fault, RehearsalHost};
pub use live::LiveJob;
pub use shape::Shape;
pub use story::Story;
